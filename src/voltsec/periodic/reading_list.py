"""The readings of one mode: every measure of :mod:`voltsec.results.measures` as floats at many points.

The formulas' values, ripple neglected in continuous conduction; written once for exact ratios and for the
unknowns of a system solved in floats (:mod:`voltsec.periodic.reading_sources`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import assert_never

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.folding import Item
from voltsec.periodic.reading_sources import Source as ReadingSource
from voltsec.periodic.readings import (
    Efficiency,
    FlowShare,
    Over,
    Peak,
    Plain,
    Reading,
    ResistiveLoss,
    RootMeanSquare,
    Share,
    Step,
    Sum,
    Swing,
    Swinging,
    Symbol,
    TerminalSwing,
    Times,
    Undetermined,
    Zero,
)
from voltsec.results import measures
from voltsec.results.measures import Measure, Terms, is_voltage
from voltsec.results.table import results_of
from voltsec.tableau.network import Row


def quantity_units(circuit: Circuit) -> dict[str, str]:
    """Every name a reading can be asked for by, with its SI unit."""
    return {name: result.unit for name, result in results_of(circuit).items()}


class ReadingList:
    """Readings of one mode, made of what ``source`` gives."""

    def __init__(self, source: ReadingSource) -> None:
        self.source = source
        self.balance = source.balance
        self.results = results_of(source.balance.circuit)

    def reading(self, name: str) -> Reading:
        """The reading called ``name``; KeyError where there is none."""
        return self.of(self.results[name].measure)

    def of(self, measure: Measure) -> Reading:
        """The reading of a measure."""
        match measure:
            case measures.Average():
                return self._average(measure.terms)
            case measures.RootMeanSquare():
                return _made(RootMeanSquare, self._shares(self._row(measure.terms)))
            case measures.Peak():
                return self._peak(measure)
            case measures.Swing():
                return self._swing(measure)
            case measures.FlowShare():
                return _made(FlowShare, self._shares(self._row(measure.terms)))
            case measures.Step():
                return _made(Step, self._shares(self._row(measure.terms)))
            case measures.Gain():
                return Over(self._average(measure.terms), Symbol(measure.source))
            case measures.Heat():
                return self._heat(measure)
            case measures.Efficiency():
                loads = [self._heat(load) for load in measure.loads]
                ports = [Times(Symbol(name), self._average(terms)) for name, terms in measure.ports]
                return Efficiency((*loads, *ports))
            case measures.Turning() | measures.Gate() | measures.Core() | measures.OverallEfficiency():
                return Undetermined()  # estimated from exact waveforms alone
            case _:
                assert_never(measure)

    def _row(self, terms: Terms) -> Row:
        return self.balance.network.row(terms)

    def _shares(
        self, row: Row, intervals: Iterable[int] | None = None, straight: bool = False
    ) -> tuple[Share, ...] | None:
        """Means and ramps of every interval (of ``intervals``); None where one is not determined."""
        places = range(len(self.balance.sequence.intervals)) if intervals is None else intervals
        return _all(self.source.share(k, row, straight) for k in places)

    def _average(self, terms: Terms) -> Reading:
        unknown, sign = terms[0]
        if unknown[0] == "V":
            item: Item | None = self.source.capacitor_voltage(unknown[1])
            return Undetermined() if item is None else Plain(item, float(sign))
        if unknown in [("i", capacitor.name) for capacitor in self.balance.circuit.capacitors]:
            return Zero()  # charge balance, which rounding would miss
        item = self.source.average(self._row(terms))
        return Undetermined() if item is None else Plain(item)

    def _peak(self, measure: measures.Peak) -> Reading:
        if not is_voltage(measure.terms):
            return _made(Peak, self._shares(self._row(measure.terms)))
        intervals = self.balance.sequence.intervals
        places = [k for k, one in enumerate(intervals) if measure.blocked_by not in one.conducting]
        return (
            _made(Peak, self._shares(self._row(measure.terms), places, straight=True)) if places else Zero()
        )

    def _swing(self, measure: measures.Swing) -> Reading:
        if measure.voltage is not None:
            swing = self._swing(measure.voltage)
            return Sum(tuple(Over(swing, Symbol(ohm)) for ohm in measure.resistances))
        charge, ring = measure.charge, self.balance.ring
        if charge is None:  # without capacitors in series what the others swing counts as constant
            open_ = is_voltage(measure.terms) and bool(self.balance.circuit.capacitors)
            shares = self._shares(self._row(measure.terms))
            return _made(Swinging if open_ else Swing, shares)
        if not charge.capacitors and not charge.resistances:
            return Zero()
        shares = self._shares(charge.flow(ring), straight=True)
        drops = self._shares(charge.drops(ring), straight=True) if charge.resistances else ()
        if shares is None or drops is None:
            return Undetermined()
        return TerminalSwing(shares, charge.capacitances, drops)

    def _heat(self, heat: measures.Heat) -> Reading:
        """Resistance times mean square, and drop times average current."""
        parts: list[Reading] = []
        if heat.resistance is not None:
            shares = self._shares(self._row(heat.terms)) if heat.by_ripple else self._averages(heat.terms)
            parts.append(Undetermined() if shares is None else ResistiveLoss(heat.resistance, shares))
        if heat.drop is not None:
            parts.append(Times(Symbol(heat.drop), self._average(heat.terms)))
        return parts[0] if len(parts) == 1 else Sum(tuple(parts))

    def _averages(self, terms: Terms) -> tuple[Share, ...] | None:
        """Means as the small-ripple averages see them (means and ramps where intervals end by themselves)."""
        row = self._row(terms)
        return _all(self.source.average_share(k, row) for k in range(len(self.balance.sequence.intervals)))


def _made(
    kind: Callable[[tuple[Share, ...]], Reading],
    shares: tuple[Share, ...] | None,
) -> Reading:
    return Undetermined() if shares is None else kind(shares)


def _all(shares: Iterable[Share | None]) -> tuple[Share, ...] | None:
    found = []
    for share in shares:
        if share is None:
            return None
        found.append(share)
    return tuple(found)
