"""A start-up as comma-separated text: of few periods a row a sample, of more a row a period."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from voltsec.practice.startup_result import Startup
from voltsec.practice.traces_wanted import WantedTrace
from voltsec.report.output_file import draft_of
from voltsec.report.sweep_csv import cell_texts, heading
from voltsec.report.waves_words import IMPULSE_UNITS, IMPULSES

MOST_SAMPLED = 200
"""Periods up to which every sample of the courses has a row."""


def write_startup(start: Startup, path: str | Path) -> None:
    """Write ``start`` to ``path``, all or nothing.

    Up to 200 periods a row is a sample (an instant at which something steps has two, and charge that jumps
    then stands in the second); of more a row is a period, with mean, lowest and highest value of every trace,
    and what jumps.
    """
    columns: dict[str, np.ndarray] = {}
    if len(start.time) - 1 <= MOST_SAMPLED:
        times, values = start.samples()
        columns[heading("time", "s")] = times
        jumps = start.jumps()
        for one in start.traces:
            columns[heading(one.text, one.unit)] = values[one.text]
            if jumps[one.text].any():
                columns[_jump_heading(one)] = jumps[one.text]
    else:
        columns[heading("period begins", "s")] = start.time[:-1]
        for one in start.traces:
            series = start[one.text]
            columns[heading(f"{one.text} mean", one.unit)] = series.mean
            columns[heading(f"{one.text} lowest", one.unit)] = series.low
            columns[heading(f"{one.text} highest", one.unit)] = series.high
            if series.jumped.any():
                columns[_jump_heading(one)] = series.jumped
    with draft_of(path) as draft, draft.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(zip(*(cell_texts(column) for column in columns.values()), strict=True))


def _jump_heading(trace: WantedTrace) -> str:
    return heading(f"{trace.text} {IMPULSES[trace.unit]} that jumps", IMPULSE_UNITS[trace.unit])
