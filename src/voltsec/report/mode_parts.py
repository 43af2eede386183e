"""One mode for a terminal: its results as parts, each with the importance it has to a reader."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby, islice

from sympy import And, Basic, Piecewise, preorder_traversal

from voltsec.circuit.computing_time import in_time, limited
from voltsec.formulas.first_order import FirstOrder
from voltsec.report.alphabet import Alphabet
from voltsec.report.outline import named, port_rows, region_words, result_rows, shown_name, stress_rows
from voltsec.report.selection import Part, Row
from voltsec.results.solution import Mode, Solution
from voltsec.tableau import lengths

REGION, MAIN, STATES, ORDER, RIPPLE, DEVICES, LOSSES, OTHERS = 0, 1, 2, 3, 4, 5, 6, 7
IMPORTANCE = {
    "Gain": MAIN,
    "Output voltage": MAIN,
    "Efficiency": MAIN,
    "Capacitor voltage": STATES,
    "Coil current, mean": STATES,
    "Drawn from source": STATES,
    "Ripple, peak-peak": RIPPLE,
    "At the boundary": RIPPLE,
    "Least inductance": RIPPLE,
}
LONGEST_CONDITION = 160
"""Signs of a condition on the region that is told on a screen."""
REGION_LABEL = "Holds when"
LEFT_TO_FULL = "long: --full prints it"
OTHER_CASES = "--full prints the other cases"
ENDLESS = "…" * 4000
"""What stands for it until the row is left out."""
MOST_LINES = 4
"""Lines of a formula that is told on a screen, ..."""
MOST_ORDER_LINES = 8
"""... and of a leading order, which stands for longer ones."""
WORDS = {
    MAIN: "gain and output",
    STATES: "voltages and currents",
    ORDER: "the leading order",
    RIPPLE: "ripple and boundary",
    DEVICES: "stress of switches and diodes",
    LOSSES: "losses",
    OTHERS: "stress of other parts",
}
"""What is missing where results of an importance are left out."""
PRINTING = 2.0
"""Seconds for the leading orders of a mode: what takes longer is too long to be read."""
NEVER = 99

Shown = Callable[[Basic | None], str]
Lines = tuple[object, ...]
Height = Callable[[Row, list[Row]], int]
"""How many lines a row takes among those it shares columns with."""


@dataclass(frozen=True)
class Told:
    """A row with its importance to a reader."""

    row: Row
    importance: int
    what: str = ""
    """What is missing where it is left out."""


def _readable(expression: Basic | None, shown: Shown) -> str:
    """A formula in text, what is longer than any row may be not worked out in vain."""
    if expression is None or expression.has(Piecewise) or sum(1 for _ in _nodes(expression)) <= lengths.ROW:
        return shown(expression)
    return ENDLESS


def _nodes(expression: Basic) -> Iterator[Basic]:
    """Parts of an expression, no more than it takes to know that there are too many."""
    return islice(preorder_traversal(expression), lengths.ROW + 1)


def _alike(told: Told) -> tuple[int, str, str]:
    """Rows of one importance and label are told or left out together."""
    return told.importance, told.what, told.row.label


class ModeParts:
    """The parts of one mode; ``full`` leaves nothing out and keeps every formula whole."""

    def __init__(
        self,
        mode: Mode,
        solution: Solution,
        leading: FirstOrder | None,
        alphabet: Alphabet,
        shown: Shown,
        full: bool,
    ) -> None:
        self.mode = mode
        self.solution = solution
        self.leading = leading
        self.alphabet = alphabet
        self.shown: Shown = shown if full else lambda expression: _readable(expression, shown)
        self.full = full

    def region(self) -> Iterator[Row]:
        """Where the mode holds, named quantities, and the equations of fractions without closed form."""
        mode = self.mode
        if mode.holds_when is not None:
            condition = self._condition(mode.holds_when)
        else:
            condition = region_words(mode) or ""
            every = " and ".join(f"0 < {duty} < 1" for duty in self.solution.circuit.duty_symbols)
            if mode.written and every:
                condition += f" ({every})"
        yield Row(REGION_LABEL, "", condition)
        if mode.written:
            yield Row("", "", "proved" if mode.proved else "checked at sample values, not proved")

    def definitions(self) -> Iterator[Row]:
        """Named quantities."""
        for number, (name, expression) in enumerate(named(self.mode)):
            yield Row("where" if number == 0 else "", shown_name(name), self.shown(expression))

    def equations(self) -> Iterator[Row]:
        """What fixes the fractions where they have no closed form."""
        for number, polynomial in enumerate(self.mode.condition or ()):
            yield Row("no closed form" if number == 0 else "", "", f"0 = {self.shown(polynomial)}")

    def results(self) -> Iterator[Row]:
        """Gain, voltages, currents, ripple, boundary."""
        input_name = self.solution.circuit.input.name
        whole_stage = {"gain": f"V/{input_name}", "V": "V", "eta": "η" if self.alphabet.unicode else ""}
        for row in result_rows(self.mode, self.solution.circuit):
            name = row.name or whole_stage.get(row.letter, "")
            yield Row(row.label, name, self.shown(row.expression))

    def first_order(self) -> Iterator[Row]:
        """Where intervals end by themselves, the exact equations of a lossy stage are hard to read."""
        if self.leading is None:
            return
        from voltsec.report.losses import first_order_rows

        circuit, leading = self.solution.circuit, self.leading
        with limited(PRINTING):
            rows = in_time(
                lambda: list(
                    first_order_rows(leading, circuit.input.name, circuit.duty_symbols, self.alphabet)
                )
            )
        for name, text in rows or ():
            yield Row("To first order", name, text)

    def ports(self) -> Iterator[Row]:
        """What source and load see; a row without formula says it all in words."""
        for row in port_rows(self.mode, self.solution):
            yield Row(row.label, row.words, "" if row.expression is None else self.shown(row.expression))

    def stress(self) -> Iterator[Row]:
        """Voltage and currents part by part."""
        for row in stress_rows(self.mode, self.solution.circuit):
            yield Row(f"Stress of {row.part}", row.label, self.shown(row.expression))

    def losses(self) -> Iterator[Row]:
        """Conduction loss of every part."""
        for name, loss in self.mode.losses.items():
            if loss is not None and loss != 0:
                yield Row("Conduction loss", name, self.shown(loss))

    def groups(self) -> Iterator[tuple[str, list[Told]]]:
        """Rows that share columns, in reading order, each with its importance and what it is."""
        region = [Told(row, REGION, "its region") for row in self.region()]
        region += [Told(row, REGION, "what is named") for row in self.definitions()]
        region += [Told(row, STATES, "equations") for row in self.equations()]
        yield "region", region
        results = [Told(row, IMPORTANCE[row.label]) for row in self.results()]
        yield "results", [replace(one, what=WORDS[one.importance]) for one in results]
        yield "first order", [Told(row, ORDER, WORDS[ORDER]) for row in self.first_order()]
        yield "ports", [Told(row, RIPPLE, "currents of the ports") for row in self.ports()]
        devices = {f"Stress of {device.name}" for device in self.solution.circuit.devices}
        ranks = [(row, DEVICES if row.label in devices else OTHERS) for row in self.stress()]
        yield "stress", [Told(row, rank, WORDS[rank]) for row, rank in ranks]
        yield "losses", [Told(row, LOSSES, WORDS[LOSSES]) for row in self.losses()]

    def parts(self, heading: Lines, intervals: Lines, height: Height) -> list[Part]:
        """Everything in reading order; ``heading`` and ``intervals`` are printed lines already."""
        found = [Part(REGION, "all", "heading", len(heading), table=heading)]
        for group, told in self.groups():
            rows = [one.row for one in told]
            for (importance, what, _), members in groupby(told, key=_alike):
                listed = [self._whole(one.row, importance, height, rows) for one in members]
                kept = tuple(row for row in listed if row is not None)
                lines = sum(height(row, rows) for row in kept)
                found.append(Part(importance, what, group, lines, kept))
                if len(kept) < len(listed):
                    found.append(Part(NEVER, what, group, 0))
            if group == "region":
                found.append(Part(MAIN, "its intervals", "intervals", len(intervals), table=intervals))
        return found

    def _whole(self, row: Row, importance: int, height: Height, among: list[Row]) -> Row | None:
        """The row itself; on a screen, where its formula is long, what stands for it or nothing."""
        most = MOST_ORDER_LINES if importance == ORDER else MOST_LINES
        if self.full or height(row, among) <= most or row.label == REGION_LABEL:
            return row
        case, more, _ = row.text.partition("; ")
        first = replace(row, text=f"{case}; {OTHER_CASES}")
        if more and height(first, among) <= most:
            return first
        told = importance == REGION or row.label == "Output voltage"
        return replace(row, text=LEFT_TO_FULL) if told else None

    def _condition(self, region: Basic) -> str:
        """A region; on a screen without conditions that are too long to be read."""
        if self.full or not isinstance(region, And):
            text = self.shown(region)
            return text if self.full or len(text) <= LONGEST_CONDITION else LEFT_TO_FULL
        short: list[Basic] = []
        room = LONGEST_CONDITION
        for part in region.args:
            if len(self.shown(part)) <= room:
                short.append(part)
                room -= len(self.shown(part)) + len(" and ")
        text = self.shown(And(*short, evaluate=False)) if short else ""
        if len(short) == len(region.args):
            return text
        more = "further conditions (--full prints them)"
        return f"{text} and {more}" if text else more
