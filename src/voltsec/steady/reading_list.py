"""The readings of one mode by name: ``gain``, ``stress.S.voltage_peak``, ``losses.L1`` ...

Names are those of the table of results (:mod:`voltsec.results.table`).
"""

from __future__ import annotations

from collections.abc import Iterable

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load, Resistor, Source
from voltsec.results.table import results_of
from voltsec.steady.folding import Item
from voltsec.steady.lossy import current_rows, loses_by_ripple
from voltsec.steady.port_rows import follows_capacitors, input_row, output_row, output_swing
from voltsec.steady.reading_sources import Source as ReadingSource
from voltsec.steady.readings import (
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
from voltsec.steady.winding import winding_row
from voltsec.tableau.network import Row


def quantity_units(circuit: Circuit) -> dict[str, str]:
    """Every name a reading can be asked for by, with its SI unit."""
    return {name: result.unit for name, result in results_of(circuit).items()}


class ReadingList:
    """Readings of one mode, made of what ``source`` gives."""

    def __init__(self, source: ReadingSource) -> None:
        self.source = source
        self.balance = source.balance
        self.circuit = source.balance.circuit
        self.count = len(self.balance.sequence.intervals)

    def reading(self, name: str) -> Reading:
        """The reading called ``name``; KeyError where there is none."""
        group, _, rest = name.partition(".")
        if group == "stress":
            part, _, key = rest.rpartition(".")
            return self._stress(part, key)
        if group == "losses":
            return self.loss(rest)
        if group == "other_losses" or name == "overall_efficiency":
            return Undetermined()  # estimated from exact waveforms alone
        if group == "ripple":
            return self._ripple(rest)
        if group == "capacitor_voltages":
            return self._plain(self.source.capacitor_voltage(rest))
        if group == "inductor_currents":
            return self._plain(self.source.average(self._one(("i", rest))))
        if group == "source_currents":
            return self._plain(self.source.average(self._one(("i", rest))), -1.0)
        named = {
            "gain": self._gain,
            "output_voltage": self._output_voltage,
            "efficiency": self._efficiency,
            "output_ripple": self._output_ripple,
        }
        if name in named:
            return named[name]()
        port, _, what = name.rpartition("_")
        rows = {"input": self._input_row, "output_current": self._output_row}
        return self._port(port, rows[port](), what)

    def _one(self, unknown: tuple) -> Row:
        return {unknown: self.balance.ring.one}

    def _plain(self, item: Item | None, factor: float = 1.0) -> Reading:
        return Undetermined() if item is None else Plain(item, factor)

    def _shares(
        self, row: Row, intervals: list[int] | None = None, straight: bool = False
    ) -> tuple[Share, ...] | None:
        """Means and ramps of every interval (of ``intervals``); None where one is not determined."""
        places = range(self.count) if intervals is None else intervals
        return _all(self.source.share(k, row, straight) for k in places)

    def _averages(self, row: Row) -> tuple[Share, ...] | None:
        """Means as the small-ripple averages see them (means and ramps where intervals end by themselves)."""
        return _all(self.source.average_share(k, row) for k in range(self.count))

    def _output_voltage(self) -> Reading:
        output = self.circuit.output
        return self._plain(self.source.average(dict(self.balance.network.voltage(output.start, output.end))))

    def _gain(self) -> Reading:
        return Over(self._output_voltage(), Symbol(self.circuit.input.quantity.symbol))

    def _efficiency(self) -> Reading:
        """Power taken by loads (and sources that are fed) over power given."""
        return Efficiency(tuple(self.power(e) for e in self.circuit.of(Load, CurrentSource, Source)))

    def power(self, element) -> Reading:
        """Average power into a resistor, a constant current, or the ideal part of a source, watt."""
        row = self._one(("i", element.name))
        if isinstance(element, Resistor):
            shares = self._averages(row)
            return Undetermined() if shares is None else ResistiveLoss(element.quantity.symbol, shares)
        if not isinstance(element, Source):
            row = dict(self.balance.network.voltage(element.start, element.end))
        return Times(Symbol(element.quantity.symbol), self._plain(self.source.average(row)))

    def loss(self, name: str) -> Reading:
        """Conduction loss of one element: resistance times mean square, and drop times average current."""
        parts: list[Reading] = []
        for resistance, drop, row in current_rows(self.circuit, self.balance, name):
            if resistance is not None:
                shares = self._shares(row) if loses_by_ripple(self.circuit, name) else self._averages(row)
                parts.append(Undetermined() if shares is None else ResistiveLoss(resistance, shares))
            if drop is not None:
                parts.append(Times(Symbol(drop), self._plain(self.source.average(row))))
        return parts[0] if len(parts) == 1 else Sum(tuple(parts))

    def _ripple(self, name: str) -> Reading:
        current = self._one(("i", name))
        capacitors = {c.name: c for c in self.circuit.capacitors}
        if name not in capacitors:
            return self._swing_of(current)
        shares = self._shares(current, straight=True)
        return (
            Undetermined() if shares is None else TerminalSwing(shares, (capacitors[name].quantity.symbol,))
        )

    def _output_ripple(self) -> Reading:
        """Swing of the capacitors across the output; without any, of what else the output follows."""
        output = self.circuit.output
        swinging = output_swing(self.circuit, self.balance.ring)
        if swinging is None:
            swing = self._swing_of(dict(self.balance.network.voltage(output.start, output.end)))
            return Swinging(swing) if self.circuit.capacitors and isinstance(swing, Swing) else swing
        if not swinging.flow and not swinging.drops:
            return Zero()
        shares = self._shares(swinging.flow, straight=True)
        drops = self._shares(swinging.drops, straight=True) if swinging.drops else ()
        if shares is None or drops is None:
            return Undetermined()
        return TerminalSwing(shares, swinging.farads, drops)

    def _swing_of(self, row: Row) -> Reading:
        shares = self._shares(row)
        return Undetermined() if shares is None else Swing(shares)

    def _input_row(self) -> Row:
        return input_row(self.circuit, self.balance.ring)

    def _output_row(self) -> Row:
        return output_row(self.circuit, self.balance)

    def _port(self, port: str, row: Row, what: str) -> Reading:
        shares = self._shares(row) if row else None
        if shares is None:
            return Undetermined()
        if what == "share":
            return FlowShare(shares)
        if what == "ripple" and port == "output_current" and follows_capacitors(self.circuit):
            loads = [self.circuit.element(name).quantity.symbol for _, name in row]
            return Sum(tuple(Over(self._output_ripple(), Symbol(ohm)) for ohm in loads))
        return Swing(shares) if what == "ripple" else Step(shares)

    def _stress(self, part: str, key: str) -> Reading:
        row, nodes, blocking = self._stressed_row(part)
        if key == "current_average":
            return self._plain(self.source.average(row))
        if key == "voltage_peak":
            if blocking == []:
                return Zero()
            voltage = dict(self.balance.network.voltage(nodes[0], nodes[1]))
            shares = self._shares(voltage, blocking, straight=True)
        else:
            shares = self._shares(row)
        if shares is None:
            return Undetermined()
        return RootMeanSquare(shares) if key == "current_rms" else Peak(shares)

    def _stressed_row(self, part: str) -> tuple[Row, tuple[str, ...], list[int] | None]:
        for transformer in self.circuit.transformers:
            if transformer.magnetizing is not None and transformer.magnetizing.symbol == part:
                return self._one(("i", part)), transformer.windings[0], None
            for number, winding in enumerate(transformer.windings):
                if f"{transformer.name}.{number + 1}" == part:
                    return winding_row(self.balance.ring, transformer, number), winding, None
        element = self.circuit.element(part)
        blocking = None
        if element.kind in ("switch", "diode"):
            intervals = self.balance.sequence.intervals
            blocking = [k for k in range(len(intervals)) if part not in intervals[k].conducting]
        return self._one(("i", part)), element.nodes, blocking


def _all(shares: Iterable[Share | None]) -> tuple[Share, ...] | None:
    found = []
    for share in shares:
        if share is None:
            return None
        found.append(share)
    return tuple(found)
