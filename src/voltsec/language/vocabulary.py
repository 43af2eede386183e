"""The words of the language: kinds of elements and their properties, with units.

Reading, writing and every hint ask here.
"""

from __future__ import annotations

from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Inductor,
    Load,
    Resistor,
    Source,
    Switch,
    Transformer,
)

CORE = ("core_turns", "core_area", "core_volume", "steinmetz_k", "steinmetz_alpha", "steinmetz_beta")
GATE = ("gate_charge", "gate_voltage")

KINDS = {
    "source": (Source, "V", ("resistance",)),
    "current": (CurrentSource, "A", ()),
    "resistor": (Resistor, "ohm", ()),
    "load": (Load, "ohm", ()),
    "inductor": (Inductor, "H", ("resistance", *CORE)),
    "capacitor": (Capacitor, "F", ("resistance",)),
    "switch": (Switch, None, ("resistance", "drop", "turn_on", "turn_off", "output_capacitance", *GATE)),
    "diode": (Diode, None, ("resistance", "drop", "recovery_charge")),
    "transformer": (Transformer, None, ("magnetizing", *CORE)),
}
"""Word -> class, unit of its value (None: it has no value), properties it may have."""

PROPERTIES = {
    "resistance": ("R_", "ohm"),
    "drop": ("V_", "V"),
    "magnetizing": ("L_", "H"),
    "turn_on": ("t_on_", "s"),
    "turn_off": ("t_off_", "s"),
    "output_capacitance": ("C_oss_", "F"),
    "gate_charge": ("Q_g_", "C"),
    "gate_voltage": ("V_g_", "V"),
    "recovery_charge": ("Q_rr_", "C"),
    "core_turns": ("N_", "1"),
    "core_area": ("A_e_", "m2"),
    "core_volume": ("V_e_", "m3"),
    "steinmetz_k": ("k_", "1"),
    "steinmetz_alpha": ("alpha_", "1"),
    "steinmetz_beta": ("beta_", "1"),
}
"""Property -> what its symbol begins with where none is given, and its unit."""

IN_EQUATIONS = frozenset({"resistance", "drop", "magnetizing"})
"""Properties that stand in the equations; from the others losses beside conduction are estimated."""
TOGETHER = (CORE, GATE)
"""Properties of which one alone tells no loss."""
