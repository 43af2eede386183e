"""What real parts have besides their value, and what is put across them; the stage keeps its purpose.

Each change takes a draft and a source of chance and says whether it found something to change.
"""

from __future__ import annotations

import random
from fractions import Fraction

from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Inductor,
    Load,
    Quantity,
    Resistor,
    Source,
    Switch,
    Transformer,
)

from .draft import Draft
from .values import chance, decimal, duty, preferred, rounded

LOSSY = {
    Source: ("resistance",),
    Inductor: ("resistance",),
    Capacitor: ("resistance",),
    Switch: ("resistance", "drop"),
    Diode: ("resistance", "drop"),
}


def losses_everywhere(draft: Draft, rng: random.Random) -> bool:
    """A resistance in every coil, capacitor and device, a drop in every diode."""
    for element in draft.of_kind(Inductor, Capacitor, Switch, Diode):
        _lose(draft, rng, element.name, {"drop"} if type(element) is Diode else set())
    return True


def losses_in_some(draft: Draft, rng: random.Random) -> bool:
    """A resistance or a drop in one to three parts, the source among them."""
    parts = [element.name for element in draft.of_kind(*LOSSY)]
    for name in rng.sample(parts, min(len(parts), rng.randint(1, 3))):
        _lose(draft, rng, name, {"drop"} if chance(rng, 0.5) else set(), chance(rng, 0.8))
    return bool(parts)


def _lose(
    draft: Draft, rng: random.Random, name: str, also: set[str] = frozenset(), resists: bool = True
) -> None:
    element = draft.find(name)
    allowed = LOSSY[type(element)]
    ohm = draft.load()
    values: dict[str, Fraction] = {}
    if resists or "drop" not in allowed:
        values["resistance"] = preferred(rng, 2e-4 * ohm, 1e-2 * ohm)
    if "drop" in allowed and also:
        least = min((abs(float(s.quantity.value)) for s in draft.of_kind(Source)), default=10.0)
        values["drop"] = decimal(min(rng.uniform(0.2, 0.9), 0.2 * least), 2)
    draft.give(element, **values)


def snubber(draft: Draft, rng: random.Random) -> bool:
    """A small capacitor and a resistor in series across a switch or diode."""
    device = rng.choice(draft.of_kind(Switch, Diode))
    between = draft.node()
    draft.add(Capacitor, device.start, between, preferred(rng, 1e-9, 1e-8))
    draft.add(Resistor, between, device.end, preferred(rng, 10, 100))
    return True


def resistor_across(draft: Draft, rng: random.Random) -> bool:
    """A resistor across a coil or a device."""
    part = rng.choice(draft.of_kind(Switch, Diode, Inductor))
    ohm = draft.load()
    draft.add(Resistor, part.start, part.end, preferred(rng, 10 * ohm, 3000 * ohm))
    return True


def second_capacitor(draft: Draft, rng: random.Random) -> bool:
    """Another capacitor beside one that is there, each with a series resistance of its own."""
    capacitors = draft.of_kind(Capacitor)
    if not capacitors:
        return False
    first = rng.choice(capacitors)
    ohm, farad = draft.load(), float(first.quantity.value)
    if first.resistance is None and chance(rng, 0.7):
        draft.give(first, resistance=preferred(rng, 1e-3 * ohm, 5e-2 * ohm))
    series = {"resistance": preferred(rng, 1e-4 * ohm, 1e-2 * ohm)} if chance(rng, 0.6) else {}
    draft.add(Capacitor, first.start, first.end, preferred(rng, farad / 100, farad), **series)
    return True


def lead_inductance(draft: Draft, rng: random.Random) -> bool:
    """A coil of some nanohenry in series with a capacitor."""
    capacitors = draft.of_kind(Capacitor)
    if not capacitors:
        return False
    one = rng.choice(capacitors)
    if one.resistance is None and chance(rng, 0.7):
        draft.give(one, resistance=preferred(rng, 1e-3 * draft.load(), 1e-2 * draft.load()))
        one = draft.find(one.name)
    between, end = draft.node(), one.end
    draft.put(one, end=between)
    draft.add(Inductor, between, end, preferred(rng, 5e-9, 3e-8))
    return True


def series_diode(draft: Draft, rng: random.Random) -> bool:
    """A diode in series with a switch (which then blocks in reverse) or with another diode."""
    device = rng.choice(draft.of_kind(Switch, Diode))
    between, drop = draft.node(), {}
    if type(device) is Diode and device.drop is not None:
        drop = {"drop": device.drop.value}
    if chance(rng, 0.5):
        end = device.end
        draft.put(device, end=between)
        draft.add(Diode, between, end, **drop)
    else:
        start = device.start
        draft.put(device, start=between)
        draft.add(Diode, start, between, **drop)
    return True


def series_switch(draft: Draft, rng: random.Random) -> bool:
    """Two switches in series for one, driven together."""
    draft.settle_drives()
    switch = rng.choice(draft.of_kind(Switch))
    between, end = draft.node(), switch.end
    draft.put(switch, end=between)
    name = draft.add(Switch, between, end)
    draft.drive(name, "with", switch.name)
    return True


def clamp(draft: Draft, rng: random.Random) -> bool:
    """Diode into a capacitor with a resistor across it, from one end of a device or coil to a fixed node."""
    part = rng.choice(draft.of_kind(Switch, Diode, Inductor, Transformer))
    node = rng.choice(part.nodes)
    fixed = [n for source in draft.of_kind(Source) for n in source.nodes if n != node]
    if not fixed:
        return False
    ohm, to, top = draft.load(), rng.choice(fixed), draft.node()
    draft.add(Diode, node, top)
    draft.add(Capacitor, top, to, preferred(rng, 1 * draft.period() / ohm, 100 * draft.period() / ohm))
    draft.add(Resistor, top, to, preferred(rng, 10 * ohm, 300 * ohm))
    return True


def sensing_resistor(draft: Draft, rng: random.Random) -> bool:
    """A small resistor in series with any part."""
    part = rng.choice(draft.of_kind(Switch, Diode, Inductor, Capacitor, Load))
    between, end = draft.node(), part.end
    draft.put(part, end=between)
    draft.add(Resistor, between, end, preferred(rng, 1e-4 * draft.load(), 1e-2 * draft.load()))
    return True


def other_values(draft: Draft, rng: random.Random) -> bool:
    """Coils, capacitors, loads, duties and the period changed, so that other modes occur."""
    shift = 10 ** rng.uniform(-2, 0.7)
    for coil in draft.of_kind(Inductor):
        if float(coil.quantity.value) > 1e-7:
            value = float(coil.quantity.value) * shift * 10 ** rng.uniform(-0.3, 0.3)
            draft.set_value(coil, rounded(value))
    for transformer in draft.of_kind(Transformer):
        if transformer.magnetizing is not None:
            core = transformer.magnetizing
            value = float(core.value) * shift * 10 ** rng.uniform(-0.3, 0.3)
            draft.put(transformer, magnetizing=type(core)(core.symbol, "H", rounded(value)))
    for load in draft.of_kind(Load):
        value = float(load.quantity.value) * 10 ** rng.uniform(-0.4, 1.3)
        draft.set_value(load, rounded(value))
    if chance(rng, 0.4):
        for capacitor in draft.of_kind(Capacitor):
            value = float(capacitor.quantity.value) * 10 ** rng.uniform(-1.3, 0.5)
            draft.set_value(capacitor, rounded(value))
    for name in list(draft.operating):
        if name != "T":
            draft.operating[name] = duty(rng)
    return True


def other_turns(draft: Draft, rng: random.Random) -> bool:
    """Another turns ratio, and the magnetizing inductance taken away or added."""
    transformers = draft.of_kind(Transformer)
    if not transformers:
        return False
    transformer = rng.choice(transformers)
    turns = tuple(
        Fraction(rng.choice(["0.5", "1", "1.5", "2", "3"])) if isinstance(t, Fraction) and n else t
        for n, t in enumerate(transformer.turns)
    )
    draft.put(transformer, turns=turns)
    transformer = draft.find(transformer.name)
    if transformer.magnetizing is not None and chance(rng, 0.3):
        draft.put(transformer, magnetizing=None)
    elif transformer.magnetizing is None:
        unit = draft.load() * draft.period()
        core = Quantity(f"L_{transformer.name}", "H", preferred(rng, 0.1 * unit, 30 * unit))
        draft.put(transformer, magnetizing=core)
    return True


def current_load(draft: Draft, rng: random.Random) -> bool:
    """A constant-current load beside a resistive one, or in its place."""
    loads = draft.of_kind(Load)
    if not loads:
        return False
    load = rng.choice(loads)
    volts = max(abs(float(s.quantity.value)) for s in draft.of_kind(Source))
    value = preferred(rng, 0.05 * volts / draft.load(), volts / draft.load())
    ends = (load.start, load.end) if chance(rng, 0.8) else (load.end, load.start)
    if chance(rng, 0.25) and draft.output_choice is None:
        draft.remove(load.name)
    draft.add(CurrentSource, *ends, value)
    return True


PARASITICS = (
    losses_everywhere,
    losses_in_some,
    losses_in_some,
    snubber,
    snubber,
    resistor_across,
    second_capacitor,
    second_capacitor,
    lead_inductance,
    series_diode,
    series_diode,
    series_switch,
    clamp,
    sensing_resistor,
    other_values,
    other_values,
    other_turns,
    current_load,
)
"""Changes to draw from; what stands twice is drawn twice as often."""
