"""Names on the board taken apart: ``i2(L1)`` is the letter i, interval 2, part L1."""

from __future__ import annotations

import re
from dataclasses import dataclass

BOARD_NAME = re.compile(r"(?P<letter>rise|imin|vmin|v|i|e)(?P<interval>\d*)\((?P<part>[^()]+)\)")


@dataclass(frozen=True)
class BoardName:
    """A voltage, current, rise or smallest value as the derivation names it."""

    letter: str
    interval: str
    part: str


def board_name(name: str) -> BoardName | None:
    """``name`` taken apart, ``None`` for a plain symbol."""
    match = BOARD_NAME.fullmatch(name)
    return None if match is None else BoardName(match["letter"], match["interval"], match["part"])


def board_latex(name: BoardName, escaped_part: str) -> str:
    r"""``v_{\mathrm{L1}}``, the interval raised in brackets."""
    letter = {"rise": r"\Delta i", "imin": r"\check{i}", "vmin": r"\check{v}"}.get(name.letter, name.letter)
    above = f"^{{({name.interval})}}" if name.interval else ""
    return rf"{letter}_{{\mathrm{{{escaped_part}}}}}{above}"
