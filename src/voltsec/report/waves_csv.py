"""Waveforms as comma-separated text: a row a sample, units in the header.

An instant between two intervals has two rows, one for either side of it.  Charge that jumps in no time
stands in a column of its own, in the row after the jump.  Where ideal parts leave a share open its cell is
empty, and two columns hold the least and the most there may be.
"""

from __future__ import annotations

import csv
from math import isnan
from pathlib import Path
from typing import TextIO

import numpy as np

from voltsec.practice.waves import Trace, Waves
from voltsec.report.output_file import draft_of
from voltsec.report.sweep_csv import cell_texts, heading
from voltsec.report.waves_words import IMPULSE_UNITS, IMPULSES, conducting_words


def write_waves(waves: Waves, path: str | Path) -> None:
    """Write ``waves`` to ``path``, all or nothing."""
    with draft_of(path) as draft, draft.open("w", encoding="utf-8", newline="") as stream:
        write_rows(waves, stream)


def write_rows(waves: Waves, stream: TextIO) -> None:
    """The header, then time, what conducts, and every trace."""
    names = [conducting_words(conducting).replace(",", "") for *_, conducting in waves.intervals]
    columns: dict[str, list[str]] = {
        heading("time", "s"): cell_texts(waves.time),
        "conducts": [names[place] for place in waves.interval],
    }
    for trace in waves.traces:
        columns[heading(trace.name, trace.unit)] = cell_texts(trace.values)
        if trace.open:
            columns[heading(f"{trace.name} least", trace.unit)] = cell_texts(trace.low)
            columns[heading(f"{trace.name} most", trace.unit)] = cell_texts(trace.high)
        if trace.impulses:
            kind, unit = IMPULSES[trace.unit], IMPULSE_UNITS[trace.unit]
            columns[heading(f"{trace.name} {kind} that jumps", unit)] = _jumps(waves, trace)
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))


def _jumps(waves: Waves, trace: Trace) -> list[str]:
    """The charge in the first row after each jump; ``open`` where ideal parts share it anyhow."""
    found = [""] * len(waves.time)
    begins = np.flatnonzero(np.diff(waves.interval, prepend=-1))
    for one in trace.impulses:
        row = int(begins[np.abs(waves.time[begins] - one.time).argmin()])
        found[row] = "open" if isnan(one.amount) else f"{one.amount:.12g}"
    return found
