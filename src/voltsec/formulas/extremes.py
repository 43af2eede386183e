"""Peaks and ripples of one mode's currents and voltages as formulas, with every case they have."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.formulas.charge import Stretch, charge_swing
from voltsec.formulas.choices import Choices, Knowledge, Points, Sum, added, difference, negative
from voltsec.periodic.waveform import Waveform, Waveforms
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Hashed

MOST_ENDS = 12
"""Different values at interval ends up to which a swing is written out."""


class Extremes:
    """Formulas of the largest values of waveforms where a mode holds.

    ``condition`` states that a ratio is positive; ``points`` are generic points where the mode holds.
    """

    def __init__(
        self,
        waves: Waveforms,
        known: Knowledge,
        points: Points,
        write: Callable[[Ratio], Expr],
        condition: Callable[[Ratio], Boolean],
    ) -> None:
        self.waves = waves
        self.known = known
        self.points = points
        self.condition = condition
        self._write = write
        self._written: dict[tuple[Hashed, Hashed], Expr] = {}

    def write(self, ratio: Ratio) -> Expr:
        """A ratio as a formula; many parts carry the same currents."""
        key = Hashed(ratio.numerator), Hashed(ratio.denominator)
        if key not in self._written:
            self._written[key] = self._write(ratio)
        return self._written[key]

    def peak(self, waveform: Waveform, intervals: list[int] | None = None) -> Expr | None:
        """Largest size at any interval end (of ``intervals``); ``None`` where not determined."""
        ends = self._ends(waveform, intervals)
        if ends is None:
            return None
        choices, sums = ends
        sizes: list[Sum] = []
        for middle, rise in sums:
            sizes += self._outer(middle, rise, choices)
        return choices.largest_size(sizes)

    def swing(self, waveform: Waveform, longest: int) -> Expr | None:
        """Highest minus lowest end of a current that may jump; ``None`` where it would be long."""
        ends = self._ends(waveform, None)
        if ends is None:
            return None
        choices, sums = ends
        values = choices.distinct([end for middle, rise in sums for end in _both(middle, rise)])
        if len(values) > MOST_ENDS or any(
            len(part) > longest for base in choices.bases for part in base.parts
        ):
            return None
        pairs = [pair for one, other in combinations(values, 2) if (pair := difference(one, other))]
        return choices.largest_size(pairs) if pairs else sympy.Integer(0)

    def coil_ripple(self, waveform: Waveform) -> Expr | None:
        """Peak to peak of a continuous, piecewise straight current."""
        rises = []
        for ramp in waveform.ramps:
            if ramp is None:
                return None
            rises.append(ramp.times(2))
        choices = self._choices(rises)
        count = len(rises)
        if count == 1:
            return choices.size(((0, 1),))
        # a rise over some intervals is a fall over all others: the fewer of the two are summed
        arcs = [(first, length) for length in range(1, count // 2 + 1) for first in range(count)]
        sums: list[Sum] = [
            tuple(sorted(((first + k) % count, 1) for k in range(length))) for first, length in arcs
        ]
        return choices.largest_size(sums)

    def capacitor_ripple(self, current: Waveform, farad: Ratio) -> Expr | None:
        """Peak to peak of the voltage of a capacitance (as a ratio), from its current."""
        ring = self.known.ring
        bases: list[Ratio] = []
        stretches: list[Stretch] = []
        for k, fraction in enumerate(self.waves.fractions):
            mean, ramp = current.means[k], current.ramps[k]
            bend = current.bends[k] if current.bends else None
            if mean is None:
                return None
            bases.append(mean)
            places = [len(bases) - 1]
            for part in (ramp, bend):
                if part is None or part.is_zero:
                    places.append(-1)
                else:
                    bases.append(part)
                    places.append(len(bases) - 1)
            stretches.append(
                Stretch(
                    Ratio(fraction, ring.one),
                    places[0],
                    places[1] if places[1] >= 0 else None,
                    places[2] if places[2] >= 0 else None,
                )
            )
        choices = self._choices(bases)
        return charge_swing(
            stretches,
            choices,
            Ratio(ring.symbol("T"), ring.one),
            lambda one: self._positive(one, choices),
            farad.inverse,
        )

    def _positive(self, one: Sum, choices: Choices) -> Boolean:
        """That a sum is positive; long ones as they stand."""
        if not choices.long:
            return self.condition(choices.ratio(one))
        return sympy.Gt(choices.written(one), 0, evaluate=False)

    def _choices(self, bases: list[Ratio]) -> Choices:
        return Choices(self.known, bases, self.points, self.write)

    def _ends(
        self, waveform: Waveform, intervals: list[int] | None
    ) -> tuple[Choices, list[tuple[Sum, Sum]]] | None:
        """Middle and half the rise of every interval: the values at its ends are middle -+ half the rise."""
        bases: list[Ratio] = []
        sums: list[tuple[Sum, Sum]] = []
        for k in range(self.waves.count) if intervals is None else intervals:
            mean, ramp = waveform.means[k], waveform.ramps[k]
            bend = waveform.bends[k] if waveform.bends else Ratio(self.known.ring.zero, self.known.ring.one)
            if mean is None or ramp is None or bend is None:
                return None
            middle = added(_base(mean, bases), _base(bend, bases))
            rise = _base(ramp, bases)
            sums.append((middle, rise))
        return self._choices(bases), sums

    def _outer(self, middle: Sum, rise: Sum, choices: Choices) -> list[Sum]:
        """Of the two ends of an interval the one with the larger size, where the signs tell."""
        signs = choices.sign(middle), choices.sign(rise)
        if None in signs:
            return list(_both(middle, rise))
        opposite = (signs[0] or 1) * (signs[1] or 1) < 0
        return [added(middle, negative(rise) if opposite else rise)]


def _both(middle: Sum, rise: Sum) -> tuple[Sum, Sum]:
    """Values at an interval's start and end."""
    return added(middle, negative(rise)), added(middle, rise)


def _base(ratio: Ratio, bases: list[Ratio]) -> Sum:
    """A ratio as a sum of bases, added to them where it is a new one (up to its sign)."""
    if ratio.is_zero:
        return ()
    for place, other in enumerate(bases):
        if ratio.denominator == other.denominator:
            if ratio.numerator == other.numerator:
                return ((place, 1),)
            if ratio.numerator == -other.numerator:
                return ((place, -1),)
    bases.append(ratio)
    return ((len(bases) - 1, 1),)
