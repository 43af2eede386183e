"""Where the lines are written: nothing gets a number before it has been checked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sympy import Basic, Expr, Integer

from voltsec.practice.algebra import Board, NotRational, subtract
from voltsec.practice.derivation import Equation, Heading, Line, Paragraph, Prose, Result
from voltsec.tableau.ratio import Ratio


class Blackboard:
    """Lines written so far, and the checks a line passes before it is added."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.lines: list[Line] = []
        self.equations: dict[int, Equation] = {}

    def heading(self, text: str) -> None:
        """A section title; one before it without anything under it goes."""
        if self.lines and isinstance(self.lines[-1], Heading):
            self.lines.pop()
        self.lines.append(Heading(text))

    def say(self, *pieces: str | Basic) -> None:
        """A paragraph."""
        self.lines.append(Paragraph(pieces))

    def doubt(self, *pieces: str | Basic) -> None:
        """The honest sentence in place of a step that could not be verified."""
        self.lines.append(Paragraph(pieces, doubt=True))

    def identity(
        self, left: Expr, right: Expr, reason: Prose, value: Ratio, cites: tuple[int, ...] = ()
    ) -> int | None:
        """A line whose ``right``, as printed, must be ``value``."""
        if not self._zero(right, value):
            self.doubt("The step to ", left, " could not be verified and is left out.")
            return None
        return self._add(left, right, reason, cites)

    def balance(self, left: Expr, reason: Prose, value: Ratio, cites: tuple[int, ...]) -> int | None:
        """A line ``left = 0`` whose left side, as printed, must be ``value``."""
        if not self._zero(left, value):
            self.doubt("A balance could not be verified and is left out: ", *reason)
            return None
        return self._add(left, Integer(0), reason, cites)

    def solved(self, left: Expr, right: Expr, reason: Prose, main: int, others: Iterable[int]) -> int | None:
        """A line that, put into line ``main`` together with ``others``, must leave nothing."""
        given = [self.equations[number] for number in others]
        if not self.follows(self.equations[main], given, left, right):
            self.doubt("The step to ", left, " could not be verified and is left out.")
            return None
        return self._add(left, right, reason, (main, *(e.number for e in given)))

    def follows(self, main: Equation, given: Sequence[Equation], left: Expr, right: Expr) -> bool:
        """Whether ``left = right`` and ``given`` turn ``main`` into an identity."""
        try:
            values = {str(e.left): self.board.read(e.right) for e in given if str(e.left) != str(left)}
            values[str(left)] = self.board.read(right)
            residue = subtract(self.board.read(main.left), self.board.read(main.right))
            return bool(self.board.put(residue, values).is_zero)
        except NotRational:
            return False

    def result(self, left: Expr, right: Expr, reason: Prose, cites: tuple[int, ...]) -> None:
        """The last line; whoever calls has verified it."""
        self.lines.append(Result(left, right, reason, cites))

    def note(self, left: Expr, right: Expr, reason: Prose, cites: tuple[int, ...]) -> int:
        """A numbered line whose check lies with the caller."""
        return self._add(left, right, reason, cites)

    def _zero(self, printed: Expr, value: Ratio) -> bool:
        read = self.board.rational(printed)
        return read is not None and bool(subtract(read, value).is_zero)

    def _add(self, left: Expr, right: Expr, reason: Prose, cites: tuple[int, ...]) -> int:
        number = len(self.equations) + 1
        equation = Equation(number, left, right, reason, cites)
        self.equations[number] = equation
        self.lines.append(equation)
        return number


def numbers_text(numbers: Iterable[int]) -> str:
    """``(4), (6) and (7)``, runs shortened: ``(14) to (19) and (23)``."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    shown: list[str] = []
    for run in runs:
        shown += [f"({run[0]}) to ({run[-1]})"] if len(run) > 2 else [f"({number})" for number in run]
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"
