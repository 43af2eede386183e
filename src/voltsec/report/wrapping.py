"""Breaks long formulas where a person would: at the outermost operators, never inside a name."""

from __future__ import annotations

import re

BREAK = re.compile(r" (?=[+−-] )| (?=(?:and|or|where|otherwise)\b)|(?<=; )|(?<=, )|(?<=[·*])|(?=/)")


def wrap_formula(text: str, width: int, indent: int = 2) -> list[str]:
    """Lines of at most ``width`` characters; later lines start with ``indent`` blanks.

    Operators open the new line.  A piece without any place to break stays whole only if it fits;
    otherwise it is cut, between words where it has any, so that nothing is ever left out.
    """
    width = max(width, indent + 4)
    lines: list[str] = []
    rest = text
    while True:
        room = width - (indent if lines else 0)
        if len(rest) <= room:
            break
        cut = _best_break(rest, room)
        lines.append(rest[:cut].rstrip())
        rest = rest[cut:].lstrip()
    lines.append(rest)
    return [lines[0], *(" " * indent + line for line in lines[1:])]


def _best_break(text: str, room: int) -> int:
    """The place to cut: least nested, then words before sums and lists before products, then the latest."""
    depths = []
    depth = 0
    for character in text[: room + 1]:
        depth += character == "("
        depths.append(depth)
        depth -= character == ")"
    candidates = []
    for match in BREAK.finditer(text, 0, min(len(text), room + 2)):
        place = match.end()
        if match.start() > room or place < room // 6 or place >= len(text):
            continue
        if text[place - 1] in "·*":
            rank = 0
        elif text[place : place + 1] == "/":
            rank = 1
        elif match.group() == " " and text[place].isalpha():
            rank = 3
        else:
            rank = 2
        candidates.append(((-depths[match.start()], rank, place), place))
    if candidates:
        return max(candidates)[1]
    blank = text.rfind(" ", 0, room + 1)
    return blank + 1 if blank > 0 else room
