"""Numbers at a point: those of the exact periodic state, the formulas' values beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import groupby

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.formulas.engine import Engine
from voltsec.formulas.numbers import collected
from voltsec.practice.quasi_static import formula_numbers
from voltsec.results.solution import Mode, Numbers
from voltsec.results.table import results_of
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.exact import Exact, Expected, exact_results, exact_state
from voltsec.waveforms.periodic import Periodic

SHORT = 0.01
"""Intervals of a smaller share of the period do not make another mode."""


@dataclass(frozen=True)
class ExactNumbers:
    """Numbers of a circuit at any point; ``engine`` knows the modes with formulas."""

    circuit: Circuit
    engine: Engine
    settled: Mapping[str, Mode] = field(default_factory=dict)
    """The modes by name where the engine leaves out parts that settle at once."""

    def __call__(self, point: Mapping[str, float]) -> Numbers | None:
        """Numbers where every symbol has a value (SI units); None where no exact state is found."""
        return self.beside(point, self.engine.at(point))

    def beside(self, point: Mapping[str, float], formulas: Numbers | None) -> Numbers | None:
        """The same where the engine's ``formulas`` are known already."""
        if formulas is not None and self.settled:
            formulas = formula_numbers(formulas, self.settled, self.circuit, point)
        mode = "" if formulas is None else formulas.mode
        known = self.engine.fractions_at(mode, point)
        expected = _expected(known)
        found = exact_results(self.circuit, point, results_of(self.circuit).values(), expected)
        if not found.found[0]:
            return None  # where formulas hold all the same, what they neglect keeps a state from repeating
        if known is not None and not (self._conducts_so(known[0], found) or self.engine.holds(mode, point)):
            mode, formulas = "", None  # taken for near its edge, but another one is met there
        numbers = collected(
            self.circuit, mode, point, lambda name: found.values.get(name, np.array([np.nan]))
        )
        return replace(
            numbers,
            exact=True,
            bounds=frozenset(name for name, bound in found.bounds.items() if bound[0]),
            unbounded=frozenset(name for name, value in found.values.items() if np.isinf(value[0])),
            leaks=frozenset(label for label, leaky in found.leaks.items() if leaky[0]),
            formulas=formulas,
        )

    def state(self, point: Mapping[str, float]) -> Periodic | None:
        """The exact periodic state that the numbers at ``point`` are measured on."""
        formulas = self.engine.at(point)
        known = self.engine.fractions_at("" if formulas is None else formulas.mode, point)
        return exact_state(self.circuit, point, _expected(known))

    def _conducts_so(self, sequence: Sequence, found: Exact) -> bool:
        """True where the devices conduct as in ``sequence``, but for intervals that are next to nothing."""
        number = int(found.number[0])
        met, _ = found.sequences[number]
        shares = found.fractions[number][0]
        lasting = [one for one, share in zip(met.intervals, shares, strict=True) if share > SHORT]
        return [key for key, _ in groupby(lasting)] == list(sequence.intervals)


def _expected(known: tuple[Sequence, list[float]] | None) -> list[Expected]:
    """The sequence and fractions of the mode whose formulas hold, to begin with."""
    return [] if known is None else [Expected(known[0], np.array([known[1]]))]
