"""Notes on an answer: the solver's own warnings, and where formulas differ from the exact numbers."""

from __future__ import annotations

from collections.abc import Iterator

from voltsec.practice.deviation import Deviation, deviations
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.other_losses import other_loss_notes
from voltsec.report.quantity import engineering, percent, relative_change
from voltsec.results.solution import Solution

MOST_ROWS = 8
"""Differences listed; the JSON answer has all values of both kinds."""
MOST_NAMED = 2
"""Differences named in a note."""

LABELS = {
    "gain": "gain",
    "output_voltage": "output voltage",
    "efficiency": "efficiency",
    "output_ripple": "output ripple",
    "input_ripple": "ripple of the input current",
    "output_current_ripple": "ripple of the output current",
    "capacitor_voltages": "mean voltage",
    "inductor_currents": "mean current",
    "source_currents": "mean current",
    "ripple": "ripple",
    "losses": "loss",
    "voltage_peak": "peak voltage",
    "current_average": "mean current",
    "current_peak": "peak current",
    "current_rms": "rms current",
}


def notes(solution: Solution) -> tuple[str, ...]:
    """Everything that stands under "Notes"; warnings of the JSON answer."""
    return (*solution.warnings, *_about_numbers(solution), *other_loss_notes(solution))


def _about_numbers(solution: Solution) -> Iterator[str]:
    numbers = solution.numbers
    if numbers is None:
        return
    found = deviations(solution)
    if found:
        named = [_sentence(deviation) for deviation in _most_telling(found)[:MOST_NAMED]]
        more = len(found) - len(named)
        rest = f", and {more} more" if more else ""
        yield (
            "ripple is not small at the operating point, and the formulas neglect it: they give "
            f"{'; '.join(named)}{rest}. The numbers are those of the exact periodic state"
        )
    if numbers.unbounded:
        parts = sorted({name.split(".")[1] for name in numbers.unbounded if "." in name})
        yield (
            f"charge jumps between ideal parts in no time ({', '.join(parts)}): peak and rms currents there "
            "have no bound; give the capacitors or devices their resistance"
        )


def deviation_rows(solution: Solution, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, ...]]:
    """The heading, then result, exact value, value by formula and difference; nothing where all agree."""
    found = deviations(solution)
    if not found:
        return
    yield ("Differs by formula", "Exact", "Formula", "Difference")
    listed = _most_telling(found)[:MOST_ROWS]
    for deviation in listed:
        yield (
            _capital(label(deviation.name)),
            "no bound" if deviation.exact is None else _value(deviation, deviation.exact, alphabet),
            _value(deviation, deviation.formula, alphabet),
            _change(deviation, alphabet),
        )
    if len(found) > len(listed):
        yield (f"and {len(found) - len(listed)} more", "", "", "")


def label(name: str) -> str:
    """A result in words: ``peak current of S``."""
    group, _, rest = name.partition(".")
    if not rest:
        return LABELS[group]
    part, _, key = rest.rpartition(".")
    return f"{LABELS[key]} of {part}" if group == "stress" else f"{LABELS[group]} of {rest}"


def _most_telling(found: tuple[Deviation, ...]) -> list[Deviation]:
    """Without results that only say another one again."""
    kept = [d for d in found if not (d.name == "gain" and any(o.name == "output_voltage" for o in found))]
    names = {d.name for d in kept}
    return [
        d
        for d in kept
        if not (
            d.name.endswith(".current_average")
            and {f"{g}.{d.name.split('.')[1]}" for g in ("inductor_currents", "source_currents")} & names
        )
    ]


def _sentence(deviation: Deviation) -> str:
    exact = "without bound" if deviation.exact is None else _value(deviation, deviation.exact)
    return f"{label(deviation.name)} {_value(deviation, deviation.formula)} where it is {exact}"


def _value(deviation: Deviation, value: float, alphabet: Alphabet = UNICODE) -> str:
    if deviation.name == "efficiency":
        return percent(value, alphabet)
    return engineering(value, deviation.unit, alphabet)


def _change(deviation: Deviation, alphabet: Alphabet) -> str:
    if deviation.exact is None:
        return ""
    change = deviation.formula - deviation.exact
    if deviation.name == "efficiency":
        return alphabet.plain(f"{100 * change:+.2g} points".replace("-", "−"))
    return relative_change(deviation.formula, deviation.exact, alphabet)


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
