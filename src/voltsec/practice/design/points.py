"""The operating points of a specification: a box of inputs and loads, and the duty that each needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource
from voltsec.practice.design.corners import Array, Axis, Box
from voltsec.practice.design.specification import BadSpecification, Range, Specification, output_load
from voltsec.practice.stated_point import UNITS
from voltsec.practice.wanted import NEAREST

PORT_UNITS = {"Vout": "V", "Iout": "A", "Pout": "W"}


@dataclass(frozen=True)
class Points:
    """Operating points of ``circuit`` under a specification; ``duty`` is looked for where not None."""

    circuit: Circuit
    specification: Specification
    box: Box
    fixed: dict[str, float]
    """Symbols with one value each; ports by name."""
    duty: str | None
    sizes: dict[str, float] = field(default_factory=dict)
    """Values chosen for parts."""
    missing: tuple[str, ...] = ()
    """Symbols without a value (coils and capacitors that are to be sized)."""

    def named(self, places: Array) -> dict[str, Array]:
        """(P, axes) places -> every axis and single value by name, (P,) each."""
        columns = {axis.name: places[:, number] for number, axis in enumerate(self.box.axes)}
        one = np.ones(len(places))
        return {name: value * one for name, value in self.fixed.items()} | columns

    def values(self, places: Array) -> dict[str, Array]:
        """(P, axes) places -> every symbol that is varied or stated, ports turned into the load."""
        found = self.named(places)
        output, current, power = (found.pop(port, None) for port in ("Vout", "Iout", "Pout"))
        load = output_load(self.circuit)
        if load is not None and output is not None and (current is not None or power is not None):
            volts = np.abs(output)
            if current is None:
                current = power / volts
            found[load.quantity.symbol] = current if isinstance(load, CurrentSource) else volts / current
        found |= {name: np.full(len(places), value) for name, value in self.sizes.items()}
        return found

    def target(self, places: Array) -> Array | None:
        """(P,) the output voltage that is wanted, ``None`` where none is."""
        return self.named(places).get("Vout")

    def place(self, named: Mapping[str, float]) -> Array:
        """(1, axes) from a value for each axis."""
        return np.array([named[axis.name] for axis in self.box.axes], float)[None, :]

    def full_load(self, places: Array) -> Array:
        """The same places at the largest load."""
        moved = places.copy()
        for number, axis in enumerate(self.box.axes):
            if axis.name in ("Iout", "Pout") or axis.name == self._current_symbol:
                moved[:, number] = axis.high
            elif axis.name == self._resistance_symbol:
                moved[:, number] = axis.low
        return moved

    @property
    def _current_symbol(self) -> str | None:
        load = output_load(self.circuit)
        return load.quantity.symbol if isinstance(load, CurrentSource) else None

    @property
    def _resistance_symbol(self) -> str | None:
        load = output_load(self.circuit)
        return None if load is None or isinstance(load, CurrentSource) else load.quantity.symbol


def points_of(circuit: Circuit, specification: Specification, sized: tuple[str, ...] = ()) -> Points:
    """The box of a specification.  ``sized`` symbols need no value; raises :class:`BadSpecification`.

    What the specification leaves open takes the netlist's value.
    """
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities} | PORT_UNITS
    known = {name: float(value) for name, value in circuit.values.items()}
    stated: dict[str, Range] = dict(specification.ranges)
    for name, port in (
        ("Vout", specification.output),
        ("Iout", specification.current),
        ("Pout", specification.power),
    ):
        if port is not None:
            stated[name] = port
    load = output_load(circuit)
    loaded = bool({"Iout", "Pout"} & set(stated)) and load is not None
    duty = _sought(circuit, specification, known)
    needed = [
        symbol
        for symbol in units
        if symbol not in PORT_UNITS
        and symbol not in sized
        and symbol != duty
        and not (loaded and load is not None and symbol == load.quantity.symbol)
    ]
    coupled = {coupling.symbol for coupling in circuit.couplings if coupling.coefficient is not None}
    missing = [s for s in needed if s not in stated and s not in known and not (s in coupled and sized)]
    if missing:
        raise BadSpecification(_missing(circuit, missing, duty))
    axes = [Axis(name, units[name], r.low, r.high) for name, r in stated.items() if not r.single]
    fixed = {name: r.low for name, r in stated.items() if r.single}
    absent = tuple(s for s in units if s not in PORT_UNITS and s not in stated and s not in known)
    return Points(circuit, specification, Box(tuple(axes)), fixed, duty, missing=absent)


def _sought(circuit: Circuit, specification: Specification, known: Mapping[str, float]) -> str | None:
    """The duty that is looked for."""
    free = [duty for duty in circuit.duty_symbols if duty not in specification.ranges]
    if specification.output is None:
        return None
    if not circuit.duty_symbols:
        raise BadSpecification("no switch has a duty that could set the output: leave out Vout")
    if not free:
        given = ", ".join(circuit.duty_symbols)
        raise BadSpecification(
            f"Vout and {given} are both given; leave out Vout, or the duty that is to set it"
        )
    open_ = [duty for duty in free[1:] if duty not in known]
    if open_:
        raise BadSpecification(
            f"{' and '.join(free)} are both open, and Vout sets one of them: give {open_[0]} too, as in "
            f"{open_[0]}=0.4 (or give {free[0]}, to have {open_[0]} found)"
        )
    return free[0]


def _missing(circuit: Circuit, missing: list[str], duty: str | None) -> str:
    """Which values are missing, and how each may be given."""
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    source, load = circuit.input.quantity.symbol, output_load(circuit)
    hints = []
    for symbol in missing:
        if symbol == source:
            hints.append("Vin=8:16")
        elif load is not None and symbol == load.quantity.symbol:
            hints.append("Iout=0.5:2" if duty is not None else f"{symbol}=6:24")
        elif symbol == "T":
            hints.append("f=100k")
        elif symbol in circuit.duty_symbols and len(circuit.duty_symbols) == 1:
            hints.append("Vout=12")
        elif units[symbol] in ("H", "F"):
            part = next((e.name for e in circuit.elements if symbol in _symbols(e)), symbol)
            hints.append(f"ripple({part})=30%" if units[symbol] == "H" else f"ripple({part})=1%")
        else:
            hints.append(f"{symbol}={UNITS.get(units[symbol], '1')}".replace(" ", ""))
    verb = "has" if len(missing) == 1 else "have"
    return f"{', '.join(missing)} {verb} no value; add {', '.join(hints)}"


def _symbols(element: Any) -> list[str]:
    return [quantity.symbol for quantity in element.quantities]


def duty_line(count: int) -> Array:
    """Duties from :data:`~voltsec.practice.wanted.NEAREST` up, denser at both ends."""
    angle = np.linspace(0, np.pi, count)
    return NEAREST + (1 - 2 * NEAREST) * (1 - np.cos(angle)) / 2


def first_crossing(grid: Array, outputs: Array, target: Array) -> tuple[Array, Array]:
    """(P,) lowest duty and slope there at which (duties, P) ``outputs`` pass ``target``; nan without one."""
    with np.errstate(all="ignore"):
        over = outputs - target
        crosses = (over[:-1] * over[1:] <= 0) & np.isfinite(over[:-1]) & np.isfinite(over[1:])
        k = crosses.argmax(axis=0)
        column = np.arange(outputs.shape[1])
        slope = (outputs[k + 1, column] - outputs[k, column]) / (grid[k + 1] - grid[k])
        place = grid[k] - over[k, column] / slope
    missing = ~crosses.any(axis=0) | ~np.isfinite(place)
    return np.where(missing, np.nan, place), np.where(missing, np.nan, slope)


def at_words(points: Points, place: Array) -> str:
    """``at Vin = 8 V, Iout = 2 A`` and a blank, empty where nothing varies."""
    shown = [
        f"{axis.name} = {value:.4g}{'' if axis.unit == '1' else ' ' + axis.unit}"
        for axis, value in zip(points.box.axes, place, strict=True)
    ]
    return f"at {', '.join(shown)} " if shown else ""
