"""A mode whose exact formulas are too long to write: its numbers, by the same exact path.

Put values in for the parameters and the tableau, its elimination, the conditions on the fractions
and the sign checks stay what they are; only the interval fractions remain unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from sympy import Add, Expr

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.balance import Balance
from voltsec.periodic.fractions import Fractions, NotClosed
from voltsec.periodic.stages import Stages
from voltsec.periodic.verification import verify
from voltsec.tableau.expression import symbol
from voltsec.tableau.interval import Sequence
from voltsec.tableau.ring import TooLarge
from voltsec.tableau.scaled_ring import ScaledRing


@dataclass(frozen=True)
class NumericMode:
    """A sequence that is solved point by point."""

    circuit: Circuit
    stages: Stages
    sequence: Sequence
    references: tuple[str, ...]
    witness: tuple[float, ...] | None = field(default=None, compare=False)
    """Fractions of all intervals at a point where the sequence holds."""

    def at(
        self, point: Mapping[str, float], start: np.ndarray | None = None
    ) -> tuple[Balance, dict[str, np.ndarray]] | None:
        """The solved balance and the point with its fractions.

        None where the sequence does not hold, or where its equations are too long even at one point;
        ``start`` is a guess of the fractions (one an interval).
        """
        balance = Balance(
            self.circuit,
            self.sequence,
            self.references,
            ScaledRing(self.circuit, self.sequence, point),
        )
        if start is None:
            start = self._guess(point)
        try:
            fractions = Fractions(balance, self.stages, point, start)
        except (NotClosed, TooLarge):
            return None
        arrays = {name: np.array([float(value)]) for name, value in point.items()}
        balance = fractions.balance
        mask, _, shares = verify(balance, fractions, arrays, start)
        if not mask[0]:
            return None
        for row, name in enumerate(self.sequence.fractions):
            arrays[name] = shares[row]
        return balance, arrays

    def labels(self) -> dict[int, str]:
        """Names d2, d3 ... of the fractions that end by themselves, by interval."""
        return {k: f"d{number + 2}" for number, k in enumerate(self.sequence.unknown)}

    def fraction_texts(self, labels: dict[int, str]) -> list[Expr]:
        """Every fraction in duties and unknowns."""
        found: list[Expr] = []
        for k, interval in enumerate(self.sequence.intervals):
            if k in labels:
                found.append(symbol(labels[k]))
                continue
            members = [j for j, other in enumerate(self.sequence.intervals) if other.stage == interval.stage]
            own = Add(*(symbol(labels[j]) for j in members if j in labels))
            found.append(self.stages.share(interval.stage) - own)
        return found

    def holds(self, point: Mapping[str, float], start: np.ndarray | None = None) -> bool:
        """True where the sequence passes its sign checks at ``point``."""
        return self.at(point, start) is not None

    def _guess(self, point: Mapping[str, float]) -> np.ndarray:
        """Fractions read off a coarse numeric state."""
        from voltsec.periodic.complementarity import PeriodicProblem
        from voltsec.periodic.time_grid import graded

        lengths = self.stages.fractions(dict(point))
        shares = np.zeros(len(self.sequence.intervals))
        lasting = [k for k, length in enumerate(lengths) if length > 0]  # edges may coincide
        closed = tuple(self.stages.closed[k] for k in lasting)
        problem = PeriodicProblem(self.circuit, self.references, closed, point)
        state = problem.solve(np.array([lengths[k] for k in lasting]), graded(len(lasting)))
        if state is not None:
            for step, place in enumerate(state.stages):
                stage = lasting[place]
                conducting = self.stages.closed[stage] | {
                    diode.name
                    for diode, on in zip(self.circuit.diodes, state.conducting[step], strict=True)
                    if on
                }
                for k, interval in enumerate(self.sequence.intervals):
                    if interval.stage == stage and interval.conducting == conducting:
                        shares[k] += state.steps[step]
                        break
        for k, interval in enumerate(self.sequence.intervals):
            if shares[k] == 0:
                shares[k] = lengths[interval.stage] / 10
        return shares
