"""Numbers: where a mode holds, and every quantity of it at one point.

The quantities are those of sweeps (:mod:`voltsec.periodic.reading_list`).  Peaks and ripple are taken as
the largest candidate at the very point, so they hold also where the formula's choice among candidates
would be another one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.folding import Constants
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.reading_list import ReadingList, quantity_units
from voltsec.periodic.reading_sources import RatioSource
from voltsec.periodic.readings import Look
from voltsec.periodic.verification import verify
from voltsec.results.solution import Numbers
from voltsec.results.table import results_of
from voltsec.search.search import numeric_mode_of
from voltsec.tableau import lengths

Array = np.ndarray


def holds_at(builder: ModeBuilder, points: Mapping[str, Array], slack: float = 0.0) -> tuple[Array, Array]:
    """Where a mode holds among ``points``, and its fractions there; ``slack`` as in ``verify``."""
    if is_long(builder) and not slack:
        return _holds_in_floats(builder, points)
    mask, _, fractions = verify(builder.balance, builder.found.fractions, points, slack=slack)
    return mask, fractions


def numbers_at(
    builder: ModeBuilder, name: str, point: Mapping[str, float], slack: float = 0.0
) -> Numbers | None:
    """All numbers of a mode at one point, None where it does not hold there."""
    if is_long(builder) and not slack:
        return numbers_without_formulas([(name, numeric_mode_of(builder.found))], point)
    arrays = {key: np.array([float(value)]) for key, value in point.items()}
    mask, fractions = holds_at(builder, arrays, slack)
    if not mask[0]:
        return None
    names = builder.balance.sequence.fractions
    full = {key: float(value) for key, value in point.items()}
    full |= {fraction: float(fractions[row, 0]) for row, fraction in enumerate(names)}
    readings = ReadingList(RatioSource(builder.waveforms, Constants(builder.balance.ring, full)))
    look = Look(full)
    with np.errstate(all="ignore"):
        return collected(builder.circuit, name, point, lambda key: readings.reading(key).value(look))


def is_long(builder: ModeBuilder) -> bool:
    """True for a mode that is faster solved in floats than read off its formulas."""
    if builder.balance.by_itself:
        return False
    return builder.length > lengths.EVALUATED or builder.found.terms > lengths.EVALUATED_CONDITIONS


def _holds_in_floats(builder: ModeBuilder, points: Mapping[str, Array]) -> tuple[Array, Array]:
    from voltsec.periodic.row_mode import row_mode  # few stages have such modes

    rows = row_mode("", numeric_mode_of(builder.found), {}, ())
    length = max(np.size(values) for values in points.values())
    mask, shares = rows.holds(points, length)
    return mask, np.array([shares[name] for name in builder.balance.sequence.fractions])


def numbers_without_formulas(
    modes: Sequence[tuple[str, NumericMode]], point: Mapping[str, float]
) -> Numbers | None:
    """All numbers of the first of ``modes`` that holds at ``point``, None where none does."""
    if not modes:
        return None
    circuit = modes[0][1].circuit
    wanted = tuple(quantity_units(circuit))
    name, found = _first(modes, point, wanted)
    return None if found is None else collected(circuit, name, point, lambda key: found[key])


def mode_without_formulas_at(
    modes: Sequence[tuple[str, NumericMode]], point: Mapping[str, float]
) -> str | None:
    """Name of the first of ``modes`` that holds at ``point``, None where none does."""
    name, found = _first(modes, point, ())
    return None if found is None else name


def _first(
    modes: Sequence[tuple[str, NumericMode]], point: Mapping[str, float], wanted: tuple[str, ...]
) -> tuple[str, dict[str, Array] | None]:
    """Name and readings of the first mode that holds; the exact equations are asked last."""
    from voltsec.periodic.row_mode import RowMode, row_mode  # few stages have such modes

    values = {key: float(value) for key, value in point.items()}
    ready = [row_mode(name, mode, values, wanted) for name, mode in modes]
    for at in (RowMode.in_floats, RowMode.by_exact_equations):
        for mode in ready:
            found = in_time(partial(at, mode, values))
            if found is not None:
                return mode.name, found
    return "", None


def collected(
    circuit: Circuit, name: str, point: Mapping[str, float], value: Callable[[str], Array | float]
) -> Numbers:
    """Numbers of all results, which ``value`` gives by name."""

    def single(key: str) -> float | None:
        number = float(np.ravel(value(key))[0])
        return number if np.isfinite(number) else None

    return Numbers(
        mode=name,
        point={key: float(number) for key, number in point.items()},
        results={key: single(key) for key in results_of(circuit)},
    )
