"""Numbers: every quantity of a mode at one point or at many, straight from the exact ratios.

Peaks and ripple are taken as the largest candidate at the very point, so they hold also where the
formula's choice among candidates would be another one.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import numpy as np

from voltsec.circuit.elements import CurrentSource, Load, Source, Switch, Transformer
from voltsec.circuit.elements import Diode as DiodeElement
from voltsec.steady.balance import Balance
from voltsec.steady.modes import ModeBuilder
from voltsec.steady.numeric_mode import NumericMode
from voltsec.steady.port_numbers import input_numbers, output_numbers, output_ripple_number
from voltsec.steady.solution import Numbers
from voltsec.steady.verification import verify
from voltsec.steady.waveform import Waveforms
from voltsec.tableau.network import coils
from voltsec.tableau.scaled_ring import AMPERE, SECOND, VOLT

Array = np.ndarray


class Evaluation:
    """Numeric values of one mode at ``points`` (arrays of equal length, fractions included).

    ``volt``, ``ampere`` and ``second`` are the sizes of the balance's units in SI units.
    """

    def __init__(
        self,
        builder: ModeBuilder,
        points: dict[str, Array],
        volt: float = 1.0,
        ampere: float = 1.0,
        second: float = 1.0,
    ) -> None:
        self.volt, self.ampere, self.second = volt, ampere, second
        self.builder = builder
        self.balance = builder.balance
        self.circuit = builder.circuit
        self.waves = Waveforms(self.balance, points)
        self.length = len(points["T"])

    def output_voltage(self) -> Array | None:
        """Average output voltage, volt."""
        output = self.circuit.output
        row = dict(self.balance.network.voltage(output.start, output.end))
        return self._numeric(self.waves.average_of_free(row), self.volt)

    def capacitor_voltages(self) -> dict[str, Array | None]:
        """Average voltage of every capacitor, volt."""
        return {
            c.name: self._numeric(self.balance.capacitor_voltage(c.name), self.volt)
            for c in self.circuit.capacitors
        }

    def coil_currents(self) -> dict[str, Array | None]:
        """Average current of every coil, ampere."""
        return {
            c.name: self._numeric(
                self.waves.average_of_free({("i", c.name): self.balance.ring.one}), self.ampere
            )
            for c in coils(self.circuit)
        }

    def source_currents(self) -> dict[str, Array | None]:
        """Average current that every source delivers, ampere."""
        found = {}
        for source in self.circuit.sources:
            row = {("i", source.name): self.balance.ring.one}
            value = self._numeric(self.waves.average_of_free(row), self.ampere)
            found[source.name] = None if value is None else -value
        return found

    def efficiency(self) -> Array | None:
        """Power of loads and constant currents over the power of the sources."""
        taken, given = np.zeros(self.length), np.zeros(self.length)
        for element in self.circuit.of(Load, CurrentSource, Source):
            power = self._numeric(self.builder.power_of(element))
            if power is None:
                return None
            taken = taken + np.maximum(power, 0)
            given = given + np.maximum(-power, 0)
        with np.errstate(all="ignore"):
            return np.asarray(taken / given)

    def ripple(self) -> dict[str, Array | None]:
        """Peak-to-peak ripple of coil currents (ampere) and capacitor voltages (volt)."""
        found: dict[str, Array | None] = {}
        for coil in coils(self.circuit):
            ends = self._ends(("i", coil.name))
            found[coil.name] = None if ends is None else ends.max(axis=0) - ends.min(axis=0)
        for capacitor in self.circuit.capacitors:
            waveform = self.waves.current(("i", capacitor.name))
            candidates = self.waves.charge_swing(waveform)
            if candidates is None:
                found[capacitor.name] = None
                continue
            swing = np.max([np.abs(self.waves.numeric(c)) for c in candidates], axis=0)
            charge = swing * self.ampere * self.second
            found[capacitor.name] = charge / self.waves.points[capacitor.quantity.symbol]
        return found

    def stress(self) -> dict[str, dict[str, Array | None]]:
        """Stress of every element, keys as in :class:`~voltsec.steady.solution.Stress`."""
        found: dict[str, dict[str, Array | None]] = {}
        for element in self.circuit.elements:
            if isinstance(element, Transformer):
                for number, winding in enumerate(element.windings):
                    row = self.builder.winding_row(element, number)
                    found[f"{element.name}.{number + 1}"] = self._stress_of(row, winding, None)
                continue
            blocking = None
            if isinstance(element, Switch | DiodeElement):
                blocking = [
                    k
                    for k, interval in enumerate(self.balance.sequence.intervals)
                    if element.name not in interval.conducting
                ]
            row = {("i", element.name): self.balance.ring.one}
            found[element.name] = self._stress_of(row, element.nodes, blocking)
        for transformer in self.circuit.transformers:
            if transformer.magnetizing is not None:
                name = transformer.magnetizing.symbol
                row = {("i", name): self.balance.ring.one}
                found[name] = self._stress_of(row, transformer.windings[0], None)
        return found

    def _stress_of(self, row, nodes, blocking) -> dict[str, Array | None]:
        current = self.waves.of(row)
        voltage = self.waves.of(dict(self.balance.network.voltage(*nodes)))
        square = self._numeric(self.waves.mean_square(current))
        with np.errstate(invalid="ignore"):
            rms = None if square is None else np.sqrt(np.maximum(square, 0)) * self.ampere
        if blocking == []:
            peak: Array | None = np.zeros(self.length)
        else:
            peak = self._peak(self.builder.known_ends(voltage, blocking), self.volt)
        return {
            "voltage_peak": peak,
            "current_average": self._numeric(self.waves.average_of_free(row), self.ampere),
            "current_peak": self._peak(self.waves.ends(current), self.ampere),
            "current_rms": rms,
        }

    def _peak(self, candidates, unit: float) -> Array | None:
        if not candidates:
            return None
        return np.max([np.abs(self.waves.numeric(c)) for c in candidates], axis=0) * unit

    def _ends(self, unknown) -> Array | None:
        candidates = self.waves.ends(self.waves.current(unknown))
        return (
            None
            if candidates is None
            else np.array([self.waves.numeric(c) for c in candidates]) * self.ampere
        )

    def _numeric(self, ratio, unit: float = 1.0) -> Array | None:
        return None if ratio is None else self.waves.numeric(ratio) * unit


class NumericBuilder(ModeBuilder):
    """Stands in for a mode's builder where its balance is solved with numbers."""

    def __init__(self, balance: Balance, points: dict[str, Array]) -> None:
        self.balance = balance
        self.circuit = balance.circuit
        self.waveforms = self.short = Waveforms(balance, points)


def holds_at(builder: ModeBuilder, points: Mapping[str, Array]) -> tuple[Array, Array]:
    """Where a mode holds among ``points``, and its fractions there."""
    mask, _, fractions = verify(builder.balance, builder.found.fractions, points)
    edges = builder.found.stages.edges
    for before, after in itertools.pairwise(edges):
        mask = mask & (points[before] <= points[after])
    return mask, fractions


def numbers_at(builder: ModeBuilder, name: str, point: Mapping[str, float]) -> Numbers | None:
    """All numbers of a mode at one point, None where it does not hold there."""
    arrays = {key: np.array([float(value)]) for key, value in point.items()}
    mask, fractions = holds_at(builder, arrays)
    if not mask[0]:
        return None
    for row, fraction in enumerate(builder.balance.sequence.fractions):
        arrays[fraction] = fractions[row]
    return _collected(Evaluation(builder, arrays), name, point)


def numbers_of(mode: NumericMode, name: str, point: Mapping[str, float]) -> Numbers | None:
    """All numbers of a mode without written formulas, None where it does not hold at ``point``."""
    duties = [point[edge] for edge in mode.stages.edges]
    if any(a > b for a, b in itertools.pairwise(duties)):
        return None
    found = mode.at(point)
    if found is None:
        return None
    balance, arrays = found
    values = Evaluation(NumericBuilder(balance, arrays), arrays, VOLT, AMPERE, SECOND)
    return _collected(values, name, point)


def _collected(values: Evaluation, name: str, point: Mapping[str, float]) -> Numbers:
    voltage = values.output_voltage()
    source = float(point[values.circuit.input.quantity.symbol])
    return Numbers(
        mode=name,
        point={key: float(value) for key, value in point.items()},
        gain=None if voltage is None else float(voltage[0]) / source,
        output_voltage=_single(voltage),
        efficiency=_single(values.efficiency()),
        capacitor_voltages={k: _single(v) for k, v in values.capacitor_voltages().items()},
        inductor_currents={k: _single(v) for k, v in values.coil_currents().items()},
        source_currents={k: _single(v) for k, v in values.source_currents().items()},
        ripple={k: _single(v) for k, v in values.ripple().items()},
        stress={
            element: {k: _single(v) for k, v in entries.items()}
            for element, entries in values.stress().items()
        },
        input_current=input_numbers(values),
        output_current=output_numbers(values),
        output_ripple=output_ripple_number(values),
    )


def _single(value: Array | None) -> float | None:
    if value is None or not np.isfinite(value[0]):
        return None
    return float(value[0])
