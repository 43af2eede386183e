"""Steps of a duty, load or source as they are written: ``R: 10 ohm -> 5 ohm``, ``D: 0.4 -> 0.5 at 2 ms``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.spelling import hint_among
from voltsec.practice.asked import BadValues
from voltsec.practice.axes import read_value
from voltsec.practice.stated_point import UNITS
from voltsec.results.table import inductances

_STEP = re.compile(r"\s*([^\s:]+)\s*:\s*(.*?)\s*(?:->|→)\s*(.*?)\s*(?:\bat\b\s*(.*?)\s*)?")
SAME = 1e-9
"""Relative difference up to which a value before the arrow is the one in force."""


@dataclass(frozen=True)
class Step:
    """One value that changes at once."""

    symbol: str
    unit: str
    before: float
    after: float
    time: float | None
    """Second, as asked for; None where none is written.  It comes with the first period that begins then."""


def read_steps(texts: Iterable[str], circuit: Circuit, point: Mapping[str, float]) -> tuple[Step, ...]:
    """Every step, in order of time.

    ``point`` is the operating point before the first.  The value before the arrow must be the one in force: a
    step from another would not be the one that is meant.  Raises :class:`BadValues`.
    """
    found = sorted((_read(text, circuit) for text in texts), key=lambda step: step.time or 0.0)
    now = dict(point)
    for step in found:
        value = now[step.symbol]
        if abs(value - step.before) > SAME * max(abs(value), abs(step.before)):
            raise BadValues(
                f"--step: {step.symbol} is {value:g}{_unit(step)} then, not {step.before:g}{_unit(step)}; "
                f'write --step "{step.symbol}: {value:g}{_unit(step)} -> {step.after:g}{_unit(step)}", '
                "or change the netlist"
            )
        now[step.symbol] = step.after
    return tuple(found)


def _read(text: str, circuit: Circuit) -> Step:
    match = _STEP.fullmatch(text)
    if match is None or not match[2] or not match[3]:
        raise BadValues(
            f'a step is written "{_such(circuit)}", with "at 2 ms" behind it for a later one, not {text!r}'
        )
    name, before, after, time = match.groups()
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    if name not in units:
        raise BadValues(f"--step: there is nothing called {name} to step; {_near(name, circuit)}")
    kept = _keeps_energy(circuit, name)
    if kept:
        raise BadValues(
            f"--step: a step of {name}, {kept}, would make energy out of nothing; "
            f"what can step are {', '.join(_steppable(circuit))}"
        )
    unit = units[name]
    values = [read_value(f"--step: {name}", value, unit) for value in (before, after)]
    when = None if time is None else read_value(f"--step: the instant of {name}", time, "s")
    if when is not None and when < 0:
        raise BadValues(f"--step: {name} steps at {time}, before the start")
    if values[0] == values[1]:
        raise BadValues(f"--step: {name} steps from {before} to {after}, which is no step")
    return Step(name, unit, values[0], values[1], when)


def _near(name: str, circuit: Circuit) -> str:
    device = next((d for d in circuit.devices if d.name == name), None)
    if device is not None:
        own = [quantity.symbol for quantity in device.quantities]
        if own:
            return f"of {name} there is {', '.join(own)}"
        duty = circuit.schedule(name).duty if device in circuit.switches else None
        return f"{name} has no value" + (f"; its duty is {duty}" if duty else "")
    if name in ("f", "fs"):
        return "step the period T"
    return hint_among(name, _steppable(circuit))


def _steppable(circuit: Circuit) -> list[str]:
    return [q.symbol for q in circuit.quantities if not _keeps_energy(circuit, q.symbol)]


def _keeps_energy(circuit: Circuit, symbol: str) -> str:
    """What ``symbol`` is where a step of it would change stored energy by itself, else nothing."""
    if symbol in inductances(circuit) or symbol in {c.quantity.symbol for c in circuit.inductors}:
        return "an inductance"
    if symbol in {c.quantity.symbol for c in circuit.capacitors}:
        return "a capacitance"
    if symbol in {c.symbol for c in circuit.couplings}:
        return "a mutual inductance"
    return "a turns ratio" if symbol in {p.symbol for p in circuit.parameters} else ""


def _such(circuit: Circuit) -> str:
    loads = [load.quantity for load in circuit.loads] + [source.quantity for source in circuit.sources]
    quantity = loads[0]
    return f"{quantity.symbol}: {UNITS[quantity.unit]} -> {UNITS[quantity.unit].replace('1', '2', 1)}"


def _unit(step: Step) -> str:
    return "" if step.unit == "1" else f" {step.unit}"
