"""Text -> the pieces it is made of: statements (with their comments), comment lines, blank lines.

A statement is one line; inside braces a line may break after any word.  Cutting the text before it is
parsed lets one bad statement be reported without hiding the others.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from voltsec.language.statements import WORDS

_CODE = re.compile(r'("[^"]*"|[^"#])*')
LONGEST_PIECE = 20_000
"""Characters of a statement from which no further lines are taken for a part of it."""
FURTHEST = 300
"""Characters of a line that tell whether it begins a statement."""

_TITLE = re.compile(r'"[^"]*"')
_NAMED = r"[A-Za-z_]\w*\s*(?:[,:]|at\b|against\b|with\b|on\b|off\b|->|$)"
_OPENING = re.compile(
    rf"\s*(?:(?:{'|'.join(WORDS)})\s+(?:{_NAMED}|\")|(?:operate|parameter)\s+\w+\s*=|[^{{}}\"]*:[^{{}}]*->)"
)
"""How a line begins a statement of its own.  Inside braces a symbol may be called as a statement's word,
so that the word alone says nothing."""


@dataclass(frozen=True)
class Piece:
    """Consecutive lines of the text: ``kind`` is statement, comment or blank.

    ``text`` is what to parse (with line breaks, comments blanked out, columns kept), ``line`` the
    number of its first line, ``comment`` the comment beside or inside it without the ``#``.
    """

    kind: str
    line: int
    text: str = ""
    comment: str | None = None


def lines_of(text: str) -> list[str]:
    """The lines of a text; only LF, CR LF and CR end one, so that numbering agrees with editors."""
    return re.split(r"\r\n|\n|\r", text)


def split(text: str) -> Iterator[Piece]:
    """The pieces of a netlist in order, lazily (a caller may stop at the hundredth bad one)."""
    lines = lines_of(text)
    index = 0
    while index < len(lines):
        first = index
        code, comment = _strip(lines[index])
        index += 1
        if not code.strip():
            yield Piece("blank" if comment is None else "comment", first + 1, "", comment)
            continue
        parts, comments = [code], [] if comment is None else [comment]
        depth = _depth(code)
        size = len(code)
        while depth > 0 and index < len(lines) and not _OPENING.match(lines[index], 0, FURTHEST):
            if size > LONGEST_PIECE:
                break  # braces that never close
            code, comment = _strip(lines[index])
            parts.append(code)
            size += len(code)
            comments += [] if comment is None else [comment]
            depth += _depth(code)
            index += 1
        yield Piece("statement", first + 1, "\n".join(parts).rstrip(), _joined(comments))


def _strip(line: str) -> tuple[str, str | None]:
    """Code and comment of a line; a ``#`` inside a closed title is no comment."""
    if '"' not in line:
        code, mark, rest = line.partition("#")
        return code, rest.rstrip() if mark else None
    matched = _CODE.match(line)
    end = matched.end() if matched else 0
    if end < len(line) and line[end] == '"':
        return line, None
    return line[:end], line[end + 1 :].rstrip() if end < len(line) else None


def _depth(code: str) -> int:
    """Braces opened less braces closed, titles left out."""
    if '"' in code:
        code = _TITLE.sub("", code)
    return code.count("{") - code.count("}")


def _joined(comments: list[str]) -> str | None:
    """The comments of a statement as one; a single one keeps its indentation."""
    if len(comments) > 1:
        return " " + "; ".join(comment.strip() for comment in comments)
    return comments[0] if comments else None
