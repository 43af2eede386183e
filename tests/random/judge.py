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
from .readings import level_of_voltages

PATIENCE = 20.0
"""Seconds of the processor an integration may take."""
UNBOUNDED = 100.0
"""A voltage so many times above every source and capacitor is due to a current that was cut off."""


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
        """``state``, ``cut off`` (a current is interrupted), ``runs away``, or ``cannot tell``."""
        one = self.first
        if isinstance(one, Averages):
            level = max(
                *(abs(float(s.quantity.value)) for s in self.circuit.sources),
                max((abs(v) for v in one.capacitor_voltages.values()), default=0.0),
            )
            source = max(abs(float(s.quantity.value)) for s in self.circuit.sources)
            if one.highest_voltage < UNBOUNDED * level and level < UNBOUNDED * source:
                return "state"
            other = self.second
            if isinstance(other, str):
                return "runs away" if level > UNBOUNDED * source else "cannot tell"
            if other.highest_voltage < 1.5 * one.highest_voltage:
                return "state"
            same = abs(level_of_voltages(other, self.circuit) - level_of_voltages(one, self.circuit))
            return "runs away" if same > 0.1 * level else "cut off"
        return "cannot tell"
