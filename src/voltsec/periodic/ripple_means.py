"""Means of every interval where the averages see constant coil currents: what the coils' ripple adds.

With more than two intervals a coil's mean is not the same in all.  It follows from the ramps, and the rest of
the interval's network answers to the coil currents' deviations as it does to their ramps.
"""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from voltsec.tableau.assembly import ramp_rows
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.network import Row, Unknown, coils
from voltsec.tableau.ratio import Ratio, lowest_terms

if TYPE_CHECKING:
    from voltsec.periodic.balance import Balance


class RippleMeans:
    """Deviations of means from the averages of ``balance``."""

    def __init__(self, balance: Balance) -> None:
        self.balance = balance
        self.ring = balance.ring
        self.count = len(balance.sequence.intervals)

    def added(self, k: int, row: Row) -> tuple[Ratio, dict[Unknown, Ratio]]:
        """What ripple adds to the mean of a sum in interval ``k``, and the terms that stay open."""
        total = Ratio(self.ring.zero, self.ring.one)
        open_: dict[Unknown, Ratio] = {}
        for unknown, coefficient in row.items():
            if unknown is None:
                continue
            key = ("r", k, unknown)
            bottom, terms = self._responses[k].solved.get(key, (self.ring.one, {key: self.ring.one}))
            for other, factor in terms.items():
                scale = lowest_terms(factor * coefficient, bottom)
                deviation = self._deviations.get(other)
                if deviation is not None:
                    total = total + deviation * scale
                elif not scale.is_zero:
                    open_[other] = open_[other] + scale if other in open_ else scale
        return total, {unknown: ratio for unknown, ratio in open_.items() if not ratio.is_zero}

    @cached_property
    def _responses(self) -> list[Eliminated]:
        """The ramp network of every interval by the coils' ramps."""
        balance, found = self.balance, []
        for k in range(self.count):
            currents = frozenset(("r", k, ("i", coil.name)) for coil in coils(balance.circuit))
            rows = ramp_rows(balance.circuit, balance.sequence, balance.network, k)
            found.append(eliminate(rows, self.ring, last=currents))
        return found

    @cached_property
    def _deviations(self) -> dict[Unknown, Ratio]:
        """Mean of every coil's current in an interval above its mean over the period, by its ramp's name."""
        found = {}
        nothing = Ratio(self.ring.zero, self.ring.one)
        shares = [Ratio(self.ring.symbol(name), self.ring.one) for name in self.balance.sequence.fractions]
        for coil in coils(self.balance.circuit):
            ramps = [self.balance.ramp(k, ("i", coil.name)) for k in range(self.count)]
            known = [ramp for ramp in ramps if ramp is not None]
            if len(known) < len(ramps):
                continue
            levels = [nothing]
            for before, after in pairwise(known):
                levels.append(levels[-1] + before + after)
            for k, level in enumerate(levels):
                total = nothing
                for share, other in zip(shares, levels, strict=True):
                    total = total + (level - other) * share
                found["r", k, ("i", coil.name)] = total
        return found
