"""One statement's text -> Statement, through the grammar; a syntax error -> Fault.

The parser is built on first use, once: neither it nor its library costs anything at import.
"""

from __future__ import annotations

import functools
import re
from typing import TYPE_CHECKING, Any

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault
from voltsec.circuit.shipped_files import shipped_text
from voltsec.language.expected import explain
from voltsec.language.habits import number_meant
from voltsec.language.splitting import Piece
from voltsec.language.statements import (
    Amount,
    CoupleStatement,
    DriveStatement,
    ElementStatement,
    GroundStatement,
    InputStatement,
    OperateStatement,
    OutputStatement,
    ParameterStatement,
    PropertyText,
    StartText,
    Statement,
    TitleStatement,
    Word,
)

if TYPE_CHECKING:
    from lark import Lark, Token, Tree

LONGEST_STATEMENT = 10_000
"""Characters a statement may have; more is no parts list."""

_FOUND = re.compile(r"[A-Za-z0-9_.]+|[^\sA-Za-z0-9_.]+")


class SyntaxFault(Exception):
    """Raised by :func:`parse_statement`; ``fault`` says what is wrong where."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.message)
        self.fault = fault


@functools.cache
def parser() -> Lark:
    """The parser for a whole netlist (start ``netlist``) and for one statement (``statement``)."""
    from lark import Lark

    # cache: lark keeps the finished table in the temporary folder, named by the grammar's own digest
    return Lark(
        shipped_text("netlist.lark"),
        parser="lalr",
        start=["netlist", "statement"],
        maybe_placeholders=True,
        cache=True,
    )


def parse_statement(piece: Piece) -> Statement:
    """The statement a piece of text makes; :class:`SyntaxFault` where it makes none."""
    text = piece.text
    if len(text) > LONGEST_STATEMENT:
        raise SyntaxFault(
            Fault(
                "line-too-long",
                f"this line has {len(text)} characters; a statement has at most {LONGEST_STATEMENT}",
                Place(piece.line, 1),
            )
        )
    from lark import Token, UnexpectedInput

    try:
        tree = parser().parse(text, start="statement")
    except UnexpectedInput as error:
        token = getattr(error, "token", None)
        accepts = getattr(error, "accepts", None) or getattr(error, "allowed", None) or set()
        at_end = isinstance(token, Token) and token.type == "$END"
        position = len(text) if at_end else error.pos_in_stream or 0
        raise SyntaxFault(_syntax_fault(piece, position, frozenset(accepts))) from None
    return _build(tree, piece.line - 1)


def _syntax_fault(piece: Piece, position: int, accepts: frozenset[str]) -> Fault:
    """The fault at a position (counted from 0) of the piece's text."""
    text = piece.text
    before = text[:position]
    while position < len(text) and text[position] in " \t\n":
        position += 1
    match = _FOUND.match(text, position)
    found = match.group() if match else ""
    line = piece.line + text.count("\n", 0, position)
    column = position - (text.rfind("\n", 0, position) + 1) + 1
    return explain(accepts, found, before.strip(), Place(line, column), number_meant(text, position))


def _build(tree: Tree[Any], offset: int) -> Statement:
    """The statement of a parse tree whose line numbers are ``offset`` too small."""

    def word(token: Any) -> Word:
        return Word(str(token), Place(token.line + offset, token.column))

    def optional(token: Token | None) -> Word | None:
        return None if token is None else word(token)

    def amount(value: Any) -> Amount | None:
        return None if value is None else Amount(word(value.children[0]), optional(value.children[1]))

    def arrow(node: Any) -> tuple[Word, Word]:
        return word(node.children[0]), word(node.children[1])

    def properties(node: Any) -> tuple[PropertyText, ...]:
        return () if node is None else tuple(one_property(child) for child in node.children)

    def one_property(node: Any) -> PropertyText:
        name = word(node.children[0])
        if node.data == "property_valued":
            return PropertyText(name, None, amount(node.children[1]))
        if node.data == "property_symbol":
            return PropertyText(name, word(node.children[1]), amount(node.children[2]))
        return PropertyText(name)

    def start(node: Any) -> StartText | None:
        if node is None:
            return None
        if node.data == "start_symbol":
            return StartText(symbol=word(node.children[0]))
        if node.data == "start_fraction":
            return StartText(amount=Amount(word(node.children[0])), over=word(node.children[1]))
        return StartText(amount=amount(node.children[0]))

    parts: list[Any] = list(tree.children)
    match str(tree.data):
        case "element":
            kind, name, line, value, inside = parts
            return ElementStatement(
                str(kind), word(name), (arrow(line),), amount(value), None, properties(inside)
            )
        case "transformer":
            name, *arrows, turns, inside = parts
            counts = None if turns is None else tuple(word(token) for token in turns.children)
            lines = tuple(arrow(one) for one in arrows)
            return ElementStatement("transformer", word(name), lines, None, counts, properties(inside))
        case "converter":
            title = word(parts[0])
            return TitleStatement(Word(title.text[1:-1], title.place))
        case "ground":
            return GroundStatement(tuple(word(token) for token in parts))
        case "parameter":
            return ParameterStatement(word(parts[0]), amount(parts[1]))
        case "couple_pair":
            return CoupleStatement(None, word(parts[0]), word(parts[1]), amount(parts[2]))
        case "couple_named":
            return CoupleStatement(word(parts[0]), word(parts[1]), word(parts[2]), amount(parts[3]))
        case "drive_at":
            return DriveStatement(word(parts[0]), "at", word(parts[2]), start(parts[3]))
        case "drive_follows":
            return DriveStatement(word(parts[0]), str(parts[1]), word(parts[2]))
        case "drive_held":
            return DriveStatement(word(parts[0]), str(parts[1]))
        case "operate":
            pairs = ((word(part.children[0]), amount(part.children[1])) for part in parts)
            return OperateStatement(tuple((name, value) for name, value in pairs if value is not None))
        case "input":
            return InputStatement(word(parts[0]))
        case "output_element":
            return OutputStatement(word(parts[0]))
        case "output_nodes":
            return OutputStatement(word(parts[0]), word(parts[1]))
    raise AssertionError(f"the grammar has a statement {tree.data} that nothing reads")
