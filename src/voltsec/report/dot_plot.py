"""Lines as dots, and dots as characters: braille where the terminal has it, else stars."""

from __future__ import annotations

import numpy as np

from voltsec.report.alphabet import Alphabet

Array = np.ndarray

DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
"""Bits of a braille character's dots, rows by columns."""
BRAILLE = 0x2800


def drawn_dots(x: Array, y: Array, width: int, height: int) -> Array:
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


def dot_signs(dots: Array, rows: int, columns: int, alphabet: Alphabet) -> Array:
    """(rows, columns): a character for each cell."""
    if not alphabet.unicode:
        return np.where(dots, "*", " ")
    cells = dots.reshape(rows, 4, columns, 2)
    codes = (cells * DOTS[None, :, None, :]).sum(axis=(1, 3))
    return np.array([[chr(BRAILLE + code) if code else " " for code in row] for row in codes])
