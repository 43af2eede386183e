"""Averages, peaks, ripple and rms of one mode, as ratios over the balance's ring.

A current or voltage is its mean and its ramp in each interval; what is wanted of it is a sum, or
the largest of a few candidates.  Which candidate is largest is decided at the sample points where
the mode holds; where it differs among them, all that win somewhere are kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from voltsec.steady.balance import Balance, Ratio, add, multiply
from voltsec.tableau.network import Row

PEAK_CANDIDATES = 3
"""So many different winners at most; beyond that the peak is given where it is sampled most."""


LONG_TERMS = 100
"""Ratios of more terms are not added up: formulas keep mean and ramp apart."""


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
        return None if bend is None else add(mean, bend)


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

    def current(self, unknown: tuple) -> Waveform:
        """The waveform of a branch current."""
        return self.of({unknown: self.ring.one})

    def average(self, row: Row) -> Ratio | None:
        """Average over the period (ripple neglected in continuous conduction)."""
        terms = [self.balance.value(k, row, "average") for k in range(self.count)]
        return self.weighted(terms)

    def weighted(self, terms: list[Ratio | None] | tuple[Ratio | None, ...]) -> Ratio | None:
        """Sum of fraction times term; the open parts of single terms may cancel, so all must be there."""
        total: Ratio = (self.ring.zero, self.ring.one)
        for fraction, term in zip(self.fractions, terms, strict=True):
            if term is None:
                return None
            total = add(total, (fraction * term[0], term[1]))
        return total

    def average_of_free(self, row: Row) -> Ratio | None:
        """Like :meth:`average`, also where single intervals leave open what the period fixes."""
        total = None
        for k, fraction in enumerate(self.fractions):
            term = self.balance.affine(k, row, "average").times((fraction, self.ring.one))
            total = term if total is None else total.plus(term, 1)
        if total is None or total.free:
            return None
        return total.constant

    def ends(self, waveform: Waveform, intervals: list[int] | None = None) -> list[Ratio] | None:
        """Values at both ends of every interval (of ``intervals``); None where not determined."""
        values: list[Ratio] = []
        for k in range(self.count) if intervals is None else intervals:
            middle, ramp = waveform.middle(k), waveform.ramps[k]
            if middle is None or ramp is None:
                return None
            values.append(middle if ramp[0].is_zero() else add(middle, (-ramp[0], ramp[1])))
            if not ramp[0].is_zero():
                values.append(add(middle, ramp))
        return values

    def largest(self, candidates: list[Ratio], absolute: bool = True) -> list[Ratio]:
        """The candidates that are largest (in size) somewhere among the sample points."""
        unique: list[Ratio] = []
        for candidate in candidates:
            if not any(candidate == other for other in unique):
                unique.append(candidate)
        if len(unique) == 1:
            return unique
        values = np.array([self.numeric(candidate) for candidate in unique])
        if absolute:
            values = np.abs(values)
        values = np.where(np.isfinite(values), values, -np.inf)
        top = values.max(axis=0)
        # fewest candidates that reach the top everywhere (to rounding)
        reaches = values >= top - 1e-9 * np.abs(top)
        chosen: list[int] = []
        missing = np.ones(values.shape[1], bool)
        while missing.any() and len(chosen) < PEAK_CANDIDATES:
            gains = (reaches & missing).sum(axis=1)
            best = int(np.argmax(gains))
            if gains[best] == 0:
                break
            chosen.append(best)
            missing &= ~reaches[best]
        return [unique[k] for k in chosen]

    def numeric(self, ratio: Ratio) -> np.ndarray:
        """Values at the sample points."""
        length = len(self.points["T"])
        with np.errstate(all="ignore"):
            value = self.ring.value(ratio[0], self.points) / self.ring.value(ratio[1], self.points)
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
            square = multiply(mean, mean)
            third = multiply(ramp, ramp)
            terms.append(add(square, (third[0], third[1] * 3)))
        return self.weighted(terms)

    def coil_ripple(self, waveform: Waveform) -> list[Ratio] | None:
        """Peak-to-peak candidates of a continuous, piecewise straight current."""
        if any(ramp is None for ramp in waveform.ramps):
            return None
        ramps = list(waveform.ramps)
        candidates = []
        for first in range(self.count):
            total: Ratio = (self.ring.zero, self.ring.one)
            for length in range(self.count - 1 if self.count > 1 else 1):
                ramp = ramps[(first + length) % self.count]
                total = add(total, (2 * ramp[0], ramp[1]))  # type: ignore[index]
                candidates.append(total)
        return self._oriented(self.largest(candidates))

    def charge_swing(self, waveform: Waveform) -> list[Ratio] | None:
        """Peak-to-peak candidates of the charge that a current brings over the period.

        Extremes lie at interval ends and where the current crosses zero inside an interval.
        """
        if any(mean is None for mean in waveform.means):
            return None
        if self.is_long(waveform):
            return self._long_charge_swing(waveform)
        period = self.ring.symbol("T")
        everywhere = np.ones(len(self.points["T"]), bool)
        charges: list[Ratio] = []
        present: list[np.ndarray] = []
        total: Ratio = (self.ring.zero, self.ring.one)
        for fraction, mean, ramp in zip(self.fractions, waveform.means, waveform.ramps, strict=True):
            assert mean is not None
            if ramp is not None and not ramp[0].is_zero():
                start = add(mean, (-ramp[0], ramp[1]))
                area = multiply(multiply(start, start), (-fraction * period, self.ring.constant(4)))
                charges.append(add(total, multiply(area, (ramp[1], ramp[0]))))
                present.append(np.abs(self.numeric(mean)) < np.abs(self.numeric(ramp)) * (1 - 1e-9))
            total = add(total, multiply(mean, (fraction * period, self.ring.one)))
            charges.append(total)
            present.append(everywhere)
        values = np.array([self.numeric(charge) for charge in charges])
        highs = np.where(present, values, -np.inf)
        lows = np.where(present, values, np.inf)
        high, low = highs.argmax(axis=0), lows.argmin(axis=0)
        swing = highs.max(axis=0) - lows.min(axis=0)
        pairs: list[tuple[int, int]] = []
        missing = everywhere.copy()
        while missing.any() and len(pairs) < PEAK_CANDIDATES:
            place = int(np.flatnonzero(missing)[0])
            pair = (int(high[place]), int(low[place]))
            pairs.append(pair)
            missing &= ~(np.abs(values[pair[0]] - values[pair[1]] - swing) <= 1e-9 * (np.abs(swing) + 1e-300))
        return [add(charges[a], (-charges[b][0], charges[b][1])) for a, b in pairs]

    def is_long(self, waveform: Waveform) -> bool:
        """True where sums of the waveform's ratios would be too long to be worth combining."""
        ratios = [r for r in (*waveform.means, *waveform.ramps) if r is not None]
        return any(len(part) > LONG_TERMS for ratio in ratios for part in ratio)

    def _long_charge_swing(self, waveform: Waveform) -> list[Ratio] | None:
        """The charge of one of two intervals: what one brings, the other takes."""
        if self.count != 2:
            return None
        charges = []
        for fraction, mean, ramp in zip(self.fractions, waveform.means, waveform.ramps, strict=True):
            assert mean is not None
            if ramp is None or (np.abs(self.numeric(mean)) < np.abs(self.numeric(ramp))).any():
                return None
            charges.append((mean[0] * fraction * self.ring.symbol("T"), mean[1]))
        return [min(charges, key=lambda charge: len(charge[0]))]

    def _oriented(self, ratios: list[Ratio]) -> list[Ratio]:
        return [(-ratio[0], ratio[1]) if np.nanmedian(self.numeric(ratio)) < 0 else ratio for ratio in ratios]
