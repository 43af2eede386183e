"""Stages side by side on a terminal: one column a stage, as many beside each other as fit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import isfinite
from textwrap import wrap

from sympy import Expr

from voltsec.practice.design.comparison import Comparison
from voltsec.practice.design.equipped import WORDS
from voltsec.practice.design.judged import MEASURES, Measure, measure
from voltsec.practice.design.judging import Judged
from voltsec.practice.design.specification import Limit
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.cautions import CLOSING, EXTRA_LOW_VOLTAGE, voltage_caution
from voltsec.report.formula import formula
from voltsec.report.quantity import engineering, percent
from voltsec.report.wrapping import wrap_formula

Prose = Callable[[str], list[str]]
LABEL = 21
COLUMN = 12
"""Least signs of a stage's column."""
GAP = 2
PERCENT = ("utilisation", "efficiency")
COUNTS = ("part_count", "order", "right_zeros")


def comparison_lines(comparison: Comparison, width: int = 80, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """All lines, none longer than ``width``."""

    def prose(text: str) -> list[str]:
        return wrap(alphabet.plain(text), width, subsequent_indent="  ")

    able = comparison.able
    others = comparison.others
    if comparison.wanted:
        yield from prose(f"Compared for {comparison.wanted}")
        yield from prose(conditions(comparison, alphabet))
    if comparison.criterion and able:
        best = measure(comparison.criterion)
        yield from prose(f"Best first by {best.label.lower()}, {best.told or best.best}")
    if able:
        yield ""
        yield from _blocks(able, width, alphabet)
    if others:
        yield ""
        yield "Cannot do the job:" if comparison.wanted else "No answer:"
        for one in others:
            yield from prose(f"{one.name}: {one.why_not}")
    if comparison.wanted and able:
        yield ""
        yield from comparison_notes(able, prose)
        yield from comparison_cautions(able, prose)


def conditions(comparison: Comparison, alphabet: Alphabet = UNICODE) -> str:
    """What every stage is sized for and built of, in a sentence or two."""
    ripples = ", ".join(
        f"{word if word != 'out' else 'output'} {_limit(limit, 'A' if word == 'coils' else 'V', alphabet)}"
        for word, limit in comparison.ripples.items()
    )
    parts = ", ".join(
        f"{name} {engineering(getattr(comparison.parts, name), unit, alphabet)}"
        for name, unit in WORDS.items()
    )
    return (
        f"Every stage sized for the same ripple ({ripples}) and built of the same parts ({parts}; "
        "transformers without loss). Numbers at the worst point of the ranges, ripple included."
    )


def _limit(limit: Limit, unit: str, alphabet: Alphabet) -> str:
    return percent(limit.amount, alphabet) if limit.relative else engineering(limit.amount, unit, alphabet)


def _blocks(able: Sequence[Judged], width: int, alphabet: Alphabet) -> Iterator[str]:
    count = max((width - LABEL) // (COLUMN + GAP), 1)
    blocks = -(-len(able) // count)
    size = -(-len(able) // blocks)  # blocks as even as they come
    for start in range(0, len(able), size):
        if start:
            yield ""
        yield from _block(able[start : start + size], width, alphabet)


def _block(judged: Sequence[Judged], width: int, alphabet: Alphabet) -> Iterator[str]:
    rows: list[tuple[str, list[list[str]]]] = []
    room = min((width - LABEL) // len(judged) - GAP, 30)
    rows.append(("", [_cut(one.name, room) for one in judged]))
    for one in MEASURES:
        cells = [_cell(one, stage, room, alphabet) for stage in judged]
        if any(cells):
            rows.append((one.label, cells))
    widths = [max(len(line) for _, cells in rows for line in cells[k]) for k in range(len(judged))]
    line = "─" if alphabet.unicode else "-"
    for number, (label, cells) in enumerate(rows):
        height = max(len(cell) for cell in cells)
        for k in range(height):
            parts = [
                (cell[k] if k < len(cell) else "").ljust(wide)
                for cell, wide in zip(cells, widths, strict=True)
            ]
            start = (label if k == 0 else "").ljust(LABEL)
            yield (start + (" " * GAP).join(parts)).rstrip()
        if number == 0:
            yield line * (LABEL + sum(widths) + GAP * (len(widths) - 1))


def _cell(one: Measure, stage: Judged, room: int, alphabet: Alphabet) -> list[str]:
    """Lines of one cell; none where the measure does not apply."""
    if one.key not in stage.values:
        return []
    value = stage.values[one.key]
    if isinstance(value, Expr):
        text = formula(value, stage.circuit.duty_symbols, alphabet)
        return wrap_formula(text, room, 1)
    if isinstance(value, str):
        return _cut(alphabet.plain(value), room)
    return [value_text(one, value, alphabet)]


def value_text(one: Measure, value: float | None, alphabet: Alphabet = UNICODE) -> str:
    """A number of a measure as it is shown."""
    if value is None:
        return alphabet.plain("–")
    if not isfinite(value):
        return "no bound"
    if one.key in PERCENT:
        return percent(value, alphabet)
    if one.key in COUNTS:
        return f"{value:.0f}"
    return engineering(value, one.unit, alphabet)


def _cut(text: str, room: int) -> list[str]:
    return wrap(text, room) or [""]


def comparison_notes(able: Sequence[Judged], prose: Prose) -> Iterator[str]:
    """Values that were kept, and how the numbers are made; ``prose`` breaks into lines."""
    kept = {one.name: one.kept for one in able if one.kept}
    for name, symbols in kept.items():
        verb = "keeps its" if len(symbols) == 1 else "keep their"
        yield from prose(f"{name}: {', '.join(symbols)} {verb} netlist value, no ripple formula sizes it.")
    known = {key for one in able for key in one.values}
    told = [f"{one.label}: {one.told}" for one in MEASURES if one.told and one.key in known]
    yield from prose("; ".join(told) + ".")
    yield ""


def comparison_cautions(able: Sequence[Judged], prose: Prose) -> Iterator[str]:
    """The usual cautions; ``prose`` breaks into lines."""
    volts = [
        (value, stage.name)
        for stage in able
        for key in ("switch_voltage", "diode_voltage")
        if isinstance(value := stage.values.get(key), float) and isfinite(value)
    ]
    highest = max(volts, default=None)
    if highest is not None and highest[0] > EXTRA_LOW_VOLTAGE:
        yield from prose(voltage_caution(highest[0], f"A device of {highest[1]}"))
    yield from prose(CLOSING)
