"""Random lossy circuits: stages with losses at random parts, values at random."""

from __future__ import annotations

import random

STAGES = {
    "boost": "inductor L : in -> a ; switch S : a -> gnd ; diode D1 : a -> out",
    "buck": "switch S : in -> a ; diode D1 : gnd -> a ; inductor L : a -> out",
    "buckboost": "switch S : in -> a ; inductor L : a -> gnd ; diode D1 : out -> a",
    "sepic": "inductor L1 : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> b ; inductor L2 : gnd -> b ; "
    "diode D1 : b -> out",
    "zeta": "switch S : in -> a ; inductor L1 : a -> gnd ; capacitor C1 : b -> a ; diode D1 : gnd -> b ; "
    "inductor L2 : b -> out",
    "bled boost": "inductor L : in -> a ; switch S : a -> gnd ; diode D1 : a -> b ; resistor Rs : b -> out ; "
    "capacitor C1 : b -> gnd",
    "flyback": "transformer X : in -> a, gnd -> b = 1 : 2 { magnetizing LM } ; switch S : a -> gnd ; "
    "diode D1 : b -> out",
    "synchronous": "switch S : in -> a ; switch S2 : a -> gnd ; inductor L : a -> out ; drive S at D ; "
    "drive S2 against S",
}

POSSIBLE = {
    "source": ("resistance",),
    "inductor": ("resistance",),
    "capacitor": ("resistance",),
    "switch": ("resistance", "drop"),
    "diode": ("resistance", "drop"),
}


def lossy_netlist(name: str, seed: int) -> str:
    """A stage with each loss present or not by a coin, and values for continuous conduction."""
    coin = random.Random(seed)
    statements = [part.strip() for part in STAGES[name].split(";")]
    statements = ["source Vg : in -> gnd", *statements, "capacitor Co : out -> gnd", "load R : out -> gnd"]
    lines = []
    for statement in statements:
        kind = statement.split()[0]
        value = {
            "source": f" = {coin.randint(9, 24)} V",
            "inductor": f" = {coin.randint(200, 900)} uH",
            "capacitor": f" = {coin.randint(20, 200)} uF",
            "load": f" = {coin.randint(5, 20)} ohm",
            "resistor": f" = {coin.randint(10, 200)} mohm",
        }.get(kind, "")
        losses = [part for part in POSSIBLE.get(kind, ()) if coin.random() < 0.6]
        amounts = {"resistance": f"{coin.randint(5, 90)} mohm", "drop": f"{coin.randint(2, 8) / 10} V"}
        braces = ", ".join(f"{part} {amounts[part]}" for part in losses)
        statement = statement.replace("{ magnetizing LM }", "{ magnetizing LM = 400 uH }")
        lines.append(statement + value + (f" {{ {braces} }}" if braces else ""))
    lines.append(f"operate D = {coin.randint(30, 65) / 100}, f = 100 kHz")
    return "\n".join(lines) + "\n"
