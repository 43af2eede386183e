"""A derivation as a sequence of lines, and the main path that writes it.

Values only: prose is a tuple of text and expressions, so that every view sets its own mathematics.
"""

from __future__ import annotations

from dataclasses import dataclass

from sympy import Basic, Expr

from voltsec.circuit.circuit import Circuit

Prose = tuple[str | Basic, ...]
"""Text with expressions in it."""


@dataclass(frozen=True)
class Heading:
    """A section of the derivation."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Prose; ``doubt`` marks the sentence that stands where a step could not be verified."""

    pieces: Prose
    doubt: bool = False


@dataclass(frozen=True)
class Equation:
    """A numbered line ``left = right`` that the machine has checked to follow from ``cites``."""

    number: int
    left: Expr
    right: Expr
    reason: Prose
    cites: tuple[int, ...] = ()


@dataclass(frozen=True)
class Result:
    """The last line: what was looked for."""

    left: Expr
    right: Expr
    reason: Prose
    cites: tuple[int, ...] = ()


Line = Heading | Paragraph | Equation | Result


@dataclass(frozen=True)
class Derivation:
    """The whole derivation of one mode of one circuit."""

    circuit: Circuit
    mode: str
    lines: tuple[Line, ...]

    @property
    def result(self) -> Result | None:
        """The last line, ``None`` where it could not be verified."""
        return next((line for line in reversed(self.lines) if isinstance(line, Result)), None)

    @property
    def equations(self) -> tuple[Equation, ...]:
        """All numbered lines."""
        return tuple(line for line in self.lines if isinstance(line, Equation))

    @property
    def doubts(self) -> tuple[Paragraph, ...]:
        """Places where a step could not be verified or was too long to print."""
        return tuple(line for line in self.lines if isinstance(line, Paragraph) and line.doubt)
