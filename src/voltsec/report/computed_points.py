"""Numbers of the exact state on a grid, for the page's sliders and curves where no formula is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

import numpy as np

from voltsec.circuit.computing_time import budget_of, seconds_left
from voltsec.practice.sweep import sweep
from voltsec.report.contents import figures, loads, number_rows, slider_key
from voltsec.report.javascript import has_formulas
from voltsec.results.solution import Solution
from voltsec.results.table import results_of

DUTIES = [0.02 + 0.04 * k for k in range(25)]
DECADES = (-1.0, -0.5, 0.0, 0.5, 1.0, 1.5)
"""The load relative to the netlist's, as far as its slider goes."""
DIGITS = 6
SHARE = 0.5
"""Share of the computing time that is left, for points at which the state must be searched."""
CURVES = {"gain", "V", "eta"}
"""Shown as curves, whether or not as numbers."""


@dataclass(frozen=True)
class ComputedPoints:
    """A grid over the first duty and the first load, everything else at the operating point."""

    axes: dict[str, list[float]]
    """Symbol -> its values, in the order in which places are counted, the last one fastest."""
    modes: list[str]
    """Of each place; empty where devices conduct as in none of the modes, or no state was found."""
    values: dict[str, list[float | None]]
    """What the page's script calls a number -> its value at each place, SI."""

    @property
    def lossy(self) -> bool:
        """Whether power is lost at any of the points."""
        return any(value is not None and value < 1.0 for value in self.values.get("eta", []))

    def along(self, duty: str, key: str, point: Mapping[str, float]) -> list[tuple[float, float]]:
        """(duty, value) of the computed points next to ``point``, the duty apart."""
        table = np.array([np.nan if value is None else value for value in self.values.get(key, [])], float)
        if not table.size or duty not in self.axes:
            return []
        table = table.reshape([len(values) for values in self.axes.values()])
        for name, values in reversed(self.axes.items()):
            if name != duty:
                nearest = int(np.argmin(np.abs(np.log(np.array(values) / point[name]))))
                table = table[..., nearest]
        pairs = zip(self.axes[duty], table, strict=True)
        return [(share, float(value)) for share, value in pairs if isfinite(value)]

    def plain(self) -> dict[str, object]:
        """As the page's script takes it."""
        return {
            "order": list(self.axes),
            "axes": self.axes,
            "modes": self.modes,
            "values": self.values,
        }


def computed_points(solution: Solution) -> ComputedPoints | None:
    """The grid where some mode of ``solution`` (which has numbers) has no formula the page can evaluate."""
    numbers = solution.numbers
    if numbers is None or (solution.modes and all(has_formulas(mode) for mode in solution.modes)):
        return None
    circuit = solution.circuit
    axes: dict[str, list[float]] = {}
    for duty in circuit.duty_symbols[:1]:
        axes[duty] = sorted({*DUTIES, numbers.point[duty]})
    for load in loads(circuit)[:1]:
        axes[load.symbol] = [numbers.point[load.symbol] * 10**decade for decade in DECADES]
    if not axes:
        return None
    names = _names(solution)
    grid = np.meshgrid(*(np.array(values) for values in axes.values()), indexing="ij", sparse=True)
    others = {name: value for name, value in numbers.point.items() if name not in axes}
    with budget_of(max(seconds_left(), 0.0) * SHARE):  # searches from nothing end with it
        values = {**others, **dict(zip(axes, grid, strict=True))}
        found = sweep(solution, values, tuple(names.values()), hurried=True)
    return ComputedPoints(
        axes,
        [str(mode) for mode in found.mode.ravel()],
        {key: [_short(value) for value in found[name].ravel()] for key, name in names.items()},
    )


def _names(solution: Solution) -> dict[str, str]:
    """What the page shows, by its script's name -> the name in the table of results."""
    shown = {figure.key for figure in figures(solution)} | CURVES
    shown |= {cell.key for row in number_rows(solution) for cell in row.cells}
    keys = {slider_key(name): name for name in results_of(solution.circuit)}
    return {key: name for key, name in keys.items() if key in shown}


def _short(value: float) -> float | None:
    return float(f"{value:.{DIGITS}g}") if isfinite(value) else None
