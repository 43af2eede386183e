"""The integration's word on a circuit, with several settings of the small and large resistances it adds."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit

from ..integration.patience import TooLong, patience
from ..integration.switched import Averages, NotPeriodic, periodic_averages
from .readings import LEAK

PATIENCE = 15.0
"""Seconds of the processor an integration may take."""
ALL_LOST, SHORTED = 1e-6, 1e4
"""Efficiency and currents (ampere) of a circuit in which nothing but added resistances limits these."""
ABSURD = 1e7
"""Volts that only what is added across open devices limits."""
UNEVEN = 3.0
"""How uneven the added resistances of the second of two settings are: what only they share out moves."""
PAIRS = ((1e-6, 1e-8), (1e-9, 1e-11))
COARSE = (1e-5, 1e-7)
"""Two resistances of closed devices as parts of the load (open ones: the inverse); coarse as a last resort.

The second adds a hundredth of the losses of the first.  Finer pairs are asked where these still decide.
"""
UNBOUNDED = 100.0
"""A voltage so many times above every mean is due to a current that was cut off."""
SETTLED, GROWS = 1.02, 4.0
"""Factors between levels of two settings: what a hundredth of the losses lets grow so much has no limit."""

Found = Averages | str
"""A periodic state, or why none was found."""


@dataclass
class Judge:
    """Asked once, and at other settings where something differs."""

    circuit: Circuit
    values: dict[str, float] = field(default_factory=dict)
    """Values of symbols where they are not the circuit's own, SI units."""

    def _ask(self, closed: float, uneven: float) -> Found:
        try:
            with patience(PATIENCE), np.errstate(all="ignore"):
                return periodic_averages(
                    self.circuit, self.values, closed=closed, open_=1 / closed, uneven=uneven
                )
        except (NotPeriodic, TooLong, np.linalg.LinAlgError, OverflowError, ValueError) as error:
            return f"{type(error).__name__}: {error}"

    @cached_property
    def first(self) -> Found:
        """The periodic state at the first setting."""
        return self._ask(PAIRS[0][0], 1.0)

    @cached_property
    def pair(self) -> tuple[Found, Found]:
        """The states at two settings, as fine as it takes for the second to tell the limit."""
        best: tuple[Found, Found] = (self.first, self._ask(PAIRS[0][1], UNEVEN))
        if not _found(best):
            coarse = (self._ask(COARSE[0], 1.0), self._ask(COARSE[1], UNEVEN))
            return coarse if _found(coarse) else best
        for one, other in PAIRS[1:]:
            if _growth(*best) < SETTLED:
                break
            finer = (self._ask(one, 1.0), self._ask(other, UNEVEN))
            if not _found(finer):
                break
            best = finer
        return best

    @cached_property
    def verdict(self) -> str:
        """What becomes of the circuit where nothing but itself decides.

        ``state``: a periodic state.  ``cut off``: voltages without limit, a current is interrupted.
        ``runs away``: voltages or currents that only the added resistances limit.  ``cannot tell``.
        """
        if not _found(self.pair):
            return "cannot tell"
        one, other = self.pair
        assert isinstance(one, Averages) and isinstance(other, Averages)
        if _growth(one, other) > GROWS or _volts(other) > ABSURD:
            return "runs away"
        if _amperes(other) > SHORTED and other.efficiency < ALL_LOST:
            return "runs away"  # a source feeds the added resistances alone, as through inductors to itself
        before, after = (max(found.highest_voltages.values()) for found in (one, other))
        if after > UNBOUNDED * _volts(other) and after > GROWS * before:
            return "cut off"
        return "state"


def _found(pair: tuple[Found, Found]) -> bool:
    return all(isinstance(one, Averages) for one in pair)


def _growth(one: Found, other: Found) -> float:
    """Factor by which a level of voltage or current is larger at the second setting."""
    assert isinstance(one, Averages) and isinstance(other, Averages)
    levels = [(_volts(one), _volts(other))]
    if _amperes(other) > LEAK * _volts(other):  # less is what leaks, and rounding
        levels.append((_amperes(one), _amperes(other)))
    return max((after / before for before, after in levels if before), default=1.0)


def _volts(found: Averages) -> float:
    return max(abs(v) for v in [found.output_voltage, *found.average_voltages.values()])


def _amperes(found: Averages) -> float:
    return max(abs(i) for i in found.average_currents.values())
