"""The answer on a terminal: one section a mode, then the numbers and what to beware of.

Nothing is shortened: long formulas are broken at their operators (:mod:`voltsec.report.wrapping`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import IO, Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from voltsec.report.alphabet import Alphabet, alphabet_for
from voltsec.report.cautions import cautions
from voltsec.report.formula import formula
from voltsec.report.machine import circuit_name
from voltsec.report.notes import deviation_rows, notes
from voltsec.report.numbers_table import numbers_title, part_rows, stage_rows
from voltsec.report.outline import (
    ROLES,
    mode_words,
    named,
    parts_in,
    port_rows,
    result_rows,
    shown_name,
    stress_rows,
)
from voltsec.report.wrapping import wrap_formula
from voltsec.steady.first_order import FirstOrder
from voltsec.steady.solution import Mode, Solution

LONGEST_IN_OVERVIEW = 160
"""Signs of a region up to which the overview has it."""

INDENT = 2
LABEL_WIDTH = 20
NAME_WIDTH = 4


def show(solution: Solution, stream: IO[str] | None = None) -> None:
    """Print ``solution`` on ``stream`` (standard output by default)."""
    console = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, markup=False)
    View(solution, console).show()


def _for_people(solution: Solution) -> Solution:
    """What repeats in long formulas named; an ideal stage has none and loads nothing for it."""
    if not any(mode.losses for mode in solution.modes):
        return solution
    from voltsec.report.shortened import shortened

    return shortened(solution)


def _leading_orders(solution: Solution) -> dict[str, FirstOrder]:
    """Leading orders of modes without closed form; an ideal stage loads nothing for it."""
    if not any(mode.losses for mode in solution.modes) and all(mode.written for mode in solution.modes):
        return {}
    from voltsec.report.shortened import leading_orders

    return leading_orders(solution)


class View:
    """One printing of one solution."""

    def __init__(self, solution: Solution, console: Console) -> None:
        self.solution = solution
        self.circuit = solution.circuit
        self.console = console
        self.alphabet: Alphabet = alphabet_for(console.encoding)
        self.width = console.width
        self.duties = self.circuit.duty_symbols
        self.shown = _for_people(solution)
        self.leading = _leading_orders(solution)

    def show(self) -> None:
        """Everything, in reading order."""
        self._heading()
        if len(self.solution.modes) > 1:
            self._overview()
        for mode in self.shown.modes:
            self._mode(mode)
        self._numbers()
        self._notes("Not determined", self.solution.undetermined)
        self._notes("Notes", notes(self.solution))
        self._notes("Beware", cautions(self.solution))

    # -- pieces --------------------------------------------------------------------------------

    def _text(self, expression: Any) -> str:
        return formula(expression, self.duties, self.alphabet)

    def _print(self, text: str, style: str = "") -> None:
        self.console.print(Text(self.alphabet.plain(text), style=style))

    def _section(self, title: str, aside: str = "") -> None:
        line = self.alphabet.plain("─") if self.alphabet.unicode else "-"
        self.console.print()
        heading = Text(f"{line * 2} ", style="dim")
        heading.append(self.alphabet.plain(title), style="bold")
        if aside:
            heading.append(self.alphabet.plain(f"  {aside}"))
        rest = self.width - heading.cell_len - 1
        if rest > 0:
            heading.append(" " + line * rest, style="dim")
        self.console.print(heading)

    def _heading(self) -> None:
        circuit = self.circuit
        output = circuit.output
        name = f"{output.element}, " if output.element else ""
        name_shown = circuit_name(circuit)
        self._print("".join(c if c.isprintable() else "?" for c in name_shown), "bold")
        parts = [f"Input {circuit.input.name}", f"output {name}{output.start} → {output.end}"]
        complements = [f"{duty}′ = 1 − {duty}" for duty in self.duties]
        self._print((" · " if self.alphabet.unicode else "; ").join(parts + complements))

    def _overview(self) -> None:
        """The modes side by side; each is told in full further down."""
        modes = self.shown.modes
        gains = all(mode.gain is not None for mode in modes)
        result = f"V/{self.circuit.input.name}" if gains else "V"
        table = self._table("Mode", result, "Holds when")
        room = self.width - INDENT - max(len(mode.name) for mode in modes) - 4
        shown = [self._text(mode.gain if gains else mode.output_voltage) for mode in modes]
        first = min(max(map(len, shown)), room // 2)
        for mode, text in zip(modes, shown, strict=True):
            region = "always" if mode.holds_when is None else self._text(mode.holds_when)
            if not mode.written:
                region = "decided by numbers"
            elif len(region) > LONGEST_IN_OVERVIEW:
                region = "as told below"
            cells = (wrap_formula(text, first), wrap_formula(region, room - first))
            table.add_row(mode.name, *("\n".join(lines) for lines in cells))
        self.console.print()
        self._indented(table)

    def _mode(self, mode: Mode) -> None:
        self._section(mode.name, mode_words(mode))
        self._region(mode)
        self._intervals(mode)
        self._rows(self._results(mode))
        self._rows(self._first_order(mode))
        self._rows(self._ports(mode))
        self._rows(self._stress(mode))
        self._rows(self._loss_formulas(mode))

    def _region(self, mode: Mode) -> None:
        rows: list[tuple[str, str, str]] = []
        if mode.holds_when is None:
            every = " and ".join(f"0 < {duty} < 1" for duty in self.duties)
            condition = f"always ({every})" if every else "always"
            if not mode.written:
                condition = "decided by numbers (conditions too long to print)"
        else:
            condition = self._text(mode.holds_when)
        rows.append(("Holds when", "", condition))
        if mode.written:
            rows.append(("", "", "proved" if mode.proved else "checked at sample values, not proved"))
        for number, (name, expression) in enumerate(named(mode)):
            rows.append(("where" if number == 0 else "", shown_name(name), self._text(expression)))
        for number, polynomial in enumerate(mode.condition or ()):
            rows.append(("no closed form" if number == 0 else "", "", f"0 = {self._text(polynomial)}"))
        self._rows(rows)

    def _intervals(self, mode: Mode) -> None:
        roles = [role for role in ROLES if any(parts_in(interval, role) for interval in mode.intervals)]
        table = self._table("Share", "Conducts", *(role.capitalize() for role in roles), "Ended by")
        for interval in mode.intervals:
            cells = [self._text(interval.fraction), ", ".join(interval.conducting) or "none"]
            cells += [", ".join(parts_in(interval, role)) for role in roles]
            table.add_row(*(Text(cell) for cell in (*cells, interval.ends)))
        self.console.print()
        self._indented(table)

    def _results(self, mode: Mode) -> Iterator[tuple[str, str, str]]:
        whole_stage = {
            "gain": f"V/{self.circuit.input.name}",
            "V": "V",
            "eta": "η" if self.alphabet.unicode else "",
        }
        before = ""
        if mode.written:
            yield "", "", ""
        for row in result_rows(mode, self.circuit):
            name = row.name or whole_stage.get(row.letter, "")
            yield "" if row.label == before else row.label, name, self._text(row.expression)
            before = row.label

    def _ports(self, mode: Mode) -> Iterator[tuple[str, str, str]]:
        """What source and load see; a row without formula says it all in words."""
        before = ""
        for row in port_rows(mode, self.solution):
            if not before:
                yield "", "", ""
            text = "" if row.expression is None else self._text(row.expression)
            yield "" if row.label == before else row.label, row.words, text
            before = row.label

    def _stress(self, mode: Mode) -> Iterator[tuple[str, str, str]]:
        before = ""
        for row in stress_rows(mode, self.circuit):
            if not before:
                yield "", "", ""
            label = "" if row.part == before else f"Stress of {row.part}"
            yield label, row.label, self._text(row.expression)
            before = row.part

    def _first_order(self, mode: Mode) -> Iterator[tuple[str, str, str]]:
        """Where intervals end by themselves, the exact equations of a lossy stage are hard to read."""
        if mode.name not in self.leading:
            return
        from voltsec.report.losses import first_order_rows

        rows = first_order_rows(self.leading[mode.name], self.circuit.input.name, self.duties, self.alphabet)
        yield "", "", ""
        for number, (name, text) in enumerate(rows):
            yield "" if number else "To first order", name, text

    def _loss_formulas(self, mode: Mode) -> Iterator[tuple[str, str, str]]:
        found = {name: loss for name, loss in mode.losses.items() if loss is not None and loss != 0}
        for number, (name, loss) in enumerate(found.items()):
            if number == 0:
                yield "", "", ""
            yield "" if number else "Conduction loss", name, self._text(loss)

    def _rows(self, rows: Iterable[tuple[str, str, str]]) -> None:
        """Label, name and formula in three columns; an all-empty row is a blank line."""
        listed = list(rows)
        if not listed:
            return
        label_width = max(LABEL_WIDTH, *(len(label) + 2 for label, _, _ in listed))
        name_width = max(NAME_WIDTH, *(len(name) for _, name, _ in listed))
        room = self.width - INDENT - label_width - name_width - 2
        lines = []
        for label, name, text in listed:
            before = " " * INDENT + label.ljust(label_width)
            for number, line in enumerate(wrap_formula(text, max(room, 20))):
                row = Text(before if number == 0 else " " * len(before))
                row.append((name if number == 0 else "").ljust(name_width + 2), style="cyan")
                row.append(line)
                row.rstrip()
                lines.append(row)
        self.console.print(Text("\n").join(lines), overflow="fold")

    def _table(self, *columns: str) -> Table:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim", show_edge=False)
        for column in columns:
            table.add_column(column, overflow="fold")
        return table

    def _numbers(self) -> None:
        numbers = self.solution.numbers
        if numbers is None:
            return
        self._section("Numbers", numbers_title(numbers))
        for label, value in stage_rows(self.solution, self.alphabet):
            self._print(" " * INDENT + label.ljust(LABEL_WIDTH) + value)
        self._figures(part_rows(self.solution, self.alphabet))
        self._losses()
        self._figures(deviation_rows(self.solution, self.alphabet))

    def _losses(self) -> None:
        """Where the power goes, for a circuit with resistances or drops."""
        from voltsec.results.table import lossy_elements

        if not lossy_elements(self.circuit):
            return
        from voltsec.report.losses import loss_rows  # brings in more than an ideal circuit needs

        self._figures(loss_rows(self.solution, self.alphabet))

    def _figures(self, lines: Iterable[tuple[str, ...]]) -> None:
        """A heading and rows of numbers, these to the right; nothing where there are no rows."""
        heading, *rows = [*lines] or [()]
        if not rows:
            return
        table = self._table(*heading)
        for column in table.columns[1:]:
            column.justify = "right"
        for row in rows:
            table.add_row(*(Text(cell) for cell in row))
        self.console.print()
        self._indented(table)

    def _notes(self, title: str, notes: Iterable[str]) -> None:
        listed = list(notes)
        if not listed:
            return
        self._section(title)
        self._indented(Text(self.alphabet.plain("\n".join(listed))))

    def _indented(self, block: Any) -> None:
        """Print ``block`` with the usual indent and without blanks at the ends of its lines."""
        lines = []
        for line in self.console.render_lines(Padding(block, (0, 0, 0, INDENT)), pad=False):
            row = Text()
            for segment in line:
                row.append(segment.text, style=segment.style)
            row.rstrip()
            lines.append(row)
        self.console.print(Text("\n").join(lines), overflow="ignore", no_wrap=True)
