"""What is said of waveforms in words: the table, names of intervals, what jumps and what is open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isinf, isnan

from voltsec.practice.waves import MEASURES, Trace, Waves
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.quantity import engineering, relative_change
from voltsec.waveforms.traces import Impulse

HEADING = ("Trace", "Mean", "Rms", "Pk-pk", "Least", "Largest")
AGREES = 5e-6
"""A smaller difference of a formula, as a share, is rounding."""
OF_LEVEL = 1e-6
"""A mean below this share of the trace's size is compared with nothing."""
IMPULSE_UNITS = {"A": "C", "V": "Vs"}
IMPULSES = {"A": "charge", "V": "flux"}
MOST_NAMED = 3


def title_words(waves: Waves, alphabet: Alphabet = UNICODE) -> str:
    """What is shown: ``One period of the exact steady state, CCM: D = 0.4, T = 10 µs (100 kHz)``."""
    count = "One period" if waves.periods == 1 else f"{waves.periods} periods"
    mode = f", {waves.mode}" if waves.mode else ""
    timing = [f"{name} = {waves.point[name]:.4g}" for name in waves.circuit.timing_symbols]
    rate = engineering(1 / waves.period, "Hz", alphabet)
    timing.append(f"T = {engineering(waves.period, 's', alphabet)} ({rate})")
    return f"{count} of the exact steady state{mode}: {', '.join(timing)}"


def conducting_words(conducting: tuple[str, ...]) -> str:
    """What conducts in an interval."""
    return ", ".join(conducting) or "none"


def interval_key(waves: Waves, alphabet: Alphabet = UNICODE) -> list[str]:
    """The intervals of one period by number: ``1: S (40 %)``."""
    first = waves.intervals[: len(waves.intervals) // waves.periods]
    return [
        f"{number}: {conducting_words(conducting)} ({_share(end - start, waves.period, alphabet)})"
        for number, (start, end, conducting) in enumerate(first, 1)
    ]


def _share(length: float, period: float, alphabet: Alphabet) -> str:
    share = 100 * length / period
    return f"{share:.3g} %" if share >= 0.1 else alphabet.plain("< 0.1 %")


def table_rows(waves: Waves, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, ...]]:
    """The heading, then for each trace its measures, below them the formulas' and how far these are off."""
    yield HEADING
    for trace in waves.traces:
        exact = [getattr(trace, name) for name in MEASURES]
        cells = [measure_text(value, trace.unit, alphabet) for value in (*exact, trace.least, trace.largest)]
        if trace.rms_is_bound and trace.rms is not None and not isinf(trace.rms):
            cells[1] = alphabet.plain(f"≤ {cells[1]}")
        yield (trace.name, *cells)
        if not trace.formulas:
            continue
        given = [trace.formulas.get(name) for name in MEASURES]
        yield ("  formula", *(_given(value, trace.unit, alphabet) for value in given), "", "")
        off = [_off(trace, value, known, alphabet) for value, known in zip(given, exact, strict=True)]
        if any(off):
            yield ("  off by", *off, "", "")


def measure_text(value: float | None, unit: str, alphabet: Alphabet = UNICODE, digits: int = 4) -> str:
    """A measure; ``open`` where ideal parts leave it open, ``no bound`` where charge jumps."""
    if value is None:
        return "open"
    return "no bound" if isinf(value) else engineering(value, unit, alphabet, digits)


def _given(value: float | None, unit: str, alphabet: Alphabet) -> str:
    return "" if value is None else engineering(value, unit, alphabet)


def _off(trace: Trace, formula: float | None, exact: float | None, alphabet: Alphabet) -> str:
    if formula is None or exact is None or isinf(exact):
        return ""
    size = max(abs(value) for value in (trace.least or 0.0, trace.largest or 0.0) if not isinf(value))
    if abs(exact) < OF_LEVEL * size or abs(formula - exact) < AGREES * abs(exact):
        return "0 %" if abs(formula - exact) < OF_LEVEL * max(size, abs(exact)) else ""
    return relative_change(formula, exact, alphabet)


def remarks(waves: Waves, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """What jumps in no time, and what ideal parts leave open."""
    for trace in waves.traces:
        if trace.impulses:
            first = trace.impulses[: len(trace.impulses) // waves.periods]
            yield f"{trace.name}: {impulse_words(first, trace.unit, alphabet)} in no time"
    shared = [t.name for t in waves.traces if t.open and t.average is None and t.least is not None]
    if shared:
        yield (
            f"{', '.join(shared)}: ideal parts leave open how they share it; shown is the range that any "
            "leaks or resistances of theirs allow"
        )
    unbounded = [t.name for t in waves.traces if t.open and t.least is None]
    if unbounded:
        yield f"{', '.join(unbounded)}: open, nothing in the circuit fixes the level"


def impulse_words(impulses: Sequence[Impulse], unit: str, alphabet: Alphabet = UNICODE) -> str:
    """``charge 4.99 µC at 0 s`` for each of the first impulses."""
    told = [
        f"{amount_text(one, unit, alphabet)} at {engineering(one.time, 's', alphabet)}"
        for one in impulses[:MOST_NAMED]
    ]
    more = len(impulses) - MOST_NAMED
    return f"{IMPULSES[unit]} {', '.join(told)}{f' and {more} more times' if more > 0 else ''}"


def amount_text(one: Impulse, unit: str, alphabet: Alphabet = UNICODE) -> str:
    """The charge of a current in ampere, or the flux of a voltage in volt."""
    return "of open share" if isnan(one.amount) else engineering(one.amount, IMPULSE_UNITS[unit], alphabet, 3)
