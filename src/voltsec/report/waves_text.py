"""Waveforms on a terminal: the table of measures, small plots, what jumps and what is open."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import IO

from rich.console import Console
from rich.table import Table
from rich.text import Text

from voltsec.practice.waves import Waves
from voltsec.report.alphabet import Alphabet, alphabet_for
from voltsec.report.cautions import cautions_at
from voltsec.report.terminal import rendered
from voltsec.report.waves_plot import LABELS, axis_lines, plot_lines
from voltsec.report.waves_words import interval_key, remarks, table_rows, title_words

WIDEST = 80
"""Columns of a plot, however wide the terminal is."""
NARROWEST = 40
MOST_PLOTS = 8
"""Traces that are plotted; the table has them all."""
FEW = 4
"""Up to so many plots are drawn tall."""
TALL, LOW = 6, 4
"""Rows of a plot."""


def show_waves(waves: Waves, plots: bool = True, stream: IO[str] | None = None) -> None:
    """Print the table, and below it the plots, on ``stream`` (standard output by default)."""
    console = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, markup=False)
    alphabet = alphabet_for(console.encoding)
    for line in _wrapped(_printable(waves.circuit.name), console.width, alphabet):
        console.print(Text(line, style="bold"))
    for line in _wrapped(title_words(waves, alphabet), console.width, alphabet):
        console.print(Text(line))
    console.print()
    for row in rendered(console, _table(waves, alphabet)):
        console.print(row)
    told = [*remarks(waves, alphabet), *cautions_at(waves.circuit, waves.numbers)]
    if told:
        console.print()
    for remark in told:
        for line in _wrapped(remark, console.width, alphabet, "  "):
            console.print(Text(line))
    if plots:
        for line in _plots(waves, alphabet, min(console.width, WIDEST)):
            console.print(Text(line), no_wrap=True, overflow="crop")


def _table(waves: Waves, alphabet: Alphabet) -> Table:
    heading, *rows = table_rows(waves, alphabet)
    table = Table(box=None, pad_edge=False, padding=(0, 0, 0, 2), header_style="dim", show_edge=False)
    for number, name in enumerate(heading):
        table.add_column(name, justify="right" if number else "left", overflow="fold", no_wrap=number == 0)
    for name, *cells in rows:
        style = "dim" if name.startswith(" ") else ""
        table.add_row(Text(name), *(Text(cell) for cell in cells), style=style)
    return table


def _plots(waves: Waves, alphabet: Alphabet, width: int) -> Iterator[str]:
    shown = waves.traces[:MOST_PLOTS]
    rows = TALL if len(shown) <= FEW or not alphabet.unicode else LOW
    columns = max(width, NARROWEST) - LABELS - 2
    for trace in shown:
        yield ""
        yield f"  {trace.name}"
        yield from plot_lines(waves, trace, rows, columns, alphabet)
    below, numbered = axis_lines(waves, columns, alphabet)
    yield from below
    if numbered:
        dot = " · " if alphabet.unicode else "; "
        yield from _wrapped(dot.join(interval_key(waves, alphabet)), width, alphabet, "  ")
    more = [trace.name for trace in waves.traces[MOST_PLOTS:]]
    if more:
        words = f"Not plotted: {', '.join(more)}; --show picks what is"
        yield from ["", *_wrapped(words, width, alphabet, "  ")]


def _wrapped(text: str, width: int, alphabet: Alphabet, indent: str = "") -> list[str]:
    return textwrap.wrap(
        alphabet.plain(text), width, initial_indent=indent, subsequent_indent=indent and indent + "  "
    )


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)
