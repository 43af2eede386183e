"""A start-up on a terminal: what the output does, the largest values, the ledger, small plots."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import IO

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from voltsec.practice.startup_result import Startup
from voltsec.practice.traces_wanted import WantedTrace
from voltsec.report.alphabet import Alphabet, alphabet_for
from voltsec.report.dot_plot import dot_signs, drawn_dots
from voltsec.report.quantity import engineering
from voltsec.report.startup_words import (
    cautions,
    inrush_rows,
    largest_rows,
    ledger_remark,
    ledger_rows,
    remarks,
    response_rows,
    section_title,
    title_words,
)
from voltsec.waveforms.ledger import Ledger

WIDEST = 80
LABELS = 12
"""Characters before a plot's frame."""
ROWS = 7
MOST_PLOTS = 6
MOST_DRAWN = 60
"""Periods up to which the courses themselves are drawn; of more, what each period spans."""
Window = tuple[float, float]


def show_startup(
    start: Startup,
    window: Window | None = None,
    plots: bool = True,
    stream: IO[str] | None = None,
) -> None:
    """Print the summary, the ledger of ``window`` (second) where it is asked for, and the plots."""
    console = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, markup=False)
    view = _View(start, alphabet_for(console.encoding), min(console.width, WIDEST))
    for line in view.lines(window, plots):
        if isinstance(line, str):
            console.print(Text(line), no_wrap=True, overflow="crop")
        else:
            console.print(line)


class _View:
    """One printing."""

    def __init__(self, start: Startup, alphabet: Alphabet, width: int) -> None:
        self.start, self.alphabet, self.width = start, alphabet, width

    def lines(self, window: Window | None, plots: bool) -> Iterator[str | Table]:
        """Everything, in reading order."""
        start, alphabet = self.start, self.alphabet
        name = "".join(c if c.isprintable() else "?" for c in start.circuit.name)
        yield from self.wrapped(name)
        yield from self.wrapped(title_words(start, alphabet))
        for section in start.sections:
            yield ""
            if len(start.sections) > 1 or section.steps:
                yield from self.wrapped(section_title(start, section, alphabet))
            yield from self.listed(response_rows(start, section, alphabet))
        if len(start.sections) > 1:
            yield ""
        yield from self.listed(inrush_rows(start, alphabet))
        yield ""
        yield self.table(list(largest_rows(start, alphabet)), 1)
        told = list(remarks(start, alphabet))
        if told:
            yield from self.headed("Notes", told)
        if window is not None:
            yield from self._ledger(start.ledger(*window), window)
        if plots:
            yield from self._plots()
        yield from self.headed("Beware", cautions(start))

    def listed(self, rows: Iterable[tuple[str, str]]) -> Iterator[str]:
        """Label and text, the text wrapped beside its label."""
        for label, text in rows:
            lines = textwrap.wrap(self.alphabet.plain(text), self.width - 24)
            for number, line in enumerate(lines):
                yield f"  {label if not number else '':<22}{line}"

    def headed(self, heading: str, told: Iterable[str]) -> Iterator[str]:
        """A heading with a rule, then paragraphs."""
        yield ""
        line = "─" if self.alphabet.unicode else "-"
        yield f"{line * 2} {heading} ".ljust(self.width, line)
        for text in told:
            yield from textwrap.wrap(
                self.alphabet.plain(text), self.width, initial_indent="  ", subsequent_indent="  "
            )

    def wrapped(self, text: str) -> list[str]:
        """A paragraph."""
        return textwrap.wrap(self.alphabet.plain(text), self.width)

    def table(self, rows: list[tuple[str, ...]], left: int, heading: bool = True) -> Table:
        """Cells below each other, the first ``left`` columns to the left."""
        table = Table(box=None, pad_edge=False, padding=(0, 0, 0, 2), header_style="dim", show_header=heading)
        head, body = (rows[0], rows[1:]) if heading else (rows[0], rows)
        for number, name in enumerate(head):
            table.add_column(name, justify="left" if number < left else "right", overflow="fold")
        for row in body:
            table.add_row(*(Text(self.alphabet.plain(cell)) for cell in ("  " + row[0], *row[1:])))
        return table

    def _ledger(self, ledger: Ledger, window: Window) -> Iterator[str | Table]:
        begin, end = (engineering(t, "s", self.alphabet) for t in window)
        yield from self.headed(f"Energy from {begin} to {end}", ())
        yield self.table(list(ledger_rows(ledger, self.alphabet)), 2, False)
        yield ""
        yield from self.headed_paragraph(ledger_remark(self.start, ledger, self.alphabet))

    def headed_paragraph(self, text: str) -> list[str]:
        """An indented paragraph."""
        plain = self.alphabet.plain(text)
        return textwrap.wrap(plain, self.width, initial_indent="  ", subsequent_indent="  ")

    def _plots(self) -> Iterator[str]:
        start = self.start
        shown = start.traces[:MOST_PLOTS]
        courses = start.samples() if len(start.time) - 1 <= MOST_DRAWN else None
        columns = self.width - LABELS - 2
        for trace in shown:
            yield ""
            what = "" if courses else ", the span of every period"
            yield f"  {trace.text}{what}"
            yield from self._plot(trace, courses, columns)
        corner, line = ("└", "─") if self.alphabet.unicode else ("+", "-")
        yield " " * LABELS + corner + line * columns
        ends = (engineering(value, "s", self.alphabet) for value in (0.0, start.end))
        first, last = ends
        yield f"{' ' * LABELS} {first}{last.rjust(columns - len(first))}"
        more = [trace.text for trace in start.traces[MOST_PLOTS:]]
        if more:
            yield from self.headed_paragraph(f"Not plotted: {', '.join(more)}; --show picks what is.")

    def _plot(
        self, trace: WantedTrace, courses: tuple[np.ndarray, dict[str, np.ndarray]] | None, columns: int
    ) -> Iterator[str]:
        if courses is None:
            series = self.start[trace.text]
            times = np.repeat(self.start.time[:-1], 2)
            values = np.stack([series.low, series.high], axis=1).ravel()
        else:
            times, values = courses[0], courses[1][trace.text]
        finite = values[np.isfinite(values)]
        frame = "│" if self.alphabet.unicode else "|"
        if not finite.size:
            yield " " * LABELS + frame + "  open: ideal parts leave it undetermined"
            return
        low, high = min(float(finite.min()), 0.0), max(float(finite.max()), 0.0)
        across, down = (2, 4) if self.alphabet.unicode else (1, 1)
        width, height = across * columns, down * ROWS
        x = np.clip(times / self.start.end * width, 0, width - 1)
        y = (height - 1) * (high - values) / ((high - low) or 1.0)
        signs = dot_signs(drawn_dots(x, y, width, height), ROWS, columns, self.alphabet)
        zero = round((ROWS - 1) * high / ((high - low) or 1.0))
        labels = {0: high, ROWS - 1: low, zero: 0.0}
        for row, line in enumerate(signs):
            label = engineering(labels[row], trace.unit, self.alphabet) if row in labels else ""
            yield f"{label.rjust(LABELS - 1)} {frame}{''.join(line)}".rstrip()
