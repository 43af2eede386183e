"""One operating point: the netlist's values, changed by ``NAME=VALUE`` texts as in a sweep."""

from __future__ import annotations

from collections.abc import Mapping

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.practice.asked import BadValues, known_point
from voltsec.practice.axes import read_axes

UNITS = {"s": "10 us", "ohm": "10 ohm", "H": "100 uH", "F": "100 uF", "V": "12 V", "A": "1 A", "1": "0.4"}
"""What a value of each unit may look like."""


def read_point(texts: tuple[str, ...], circuit: Circuit) -> dict[str, float]:
    """``NAME=VALUE`` texts -> symbol -> number (SI units).  Raises :class:`BadValues`."""
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    found = {}
    for name, value in read_axes(texts, units).items():
        if not isinstance(value, float):
            raise BadValues(f"{name} takes one value here, not a range (sweep takes ranges)")
        found[name] = value
    return found


def stated_point(circuit: Circuit, values: Mapping[str, float]) -> dict[str, float]:
    """A number for every symbol: the netlist's values changed by ``values`` (SI units).

    Raises :class:`BadValues` for values that make no sense and :class:`CircuitError` where some are missing.
    """
    point, missing = known_point(circuit, values)
    if missing:
        raise CircuitError((missing_values(circuit, missing),), circuit.file, circuit.text)
    return {name: float(value) for name, value in point.items()}


def missing_values(circuit: Circuit, missing: tuple[str, ...]) -> Fault:
    """The fault of a circuit without an operating point: which values are missing, and where they go."""
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    operated = [name for name in missing if name in (*circuit.timing_symbols, "T")]
    others = [name for name in missing if name not in operated]
    where = []
    if operated:
        where.append("write operate " + ", ".join(f"{name} = {UNITS[units[name]]}" for name in operated))
    if others:
        where.append(
            f"write the values of {', '.join(others)} behind them, as in = {UNITS[units[others[0]]]}"
        )
    given = " ".join(f"{name}={UNITS[units[name]].replace(' ', '')}" for name in missing[:3])
    message = (
        f"there is no operating point: {', '.join(missing)} {'have' if len(missing) > 1 else 'has'} no value"
    )
    return Fault(
        "no-operating-point",
        message,
        hint=f"{', and '.join(where)}, in the netlist, or give them here: {given}",
    )
