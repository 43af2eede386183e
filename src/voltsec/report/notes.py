"""Notes on an answer: the solver's own warnings, and what ripple changes at the operating point."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from voltsec.practice.ripple import LARGE_RIPPLE, Difference, RippleCheck, Swing, ripple_check
from voltsec.report.quantity import engineering, percent
from voltsec.steady.solution import Solution

NOT_SMALL = "ripple is not small at the operating point"
MOST_PARTS = 2
"""Coils and capacitors named in a note; the JSON answer has them all."""


def notes(solution: Solution) -> tuple[str, ...]:
    """Everything that stands under "Notes"; warnings of the JSON answer."""
    return notes_with(solution, ripple_check(solution))


def notes_with(solution: Solution, check: RippleCheck | None) -> tuple[str, ...]:
    """The same where the comparison with the exact state is known already."""
    return (*solution.warnings, *(ripple_lines(check) if check is not None else ()))


def ripple_lines(check: RippleCheck) -> Iterator[str]:
    """A warning where ripple is not small, nothing otherwise."""
    swing = check.largest
    if check.exact is None:
        if swing is not None and (swing.share is None or swing.share > LARGE_RIPPLE) and swing.unit == "V":
            yield (
                f"{NOT_SMALL} ({_swing(swing)}): the formulas neglect it, and the exact "
                "periodic state was not found; take the numbers as a first guess"
            )
        return
    if not check.differences:
        return
    averages = [d for d in check.differences if d.kind != "ripple"]
    listed = [d for d in averages if d.kind == "output"]
    listed += [d for d in averages if d.name][: MOST_PARTS - len(listed)]
    listed += [d for d in averages if d.kind == "efficiency"]
    if not listed:
        yield f"{NOT_SMALL}: the averages hold, but peak values neglect it; {_swings(check)}"
        return
    text = "; ".join(
        f"{_subject(d)} is {_value(d, d.exact)}, not {_value(d, d.formula)}{_change(d)}" for d in listed
    )
    text = f"{NOT_SMALL}, and the formulas neglect it: with it {text}"
    if check.other_devices:
        text += "; other devices conduct than the formulas assume"
    yield text if swing is None else f"{text}. Largest ripple: {_swing(swing)}"


def _swings(check: RippleCheck) -> str:
    """Capacitors with large ripple, exact and by formula."""
    told = []
    for d in [d for d in check.differences if d.kind == "ripple"][:MOST_PARTS]:
        formula = f" (by its formula {engineering(d.formula, 'V')})"
        told.append(f"the voltage of {d.name} swings by {engineering(d.exact, 'V')} peak to peak{formula}")
    return "; ".join(told)


def _swing(swing: Swing) -> str:
    if swing.share is None:
        return f"{swing.name}, {engineering(swing.size, swing.unit, digits=3)} peak to peak"
    of = "voltage" if swing.unit == "V" else "mean current"
    share = f"{100 * swing.share:.2g}" if swing.share < 1 else f"{100 * swing.share:.0f}"
    return f"{swing.name}, {share} % of its {of}"


def _subject(difference: Difference) -> str:
    named = {"output": "the output", "coil": "the mean current of {}", "capacitor": "the voltage of {}"}
    return named.get(difference.kind, "the efficiency").format(difference.name)


def _value(difference: Difference, value: float) -> str:
    if difference.kind == "efficiency":
        return percent(value)
    return engineering(value, "A" if difference.kind == "coil" else "V")


def _change(difference: Difference) -> str:
    """By how much, where that is a plain share of the formula's value."""
    if difference.kind == "efficiency" or not difference.formula:
        return ""
    ratio = difference.exact / difference.formula - 1
    if not -1 < ratio < 10:
        return ""
    return f" ({abs(100 * ratio):.2g} % {'more' if ratio > 0 else 'less'})"


def exact_json(check: RippleCheck | None) -> dict[str, Any] | None:
    """The exact state's averages as plain values; None where it is not determined."""
    if check is None or check.exact is None:
        return None
    exact = check.exact
    return {
        "output_voltage": exact.output_voltage,
        "efficiency": exact.efficiency,
        "inductor_currents": dict(exact.inductor_currents),
        "capacitor_voltages": dict(exact.capacitor_voltages),
    }
