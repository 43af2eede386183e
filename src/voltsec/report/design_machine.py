"""Worst corners and sizes as plain values for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from voltsec.practice.design.extremes import Corner, Extreme, WorstCase
from voltsec.practice.design.points import Points
from voltsec.practice.design.sizing import Sizing
from voltsec.report.machine import FORMAT, Writer, circuit_name, symbol_units

Json = dict[str, Any]


def worst_json(worst: WorstCase) -> Json:
    """The worst corner of every result."""
    write = Writer(symbol_units(worst.solution))
    return {
        "format": FORMAT,
        "circuit": circuit_name(worst.points.circuit),
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
        "losses": None
        if sizing.losses is None
        else {
            "at": _corner(sizing.losses[0]),
            "parts": {name.partition(".")[2]: loss for name, loss in sizing.losses[1].items()},
        },
        "notes": list(sizing.notes),
    }


def _losses(at: Corner, losses: Mapping[str, float]) -> Json:
    """By part, those beside conduction by part and kind (``S.turn_on``)."""
    return {"at": _corner(at), "parts": {name.partition(".")[2]: loss for name, loss in losses.items()}}


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
