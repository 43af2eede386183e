"""Where each mode of a stage is met: the netlist's operating point changed as little as need be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import log10

import numpy as np

from voltsec.circuit.elements import CurrentSource, Load
from voltsec.practice.asked import BadValues
from voltsec.practice.sweep import sweep
from voltsec.results.solution import Solution

DECADES = tuple(quarter / 4 for quarter in range(-6, 9))
"""Powers of ten by which the load is changed."""
DUTIES = (0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85)
PERIODS = (0.1, 0.3, 1.0, 3.0, 10.0)
"""Factors of the period."""
TIMES = 4.0
"""A change of a duty by its whole range weighs as much as so many decades of another value."""
ANOTHER = 0.5
"""Decades that each changed value counts besides: one changed value is read more easily than two."""
EDGE = 3.0
"""Decades that a point beside another mode's counts besides: shapes there are next to the other's."""
MOST = 4
"""Points told of one mode."""


@dataclass(frozen=True)
class ModePoint:
    """A point at which the formulas of a mode hold."""

    mode: str
    changes: dict[str, float]
    """Symbols whose values differ from the netlist's, SI units."""


def mode_points(solution: Solution, wanted: tuple[str, ...]) -> dict[str, list[ModePoint]]:
    """For each mode of ``wanted`` up to :data:`MOST` points, the nearest first; none where none is met.

    First the load alone is changed, then a duty with it, then the period as well.
    """
    found: dict[str, list[ModePoint]] = {}
    for axes in _planes(solution):
        left = [name for name in wanted if name not in found]
        if not left:
            break
        for name, points in _met(solution, axes, left).items():
            found[name] = points
    return found


def _planes(solution: Solution) -> Iterator[dict[str, list[float]]]:
    """The values that are tried, a wider choice each time; the netlist's own is in the middle of each."""
    circuit = solution.circuit
    values = {name: float(value) for name, value in circuit.values.items()}
    loads = [e.quantity.symbol for e in circuit.of(Load, CurrentSource) if e.quantity.symbol in values]
    axes: dict[str, list[float]] = {}
    if loads:
        axes[loads[0]] = sorted({_round(values[loads[0]] * 10**decade) for decade in DECADES})
        yield axes
    for duty in circuit.duty_symbols[:1]:
        axes = {**axes, duty: sorted({*DUTIES, values[duty]})}
        yield axes
    if "T" in values:
        yield {**axes, "T": [values["T"] * factor for factor in PERIODS]}


def _round(value: float) -> float:
    """Two digits: such a value is what one would write."""
    return float(f"{value:.2g}")


def _met(solution: Solution, axes: dict[str, list[float]], wanted: list[str]) -> dict[str, list[ModePoint]]:
    """The nearest points of each mode on a grid."""
    grid = np.meshgrid(*(np.array(values) for values in axes.values()), indexing="ij", sparse=True)
    try:
        swept = sweep(
            solution, dict(zip(axes, grid, strict=True)), ("output_voltage",), most_exact=0, hurried=True
        )
    except BadValues:
        return {}
    modes = swept.mode
    ranked: dict[str, list[tuple[float, dict[str, float]]]] = {}
    for place in product(*(range(len(values)) for values in axes.values())):
        name = str(modes[place])
        if name not in wanted:
            continue
        point = {name: values[k] for (name, values), k in zip(axes.items(), place, strict=True)}
        weight = _weight(solution, point) + (0.0 if _inside(modes, place) else EDGE)
        ranked.setdefault(name, []).append((weight, point))
    known = solution.circuit.values
    found = {}
    for name, points in ranked.items():
        points.sort(key=lambda pair: pair[0])
        found[name] = [
            ModePoint(name, {s: v for s, v in point.items() if v != float(known[s])})
            for _, point in points[:MOST]
        ]
    return found


def _inside(modes: np.ndarray, place: tuple[int, ...]) -> bool:
    """The neighbours along the first axis (the load, where there is one) have the same mode."""
    first, *others = place
    around = range(max(first - 1, 0), min(first + 2, modes.shape[0]))
    return all(modes[(other, *others)] == modes[place] for other in around)


def _weight(solution: Solution, point: dict[str, float]) -> float:
    """How far ``point`` lies from the netlist's."""
    known = {name: float(value) for name, value in solution.circuit.values.items()}
    total = 0.0
    for name, value in point.items():
        if value == known[name]:
            continue
        duty = name in solution.circuit.duty_symbols
        total += ANOTHER + (TIMES * abs(value - known[name]) if duty else abs(log10(value / known[name])))
    return total
