"""A map of modes as one JSON object (see DEVELOPERS.md, "Results as JSON")."""

from __future__ import annotations

import numpy as np

from voltsec.practice.map import Axis, Curve, RegionMap
from voltsec.report.machine import FORMAT, Json
from voltsec.report.read_back import Writer, symbol_units

COLUMNS, ROWS = 100, 70
"""Cells over the duty and along the upright axis."""


def map_json(areas: RegionMap) -> Json:
    """``areas`` as plain values, ready for :func:`json.dumps`."""
    units = symbol_units(areas.solution)
    write = Writer(units)
    rows, columns = areas.cells.shape
    return {
        "format": FORMAT,
        "circuit": areas.solution.circuit.name,
        "symbols": units,
        "axes": {"x": _axis(areas.x, columns, write), "y": _axis(areas.y, rows, write)},
        "modes": list(areas.names),
        "cells": areas.cells.tolist(),
        "boundaries": [_boundary(curve, write) for curve in areas.curves],
        "point": None if areas.point is None else {"x": areas.point[0], "y": areas.point[1]},
        "fixed": areas.fixed,
        "coarse": list(areas.coarse),
        "runaway": list(areas.runaway),
    }


def _axis(axis: Axis, count: int, write: Writer) -> Json:
    return {
        "symbol": axis.name,
        "unit": axis.unit,
        "scale": "logarithmic" if axis.logarithmic else "linear",
        "definition": write(axis.definition),
        "values": axis.centres(count).tolist(),
    }


def _boundary(curve: Curve, write: Writer) -> Json:
    drawn = np.isfinite(curve.y)
    return {
        "mode": curve.mode,
        "formula": write.text(curve.formula),
        "x": curve.x[drawn].tolist(),
        "y": curve.y[drawn].tolist(),
    }
