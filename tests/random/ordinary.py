"""The cases of the ordinary test run and what is known to fail among them: ``ordinary.txt``, a line a case.

A number alone is a case that is right; ``27 numbers: peak v`` one that is known to fail, with outcome and
reason.  Known failures only become fewer, by cures: then ``python -m tests.random --ordinary --write`` writes
the file anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("ordinary.txt")
PASSING = ("right", "undecided")
"""Outcomes that are no failure."""


def ordinary() -> dict[int, str | None]:
    """Number of each case -> the outcome it is known to have, None where it is right."""
    found = {}
    for line in FILE.read_text(encoding="utf-8").splitlines():
        number, _, rest = line.partition(" ")
        found[int(number)] = rest.partition(":")[0] or None
    return found


def write(rows: Iterable[dict[str, Any]]) -> None:
    """Make ``rows`` the cases of the ordinary run."""
    lines = [
        f"{row['number']}" + ("" if row["outcome"] in PASSING else f" {row['signature'][:80]}")
        for row in sorted(rows, key=lambda row: row["number"])
    ]
    FILE.write_text("".join(line.rstrip() + "\n" for line in lines), encoding="utf-8")
