"""What one statement says, word by word with its place, before anything is checked for sense."""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.circuit.elements import Place


@dataclass(frozen=True)
class Word:
    """A name, node or number as written, and where."""

    text: str
    place: Place


@dataclass(frozen=True)
class Amount:
    """A value as written: a number and, where given, its unit word."""

    number: Word
    unit: Word | None = None


@dataclass(frozen=True)
class PropertyText:
    """One entry inside braces: a property's name with an own symbol, a value, both or neither."""

    name: Word
    symbol: Word | None = None
    amount: Amount | None = None


@dataclass(frozen=True)
class ElementStatement:
    """``KIND NAME : NODE -> NODE [= VALUE] [{ … }]``; a transformer has several arrows, and turns."""

    kind: str
    name: Word
    arrows: tuple[tuple[Word, Word], ...]
    amount: Amount | None = None
    turns: tuple[Word, ...] | None = None
    properties: tuple[PropertyText, ...] = ()


@dataclass(frozen=True)
class TitleStatement:
    """``converter "title"``; the text is without its quotes."""

    title: Word


@dataclass(frozen=True)
class GroundStatement:
    """``ground NODE [, NODE …]``."""

    nodes: tuple[Word, ...]


@dataclass(frozen=True)
class ParameterStatement:
    """``parameter n [= 3]``."""

    name: Word
    amount: Amount | None = None


@dataclass(frozen=True)
class CoupleStatement:
    """``couple [M :] L1, L2 [= VALUE]``."""

    symbol: Word | None
    first: Word
    second: Word
    amount: Amount | None = None


@dataclass(frozen=True)
class StartText:
    """What stands after ``from``: a symbol, a number, or a number over another."""

    symbol: Word | None = None
    amount: Amount | None = None
    over: Word | None = None

    @property
    def place(self) -> Place:
        """Where it begins."""
        if self.symbol is not None:
            return self.symbol.place
        assert self.amount is not None
        return self.amount.number.place


@dataclass(frozen=True)
class DriveStatement:
    """``drive S at D [from START]`` and its sisters; ``argument`` is ``None`` for on and off."""

    switch: Word
    kind: str
    argument: Word | None = None
    start: StartText | None = None


@dataclass(frozen=True)
class OperateStatement:
    """``operate D = 0.4, T = 20 us``."""

    settings: tuple[tuple[Word, Amount], ...]


@dataclass(frozen=True)
class InputStatement:
    """``input NAME``."""

    name: Word


@dataclass(frozen=True)
class OutputStatement:
    """``output NAME`` (then ``end`` is ``None``) or ``output NODE -> NODE``."""

    start: Word
    end: Word | None = None


Statement = (
    ElementStatement
    | TitleStatement
    | GroundStatement
    | ParameterStatement
    | CoupleStatement
    | DriveStatement
    | OperateStatement
    | InputStatement
    | OutputStatement
)

WORDS = (
    "converter", "source", "current", "resistor", "load", "inductor", "capacitor", "switch", "diode",
    "transformer", "ground", "parameter", "couple", "drive", "operate", "input", "output",
)  # fmt: skip
"""Every word a statement may begin with."""
