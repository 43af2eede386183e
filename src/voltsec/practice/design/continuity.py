"""Down to which load a sized stage stays in continuous conduction."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from sympy import Expr

from voltsec.circuit.elements import CurrentSource
from voltsec.practice.design.corners import Array, Axis, Box
from voltsec.practice.design.evaluated import Evaluated
from voltsec.practice.design.inverted import continuous_mode, expanded, numbers
from voltsec.practice.design.points import Points
from voltsec.practice.design.specification import output_load

SPAN = 1e3
"""Loads are looked at down to this share of the largest."""
LINE = 17
"""Loads in a round; three rounds come within a thousandth."""
ROUNDS = 3
BESIDE = 1.02
"""The formula's edge is told where the exact state changes within this factor on both sides."""
CLOSED = 1e-5
"""Share of the period below which an interval of rest is none."""
PLACES = 9
"""Points of every other axis."""


@dataclass(frozen=True)
class Continuity:
    """The load current from which conduction is continuous, at the input that asks for the most."""

    least_current: float | None
    """Ampere; ``None`` where it is continuous down to :data:`SPAN` below the largest load."""
    never: bool
    """True where it is not continuous even at the largest load somewhere."""
    at: dict[str, float]
    """The point that asks for the most, the other quantities by name."""
    formula: Expr | None
    """The load resistance at the edge, in continuous conduction."""


class _Unnamed(Exception):
    """At some point none of the listed modes holds: whether it is continuous there is not known."""


def continuity(evaluated: Evaluated) -> Continuity | None:
    """The edge of continuous conduction; ``None`` where no load current can be told, or no such mode.

    Nothing is told either where the exact state conducts as none of the listed modes does.
    """
    try:
        return _continuity(evaluated)
    except _Unnamed:
        return None


def _continuity(evaluated: Evaluated) -> Continuity | None:
    points = evaluated.points
    load = output_load(points.circuit)
    mode = continuous_mode(evaluated.solution.modes)
    if load is None or mode is None or points.duty is None:
        return None
    if len(evaluated.solution.modes) == 1:
        return Continuity(None, False, {}, None)
    axis = _load_axis(points)
    if axis is None:
        return None
    rest = Box(tuple(one for one in points.box.axes if one.name != axis.name))
    places = rest.grid(PLACES if len(rest.axes) == 1 else 3)
    high = np.full(len(places), axis.high)
    low = high / SPAN
    edge = mode.boundary.get(load.quantity.symbol, mode.boundary.get("R"))
    single = not any(key.startswith("K") and key != "K" for key in mode.boundary)
    formula = expanded(mode, edge) if edge is not None and single else None
    if formula is not None:
        known = _by_formula(evaluated, axis, rest, places, formula)
        if known is not None:
            return known
    top = _continuous(evaluated, axis, rest, places, high[:, None])[:, 0]
    if not top.all():
        place = places[~top][0]
        at = {one.name: float(v) for one, v in zip(rest.axes, place, strict=True)}
        return Continuity(None, True, at, None)
    for _ in range(ROUNDS):
        line = np.geomspace(low, high, LINE, axis=1)
        good = _continuous(evaluated, axis, rest, places, line)
        # the first load, from the top down, at which it is not continuous
        stops = np.where(good.all(axis=1), 0, LINE - 1 - (~good)[:, ::-1].argmax(axis=1))
        row = np.arange(len(places))
        never = good.all(axis=1)
        low = np.where(never, low, line[row, stops])
        high = np.where(never, low, line[row, np.minimum(stops + 1, LINE - 1)])
    if never.all() and (low <= axis.high / SPAN * 1.001).all():
        return Continuity(None, False, {}, None)
    k = int(high.argmax())
    at = {one.name: float(v) for one, v in zip(rest.axes, places[k], strict=True)}
    return Continuity(float(high[k]), False, at, None)


def _by_formula(
    evaluated: Evaluated, axis: Axis, rest: Box, places: Array, formula: Expr
) -> Continuity | None:
    """The edge by its formula where the exact state agrees with it; ``None`` where it does not.

    The duty is that of the largest load, which in continuous conduction hardly moves with the load.
    """
    points = evaluated.points
    whole = _along_load(points, axis, rest)
    full = _with_load(places, axis.high)
    table = {name: np.full(len(places), float(v)) for name, v in points.circuit.values.items()}
    table |= whole.values(full)
    other = Evaluated(evaluated.solution, whole)
    duty, wanted = points.duty, whole.target(full)
    assert duty is not None and wanted is not None
    for _ in range(2):
        table[duty] = other.duties(full)
        try:
            current = np.abs(wanted) / numbers(formula, table)
        except KeyError:
            return None
        if not np.isfinite(current).all() or (current <= 0).any() or (current >= axis.high).any():
            return None
        full = _with_load(places, current * BESIDE)
        table |= {name: v for name, v in whole.values(full).items() if name in table}
    good = _continuous(
        evaluated, axis, rest, places, np.stack([current / BESIDE, current * BESIDE], axis=1), other
    )
    if good[:, 0].any() or not good[:, 1].all():
        return None
    k = int(current.argmax())
    at = {one.name: float(v) for one, v in zip(rest.axes, places[k], strict=True)}
    return Continuity(float(current[k]), False, at, formula)


def _load_axis(points: Points) -> Axis | None:
    """What the load current is varied by: an axis of its own name, up to the largest load."""
    stated = {axis.name: axis.high for axis in points.box.axes} | points.fixed
    if "Iout" in stated:
        return Axis("Iout", "A", stated["Iout"] / SPAN, stated["Iout"])
    load = output_load(points.circuit)
    if isinstance(load, CurrentSource) and load.quantity.symbol in stated:
        most = stated[load.quantity.symbol]
        return Axis(load.quantity.symbol, "A", most / SPAN, most)
    return None


def _with_load(places: Array, load: Array | float) -> Array:
    """Places of the other axes with a load current before them."""
    return np.concatenate([np.broadcast_to(load, (len(places),))[:, None], places], axis=1)


def _along_load(points: Points, axis: Axis, rest: Box) -> Points:
    """The same points with the load current as the first axis."""
    fixed = {name: value for name, value in points.fixed.items() if name != axis.name}
    return replace(points, box=Box((axis, *rest.axes)), fixed=fixed)


def _continuous(
    evaluated: Evaluated,
    axis: Axis,
    rest: Box,
    places: Array,
    loads: Array,
    along: Evaluated | None = None,
) -> Array:
    """(places, loads) whether conduction is continuous."""
    points = evaluated.points
    other = along or Evaluated(evaluated.solution, _along_load(points, axis, rest))
    many = np.concatenate([loads.reshape(-1, 1), np.repeat(places, loads.shape[1], axis=0)], axis=1)
    found = other.at(many, ("output_voltage",), CLOSED)
    names = np.array([str(name) for name in found.mode])
    if (names == "").any():
        raise _Unnamed
    return np.char.startswith(names, "CCM").reshape(loads.shape)
