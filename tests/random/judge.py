"""The integration's word on a circuit, at two settings of the small and large resistances it adds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit

from ..integration.patience import TooLong, patience
from ..integration.switched import Averages, NotPeriodic, periodic_averages

PATIENCE = 20.0
"""Seconds of the processor an integration may take."""
FINE = ((1e-7, 1e7, 1.0), (1e-8, 1e8, 1.5))
COARSE = ((2e-6, 2e6, 1.0), (2e-7, 2e7, 1.5))
"""Resistance of closed and of open devices as multiples of the load, and how uneven they are.

The second of each pair adds about a tenth of the losses of the first, in other shares.  The coarse pair is
asked where the fine one finds no state.
"""
UNBOUNDED = 100.0
"""A voltage so many times above every mean is due to a current that was cut off."""
GROWS = 2.0
"""What a tenth of the added losses makes so many times as large has no limit of its own."""


@dataclass
class Judge:
    """Asked at two settings, so that what depends on them can be told from what does not."""

    circuit: Circuit

    def _ask(self, closed: float, open_: float, uneven: float) -> Averages | str:
        try:
            with patience(PATIENCE), np.errstate(all="ignore"):
                return periodic_averages(self.circuit, {}, closed=closed, open_=open_, uneven=uneven)
        except (NotPeriodic, TooLong, np.linalg.LinAlgError, OverflowError, ValueError) as error:
            return f"{type(error).__name__}: {error}"

    @cached_property
    def _firsts(self) -> tuple[Averages | str, tuple[float, float, float]]:
        """The state at the first setting that has one, and the setting that goes with it."""
        fine = self._ask(*FINE[0])
        if isinstance(fine, Averages):
            return fine, FINE[1]
        return self._ask(*COARSE[0]), COARSE[1]

    @property
    def first(self) -> Averages | str:
        """The periodic state with the larger added losses, or why there is none."""
        return self._firsts[0]

    @cached_property
    def second(self) -> Averages | str:
        """The same with the smaller ones."""
        return self._ask(*self._firsts[1])

    @cached_property
    def verdict(self) -> str:
        """What becomes of the circuit where nothing but itself decides.

        ``state``: a periodic state.  ``cut off``: voltages without limit, a current is interrupted.
        ``runs away``: voltages or currents that only the added resistances limit.  ``cannot tell``.
        """
        one, other = self.first, self.second
        if isinstance(one, str) or isinstance(other, str):
            return "cannot tell"
        for level in (_volts, _amperes):
            if level(other) > GROWS * level(one):
                return "runs away"
        if other.highest_voltage > UNBOUNDED * _volts(other) and (
            other.highest_voltage > GROWS * one.highest_voltage
        ):
            return "cut off"
        return "state"


def _volts(found: Averages) -> float:
    return max(abs(v) for v in [found.output_voltage, *found.average_voltages.values()])


def _amperes(found: Averages) -> float:
    return max(abs(i) for i in found.average_currents.values())
