"""Cases that are known to fail: a text file beside this one, a line each with number, outcome and reason.

The list only shrinks, by cures; ``python -m tests.random --cheap --count 300 --write-open`` writes it anew
after one.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("known_open.txt")
PASSING = ("right", "undecided")
"""Outcomes that are no failure."""


def known_open() -> dict[int, str]:
    """Number of a case -> the outcome it is known to have (see ``verdicts.py``)."""
    found = {}
    for line in FILE.read_text(encoding="utf-8").splitlines():
        number, outcome, *_ = line.split()
        found[int(number)] = outcome
    return found


def write_open(rows: Iterable[dict[str, Any]]) -> None:
    """List the failing ones of ``rows``."""
    lines = [
        f"{row['number']} {row['outcome']} {row['reason'][:70]}".rstrip()
        for row in rows
        if row["outcome"] not in PASSING
    ]
    FILE.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
