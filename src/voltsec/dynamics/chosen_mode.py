"""The mode that state equations and small-signal models are told of."""

from __future__ import annotations

from collections.abc import Mapping

from voltsec.circuit.computing_time import in_time
from voltsec.circuit.spelling import hint_among
from voltsec.formulas.engine import engine_of
from voltsec.formulas.first_order_dry import Case
from voltsec.results.solution import Mode, Solution


class NotTold(ValueError):
    """What was asked for is not there; the message says why, and what there is."""


def chosen_mode(answer: Solution, name: str | None = None) -> Mode:
    """The mode called ``name``; without one that at the operating point, else the first.

    Raises :class:`NotTold` for a name that is not there, ``NoSteadyState`` where there are no modes.
    """
    answer.need_modes()
    modes = {mode.name.lower(): mode for mode in answer.modes}
    if name is None:
        there = "" if answer.numbers is None else answer.numbers.mode.lower()
        return modes.get(there, answer.modes[0])
    found = modes.get(name.strip().lower())
    if found is None:
        names = [mode.name for mode in answer.modes]
        raise NotTold(f"there is no mode {name!r}; {hint_among(name, names)}")
    return found


def mode_and_case(
    answer: Solution, name: str | None = None, point: Mapping[str, float] | None = None
) -> tuple[Mode, Case, list[str]]:
    """The mode, its sequence at a point where it holds, and what is to be said of the choice.

    Without a ``name`` the mode at ``point`` (every symbol, SI units), which need not be among those that were
    found in time.  Raises as :func:`chosen_mode` does.
    """
    notes: list[str] = []
    if name is None and point is not None:
        there = in_time(lambda: engine_of(answer).mode_at(point))
        listed = next((mode for mode in answer.modes if mode.name == there), None)
        met = engine_of(answer).met_at(point) if listed is None else None
        if listed is not None:
            return listed, engine_of(answer).case(listed.name), []
        if met is not None:
            return *met, ["the mode at the operating point is not among those that solve lists"]
        notes.append(
            "at the operating point none of the listed modes holds: the averaged model is that of "
            f"{chosen_mode(answer).name}"
        )
    chosen = chosen_mode(answer, name)
    return chosen, engine_of(answer).case(chosen.name), notes
