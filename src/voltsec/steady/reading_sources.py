"""Where readings come from: a mode's exact ratios, or the unknowns of a linear system solved in floats.

Both answer the same few questions, so that :mod:`voltsec.steady.reading_list` is written once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Protocol

from voltsec.steady.balance import Balance, Ratio
from voltsec.steady.folding import Item, Linear, Quotient, fold, fold_ratio, scaled
from voltsec.steady.readings import Share
from voltsec.steady.waveform import Waveforms
from voltsec.tableau.network import Row


class Source(Protocol):
    """What a reading is made of; ``None`` stands for what the model leaves open."""

    balance: Balance

    def share(self, k: int, row: Row, straight: bool = False) -> Share | None:
        """Mean and ramp of a sum of local unknowns in interval ``k``.

        With ``straight`` a ramp that stays open is that of a constant quantity.
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
    """Exact ratios with ``constants`` (SI units) folded in.

    ``volt`` and ``ampere`` are the sizes of the balance's units in SI units.
    """

    def __init__(
        self, waves: Waveforms, constants: Mapping[str, float], volt: float = 1.0, ampere: float = 1.0
    ) -> None:
        self.waves = waves
        self.balance = waves.balance
        self.constants = constants
        self.volt, self.ampere = volt, ampere
        self._known: dict[Quotient, Quotient] = {}

    def share(self, k: int, row: Row, straight: bool = False) -> Share | None:
        """Mean and ramp in interval ``k``."""
        mean, ramp = self.balance.value(k, row, "mean"), self.balance.value(k, row, "ramp")
        if ramp is None and straight:
            ramp = self._nothing
        return self._share(k, row, mean, ramp)

    def average_share(self, k: int, row: Row) -> Share | None:
        """Mean with ripple neglected in continuous conduction."""
        if self.balance.by_itself:
            return self.share(k, row)
        return self._share(k, row, self.balance.value(k, row, "average"), self._nothing)

    def average(self, row: Row) -> Quotient | None:
        """Average over the period."""
        return self._folded(self.waves.average_of_free(row), self._unit(row))

    def capacitor_voltage(self, name: str) -> Quotient | None:
        """The constant voltage of a capacitor."""
        return self._folded(self.balance.capacitor_voltage(name), self.volt)

    @property
    def _nothing(self) -> Ratio:
        return self.balance.ring.zero, self.balance.ring.one

    def _share(self, k: int, row: Row, mean: Ratio | None, ramp: Ratio | None) -> Share | None:
        unit = self._unit(row)
        one, other = self._folded(mean, unit), self._folded(ramp, unit)
        if one is None or other is None:
            return None
        return Share(self.balance.sequence.fractions[k], one, other)

    def _unit(self, row: Row) -> float:
        return self.ampere if _is_current(row) else self.volt

    def _folded(self, ratio: Ratio | None, unit: float) -> Quotient | None:
        if ratio is None:
            return None
        quotient = fold_ratio(self.balance.ring, ratio, self.constants)
        if unit != 1.0:
            quotient = Quotient(scaled(quotient.top, unit), quotient.bottom)
        return self._known.setdefault(quotient, quotient)


FULL, AVERAGES = "full", "averages"
"""The system of means and ramps, and the one of averages with ripple neglected."""


class RowSource:
    """Sums of the unknowns of ``balance``'s rows, with ``constants`` (SI units) folded in.

    Nothing is solved here: what stays open comes out as nan where the sums are evaluated.
    """

    def __init__(self, balance: Balance, constants: Mapping[str, float]) -> None:
        self.balance = balance
        self.constants = constants
        self._known: dict[Linear, Linear] = {}

    def share(self, k: int, row: Row, straight: bool = False) -> Share:
        """Mean and ramp in interval ``k``."""
        fill = 0.0 if straight else float("nan")
        return Share(
            self.balance.sequence.fractions[k], self.sum(k, row, "m"), self.sum(k, row, "r", fill=fill)
        )

    def average_share(self, k: int, row: Row) -> Share:
        """Mean with ripple neglected in continuous conduction."""
        if self.balance.by_itself:
            return self.share(k, row)
        return Share(
            self.balance.sequence.fractions[k], self.sum(k, row, "m", AVERAGES), self._linear((), AVERAGES)
        )

    def average(self, row: Row) -> Linear:
        """Average over the period."""
        ring = self.balance.ring
        terms = []
        for k, fraction in enumerate(self.balance.sequence.fractions):
            for unknown, coefficient in _named(row, k, "m"):
                terms.append((unknown, fold(ring, coefficient * ring.symbol(fraction), self.constants)))
        return self._linear(tuple(terms), self._small_ripple)

    def capacitor_voltage(self, name: str) -> Linear:
        """The constant voltage of a capacitor."""
        return self._linear(((("V", name), 1.0),), self._small_ripple)

    def sum(
        self, k: int, row: Row, letter: str, system: str = FULL, fill: float = float("nan")
    ) -> Linear:
        """A sum of local unknowns of interval ``k``: their means ``m`` or ramps ``r``."""
        ring = self.balance.ring
        terms = [(u, fold(ring, c, self.constants)) for u, c in _named(row, k, letter)]
        return self._linear(tuple(terms), system, fill)

    @property
    def _small_ripple(self) -> str:
        return FULL if self.balance.by_itself else AVERAGES

    def _linear(self, terms: tuple, system: str, fill: float = float("nan")) -> Linear:
        found = Linear(terms, system, fill == 0.0)
        return self._known.setdefault(found, found)


def _named(row: Row, k: int, letter: str) -> Iterator[tuple]:
    for unknown, coefficient in row.items():
        if unknown is not None:
            yield (letter, k, unknown), coefficient
        elif letter == "m":
            yield None, coefficient


def _is_current(row: Row) -> bool:
    return any(unknown is not None and unknown[0] == "i" for unknown in row)
