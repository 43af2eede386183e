"""State equations on a terminal: each interval's laws, its matrices, what it ties; then the mean's."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from sympy import Expr, ImmutableMatrix

from voltsec.circuit.circuit import Circuit
from voltsec.dynamics.state_equations import ModeEquations, StateEquations, Tie, state_symbol
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.formula import formula
from voltsec.report.outline import shown_mode
from voltsec.report.wrapping import wrap_formula
from voltsec.results.solution import Mode

INDENT = "  "
OUTPUTS = {"v": "output voltage", "i": "input current"}
LABELS = {"v": "v(out)", "i": "i(in)"}


def states_lines(
    circuit: Circuit, mode: Mode, found: ModeEquations, width: int = 80, alphabet: Alphabet = UNICODE
) -> Iterator[str]:
    """All lines, none longer than ``width``."""
    view = _View(circuit, found, max(width, 40), alphabet)
    yield from view.prose(f"{circuit.name}: state equations, {shown_mode(mode)}", "")
    yield from view.heading(found)
    for number, interval in enumerate(found.intervals, 1):
        yield ""
        conducting = ", ".join(interval.conducting)
        verb = "conduct" if len(interval.conducting) > 1 else "conducts"
        told = f"{conducting} {verb}" if conducting else "nothing conducts"
        yield view.rule(f"Interval {number}", f"share {view.text(interval.fraction)}: {told}")
        yield from view.laws(interval.equations)
        yield from view.ties(interval.equations.ties)
        yield from view.matrices(interval.equations)
    yield ""
    yield view.rule("Mean of the intervals", "averaged over the period" if found.averaged else "none")
    if found.averaged is None:
        yield from view.prose(found.why_not[0].upper() + found.why_not[1:] + ".")
        return
    yield from view.ties(found.averaged.ties)
    yield from view.matrices(found.averaged)


class _View:
    def __init__(self, circuit: Circuit, found: ModeEquations, width: int, alphabet: Alphabet) -> None:
        self.circuit = circuit
        self.found = found
        self.width = width
        self.alphabet = alphabet
        self.shown: dict[str, tuple[list[str], list[str], ImmutableMatrix]] = {}
        """The matrices shown last: one that stays the same is not shown again."""

    def text(self, expression: Expr) -> str:
        """A formula."""
        return formula(expression, self.circuit.duty_symbols, self.alphabet)

    def prose(self, text: str, indent: str = INDENT) -> list[str]:
        """A sentence, broken."""
        plain = self.alphabet.plain(text)
        return wrap(plain, self.width, initial_indent=indent, subsequent_indent=indent)

    def rule(self, title: str, aside: str) -> str:
        """A section's heading."""
        line = "─" if self.alphabet.unicode else "-"
        start = self.alphabet.plain(f"{line * 2} {title}  {aside} ")
        return start + line * max(self.width - len(start), 0)

    def heading(self, found: ModeEquations) -> Iterator[str]:
        """What x, u and y are, and which circuit this is."""
        first = found.intervals[0].equations
        names = [self.state(name) for name in found.kinds]
        yield from self.prose(f"dx/dt = A x + B u, y = C x + E u with x of {', '.join(names)}", "")
        outputs = ", ".join(f"{LABELS[name]} {OUTPUTS[name]}" for name in first.outputs)
        yield from self.prose(f"u: {', '.join(first.inputs)}; y: {outputs}", "")
        if any(interval.equations.ties for interval in found.intervals):
            yield from self.prose("Where an interval ties what was free before, charge or flux jumps.", "")
        kept = {element.name for element in found.circuit.elements}
        left_out = [element.name for element in self.circuit.elements if element.name not in kept]
        if left_out:
            told = f"Without {', '.join(left_out)}, which settle at once at the operating point."
            yield from self.prose(told, "")

    def state(self, name: str) -> str:
        """``i(L1)`` or ``v(C1)``."""
        return state_symbol(name, self.found.kinds[name])

    def laws(self, equations: StateEquations) -> Iterator[str]:
        """One line a coil or capacitor."""
        for law in equations.laws:
            terms = []
            for factor, name in law.left:
                terms.append(f"{self.text(factor)}{self.alphabet.dot}d{self.state(name)}/dt")
            line = f"{' + '.join(terms)} = {self.text(law.right)}"
            yield from (INDENT + part for part in wrap_formula(line, self.width - len(INDENT), 4))

    def ties(self, ties: tuple[Tie, ...]) -> Iterator[str]:
        """What is tied, one line each."""
        for tie in ties:
            line = f"{self.state(tie.state)} = {self.text(tie.value)}"
            parts = wrap_formula(line, self.width - len(INDENT) - 6, 4)
            parts[-1] += f", tied by {tie.kind}"
            yield from (
                f"{INDENT}{'tie   ' if number == 0 else ' ' * 6}{part}" for number, part in enumerate(parts)
            )

    def matrices(self, equations: StateEquations) -> Iterator[str]:
        """The four matrices, as tables where they fit."""
        states = [self.state(name) for name in equations.states]
        outputs = [LABELS[name] for name in equations.outputs]
        inputs = list(equations.inputs)
        alike = []
        for name, matrix, rows, columns in (
            ("A", equations.A, states, states),
            ("B", equations.B, states, inputs),
            ("C", equations.C, outputs, states),
            ("E", equations.E, outputs, inputs),
        ):
            if self.shown.get(name) == (rows, columns, matrix):
                alike.append(name)
                continue
            self.shown[name] = rows, columns, matrix
            yield from self._matrix(name, matrix, rows, columns)
        if alike:
            yield ""
            yield f"{INDENT}{', '.join(alike)} as before"
        if equations.undetermined:
            yield from self.prose(f"Left open: {', '.join(equations.undetermined)}")

    def _matrix(
        self, name: str, matrix: ImmutableMatrix, rows: list[str], columns: list[str]
    ) -> Iterator[str]:
        yield ""
        if matrix.is_zero_matrix:
            yield f"{INDENT}{name} = 0"
            return
        cells = [[self.text(matrix[i, j]) for j in range(len(columns))] for i in range(len(rows))]
        widths = [max(len(cell) for cell in column) for column in zip(columns, *cells, strict=True)]
        first = max(map(len, rows))
        if len(INDENT) + 4 + first + sum(width + 2 for width in widths) <= self.width:
            yield (
                f"{INDENT}{name}   {' ' * first}"
                + "".join(f"  {head:<{width}}" for head, width in zip(columns, widths, strict=True)).rstrip()
            )
            for head, line in zip(rows, cells, strict=True):
                shown = "".join(f"  {cell:<{width}}" for cell, width in zip(line, widths, strict=True))
                yield f"{INDENT}    {head:<{first}}{shown}".rstrip()
            return
        yield f"{INDENT}{name}, entries that are not zero:"
        for head, line in zip(rows, cells, strict=True):
            for column, cell in zip(columns, line, strict=True):
                if cell != "0":
                    start = f"{INDENT}  {head}, {column}: "
                    parts = wrap_formula(cell, self.width - len(start))
                    yield start + parts[0]
                    yield from (" " * len(start) + part for part in parts[1:])
