"""What can be read off a mode at many points: peaks, ripple, rms, ratios, from folded polynomials.

Every reading is plain data with one method ``value(look)``; ``look`` gives the value of a folded
ratio or of a symbol at the points.  Peaks and swings take the largest candidate at each point.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from voltsec.periodic.folding import Item, Quotient, Value, evaluate_ratio


class Look:
    """Values at the points of one chunk, each ratio evaluated once."""

    def __init__(self, point: Mapping[str, Value]) -> None:
        self.point = point
        self._known: dict[int, Value] = {}

    def ratio(self, item: Item) -> Value:
        """Value of a ratio, or of a sum of unknowns."""
        key = id(item)
        if key not in self._known:
            self._known[key] = self._evaluated(item)
        return self._known[key]

    def _evaluated(self, item: Item) -> Value:
        assert isinstance(item, Quotient)
        return evaluate_ratio(item, self.point)

    def symbol(self, name: str) -> Value:
        """Value of a symbol or fraction."""
        return self.point[name]


class Reading(Protocol):
    """A quantity that can be read off."""

    def value(self, look: Look) -> Value:
        """The quantity in SI units."""
        ...  # pragma: no cover


@dataclass(frozen=True)
class Share:
    """Mean and ramp (half the rise) of a quantity in the interval that lasts ``fraction`` of T.

    ``middle`` is half the sum of its values at the interval's ends, where that is not the mean.
    """

    fraction: str
    mean: Item
    ramp: Item
    middle: Item | None = None


@dataclass(frozen=True)
class Plain:
    """A ratio as it stands, times ``factor``."""

    quotient: Item
    factor: float = 1.0

    def value(self, look: Look) -> Value:
        """The ratio's value."""
        return look.ratio(self.quotient) * self.factor


@dataclass(frozen=True)
class Zero:
    """A quantity that vanishes identically."""

    def value(self, look: Look) -> Value:
        """Zero."""
        return 0.0


@dataclass(frozen=True)
class Undetermined:
    """A quantity that the model leaves open."""

    def value(self, look: Look) -> Value:
        """Not a number."""
        return float("nan")


@dataclass(frozen=True)
class Times:
    """One reading times another."""

    one: Reading
    other: Reading

    def value(self, look: Look) -> Value:
        """The product."""
        return self.one.value(look) * self.other.value(look)


@dataclass(frozen=True)
class Peak:
    """Largest size among the ends of the intervals."""

    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """The peak."""
        return _highest([np.abs(end) for pair in _ends(look, self.shares) for end in pair])


@dataclass(frozen=True)
class Swing:
    """Peak to peak of a piecewise straight quantity."""

    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """Highest minus lowest end."""
        ends = [end for pair in _ends(look, self.shares) for end in pair]
        return _highest(ends) - _lowest(ends)


NOTHING = 1e-12
"""An interval shorter than this share of the period is none."""

JUMP = 1e-6
"""A step of a current by less than this share of its peak is rounding."""


@dataclass(frozen=True)
class FlowShare:
    """Share of the period in which a current flows."""

    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """0 to 1."""
        sizes = [_highest([np.abs(end) for end in pair]) for pair in _ends(look, self.shares)]
        peak = _highest(sizes)
        total: Value = 0.0
        for share, size in zip(self.shares, sizes, strict=True):
            total = total + np.where(np.greater(size, JUMP * peak), look.symbol(share.fraction), 0.0)
        return total + 0 * peak  # not a number where the current is none


@dataclass(frozen=True)
class Step:
    """Largest step of a current from one interval to the next; zero where it makes none."""

    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """Ampere."""
        ends = _ends(look, self.shares)
        peak = _highest([np.abs(end) for pair in ends for end in pair])
        steps: list[Value] = [
            np.abs(after[0] - before[1]) for before, after in zip(ends, ends[1:] + ends[:1], strict=True)
        ]
        step = _highest(steps)
        return np.where(np.greater(step, JUMP * peak), step, 0 * step)


@dataclass(frozen=True)
class RootMeanSquare:
    """Root of the sum of fraction * (mean**2 + ramp**2/3)."""

    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """The rms value."""
        return np.sqrt(mean_square(look, self.shares))


@dataclass(frozen=True)
class ResistiveLoss:
    """Resistance times mean square of the current."""

    resistance: str
    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """Watt."""
        return look.symbol(self.resistance) * mean_square(look, self.shares)


@dataclass(frozen=True)
class Over:
    """One reading over another."""

    top: Reading
    bottom: Reading

    def value(self, look: Look) -> Value:
        """The quotient."""
        with np.errstate(all="ignore"):
            return np.divide(self.top.value(look), self.bottom.value(look))


@dataclass(frozen=True)
class Efficiency:
    """Power taken over power given; each power (into an element) counts on the side of its sign."""

    powers: tuple[Reading, ...]

    def value(self, look: Look) -> Value:
        """0 to 1."""
        taken: Value = 0.0
        given: Value = 0.0
        for reading in self.powers:
            power = reading.value(look)
            taken = taken + np.maximum(power, 0)
            given = given - np.minimum(power, 0)
        with np.errstate(all="ignore"):
            return np.divide(taken, given)


@dataclass(frozen=True)
class Sum:
    """Sum of several readings."""

    parts: tuple[Reading, ...]

    def value(self, look: Look) -> Value:
        """The sum."""
        total: Value = 0.0
        for reading in self.parts:
            total = total + reading.value(look)
        return total


@dataclass(frozen=True)
class Symbol:
    """A parameter of the circuit."""

    name: str

    def value(self, look: Look) -> Value:
        """Its value at the points."""
        return look.symbol(self.name)


@dataclass(frozen=True)
class Swinging:
    """Peak to peak of a reading; not a number where it does not swing at all.

    For what capacitors swing that count as constant: that it stands still is not so.
    """

    shares: tuple[Share, ...]

    def value(self, look: Look) -> Value:
        """Highest minus lowest end."""
        swing = Swing(self.shares).value(look)
        ends: list[Value] = [np.abs(end) for pair in _ends(look, self.shares) for end in pair]
        return np.where(np.greater(swing, JUMP * _highest(ends)), swing, np.nan)


@dataclass(frozen=True)
class TerminalSwing:
    """Peak to peak of a capacitor's voltage, with the drops over resistances in series where there are some.

    The voltage inside is the integral of the current; the sum has its extremes at interval ends or where
    ``i/C + du/dt`` vanishes inside one (u the drops).  With t from -1 to 1 over an interval of length d*T
    and the current mean + ramp*t + bend*(3*t**2 - 1)/2, the drops alike, that is a quadratic equation in t
    (a linear one where the current is straight).
    """

    shares: tuple[Share, ...]
    capacitances: tuple[str, ...]
    """Symbols whose product is the capacitance."""
    drops: tuple[Share, ...] = ()

    def value(self, look: Look) -> Value:
        """Volt, peak to peak."""
        farad: Value = 1.0
        for name in self.capacitances:
            farad = farad * look.symbol(name)
        period = look.symbol("T")
        charge: Value = 0.0
        highs: list[Value] = []
        lows: list[Value] = []
        with np.errstate(all="ignore"):
            drop_ends = _ends(look, self.drops) if self.drops else [(0.0, 0.0)] * len(self.shares)
            for k, share in enumerate(self.shares):
                mean, ramp, bend = _courses(look, share)
                drop, drop_ramp, drop_bend = _courses(look, self.drops[k]) if self.drops else (0.0, 0.0, 0.0)
                length = look.symbol(share.fraction) * period
                after = charge + mean * length
                ends = [charge / farad + drop_ends[k][0], after / farad + drop_ends[k][1]]
                highs += ends
                lows += ends
                lag = np.divide(2 * farad, length)
                straight, constant = ramp + 3 * lag * drop_bend, mean - bend / 2 + lag * drop_ramp
                for place in _still(1.5 * bend, straight, constant):
                    inside = np.abs(place) < 1
                    place = np.where(inside, place, 0.0)
                    flown = mean * (place + 1) + ramp * (place**2 - 1) / 2 + bend * (place**3 - place) / 2
                    dropped = drop + drop_ramp * place + drop_bend * (3 * place**2 - 1) / 2
                    turn = (charge + length / 2 * flown) / farad + dropped
                    highs.append(np.where(inside, turn, -np.inf))
                    lows.append(np.where(inside, turn, np.inf))
                charge = after
            return _highest(highs) - _lowest(lows)


def _courses(look: Look, share: Share) -> tuple[Value, Value, Value]:
    """Mean, ramp and bend of a share."""
    mean = look.ratio(share.mean)
    return mean, look.ratio(share.ramp), 0.0 if share.middle is None else look.ratio(share.middle) - mean


def _still(square: Value, linear: Value, constant: Value) -> tuple[Value, Value]:
    """Both roots of a quadratic that may be linear, in the form that loses no digits."""
    sign = np.where(np.less(linear, 0), -1.0, 1.0)
    half = -(linear + sign * np.sqrt(linear * linear - 4 * square * constant)) / 2
    return np.divide(constant, half), np.divide(half, square)


def mean_square(look: Look, shares: tuple[Share, ...]) -> Value:
    """Sum of fraction * (mean**2 + ramp**2/3)."""
    total: Value = 0.0
    for share in shares:
        mean, ramp = look.ratio(share.mean), look.ratio(share.ramp)
        total = total + look.symbol(share.fraction) * (mean * mean + ramp * ramp / 3)
    return total


def _ends(look: Look, shares: tuple[Share, ...]) -> list[tuple[Value, Value]]:
    """Values at start and end of every interval; between edges that coincide there are no own ones."""
    found: list[tuple[Value, Value]] = []
    lasting = []
    for share in shares:
        middle = look.ratio(share.mean if share.middle is None else share.middle)
        ramp = look.ratio(share.ramp)
        found.append((middle - ramp, middle + ramp))
        lasting.append(np.greater(look.symbol(share.fraction), NOTHING))
    if all(np.all(lasts) for lasts in lasting):
        return found
    for k in [*range(len(found)), *range(len(found))]:  # twice: the first may follow the last
        before = found[k - 1][1]
        start, end = (np.where(lasting[k], value, before) for value in found[k])
        found[k] = start, end
    return found


def _highest(values: list[Value]) -> Value:
    top = values[0]
    for value in values[1:]:
        top = np.maximum(top, value)
    return top


def _lowest(values: list[Value]) -> Value:
    low = values[0]
    for value in values[1:]:
        low = np.minimum(low, value)
    return low
