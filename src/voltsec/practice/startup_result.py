"""What a start-up or a step comes to: sections between steps, largest values, courses, the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.practice.response import Response
from voltsec.practice.step import Step
from voltsec.practice.traces_wanted import WantedTrace
from voltsec.results.table import results_of
from voltsec.waveforms.ledger import Ledger, LedgerBook
from voltsec.waveforms.linear import Array
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.periodic import Periodic
from voltsec.waveforms.periods import Periods, Series


@dataclass(frozen=True)
class Section:
    """What happens between two steps."""

    steps: tuple[Step, ...]
    """What changed at its beginning; none at the start."""
    point: Mapping[str, float]
    """Every symbol's value, SI units."""
    periods: Periods
    series: Mapping[str, Series]
    """Traces by name, see :attr:`Startup.traces`."""
    steady: Periodic | None
    """The exact periodic state it tends to; None where none was found."""
    response: Response


@dataclass(frozen=True)
class Largest:
    """The largest size of one voltage or current on the way."""

    name: str
    part: str
    value: float
    """With its sign."""
    time: float
    """Second."""
    steady: float | None
    """Largest size in the periodic state at the end; None where it is not known."""
    jumped: float
    """Charge (of a voltage: flux) that passed in no time in one period at most: then nothing bounds it."""


@dataclass(frozen=True)
class Startup:
    """A start, or steps, followed exactly; times in second from the beginning, SI units throughout."""

    circuit: Circuit
    start: str
    """``rest``, ``steady``, or the state as it was written."""
    traces: tuple[WantedTrace, ...]
    """What is shown; the output voltage comes first."""
    sections: tuple[Section, ...]
    """Parts of the time between steps."""
    moved: Mapping[str, tuple[float, float]]
    """Voltages and currents, by part, that jump at the very beginning because the state contradicts itself:
    before and after."""
    sources: tuple[Largest, ...]
    """Largest current drawn from each source."""
    coils: tuple[Largest, ...]
    """Largest current of each coil."""
    voltages: tuple[Largest, ...]
    """Largest voltage across each switch, diode and capacitor."""
    stopped: str = ""
    """Why it could not be followed to the end that was asked for; empty where it was."""

    def __repr__(self) -> str:
        names = ", ".join(trace.text for trace in self.traces)
        periods = len(self.time) - 1
        return f"<{periods} periods of {self.circuit.name} starting from {self.start}: {names}>"

    def _repr_svg_(self) -> str:
        from voltsec.report.figure_face import svg_text  # only a notebook asks for it
        from voltsec.report.startup_figure import startup_figure

        return svg_text(startup_figure(self))

    @property
    def responses(self) -> tuple[Response, ...]:
        """How the output comes to rest, section by section."""
        return tuple(section.response for section in self.sections)

    @property
    def end(self) -> float:
        """The last instant, second."""
        return self.sections[-1].periods.end

    @cached_property
    def time(self) -> Array:
        """(N + 1,): when each of the N periods begins, and the last ends."""
        parts = [section.periods.times[:-1] for section in self.sections]
        return np.concatenate([*parts, [self.end]])

    def __getitem__(self, name: str) -> Series:
        """Mean, lowest and highest value in each of the N periods of one of :attr:`traces`, (N,) each."""
        if name not in {trace.text for trace in self.traces}:
            raise KeyError(name)
        parts = [section.series[name] for section in self.sections]
        return Series(
            *(np.concatenate([getattr(p, f) for p in parts]) for f in ("mean", "low", "high", "jumped"))
        )

    def ledger(self, begin: float = 0.0, end: float | None = None) -> Ledger:
        """Where the energy went between two instants (second); all of the time without them."""
        book = LedgerBook()
        for section in self.sections:
            book.add(section.periods.between(begin, self.end if end is None else end))
        return book.ledger

    def samples(self) -> tuple[Array, dict[str, Array]]:
        """The traces' courses themselves: instants (s,), and values (s,) there.

        Where something steps, an instant is there twice.
        """
        times, values, _ = self._courses
        return times, values

    def jumps(self) -> dict[str, Array]:
        """Charges (of a voltage: fluxes) that pass in no time, at the same instants as :meth:`samples`, (s,).

        Each stands at the first sample behind it; elsewhere there is zero.
        """
        return self._courses[2]

    @cached_property
    def _courses(self) -> tuple[Array, dict[str, Array], dict[str, Array]]:
        times: list[Array] = []
        tables: tuple[dict[str, list[Array]], ...] = ({}, {})
        for section in self.sections:
            for when, *found in section.periods.courses({t.text: t.terms for t in self.traces}):
                times.append(when)
                for table, part in zip(tables, found, strict=True):
                    for name, value in part.items():
                        table.setdefault(name, []).append(value)
        values, jumps = ({name: np.concatenate(parts) for name, parts in t.items()} for t in tables)
        return np.concatenate(times), values, jumps

    @property
    def steady_efficiency(self) -> float | None:
        """Efficiency of the periodic state at the end; None where it is not known."""
        steady = self.sections[-1].steady
        if steady is None:
            return None
        with np.errstate(all="ignore"):
            value = float(Measures(steady).value(results_of(self.circuit)["efficiency"].measure)[0])
        return value if np.isfinite(value) else None
