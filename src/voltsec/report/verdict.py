"""Whether a derivation holds, on a terminal and as one JSON object."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import IO, Any

from rich.console import Console
from rich.text import Text
from sympy import Basic

from voltsec.practice.verdict import HOLDS, OPEN, WRONG, Example, Judgement, LineVerdict, Mistake, Verdict
from voltsec.report.alphabet import Alphabet, alphabet_for
from voltsec.report.formula import formula
from voltsec.report.machine import FORMAT, Json
from voltsec.report.quantity import engineering
from voltsec.report.read_back import Writer, symbol_units
from voltsec.report.wrapping import wrap_formula
from voltsec.results.solution import Mode, Solution

LABEL_WIDTH = 16
PROSE = ("Likely slip", "or", "Beware", "Not there")
LONGEST_ASIDE = 240
"""Characters of a formula of another mode that are still worth showing."""

INDENT = 2
SHOWN = 160
"""Characters of a line of the derivation that are repeated."""

WORDS = {HOLDS: "holds", WRONG: "does not hold", OPEN: "not determined"}


def show_verdict(verdict: Verdict, solution: Solution, stream: IO[str] | None = None) -> None:
    """Print ``verdict`` on ``stream`` (standard output by default)."""
    console = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, markup=False)
    view = _View(verdict, solution, alphabet_for(console.encoding), console.width)
    for label, text, style in view.lines():
        for number, line in enumerate(view.wrapped(label, text)):
            console.print(Text(line, style=style if number == 0 or not label else ""), overflow="fold")


class _View:
    """One printing: rows of label, text and style."""

    def __init__(self, verdict: Verdict, solution: Solution, alphabet: Alphabet, width: int) -> None:
        self.verdict = verdict
        self.solution = solution
        self.alphabet = alphabet
        self.width = width
        self.duties = solution.circuit.duty_symbols
        self.mode: Mode = verdict.leading.mode

    def lines(self) -> Iterator[tuple[str, str, str]]:
        """Everything, in reading order."""
        lines = self.verdict.lines
        if len(lines) > 1:
            for line in lines:
                yield "", self._status(line), ""
            yield "", "", ""
        place = self.verdict.wrong
        if place is None:
            yield "", self._headline_right(), "bold"
            yield from self._circumstances(lines[0] if len(lines) == 1 else None)
            return
        line = lines[place]
        judgement = line.judged(self.mode.name)
        name = f"Line {line.claim.equation.line}" if len(lines) > 1 else "This"
        if self.verdict.outcome == OPEN:
            yield "", f"{name} cannot be decided: {judgement.reason}", "bold"
            for other in line.judgements:
                if other.mode != self.mode.name and other.reason:
                    yield f"In {other.mode}", other.reason, ""
            return
        what = f"{name} does not hold in {self.mode.name}" + (
            f" ({judgement.reason})" if judgement.reason else ""
        )
        yield "", f"{what}: {_short(line.claim.equation.text)}", "bold"
        if line.mistake is not None:
            yield from self._mistake(line, line.mistake)
        for mode, label, right in line.elsewhere:
            if line.mistake is None or right != line.mistake.formula:
                yield f"In {mode}", f"{label} = {self._aside(right)}", ""
        yield from self._definitions(line)

    def wrapped(self, label: str, text: str) -> Iterator[str]:
        """The lines of one row."""
        text = self.alphabet.plain(text)
        if not label:
            yield from wrap_formula(text, self.width) if text else [""]
            return
        before = " " * INDENT + self.alphabet.plain(label).ljust(LABEL_WIDTH)
        room = max(self.width - len(before), 20)
        # prose is broken between words, formulas at their operators
        for line in textwrap.wrap(text, room) if label in PROSE else wrap_formula(text, room):
            yield before + line
            before = " " * len(before)

    def _text(self, expression: Basic | None) -> str:
        return formula(expression, self.duties, self.alphabet)

    def _aside(self, expression: Basic) -> str:
        text = self._text(expression)
        return text if len(text) <= LONGEST_ASIDE else "a long formula, see voltsec solve"

    def _status(self, line: LineVerdict) -> str:
        judgement = line.judged(self.mode.name)
        number = f"line {line.claim.equation.line}"
        words = WORDS.get(judgement.outcome, "has no meaning there")
        if judgement.points:
            words = f"holds at {judgement.points} points"
        return f"{number.ljust(9)}{words.ljust(16)}{_short(line.claim.equation.text)}"

    def _headline_right(self) -> str:
        modes = " and ".join(self.verdict.modes)
        lines = self.verdict.lines
        if len(lines) == 1:
            return f"Holds in {modes}: {_short(lines[0].claim.equation.text)}"
        return f"All {len(lines)} lines hold in {modes}"

    def _circumstances(self, only: LineVerdict | None) -> Iterator[tuple[str, str, str]]:
        points = 0
        for name in self.verdict.modes:
            values = next(tried for tried in self.verdict.tried if tried.mode.name == name)
            region = values.mode.holds_when
            every = " and ".join(f"0 < {duty} < 1" for duty in self.duties)
            text = self._text(region) if region is not None else f"always ({every})" if every else "always"
            yield f"{name} when", text, ""
            for line in self.verdict.lines:
                where = line.judged(name).where
                if where is not None:
                    own = f"line {line.claim.equation.line} " if len(self.verdict.lines) > 1 else ""
                    yield f"{own}where", self._text(where), ""
            judged = [line.judged(name).points for line in self.verdict.lines]
            points = max([points, *judged])
        if points:
            yield "", f"  checked at {points} points, not proved", ""
        else:
            yield "", "  proved", ""
        if only is not None:
            for mode, label, right in only.elsewhere:
                yield f"Not in {mode}", f"there {label} = {self._aside(right)}", ""
        operating = self.verdict.operating_mode
        if operating is not None and operating not in self.verdict.modes and self._tried(operating):
            text = f"the operating point of the netlist is in {operating}: there it does not hold"
            yield "Beware", text, ""
        yield from self._definitions(only)

    def _tried(self, name: str) -> bool:
        return any(tried.mode.name == name for tried in self.verdict.tried)

    def _mistake(self, line: LineVerdict, mistake: Mistake) -> Iterator[tuple[str, str, str]]:
        if mistake.formula is not None:
            where = f" in interval {line.claim.interval}" if line.claim.interval is not None else ""
            yield "Right", f"{mistake.label} = {self._text(mistake.formula)}{where}", ""
        pair = ("Written/right", "Written − right") if mistake.label else ("Left/right", "Left − right")
        if mistake.ratio is not None:
            yield pair[0], self._text(mistake.ratio), ""
        if mistake.difference is not None and (mistake.ratio is None or mistake.ratio.free_symbols):
            yield pair[1], self._text(mistake.difference), ""
        if mistake.example is not None:
            yield "For example", self._example(mistake.example), ""
        for number, slip in enumerate(mistake.slips):
            yield "Likely slip" if number == 0 else "or", slip.message, ""

    def _example(self, example: Example) -> str:
        units = {quantity.symbol: quantity.unit for quantity in self.solution.circuit.quantities}
        values = ", ".join(
            f"{name} = {engineering(value, units.get(name, '1'), self.alphabet)}"
            for name, value in example.values.items()
        )
        sides = [
            "undefined or beyond all bounds" if value is None else self.alphabet.plain(_six(value))
            for value in (example.left, example.right)
        ]
        where = f"{values}: " if values else ""
        return f"{where}left side {sides[0]}, right side {sides[1]}"

    def _definitions(self, line: LineVerdict | None) -> Iterator[tuple[str, str, str]]:
        """What K and d2 stand for, where they are shown."""
        shown: set[str] = set()
        for expression in _expressions(line):
            shown |= {str(free) for free in expression.free_symbols}
        if self.verdict.wrong is None:
            region = self.mode.holds_when
            shown |= {str(free) for free in region.free_symbols} if region is not None else set()
        for name, value in self.mode.definitions.items():
            if name in shown:
                yield f"with {name}", self._text(value), ""


def _expressions(line: LineVerdict | None) -> Iterator[Basic]:
    if line is None:
        return
    mistake = line.mistake
    candidates: list[Any] = [right for _, _, right in line.elsewhere]
    if mistake is not None:
        candidates += [mistake.formula, mistake.ratio, mistake.difference]
    for expression in candidates:
        if isinstance(expression, Basic):
            yield expression


def _six(value: float) -> str:
    """Six digits: enough to tell two sides apart, few enough to read."""
    return f"{value:.6g}".replace("-", "−")


def _short(text: str) -> str:
    return text if len(text) <= SHOWN else text[: SHOWN - 1] + "…"


def verdict_json(verdict: Verdict, solution: Solution) -> Json:
    """``verdict`` as plain values, ready for :func:`voltsec.report.machine.json_text`."""
    units = symbol_units(solution)
    write = Writer(units)
    holds = {HOLDS: True, WRONG: False}.get(verdict.outcome)
    return {
        "format": FORMAT,
        "circuit": solution.circuit.name,
        "holds": holds,
        "mode": verdict.leading.mode.name,
        "modes": list(verdict.modes),
        "holds_when": write(verdict.leading.mode.holds_when),
        "definitions": {name: write(value) for name, value in verdict.leading.mode.definitions.items()},
        "operating_mode": verdict.operating_mode,
        "first_wrong": None if verdict.wrong is None else verdict.lines[verdict.wrong].claim.equation.line,
        "symbols": units,
        "lines": [_line(line, verdict, write) for line in verdict.lines],
    }


def _line(line: LineVerdict, verdict: Verdict, write: Writer) -> Json:
    own = line.judged(verdict.leading.mode.name)
    mistake = line.mistake
    told: Json = {
        "line": line.claim.equation.line,
        "formula": line.claim.equation.text,
        "interval": line.claim.interval,
        "holds": {HOLDS: True, WRONG: False}.get(own.outcome),
        "modes": [_judgement(judgement) for judgement in line.judgements],
        "elsewhere": [
            {"mode": mode, "of": label, "formula": write(right)} for mode, label, right in line.elsewhere
        ],
        "right": None,
        "ratio": None,
        "difference": None,
        "example": None,
        "slips": [],
    }
    if mistake is None:
        return told
    if mistake.formula is not None:
        told["right"] = {"of": mistake.label, "formula": write(mistake.formula)}
    told["ratio"], told["difference"] = write(mistake.ratio), write(mistake.difference)
    if mistake.example is not None:
        told["example"] = {
            "values": mistake.example.values,
            "left": mistake.example.left,
            "right": mistake.example.right,
            "operating_point": mistake.example.is_operating_point,
        }
    told["slips"] = [{"kind": slip.kind, "message": slip.message} for slip in mistake.slips]
    return told


def _judgement(judgement: Judgement) -> Json:
    holds = {HOLDS: True, WRONG: False}.get(judgement.outcome)
    return {
        "mode": judgement.mode,
        "holds": holds,
        "proved": holds is not None and judgement.points == 0,
        "points": judgement.points,
        "where": None if judgement.where is None else str(judgement.where),
        "reason": judgement.reason or None,
    }
