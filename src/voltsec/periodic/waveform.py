"""Averages and mean squares of one mode, as ratios over the balance's ring.

A current or voltage is its mean and its ramp in each interval.  What is the largest of them, and where a
current changes its sign, :mod:`voltsec.formulas.extremes` tells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from voltsec.periodic.balance import Balance
from voltsec.tableau.network import Row
from voltsec.tableau.ratio import Ratio


@dataclass(frozen=True)
class Waveform:
    """Mean and ramp of one quantity in every interval; ``None`` where not determined.

    ``bends`` (see :mod:`voltsec.tableau.assembly`) is empty where currents are straight lines.
    """

    means: tuple[Ratio | None, ...]
    ramps: tuple[Ratio | None, ...]
    bends: tuple[Ratio | None, ...] = ()

    def middle(self, k: int) -> Ratio | None:
        """Mean of the values at the ends of interval ``k``."""
        mean = self.means[k]
        if not self.bends or mean is None:
            return mean
        bend = self.bends[k]
        return None if bend is None else mean + bend


class Waveforms:
    """Waveforms of a balance; ``points`` are sample points (fractions included) where it holds."""

    def __init__(self, balance: Balance, points: dict[str, np.ndarray]) -> None:
        self.balance = balance
        self.ring = balance.ring
        self.points = points
        self.count = len(balance.sequence.intervals)
        self.fractions = [self.ring.symbol(f) for f in balance.sequence.fractions]

    def of(self, row: Callable[[int], Row] | Row) -> Waveform:
        """The waveform of a sum of local unknowns."""
        rows = [row if isinstance(row, dict) else row(k) for k in range(self.count)]
        return Waveform(
            tuple(self.balance.value(k, rows[k], "mean") for k in range(self.count)),
            tuple(self.balance.value(k, rows[k], "ramp") for k in range(self.count)),
            tuple(self.balance.value(k, rows[k], "bend") for k in range(self.count))
            if self.balance.bends
            else (),
        )

    def current(self, unknown: tuple[Any, ...]) -> Waveform:
        """The waveform of a branch current."""
        return self.of({unknown: self.ring.one})

    def weighted(self, terms: list[Ratio | None] | tuple[Ratio | None, ...]) -> Ratio | None:
        """Sum of fraction times term; the open parts of single terms may cancel, so all must be there."""
        total = Ratio(self.ring.zero, self.ring.one)
        for fraction, term in zip(self.fractions, terms, strict=True):
            if term is None:
                return None
            total = total + term.times(fraction)
        return total

    def average_of_free(self, row: Row) -> Ratio | None:
        """Average over the period (ripple neglected in continuous conduction).

        Also where single intervals leave open what the period fixes.
        """
        total = None
        for k, fraction in enumerate(self.fractions):
            term = self.balance.affine(k, row, "average").times(Ratio(fraction, self.ring.one))
            total = term if total is None else total.plus(term, 1)
        if total is None or total.free:
            return None
        return total.constant

    def numeric(self, ratio: Ratio) -> np.ndarray:
        """Values at the sample points."""
        length = len(self.points["T"])
        with np.errstate(all="ignore"):
            value = ratio.value(self.ring, self.points)
        return np.broadcast_to(np.asarray(value, float), (length,))

    def mean_square(self, waveform: Waveform) -> Ratio | None:
        """Sum of fraction times (mean squared + ramp squared / 3).

        A bend's own share, a fifth of its square, is of second order in the resistances and left out,
        as in the losses: so they sum to input minus output power exactly.
        """
        terms: list[Ratio | None] = []
        for mean, ramp in zip(waveform.means, waveform.ramps, strict=True):
            if mean is None or ramp is None:
                return None
            square = mean * mean
            third = ramp * ramp
            terms.append(square + Ratio(third.numerator, third.denominator * 3))
        return self.weighted(terms)
