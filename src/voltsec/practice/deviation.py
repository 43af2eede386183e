"""Where the small-ripple formulas' values differ from the exact numbers at the operating point.

What counts as a difference: one per cent of an average, five of a peak, rms value, ripple or loss, or of what
is usual among its like in the circuit where it is near zero; of the efficiency a tenth of the losses if that
is half a per cent of the input (the limits are this project's own).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from voltsec.circuit.circuit import Circuit
from voltsec.results.measures import Average, Gain
from voltsec.results.solution import Numbers, Solution
from voltsec.results.table import results_of

SHARE = 0.01
"""Difference of an average that counts, of its own size."""
WIDE_SHARE = 0.05
"""The same for peaks, rms values, ripple and losses."""
NEAR_ZERO = 0.1
"""A value below this share of the largest of its like is held against that."""
OF_LOSSES = 0.1
OF_INPUT = 0.005
PORT_SHARES = ("input_share", "output_current_share", "input_step", "output_current_step")
"""How a current flows is told in words; these numbers only decide between them."""


@dataclass(frozen=True)
class Deviation:
    """A result that the formulas give otherwise; SI units."""

    name: str
    """As in the table of results."""
    unit: str
    formula: float
    exact: float | None
    """None where it has no bound: charge or flux jumps in no time."""
    share: float
    """The difference as a share of the result's size."""


def deviations(solution: Solution) -> tuple[Deviation, ...]:
    """Results whose formulas differ at the operating point, the whole stage's first, then the largest first.

    Empty where there are no numbers, or none beside the formulas'.
    """
    numbers = solution.numbers
    if numbers is None or numbers.formulas is None:
        return ()
    found = list(_found(solution.circuit, numbers, numbers.formulas))
    whole = [d for d in found if "." not in d.name]
    parts = [d for d in found if "." in d.name]
    return (*whole, *sorted(parts, key=lambda d: -abs(d.share)))


def _found(circuit: Circuit, exact: Numbers, formulas: Numbers) -> Iterator[Deviation]:
    known = results_of(circuit)
    levels: dict[tuple[str, str], float] = {}
    for name, value in exact.results.items():
        if value is not None:
            kind = _kind(name, known[name].unit)
            levels[kind] = max(levels.get(kind, 0.0), abs(value))
    for name, result in known.items():
        formula, value = formulas.results.get(name), exact.results.get(name)
        if formula is None or name in PORT_SHARES or name in exact.bounds:
            continue
        if value is None:
            if name in exact.unbounded:
                yield Deviation(name, result.unit, formula, None, float("inf"))
            continue
        level = max(abs(value), NEAR_ZERO * levels[_kind(name, result.unit)])
        change = formula - value
        if name == "efficiency":
            counts = abs(change) > OF_INPUT and abs(change) > OF_LOSSES * (1 - value)
        else:
            averaged = isinstance(result.measure, Average | Gain)
            counts = abs(change) > (SHARE if averaged else WIDE_SHARE) * level
        if counts:
            yield Deviation(name, result.unit, formula, value, change / level if level else float("inf"))


def _kind(name: str, unit: str) -> tuple[str, str]:
    """Results that are compared with each other: voltages, currents, losses ..., ripple apart."""
    return ("ripple" if "ripple" in name else "", unit)
