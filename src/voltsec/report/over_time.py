"""What a report shows over time: one period at the operating point, and one in each of a few other modes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from voltsec.circuit.computing_time import budget_of, seconds_left
from voltsec.circuit.fault import CircuitError
from voltsec.practice.asked import BadValues
from voltsec.practice.mode_points import mode_points
from voltsec.practice.waves import Waves, waves
from voltsec.report.quantity import engineering
from voltsec.report.waves_words import title_words
from voltsec.results.solution import Solution

MOST_OTHERS = 3
"""Modes shown beside that of the operating point."""
SHARE = 0.4
"""Share of the computing time that is left, for all of them together."""


@dataclass(frozen=True)
class Period:
    """One period of the exact steady state and what is written beside it."""

    waves: Waves
    heading: str
    """``CCM, the operating point`` or ``DCM, at R = 60 Ω``."""
    words: str
    """A sentence."""


@dataclass(frozen=True)
class OverTime:
    """The periods shown, that of the operating point first."""

    periods: tuple[Period, ...]
    left_out: tuple[str, ...]
    """Modes among the first few that no period is shown of."""

    @property
    def note(self) -> str:
        """What is not shown, and why; empty where everything is."""
        if not self.left_out:
            return ""
        return (
            f"No period of {', '.join(self.left_out)} is shown: with load, duty and period changed from the "
            "netlist's, no point was met in time at which the exact state conducts so."
        )


def over_time(solution: Solution) -> OverTime | None:
    """The periods of ``solution``; None without an operating point, or where no state repeats."""
    if solution.numbers is None or not solution.numbers.exact:
        return None
    try:
        here = waves(solution)
    except (CircuitError, BadValues):
        return None
    mode = here.mode or "no listed mode"
    shown = [Period(here, f"{mode}, at the operating point", f"{title_words(here)}.")]
    others = tuple(one.name for one in solution.modes if one.name != here.mode)[:MOST_OTHERS]
    missing = []
    with budget_of(max(seconds_left(), 0.0) * SHARE):
        places = mode_points(solution, others) if others else {}
        for name in others:
            found = next(_periods(solution, name, places), None)
            if found is None:
                missing.append(name)
            else:
                shown.append(found)
    return OverTime(tuple(shown), tuple(missing))


def _periods(solution: Solution, name: str, places: dict[Any, Any]) -> Iterator[Period]:
    """Periods of a mode, the exact state being that mode's."""
    units = {quantity.symbol: quantity.unit for quantity in solution.circuit.quantities}
    for point in places.get(name, ()):
        if seconds_left() < 0:
            return
        try:
            found = waves(solution, values=point.changes)
        except (CircuitError, BadValues):
            continue
        if found.mode == name:
            told = [f"{s} = {engineering(v, units[s])}" for s, v in point.changes.items()]
            known = {s: float(v) for s, v in solution.circuit.values.items()}
            before = [f"{s} = {engineering(known[s], units[s])}" for s in point.changes]
            words = (
                f"One period where {name} holds: {', '.join(told)} in place of {', '.join(before)}, "
                "everything else as in the netlist."
            )
            yield Period(found, f"{name}, at {', '.join(told)}", words)
