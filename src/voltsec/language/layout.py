"""Rows of a tidy netlist, and their alignment in columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One line: a statement's word and its rest, or (word empty) a comment or blank line.

    A two-terminal element fills ``name``, ``start``, ``end`` (and ``value``, ``braces``); any other
    statement puts everything into ``text``, a transformer with its ``name`` apart.
    """

    word: str = ""
    text: str = ""
    name: str = ""
    start: str = ""
    end: str = ""
    value: str = ""
    braces: str = ""
    comment: str | None = None


def lay_out(rows: Sequence[Row]) -> str:
    """The text of the rows, columns aligned, each line ended by a line feed."""
    wires = [row for row in rows if row.start]
    word = max((len(row.word) for row in rows), default=0)
    name = max((len(row.name) for row in rows), default=0)
    start = max((len(row.start) for row in wires), default=0)
    end = max((len(row.end) for row in wires), default=0)
    value = max((len(row.value) for row in wires), default=0)
    lines = []
    for row in rows:
        if row.start:
            between = f" {row.value:<{value}} " if value else " "
            line = (
                f"{row.word:<{word}} {row.name:<{name}} : {row.start:<{start}} -> {row.end:<{end}}"
                f"{between}{row.braces}"
            ).rstrip()
        elif row.name:
            parts = (row.text, row.value, row.braces)
            line = f"{row.word:<{word}} {row.name:<{name}} : {' '.join(part for part in parts if part)}"
        else:
            line = f"{row.word:<{word}} {row.text}" if row.word else ""
        if row.comment is not None:
            line = (line + "  " if line else "") + comment_text(row.comment)
        lines.append(line + "\n")
    return "".join(lines)


def comment_text(comment: str) -> str:
    """A comment as it is printed: a blank after the ``#`` where the comment begins with a word."""
    comment = comment.rstrip()
    blank = " " if comment and (comment[0].isalnum() or comment[0] in "\"'(") else ""
    return "#" + blank + comment
