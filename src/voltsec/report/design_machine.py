"""Worst corners and sizes as plain values for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from fractions import Fraction
from math import isfinite
from typing import Any

from sympy import Basic

from voltsec.practice.design.clamp import Clamp
from voltsec.practice.design.comparison import Comparison
from voltsec.practice.design.extremes import Corner, Extreme, WorstCase
from voltsec.practice.design.filter_damping import FilterDamping
from voltsec.practice.design.judged import MEASURES
from voltsec.practice.design.judging import Judged
from voltsec.practice.design.points import Points
from voltsec.practice.design.sizing import Sizing
from voltsec.report.machine import FORMAT
from voltsec.report.read_back import Writer, symbol_units

Json = dict[str, Any]


def worst_json(worst: WorstCase) -> Json:
    """The worst corner of every result."""
    write = Writer(symbol_units(worst.solution))
    return {
        "format": FORMAT,
        "circuit": worst.points.circuit.name,
        "ranges": ranges_json(worst.points),
        "worst": {name: _extreme(one, write) for name, one in worst.extremes.items()},
        "unbounded": list(worst.unbounded),
        "without_state": worst.empty,
        "definitions": _definitions(worst, write),
    }


def sizing_json(sizing: Sizing) -> Json:
    """The answer of ``voltsec size``."""
    units = symbol_units(sizing.solution)
    units |= {size.least.limit: size.ripple.unit for size in sizing.sizes}
    write = Writer(units)
    found = sizing.continuity
    worst = worst_json(sizing.worst)
    return {
        **worst,
        "duty": None
        if sizing.duties is None
        else {
            "symbol": sizing.points.duty,
            "least": _extreme(sizing.duties[0], write),
            "largest": _extreme(sizing.duties[1], write),
            "formula": write(sizing.duty_formula),
        },
        "sizes": [
            {
                "part": size.part,
                "symbol": size.symbol,
                "unit": size.unit,
                "least": size.least.value,
                "at": _corner(size.least.at),
                "formula": write(size.least.formula),
                "limit": {"symbol": size.least.limit, "value": size.least.allowed},
                "series": size.series,
                "value": float(size.chosen),
                "ripple": size.ripple.value,
                "allowed": size.allowed,
                "ripple_at": _corner(size.ripple.at),
                "raised": size.raised,
            }
            for size in sizing.sizes
        ],
        "continuous": None
        if found is None
        else {
            "least_current": found.least_current,
            "never": found.never,
            "at": found.at,
            "resistance": write(found.formula),
        },
        "losses": None if sizing.losses is None else _losses(*sizing.losses),
        "clamps": [_clamp(clamp) for clamp in sizing.clamps],
        "damping": None if sizing.damping is None else _damping(sizing.damping),
        "notes": list(sizing.notes),
    }


def _losses(at: Corner, losses: Mapping[str, float]) -> Json:
    """By part, those beside conduction by part and kind (``S.turn_on``)."""
    return {"at": _corner(at), "parts": {name.partition(".")[2]: loss for name, loss in losses.items()}}


def _clamp(clamp: Clamp) -> Json:
    return {
        "switch": clamp.switch,
        "allowed": clamp.allowed,
        "elements": [element.name for element in clamp.elements],
        "resistance": _float(clamp.resistance),
        "capacitance": _float(clamp.capacitance),
        "energy": clamp.energy,
        "power": clamp.power,
        "peak": clamp.peak,
        "at": None if clamp.at is None else _corner(clamp.at),
        "peak_at": None if clamp.peak_at is None else _corner(clamp.peak_at),
    }


def _damping(found: FilterDamping) -> Json:
    return {
        "filter": list(found.elements),
        "margin": found.margin if isfinite(found.margin) else None,
        "at": found.at,
        "across": found.across,
        "resistance": _float(found.resistance),
        "capacitance": _float(found.capacitance),
        "damped": found.damped,
    }


def _float(value: Fraction | None) -> float | None:
    return None if value is None else float(value)


def ranges_json(points: Points) -> Json:
    """Name -> [low, high] in SI units; one value twice."""
    found = {axis.name: [axis.low, axis.high] for axis in points.box.axes}
    return found | {name: [value, value] for name, value in points.fixed.items()}


def _definitions(worst: WorstCase, write: Writer) -> Json:
    """What the named quantities of each mode stand for."""
    named = {one.at.mode for one in worst.extremes.values()}
    return {
        mode.name: {name: write(value) for name, value in mode.definitions.items()}
        for mode in worst.solution.modes
        if mode.name in named
    }


def _corner(corner: Corner) -> Json:
    return {"values": corner.values, "mode": corner.mode, "corner": corner.corner}


def _extreme(one: Extreme, write: Writer) -> Json:
    return {
        "value": one.value,
        "unit": one.unit,
        "at": _corner(one.at),
        "formula": write(one.formula),
        "by_formula": one.by_formula,
        "bound": one.bound,
    }


def comparison_json(comparison: Comparison) -> Json:
    """Stages side by side."""
    return {
        "format": FORMAT,
        "wanted": comparison.wanted,
        "by": comparison.criterion or None,
        "measures": [asdict(one) for one in MEASURES],
        "parts": asdict(comparison.parts),
        "ripples": {name: asdict(limit) for name, limit in comparison.ripples.items()},
        "circuits": [_judged(one) for one in comparison.judged],
    }


def _judged(one: Judged) -> Json:
    write = Writer({quantity.symbol for quantity in one.circuit.quantities})
    values: Json = {}
    for key, value in one.values.items():
        if isinstance(value, Basic):
            values[key] = write(value)
        else:
            values[key] = None if isinstance(value, float) and not isfinite(value) else value
    return {
        "name": one.name,
        "can": not one.why_not,
        "why_not": one.why_not,
        "values": values,
        "unbounded": [k for k, v in one.values.items() if isinstance(v, float) and not isfinite(v)],
        "at": {key: _corner(corner) for key, corner in one.at.items()},
        "sizes": one.sizes,
        "kept": list(one.kept),
        "curves": {
            key: [None if not isfinite(x) else float(x) for x in line] for key, line in one.curves.items()
        },
    }
