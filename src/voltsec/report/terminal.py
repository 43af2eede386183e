"""The answer on a terminal: one section a mode, then the numbers and what to beware of.

What a person reads at once fits into :data:`MOST_LINES` lines: parts are told by importance
(:mod:`voltsec.report.mode_parts`), and one line says what was left out.  In full nothing is left out or
shortened; long formulas are broken at their operators (:mod:`voltsec.report.wrapping`).
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import IO, Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from voltsec.formulas.first_order import FirstOrder
from voltsec.report.alphabet import Alphabet, alphabet_for
from voltsec.report.cautions import cautions
from voltsec.report.formula import formula
from voltsec.report.meanings import Meaning, Meanings, meaning_rows
from voltsec.report.mode_parts import ModeParts
from voltsec.report.notes import deviation_rows, notes
from voltsec.report.numbers_table import numbers_title, part_rows, stage_rows
from voltsec.report.outline import ROLES, mode_words, parts_in, shown_mode
from voltsec.report.rounding import without_rounding
from voltsec.report.selection import Part, Row, Section, fitted
from voltsec.report.wrapping import wrap_formula
from voltsec.results.solution import Mode, Solution

MOST_LINES = 120
"""Lines of an answer that is not told in full."""

LONGEST_IN_OVERVIEW = 160
"""Signs of a region up to which the overview has it."""

OVERVIEW = 12
"""Modes listed side by side, ..."""
OVERVIEW_LINES = 2
"""... each on so many lines at most."""

LEFT_OUT_LINES = 4
MOST_NAMED = 5
"""What was left out is named up to so many."""

INDENT = 2
LABEL_WIDTH = 20
NAME_WIDTH = 4


def show(solution: Solution, stream: IO[str] | None = None, full: bool = False, brief: bool = False) -> None:
    """Print ``solution`` on ``stream`` (standard output by default).

    ``full`` leaves nothing out; ``brief`` is the table of modes, the numbers and the notes.
    """
    console = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, markup=False)
    View(solution, console, full, brief).show()


def _for_people(solution: Solution) -> Solution:
    """What repeats in long formulas named; an ideal stage has none and loads nothing for it."""
    if not any(mode.losses for mode in solution.modes):
        return solution
    from voltsec.formulas.shortened import shortened

    return shortened(solution)


def _leading_order(solution: Solution, mode: Mode) -> FirstOrder | None:
    """Leading order of a mode without closed form; an ideal stage loads nothing for it."""
    if mode.closed_form or not solution.circuit.parasitics:
        return None
    from voltsec.formulas.shortened import leading_order

    return leading_order(solution, mode)


class View:
    """One printing of one solution."""

    def __init__(self, solution: Solution, console: Console, full: bool = False, brief: bool = False) -> None:
        self.solution = without_rounding(solution)
        self.circuit = solution.circuit
        self.console = console
        self.full = full
        self.brief = brief
        self.alphabet: Alphabet = alphabet_for(console.encoding)
        self.width = console.width
        self.duties = self.circuit.duty_symbols
        self._texts: dict[Any, str] = {}
        self.shown = _for_people(solution)

    def show(self) -> None:
        """Everything, in reading order."""
        count = len(self.solution.modes)
        modes = [] if self.brief else [self._section_for(mode) for mode in self.shown.modes]
        after = self._numbers(self._flows(modes))
        after += self._notes("Not determined", self.solution.undetermined)
        after += self._notes("Notes", notes(self.solution))
        if not self.brief:
            after += self._notes("Beware", cautions(self.solution))
        before, middle = self._heading(), list[Text]()
        if count > 1 or (self.brief and count):
            before += self._overview(range(count) if self.brief else ())
        if not self.brief:
            kept, without = self._kept(modes, len(before) + len(after)), set[int]()
            while not without.issuperset(self._untold(kept)) and count > 1:
                without |= self._untold(kept)
                before = self._heading() + self._overview(without)
                kept = self._kept(modes, len(before) + len(after))
            middle = self._modes(modes, kept)
        self.console.print(Text("\n").join([*before, *middle, *after]), overflow="ignore", no_wrap=True)

    # -- the modes -----------------------------------------------------------------------------

    @property
    def _leading(self) -> int:
        """The place of the mode that is told most of: the one at the operating point, else the first."""
        numbers = self.solution.numbers
        names = [mode.name for mode in self.shown.modes]
        return names.index(numbers.mode) if numbers is not None and numbers.mode in names else 0

    def _flows(self, modes: list[Section]) -> dict[str, str]:
        """How the ports' currents flow, as the leading mode's section says it."""
        if not modes:
            return {}
        ports = [part for part in modes[self._leading].parts if part.group == "ports"]
        found: dict[str, str] = {}
        for row in (row for part in ports for row in part.rows):
            found.setdefault(row.label, row.name)
        return found

    def _kept(self, modes: list[Section], taken: int) -> list[list[Part]]:
        """What of the modes' sections is told beside so many other lines."""
        if self.full:
            return [section.parts for section in modes]
        return fitted(modes, self._leading, MOST_LINES - taken - LEFT_OUT_LINES)

    def _untold(self, kept: list[list[Part]]) -> set[int]:
        """Places of the modes that have no section of their own."""
        return {number for number, parts in enumerate(kept) if not parts}

    def _modes(self, modes: list[Section], kept: list[list[Part]]) -> list[Text]:
        """The modes' sections, and what was left out of them."""
        names = [mode.name for mode in self.shown.modes]
        lines: list[Text] = []
        for parts in kept:
            lines += self._section_of(parts)
        left = [(name, section.missing(told)) for name, section, told in zip(names, modes, kept, strict=True)]
        return lines + ([] if self.full else self._left_out(left))

    def _section_for(self, mode: Mode) -> Section:
        heading = tuple(self._section(shown_mode(mode), mode_words(mode)))

        def parts() -> list[Part]:
            leading = _leading_order(self.solution, mode)
            told = ModeParts(mode, self.solution, leading, self.alphabet, self._text, self.full)
            return told.parts(heading, tuple(self._intervals(mode)), self._height)

        # at least these, a line for each interval, and one for the region
        return Section(len(heading) + len(mode.intervals) + 1, parts)

    def _section_of(self, parts: list[Part]) -> list[Text]:
        """A mode's lines: a blank line before every group but the region."""
        lines: list[Text] = []
        group = ""
        rows: list[Row] = []
        for part in [*parts, Part(0, "", "end", 0)]:
            if part.group != group and rows:
                lines += [] if group == "region" else [Text()]
                lines += self._rows(rows)
                rows = []
            group = part.group
            lines += [line for line in part.table if isinstance(line, Text)]
            rows += part.rows
        return lines

    def _left_out(self, left: list[tuple[str, list[str]]]) -> list[Text]:
        """One sentence that says what is missing, and how to get it."""
        whole = [name for name, missing in left if "all" in missing]
        told = []
        for name, missing in left:
            if missing and name not in whole:
                told.append(f"{name}: {', '.join(_joined(missing))}")
        if whole:
            some = ", ".join(whole[:MOST_NAMED]) + (" and others" if len(whole) > MOST_NAMED else "")
            told.append(f"all of {some}")
        if not told:
            return []
        text = f"Left out here: {'; '.join(told)}. "
        if len(text) > 2 * self.width:
            names = [name for name, missing in left if missing and name not in whole]
            told = [f"much of {', '.join(names)}", *([told[-1]] if whole else [])]
            text = f"Left out here: {'; '.join(told)}. "
        hint = "--full prints it all, --mode NAME one mode." if len(left) > 1 else "--full prints it all."
        return [Text(), *self._wrapped(text + hint)]

    def _intervals(self, mode: Mode) -> list[Text]:
        roles = [role for role in ROLES if any(parts_in(interval, role) for interval in mode.intervals)]
        table = self._table("Share", "Conducts", *(role.capitalize() for role in roles), "Ended by")
        for interval in mode.intervals:
            cells = [self._text(interval.fraction), ", ".join(interval.conducting) or "none"]
            cells += [", ".join(parts_in(interval, role)) for role in roles]
            table.add_row(*(Text(cell) for cell in (*cells, interval.ends)))
        return [Text(), *self._indented(table)]

    # -- before and after ----------------------------------------------------------------------

    def _heading(self) -> list[Text]:
        circuit = self.circuit
        output = circuit.output
        name = f"{output.element}, " if output.element else ""
        title = "".join(c if c.isprintable() else "?" for c in circuit.name)
        parts = [f"Input {circuit.input.name}", f"output {name}{output.start} → {output.end}"]
        complements = [f"{duty}′ = 1 − {duty}" for duty in self.duties]
        line = (" · " if self.alphabet.unicode else "; ").join(parts + complements)
        return [*self._wrapped(title, "bold", 0), *self._wrapped(line, "", 0)]

    def _overview(self, alone: Container[int]) -> list[Text]:
        """The modes side by side; each is told in full further down.

        What the symbols mean of those modes that have no section (``alone``, by place) is said below.
        """
        modes = self.shown.modes if self.full else self.shown.modes[:OVERVIEW]
        gains = all(mode.gain is not None for mode in modes)
        table = self._table("Mode", f"V/{self.circuit.input.name}" if gains else "V", "Holds when")
        names = [shown_mode(mode) for mode in modes]
        widest = min(max(map(len, names)), self.width // 3)
        room = self.width - INDENT - widest - 4
        meanings = Meanings(self.circuit, self._text)
        found: list[tuple[str, Meaning]] = []
        values = [mode.gain if gains else mode.output_voltage for mode in modes]
        first = min(max(len(self._text(value)) for value in values), room // 2)
        for number, (mode, name, value) in enumerate(zip(modes, names, values, strict=True)):
            cells = [wrap_formula(name, widest)]
            for expression, width, region in ((value, first, False), (mode.holds_when, room - first, True)):
                known = meanings.of(mode, expression) if number in alone else []
                cell = wrap_formula(self._text(expression), width)
                if known is None or (len(cell) > OVERVIEW_LINES and not self.full):
                    cell, known = ["long"], []
                if region and (not mode.written or expression is None):
                    cell, known = ["always" if mode.written else "where the numbers say so"], []
                elif region and len(self._text(expression)) > LONGEST_IN_OVERVIEW:
                    cell, known = ["long" if self.brief else "as told below"], []
                cells.append(cell)
                found += [(mode.name, meaning) for meaning in known]
            if not self.full and len(cells[0]) > OVERVIEW_LINES:
                cells[0] = [mode.name]
            table.add_row(*("\n".join(cell) for cell in cells))
        lines = [Text(), *self._indented(table)]
        lines += self._rows(list(meaning_rows(found, len(modes) > 1)))
        more = len(self.shown.modes) - len(modes)
        if more:
            lines += self._wrapped(f"and {more} more mode{'s' if more > 1 else ''}: --full lists them")
        return lines

    def _numbers(self, told: dict[str, str]) -> list[Text]:
        numbers = self.solution.numbers
        if numbers is None:
            return []
        lines = self._section("Numbers", numbers_title(numbers))
        for label, value in stage_rows(self.solution, self.alphabet, told):
            lines += self._rows([Row(label, "", value)], 0)
        lines += self._figures(part_rows(self.solution, self.alphabet))
        return lines + self._losses() + self._figures(deviation_rows(self.solution, self.alphabet))

    def _losses(self) -> list[Text]:
        """Where the power goes, for a circuit with resistances or drops."""
        from voltsec.results.table import lossy_elements

        numbers = self.solution.numbers
        lines: list[Text] = []
        if lossy_elements(self.circuit):
            from voltsec.report.losses import loss_rows  # brings in more than an ideal circuit needs

            lines += self._figures(loss_rows(self.solution, self.alphabet))
        if numbers is not None and numbers.other_losses:
            from voltsec.report.other_losses import other_loss_rows

            lines += self._figures(other_loss_rows(self.solution, self.alphabet), words=3)
        return lines

    def _figures(self, lines: Iterable[tuple[str, ...]], words: int = 1) -> list[Text]:
        """A heading and rows: columns of words, then numbers to the right; nothing without rows."""
        heading, *rows = [*lines] or [()]
        if not rows:
            return []
        table = self._table(*heading)
        for column in table.columns[words:]:
            column.justify = "right"
        for row in rows:
            table.add_row(*(Text(cell) for cell in row))
        return [Text(), *self._indented(table)]

    def _notes(self, title: str, notes: Iterable[str]) -> list[Text]:
        listed = list(notes)
        if not listed:
            return []
        return self._section(title) + self._wrapped("\n".join(listed))

    # -- lines ---------------------------------------------------------------------------------

    def _text(self, expression: Any) -> str:
        if expression not in self._texts:
            self._texts[expression] = formula(expression, self.duties, self.alphabet)
        return self._texts[expression]

    def _section(self, title: str, aside: str = "") -> list[Text]:
        line = self.alphabet.plain("─") if self.alphabet.unicode else "-"
        heading = Text(f"{line * 2} ", style="dim")
        heading.append(self.alphabet.plain(title), style="bold")
        if aside:
            heading.append(self.alphabet.plain(f"  {aside}"))
        rest = self.width - heading.cell_len - 1
        if rest > 0:
            heading.append(" " + line * rest, style="dim")
        return [Text(), *self._cut(heading)]

    def _widths(self, rows: Iterable[Row], least_name: int = NAME_WIDTH) -> tuple[int, int]:
        listed = list(rows)
        label = max((LABEL_WIDTH, *(len(row.label) + 2 for row in listed)))
        return label, max((least_name, *(len(row.name) for row in listed)))

    def _wrap(self, row: Row, widths: tuple[int, int]) -> list[str]:
        room = self.width - INDENT - sum(widths) - 2
        return wrap_formula(row.text, max(room, 20))

    def _height(self, row: Row, among: list[Row]) -> int:
        return len(self._wrap(row, self._widths(among)))

    def _rows(self, rows: list[Row], least_name: int = NAME_WIDTH) -> list[Text]:
        """Label, name and formula in three columns; a label that stands above is not repeated."""
        widths = self._widths(rows, least_name)
        gap = widths[1] + 2 if widths[1] else 0
        lines = []
        above = ""
        for row in rows:
            label = "" if row.label == above else row.label
            above = row.label
            before = " " * INDENT + label.ljust(widths[0])
            for number, text in enumerate(self._wrap(row, widths)):
                line = Text(before if number == 0 else " " * len(before))
                line.append((row.name if number == 0 else "").ljust(gap), style="cyan")
                line.append(text)
                line.rstrip()
                lines += self._cut(line)
        return lines

    def _table(self, *columns: str) -> Table:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim", show_edge=False)
        for column in columns:
            table.add_column(column, overflow="fold")
        return table

    def _wrapped(self, text: str, style: str = "", indent: int = INDENT) -> list[Text]:
        return self._indented(Text(self.alphabet.plain(text), style=style), indent)

    def _cut(self, line: Text) -> list[Text]:
        """A line folded at the screen's edge."""
        return (
            list(line.wrap(self.console, self.width, overflow="fold"))
            if line.cell_len > self.width
            else [line]
        )

    def _indented(self, block: Any, indent: int = INDENT) -> list[Text]:
        return rendered(self.console, block, indent)


def rendered(console: Console, block: Any, indent: int = INDENT) -> list[Text]:
    """``block`` as lines with an indent and without blanks at their ends."""
    lines = []
    for line in console.render_lines(Padding(block, (0, 0, 0, indent)), pad=False):
        row = Text()
        for segment in line:
            row.append(segment.text, style=segment.style)
        row.rstrip()
        lines.append(row)
    return lines


def _joined(missing: Iterable[str]) -> list[str]:
    """What is missing, each once; both kinds of stress as one."""
    found = list(dict.fromkeys(missing))
    both = [f"stress of {parts}" for parts in ("switches and diodes", "other parts")]
    if all(one in found for one in both):
        found = [one for one in found if one not in both] + ["stress"]
    return found
