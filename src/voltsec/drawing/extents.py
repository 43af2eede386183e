"""How much room things take: pitch of the rows, sizes of type, boxes of symbols and of their labels."""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.drawing.symbols import HALF_WIDTHS, REACH

PITCH = 100.0
"""From row to row."""
GRID = 10.0
LEAD = 16.0
"""Least wire between a lying symbol and the next corner: an arrowhead fits on it."""
NAME_SIZE = 13.0
VALUE_SIZE = 11.0
NET_SIZE = 10.0
LINE = 15.0
"""From line to line of a label."""
GAP = 5.0
"""Between a symbol and its label."""
SIGN = 11.0
"""Distance of polarity signs from the axis of a coil or capacitor."""
LETTER = 0.63
"""Mean width of a letter over the size of its type, rather too wide than too narrow."""
CORE = 25.0
"""From a winding's axis to the middle of the core."""
CORE_ABOVE = 9.0
"""Room for the core above windings that lie in line."""
ENDS = ("winding", "inductor", "capacitor")
"""Parts with polarity signs."""


@dataclass(frozen=True)
class Box:
    """A rectangle; y downwards as in pictures, or upwards where rows are counted."""

    left: float
    low: float
    right: float
    high: float

    def meets(self, other: Box, pad: float = 0.0) -> bool:
        """True where the two overlap, or come closer than ``pad``."""
        return (
            self.left < other.right + pad
            and other.left < self.right + pad
            and self.low < other.high + pad
            and other.low < self.high + pad
        )


def text_width(text: str, size: float) -> float:
    """How wide ``text`` is, rather too wide than too narrow."""
    return LETTER * size * len(text)


def label_size(lines: tuple[str, ...]) -> tuple[float, float]:
    """Width and height of a label: the name in the first line, values below."""
    if not lines:
        return 0.0, 0.0
    widths = [text_width(line, NAME_SIZE if not k else VALUE_SIZE) for k, line in enumerate(lines)]
    return max(widths), LINE * len(lines)


def widths(kind: str, upright: bool) -> tuple[float, float]:
    """How far a symbol reaches on the side of its label, and on the other."""
    label, other = HALF_WIDTHS[kind]
    if not upright and kind in ("switch", "winding"):  # the blade, and the arcs, are up
        return other, label
    return label, other


def mark_width(kind: str, upright: bool = True) -> float:
    """How far a symbol with its polarity signs reaches on the side of the signs."""
    other = widths(kind, upright)[1]
    return max(other, SIGN + 5.0) if kind in (*ENDS, "source") else other


SPAN = 2 * (REACH + LEAD)
"""Least length of a lying part with its leads."""
