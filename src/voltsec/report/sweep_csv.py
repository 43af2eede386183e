"""A sweep as comma-separated text: one row a point, units in the header."""

from __future__ import annotations

import csv
from itertools import count
from pathlib import Path
from typing import TextIO

import numpy as np

from voltsec.periodic.reading_list import quantity_units
from voltsec.practice.sweep import Sweep
from voltsec.practice.tolerance import PERCENTILES, Spread
from voltsec.report.output_file import draft_of

ROWS = 10_000
"""Rows turned into text at a time."""


def write_csv(sweep: Sweep, path: str | Path) -> None:
    """Write ``sweep`` to ``path``."""
    with draft_of(path) as draft, draft.open("w", encoding="utf-8", newline="") as stream:
        write_rows(sweep, stream)


def write_rows(sweep: Sweep, stream: TextIO) -> None:
    """The header, then a row a point: swept values, mode, quantities (empty where there is none).

    Where the formulas' values differ somewhere by more than one per cent they stand beside.
    """
    units = {quantity.symbol: quantity.unit for quantity in sweep.circuit.quantities}
    units |= quantity_units(sweep.circuit)
    columns = {**sweep.swept, **sweep.values}
    heads = {name: heading(name, units[name]) for name in columns} | {"mode": "mode"}
    for name in sweep.differing():
        columns[f"{name} by formula"] = sweep.formulas[name]
        heads[f"{name} by formula"] = heading(f"{name} by formula", units[name])
    names = [*sweep.swept, "mode", *(name for name in columns if name not in sweep.swept)]
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([heads[name] for name in names])
    flat = {name: column.ravel() for name, column in columns.items()}
    modes = sweep.mode.ravel()
    for start in count(0, ROWS):
        if start >= modes.size:
            break
        part = slice(start, start + ROWS)
        texts = [modes[part] if name == "mode" else cell_texts(flat[name][part]) for name in names]
        writer.writerows(zip(*texts, strict=True))


def write_spread(spread: Spread, stream: TextIO) -> None:
    """Percentiles, a row a quantity."""
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["quantity", "unit", "nominal", *(percentile_name(p) for p in PERCENTILES)])
    for name, values in spread.percentiles.items():
        numbers = cell_texts(np.array([spread.nominal[name], *values]))
        writer.writerow([name, spread.units[name], *numbers])


def heading(name: str, unit: str) -> str:
    """``R (ohm)``; a pure number has no unit."""
    return name if unit in ("1", "") else f"{name} ({unit})"


def percentile_name(percent: float) -> str:
    """``5 %``; the ends by what they are."""
    return {0.0: "least", 100.0: "most"}.get(percent, f"{percent:g} %")


def cell_texts(values: np.ndarray) -> list[str]:
    """Numbers as cells, empty where there is none."""
    # twelve digits: more would show rounding, and 0.30000000000000004 helps nobody
    return ["" if np.isnan(value) else f"{value:.12g}" for value in values]
