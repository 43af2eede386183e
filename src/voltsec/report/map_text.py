"""A map of modes in characters, for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import numpy as np

from voltsec.practice.map import NO_STEADY_STATE, NOT_DETERMINED, Axis, RegionMap
from voltsec.report.alphabet import Alphabet
from voltsec.report.formula import formula
from voltsec.report.quantity import engineering
from voltsec.report.wrapping import wrap_formula
from voltsec.results.solution import Mode

COLUMNS = 60
ROWS = 20
MARGIN = 10
SIGNS = ".o+x=#%&*~^acdeghkmnrsuvwz"
UNKNOWN = "?"
NO_STATE = "!"
MARK = "@"


def map_lines(areas: RegionMap, alphabet: Alphabet, width: int = 80) -> Iterator[str]:
    """The map and its legend; ``areas`` has :data:`COLUMNS` x :data:`ROWS` cells."""
    rows, columns = areas.cells.shape
    title = "".join(c if c.isprintable() else "?" for c in areas.solution.circuit.name)
    yield from textwrap.wrap(alphabet.plain(title), width)
    yield from textwrap.wrap(alphabet.plain(axes_words(areas, alphabet)), width)
    yield ""
    # negative cells count from the end: not determined, no steady state
    places = np.where(areas.cells < 0, areas.cells, areas.cells % len(SIGNS))
    signs = np.array([*SIGNS, NO_STATE, UNKNOWN])[places]
    marked = marked_cell(areas)
    if marked is not None:
        signs[marked] = MARK
    ticks = _ticks(areas.y, rows, alphabet)
    upright, corner, flat = ("│", "└", "─") if alphabet.unicode else ("|", "+", "-")
    yield f"{areas.y.name:>{MARGIN}} "
    for row in reversed(range(rows)):
        yield f"{ticks.get(row, ''):>{MARGIN}} {upright}{''.join(signs[row])}"
    yield " " * (MARGIN + 1) + corner + flat * columns
    yield _duty_ticks(areas.x, columns)
    yield ""
    yield from legend(areas, alphabet, width)


def axes_words(areas: RegionMap, alphabet: Alphabet) -> str:
    """What is drawn over what, and what the rest is held at."""
    words = f"Modes over {areas.x.name} and {areas.y.name}"
    if areas.y.definition is not None:
        load = areas.solution.circuit.output.element
        words += f" = {formula(areas.y.definition, (), alphabet)}, changed by the load {load}"
    if areas.fixed:
        words += "; " + ", ".join(f"{n} = {engineering(v, '1', alphabet)}" for n, v in areas.fixed.items())
    return words


def marked_cell(areas: RegionMap) -> tuple[int, int] | None:
    """Row and column of the operating point, None where it is not on the map."""
    if areas.point is None:
        return None
    rows, columns = areas.cells.shape
    column = int(areas.x.share(areas.point[0]) * columns)
    row = int(areas.y.share(areas.point[1]) * rows)
    return (row, column) if 0 <= row < rows and 0 <= column < columns else None


def mode_of(areas: RegionMap, name: str) -> Mode:
    """The mode called ``name``."""
    return next(mode for mode in areas.solution.modes if mode.name == name)


def conducting_words(mode: Mode) -> str:
    """What conducts in each interval: ``S | D1 | none``."""
    return " | ".join(", ".join(interval.conducting) or "none" for interval in mode.intervals)


def no_state_words(areas: RegionMap) -> str:
    """Where nothing settles, and what grows there."""
    verb = "grows" if len(areas.runaway) == 1 else "grow"
    return f"no steady state: {', '.join(areas.runaway)} {verb} without limit"


def legend(areas: RegionMap, alphabet: Alphabet, width: int) -> Iterator[str]:
    """One entry a mode, then the boundaries and the operating point."""
    longest = max([len(name) for name in areas.names] + [3])
    for number, name in enumerate(areas.names):
        before = f"  {SIGNS[number % len(SIGNS)]}  {name.ljust(longest)}  "
        text = conducting_words(mode_of(areas, name))
        yield from textwrap.wrap(text, width, initial_indent=before, subsequent_indent=" " * len(before))
    if (areas.cells == NO_STEADY_STATE).any():
        yield from textwrap.wrap(f"  {NO_STATE}  {no_state_words(areas)}", width, subsequent_indent="     ")
    if (areas.cells == NOT_DETERMINED).any():
        yield f"  {UNKNOWN}  not determined: no mode could be verified there"
    if areas.point is not None:
        x, y = areas.point
        value = engineering(y, areas.y.unit, alphabet)
        place = f"{areas.x.name} = {engineering(x, '1', alphabet)}, {areas.y.name} = {value}"
        off = "" if marked_cell(areas) is not None else ", off the map"
        yield alphabet.plain(f"  {MARK}  operating point: {place}{off}")
    duties = areas.solution.circuit.duty_symbols
    for curve in areas.curves:
        text = formula(curve.formula, duties, alphabet)
        before = f"  Edge of {curve.mode}: {areas.y.name} = "
        lines = wrap_formula(text, width - len(before))
        for number, line in enumerate(lines):
            yield (before if number == 0 else " " * len(before)) + line
    if any("′" in formula(curve.formula, duties) for curve in areas.curves):
        yield alphabet.plain("  " + ", ".join(f"{duty}′ = 1 − {duty}" for duty in duties))
    if areas.coarse:
        names = ", ".join(areas.coarse)
        words = f"{names}: no formula was written out, so the region is drawn on a coarse grid"
        yield from textwrap.wrap(words, width, initial_indent="  ", subsequent_indent="  ")


def _ticks(axis: Axis, rows: int, alphabet: Alphabet) -> dict[int, str]:
    """Row -> label, at round values."""
    found: dict[int, str] = {}
    for value in round_values(axis):
        row = int(axis.share(value) * rows)
        if 0 <= row < rows and not any(abs(row - other) < 2 for other in found):
            found[row] = engineering(value, axis.unit, alphabet, digits=3)
    return found


def round_values(axis: Axis) -> list[float]:
    """1, 10, 100 ... on a logarithmic axis (2 and 5 between on a short one), tenths on a duty's."""
    if not axis.logarithmic:
        return [round(0.2 * n, 1) for n in range(6)]
    decades = range(int(np.floor(np.log10(axis.low))), int(np.ceil(np.log10(axis.high))) + 1)
    steps = (1.0,) if axis.high / axis.low > 1e3 else (1.0, 3.0)
    values = [step * 10.0**power for power in decades for step in steps]
    return [value for value in values if axis.low <= value <= axis.high]


def _duty_ticks(axis: Axis, columns: int) -> str:
    line = [" "] * (columns + 8)
    for value in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        text = f"{value:.1f}" if value % 1 else f"{value:.0f}"
        place = max(0, round(axis.share(value) * columns) - len(text) // 2)
        line[place : place + len(text)] = text
    middle = round(columns * 0.9) - len(axis.name) // 2
    line[middle : middle + len(axis.name)] = axis.name
    return (" " * (MARGIN + 2) + "".join(line)).rstrip()
