"""Responses over frequency as a table: CSV, one row a frequency."""

from __future__ import annotations

import csv
from typing import TextIO

from voltsec.dynamics.bode import curves, frequencies
from voltsec.dynamics.model import Model
from voltsec.report.dynamics_words import control_name
from voltsec.report.output_file import draft_of


def write_responses(model: Model, path: str, points: int) -> None:
    """Write the table to ``path``, all of it or nothing."""
    with draft_of(path) as draft, draft.open("w", encoding="utf-8", newline="") as stream:
        write_rows(model, stream, points)


def write_rows(model: Model, stream: TextIO, points: int) -> None:
    """Frequency (Hz), then magnitude (dB) and phase (degrees) of every response, averaged and exact."""
    hertz = frequencies(model, points)
    found = curves(model, hertz)
    several = sum(one.link.kind == "duty" for one in model.responses) > 1
    head = ["frequency_Hz"]
    for curve in found:
        name = f"{curve.link.kind}_{control_name(curve.link)}" if several else curve.link.kind
        how = "exact" if curve.exact else "averaged"
        head += [f"{name}_{how}_dB", f"{name}_{how}_deg"]
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(head)
    for place, frequency in enumerate(hertz):
        cells = [value for c in found for value in (c.decibels[place], c.degrees[place])]
        writer.writerow([f"{value:.8g}" for value in (frequency, *cells)])
