"""One waveform as a small plot in characters, of dots within characters where the terminal has them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from voltsec.practice.waves import Trace, Waves
from voltsec.report.alphabet import Alphabet
from voltsec.report.quantity import engineering
from voltsec.report.waves_words import conducting_words

Array = np.ndarray

LABELS = 12
"""Characters before the frame."""
DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
"""Bits of a braille character's dots, rows by columns."""
BRAILLE = 0x2800
FLAT = 1e-7
"""A swing below this share of the value is a straight line."""


def plot_lines(waves: Waves, trace: Trace, rows: int, columns: int, alphabet: Alphabet) -> Iterator[str]:
    """The plot, lowest and highest value at its left; ``rows`` by ``columns`` characters within the frame."""
    values = np.concatenate([trace.values, trace.low, trace.high])
    values = values[np.isfinite(values)]
    frame = "│" if alphabet.unicode else "|"
    if not values.size:
        yield " " * LABELS + frame + alphabet.plain("  open: nothing in the circuit fixes the level")
        return
    low, high = float(values.min()), float(values.max())
    flat = high - low <= FLAT * max(abs(low), abs(high))
    cells = _cells(waves, trace, (low, high), rows, columns, alphabet)
    for row, line in enumerate(cells):
        label = ""
        if flat and row == rows // 2:
            label = engineering((low + high) / 2, trace.unit, alphabet)
        elif not flat and row in (0, rows - 1):
            label = engineering(low if row else high, trace.unit, alphabet)
        yield f"{label.rjust(LABELS - 1)} {frame}{line}".rstrip()


def _cells(
    waves: Waves, trace: Trace, span: tuple[float, float], rows: int, columns: int, alphabet: Alphabet
) -> list[str]:
    """The inside of the frame, a text a row."""
    across, down = (2, 4) if alphabet.unicode else (1, 1)
    width, height = across * columns, down * rows
    low, high = span
    room = max(high - low, FLAT * max(abs(low), abs(high)), 1e-300)
    middle = (low + high) / 2

    def line(values: Array) -> Array:
        return np.clip((height - 1) * (0.5 - (values - middle) / room), 0, height - 1)

    x = np.clip(waves.time / (waves.periods * waves.period) * width, 0, width - 1)
    dots = _drawn(x, line(trace.values), width, height)
    band = np.zeros((rows, columns), bool)
    open_ = np.isnan(trace.values) & np.isfinite(trace.low) & np.isfinite(trace.high)
    upper, lower = (np.nan_to_num(line(part).round() // down) for part in (trace.high, trace.low))
    for place in np.flatnonzero(open_).tolist():
        until = x[place + 1] if place + 1 < len(x) and open_[place + 1] else x[place]
        across_cells = slice(int(x[place] // across), int(until // across) + 1)
        band[int(upper[place]) : int(lower[place]) + 1, across_cells] = True
    signs = _signs(dots, rows, columns, alphabet)
    signs = np.where(band & (signs == " "), "░" if alphabet.unicode else ":", signs)
    for one in trace.impulses:
        share = one.time / (waves.periods * waves.period)
        place = min(int(share * columns), columns - 1)
        stem, heads = ("┃", "▲▼") if alphabet.unicode else ("!", "^v")
        signs[:, place] = stem
        up = not one.amount < 0  # of an open share the sign is not known
        signs[0 if up else -1, place] = heads[0 if up else 1]
    return ["".join(row).rstrip() for row in signs]


def _drawn(x: Array, y: Array, width: int, height: int) -> Array:
    """Dots (height, width) of the lines between neighbouring samples."""
    dots = np.zeros((height, width), bool)
    for first in range(len(x) - 1):
        ends = x[first], y[first], x[first + 1], y[first + 1]
        if not np.isfinite(ends).all():
            continue
        count = int(max(abs(ends[2] - ends[0]), abs(ends[3] - ends[1]))) + 2
        columns = np.linspace(ends[0], ends[2], count).astype(int)
        dots[np.linspace(ends[1], ends[3], count).round().astype(int), columns] = True
    return dots


def _signs(dots: Array, rows: int, columns: int, alphabet: Alphabet) -> Array:
    """(rows, columns): a character for each cell."""
    if not alphabet.unicode:
        return np.where(dots, "*", " ")
    cells = dots.reshape(rows, 4, columns, 2)
    codes = (cells * DOTS[None, :, None, :]).sum(axis=(1, 3))
    return np.array([[chr(BRAILLE + code) if code else " " for code in row] for row in codes])


def axis_lines(waves: Waves, columns: int, alphabet: Alphabet) -> tuple[list[str], bool]:
    """The time axis and what conducts below it; True where numbers stand for the names of devices."""
    total = waves.periods * waves.period
    edges = [round(columns * start / total) for start, _, _ in waves.intervals] + [columns]
    corner, line, tick = ("└", "─", "┴") if alphabet.unicode else ("+", "-", "+")
    axis = [line] * columns
    for edge in edges[1:-1]:
        axis[min(edge, columns - 1)] = tick
    names = [conducting_words(conducting) for *_, conducting in waves.intervals]
    rooms = [end - start for start, end in pairwise(edges)]
    numbered = any(len(name) >= room for name, room in zip(names, rooms, strict=True))
    if numbered:
        count = len(names) // waves.periods
        names = [str(k % count + 1) for k in range(len(names))]
    below = ""
    for start, room, name in zip(edges, rooms, names, strict=False):
        if len(name) < room or (len(name) == room and len(below) < start):
            below = below.ljust(start) + name.center(room - 1).rstrip()
    ends = engineering(0.0, "s", alphabet), engineering(total, "s", alphabet)
    gap = " " * LABELS
    times = ends[0] + ends[1].rjust(columns - len(ends[0]))
    return [f"{gap}{corner}{''.join(axis)}", f"{gap} {below}".rstrip(), f"{gap} {times}"], numbered
