"""Where readings come from: a mode's exact ratios, or the unknowns of a linear system solved in floats.

Both answer the same few questions, so that :mod:`voltsec.periodic.reading_list` is written once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Protocol

from voltsec.periodic.balance import Balance
from voltsec.periodic.folding import Constants, Item, Linear, Quotient
from voltsec.periodic.readings import Share
from voltsec.periodic.waveform import Waveforms
from voltsec.tableau.network import Row
from voltsec.tableau.ratio import Ratio


class Source(Protocol):
    """What a reading is made of; ``None`` stands for what the model leaves open."""

    balance: Balance

    def share(self, k: int, row: Row, straight: bool = False) -> Share | None:
        """Mean, ramp and bend of a sum of local unknowns in interval ``k``.

        With ``straight`` a ramp or bend that stays open is that of a constant quantity.
        """
        ...  # pragma: no cover

    def average_share(self, k: int, row: Row) -> Share | None:
        """The same with ripple neglected in continuous conduction."""
        ...  # pragma: no cover

    def average(self, row: Row) -> Item | None:
        """Average over the period."""
        ...  # pragma: no cover

    def capacitor_voltage(self, name: str) -> Item | None:
        """The constant voltage of a capacitor."""
        ...  # pragma: no cover


class RatioSource:
    """Exact ratios with ``constants`` folded in."""

    def __init__(self, waves: Waveforms, constants: Constants) -> None:
        self.waves = waves
        self.balance = waves.balance
        self.constants = constants
        self._known: dict[Quotient, Quotient] = {}

    def share(self, k: int, row: Row, straight: bool = False) -> Share | None:
        """Mean, ramp and bend in interval ``k``."""
        mean, ramp, bend = (self.balance.value(k, row, part) for part in ("mean", "ramp", "bend"))
        if straight:
            ramp, bend = ramp or self._nothing, bend or self._nothing
        share = self._share(k, mean, ramp)
        if share is None or mean is None or bend is None:
            return None
        if bend.is_zero:
            return share
        return replace(share, middle=self._folded(mean + bend))

    def average_share(self, k: int, row: Row) -> Share | None:
        """Mean with ripple neglected in continuous conduction."""
        if self.balance.by_itself:
            return self.share(k, row)
        return self._share(k, self.balance.value(k, row, "average"), self._nothing)

    def average(self, row: Row) -> Quotient | None:
        """Average over the period."""
        return self._folded(self.waves.average_of_free(row))

    def capacitor_voltage(self, name: str) -> Quotient | None:
        """The constant voltage of a capacitor."""
        return self._folded(self.balance.capacitor_voltage(name))

    @property
    def _nothing(self) -> Ratio:
        return Ratio(self.balance.ring.zero, self.balance.ring.one)

    def _share(self, k: int, mean: Ratio | None, ramp: Ratio | None) -> Share | None:
        one, other = self._folded(mean), self._folded(ramp)
        if one is None or other is None:
            return None
        return Share(self.balance.sequence.fractions[k], one, other)

    def _folded(self, ratio: Ratio | None) -> Quotient | None:
        if ratio is None:
            return None
        quotient = self.constants.fold_ratio(ratio)
        return self._known.setdefault(quotient, quotient)


FULL, AVERAGES = "full", "averages"
"""The system of means and ramps, and the one of averages with ripple neglected."""

NOTHING = Linear((), FULL)
"""A sum of nothing: zero."""


class RowSource:
    """Sums of the unknowns of ``balance``'s rows, with ``constants`` folded in.

    Nothing is solved here: what stays open comes out as nan where the sums are evaluated.
    """

    def __init__(self, balance: Balance, constants: Constants) -> None:
        self.balance = balance
        self.constants = constants
        self._known: dict[Linear, Linear] = {}

    def share(self, k: int, row: Row, straight: bool = False) -> Share:
        """Mean, ramp and bend in interval ``k``."""
        mean = self.sum(k, row, "m")
        ramp = self.sum(k, row, "r", NOTHING if straight else None)
        middle = self.sum(k, row, "mb", mean if straight else None) if self.balance.bends else None
        return Share(self.balance.sequence.fractions[k], mean, ramp, middle)

    def average_share(self, k: int, row: Row) -> Share:
        """Mean with ripple neglected in continuous conduction."""
        if self.balance.by_itself:
            return self.share(k, row)
        mean = replace(self.sum(k, row, "m"), system=AVERAGES)
        return Share(self.balance.sequence.fractions[k], self._same(mean), NOTHING)

    def average(self, row: Row) -> Linear:
        """Average over the period."""
        ring = self.balance.ring
        terms = []
        for k, fraction in enumerate(self.balance.sequence.fractions):
            for unknown, coefficient in _named(row, k, "m"):
                terms.append((unknown, self.constants.fold(coefficient * ring.symbol(fraction))))
        return self._same(Linear(tuple(terms), self._small_ripple))

    def capacitor_voltage(self, name: str) -> Linear:
        """The constant voltage of a capacitor."""
        return self._same(Linear(((("V", name), 1.0),), self._small_ripple))

    def sum(self, k: int, row: Row, letters: str, otherwise: Linear | None = None) -> Linear:
        """A sum of local unknowns of interval ``k``: their means ``m``, ramps ``r``, bends ``b`` together.

        ``otherwise`` stands for what is left open.
        """
        terms = [(u, self.constants.fold(c)) for letter in letters for u, c in _named(row, k, letter)]
        return self._same(Linear(tuple(terms), FULL, otherwise))

    @property
    def _small_ripple(self) -> str:
        return FULL if self.balance.by_itself else AVERAGES

    def _same(self, found: Linear) -> Linear:
        return self._known.setdefault(found, found)


def _named(row: Row, k: int, letter: str) -> Iterator[tuple[Any, ...]]:
    for unknown, coefficient in row.items():
        if unknown is not None:
            yield (letter, k, unknown), coefficient
        elif letter == "m":
            yield None, coefficient
