"""What checking a derivation comes to, as frozen values."""

from __future__ import annotations

from dataclasses import dataclass

from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.practice.names import Claim
from voltsec.practice.quantities import ModeValues

HOLDS = "holds"
WRONG = "wrong"
OPEN = "open"
"""The model does not determine a quantity in it, or no point of the mode is known."""
ABSENT = "absent"
"""The mode has no such interval, abbreviation or boundary."""


@dataclass(frozen=True)
class Slip:
    """A likely cause of a wrong line: a stable kind and a sentence."""

    kind: str
    message: str


@dataclass(frozen=True)
class Example:
    """Numbers that show two sides differ: the values used, and both sides (``None``: undefined)."""

    values: dict[str, float]
    left: float | None
    right: float | None
    is_operating_point: bool


@dataclass(frozen=True)
class Mistake:
    """Why a line does not hold in one mode."""

    label: str
    """The side that is right by name (``Vout/Vg``); empty where both sides need the circuit."""
    formula: Expr | None
    """What stands on the other side of ``label``."""
    ratio: Expr | None
    """Written over right (or left over right side)."""
    difference: Expr | None
    example: Example | None
    slips: tuple[Slip, ...]


@dataclass(frozen=True)
class Judgement:
    """One line in one mode.  ``points`` counts the points of a numeric check, 0 where it is proved."""

    mode: str
    outcome: str
    points: int = 0
    reason: str = ""
    where: Boolean | None = None
    """In which part of the mode it holds; ``None`` for all of it."""


@dataclass(frozen=True)
class LineVerdict:
    """One line in every mode that was tried."""

    claim: Claim
    judgements: tuple[Judgement, ...]
    mistake: Mistake | None = None
    """For the first wrong line, in the mode of the verdict."""
    elsewhere: tuple[tuple[str, str, Expr], ...] = ()
    """For other modes in which it does not hold: mode, the side that is right by name, its formula."""

    def judged(self, mode: str) -> Judgement:
        """The judgement for one mode."""
        return next(one for one in self.judgements if one.mode == mode)


@dataclass(frozen=True)
class Verdict:
    """The answer: whether every line holds in one and the same mode, and in which.

    ``modes`` are those in which all lines hold (empty where there is none); ``leading`` is the mode the
    answer is told for; ``wrong`` is the place of the first line that fails there, ``None`` where all hold.
    """

    lines: tuple[LineVerdict, ...]
    tried: tuple[ModeValues, ...]
    modes: tuple[str, ...]
    leading: ModeValues
    wrong: int | None
    operating_mode: str | None

    @property
    def outcome(self) -> str:
        """HOLDS, WRONG or OPEN."""
        if self.wrong is None:
            return HOLDS
        found = self.lines[self.wrong].judged(self.leading.mode.name).outcome
        return OPEN if found in (OPEN, ABSENT) else WRONG
