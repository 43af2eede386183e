"""What damps an input filter at every corner: the helper of the small signals, with preferred values."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import isfinite

import numpy as np

from voltsec.circuit.elements import Capacitor, Quantity, Resistor
from voltsec.dynamics.chosen_mode import NotTold
from voltsec.dynamics.input_filter import Damping, input_filter, interaction
from voltsec.practice.asked import known_point
from voltsec.practice.design.corners import Array
from voltsec.practice.design.evaluated import Evaluated
from voltsec.practice.design.preferred import at_least
from voltsec.waveforms.network import NotDetermined

RESISTORS, CAPACITORS = "E12", "E6"


@dataclass(frozen=True)
class FilterDamping:
    """An input filter against its stage at the worst corner, and the branch that damps it."""

    elements: tuple[str, ...]
    """Of the filter."""
    margin: float
    """Decibels between the impedances as they are; minus infinity where nothing damps the filter."""
    at: dict[str, float]
    """The corner of the least margin."""
    across: str = ""
    """The capacitor that the branch lies across; empty where none is needed or known."""
    resistance: Fraction | None = None
    capacitance: Fraction | None = None
    """In series with each other."""
    damped: float | None = None
    """Least margin over the corners with them, decibels."""


def filter_damping(evaluated: Evaluated, series: str | None = None) -> FilterDamping | None:
    """The damping of the circuit's input filter; ``None`` where there is none or nothing can be told."""
    points = evaluated.points
    found = input_filter(points.circuit)
    if found is None:
        return None
    corners = points.box.corners()
    told = [_at(evaluated, place) for place in corners]
    margins = [None if one is None else one[0] for one in told]
    known = [k for k, margin in enumerate(margins) if margin is not None]
    if not known:
        return None
    worst = min(known, key=lambda k: margins[k] or 0.0)
    margin = margins[worst]
    assert margin is not None
    axes = points.box.axes
    at = {axis.name: float(value) for axis, value in zip(axes, corners[worst], strict=True)}
    plain = FilterDamping(found.names, margin, at)
    branches = [one[1] for one in told if one is not None and one[1] is not None]
    if not branches:
        return plain
    branch = max(branches, key=lambda one: one.capacitance)
    resistance = at_least(branch.resistance, series or RESISTORS)
    capacitance = at_least(branch.capacitance, series or CAPACITORS)
    middle = f"{found.node}#"
    more = (
        Resistor("R#", found.node, middle, Quantity("R#", "ohm", resistance)),
        Capacitor("C#", middle, found.reference, Quantity("C#", "F", capacitance)),
    )
    circuit = replace(points.circuit, elements=(*points.circuit.elements, *more))
    other = Evaluated(evaluated.solution, replace(points, circuit=circuit), formulas=False)
    again = [_at(other, place) for place in corners]
    damped = min((one[0] for one in again if one is not None), default=float("nan"))
    return replace(
        plain,
        across=branch.across,
        resistance=resistance,
        capacitance=capacitance,
        damped=damped if isfinite(damped) else None,
    )


def _at(evaluated: Evaluated, place: Array) -> tuple[float, Damping | None] | None:
    """Least margin at one place, and what damps the filter there."""
    points = evaluated.points
    values = {name: float(value[0]) for name, value in points.values(place[None, :]).items()}
    if points.duty is not None:
        values[points.duty] = float(evaluated.duties(place[None, :])[0])
        if not np.isfinite(values[points.duty]):
            return None
    point, _ = known_point(points.circuit, values)
    try:
        result = interaction(points.circuit, {name: float(value) for name, value in point.items()})
    except (NotTold, NotDetermined):
        return None
    return result.worst[0], result.damping
