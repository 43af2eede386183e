"""The integration's word on a circuit, at two settings of the small and large resistances it adds."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit

from ..integration.switched import Averages, NotPeriodic, periodic_averages

PATIENCE = 20.0
"""Seconds of the processor an integration may take."""
UNBOUNDED = 100.0
"""A voltage so many times above every mean is due to a current that was cut off."""
GROWS = 1.3
"""What a quarter of the added losses makes so many times as large has no limit of its own."""


class TooLong(Exception):
    """Something took longer than it was given."""


@contextmanager
def patience(seconds: float) -> Iterator[None]:
    """:class:`TooLong` where the inside takes longer (in code that returns to the interpreter)."""

    def give_up(*_: object) -> None:
        raise TooLong(f"took longer than {seconds:g} s")

    before = signal.signal(signal.SIGPROF, give_up)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


@dataclass
class Judge:
    """Asked once, and a second time where something differs."""

    circuit: Circuit

    def _ask(self, closed: float, open_: float) -> Averages | str:
        try:
            with patience(PATIENCE), np.errstate(all="ignore"):
                return periodic_averages(self.circuit, {}, closed=closed, open_=open_)
        except (NotPeriodic, TooLong, np.linalg.LinAlgError, OverflowError, ValueError) as error:
            return f"{type(error).__name__}: {error}"

    @cached_property
    def first(self) -> Averages | str:
        """The periodic state, or why there is none."""
        return self._ask(2e-6, 2e6)

    @cached_property
    def second(self) -> Averages | str:
        """The same with a quarter of the added losses."""
        return self._ask(5e-7, 8e6)

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
            before, after = level(one), level(other)
            if before and not 1 / GROWS < after / before < GROWS:
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
