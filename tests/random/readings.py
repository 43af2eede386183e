"""What is compared: each number of the answer beside what the integration found, with what may lie between.

Tolerances are for exact numbers: one part in a thousand of the value, and a share of what is usual in the
circuit, because the integration gives ideal parts a small resistance: where one quantity is small beside
the others, it moves by a part of the others.
Peaks and ripples are taken at the ends of the integration's steps and outside the first hundred thousandth
of the period after an event: they are resolved to some parts in a thousand.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Diode, Switch
from voltsec.results.solution import Numbers

from ..integration.switched import Averages

EXACT, SHARE = 1e-3, 2e-4
RMS = 5e-3, 1e-3
PEAK, PEAK_SHARE = 1e-2, 3e-3
EFFICIENCY = 2e-3
LEAK = 1e-6
"""Siemens: where no more current flows at the circuit's voltages, none does."""


@dataclass(frozen=True)
class Reading:
    """One quantity: what the answer tells, what the integration found, how far apart they may be."""

    name: str
    told: float | None
    found: float
    tolerance: float
    strict: bool = False
    """Output voltage, gain and efficiency: a difference makes the answer wrong."""
    highest: float = 0.0
    """For a root mean square or a peak: what the integration met at any instant, spikes included."""
    level: float = 0.0
    """What is usual in the circuit."""
    bound: bool = False
    """The answer tells the most that any share of the devices may make of it, not what it is."""

    @property
    def agrees(self) -> bool:
        """Near enough, or a bound above; nothing told is no agreement."""
        if self.told is None or not isfinite(self.told):
            return False
        above = self.bound and self.told >= self.found
        return above or abs(self.told - self.found) <= self.tolerance


def readings(numbers: Numbers, found: Averages, circuit: Circuit) -> Iterator[Reading]:
    """Every number of the answer beside the integration's."""
    volts = level_of_voltages(found, circuit)
    amperes = level_of_currents(found, circuit)
    source = abs(numbers.point[circuit.input.quantity.symbol])

    def near(value: float, level: float, relative: float = EXACT, share: float = SHARE) -> float:
        return relative * abs(value) + share * level

    out = found.output_voltage
    yield Reading("output voltage", numbers.output_voltage, out, near(out, volts), strict=True)
    if source > 0 and numbers.output_voltage is not None:  # otherwise the output voltage says it
        told = None if numbers.gain is None else numbers.gain * source
        yield Reading("gain", told, numbers.output_voltage, near(out, volts), strict=True)
    yield Reading("efficiency", numbers.efficiency, found.efficiency, EFFICIENCY, strict=True)

    def volt(name: str, told: float | None, true: float, **also: float) -> Reading:
        return Reading(name, told, true, near(true, volts), level=volts, **also)

    def ampere(name: str, told: float | None, true: float, **also: float) -> Reading:
        return Reading(name, told, true, near(true, amperes), level=amperes, **also)

    def peak(
        name: str, told: float | None, true: float, level: float, highest: float = 0.0, bound: bool = False
    ) -> Reading:
        tolerance = near(true, level, PEAK, PEAK_SHARE)
        return Reading(name, told, true, tolerance, level=level, highest=highest, bound=bound)

    for name, value in numbers.capacitor_voltages.items():
        yield volt(f"v({name})", value, found.capacitor_voltages[name])
    for name, value in numbers.inductor_currents.items():
        yield ampere(f"i({name})", value, found.inductor_currents[name])
    for name, value in numbers.source_currents.items():
        yield ampere(f"source {name}", value, -found.average_currents[name])
    for name, value in numbers.ripple.items():
        level = amperes if name in found.inductor_currents else volts
        yield peak(f"ripple({name})", value, found.ripple[name], level)
    for name, stress in numbers.stress.items():
        spike = found.highest_currents[name]
        bounds = {key for key in stress if f"stress.{name}.{key}" in numbers.bounds}
        yield ampere(f"mean i({name})", stress["current_average"], found.average_currents[name])
        true = found.rms_currents[name]
        tolerance = near(true, amperes, *RMS)
        yield Reading(
            f"rms i({name})",
            stress["current_rms"],
            true,
            tolerance,
            highest=spike,
            level=amperes,
            bound="current_rms" in bounds,
        )
        true, also = found.peak_currents[name], "current_peak" in bounds
        yield peak(f"peak i({name})", stress["current_peak"], true, amperes, spike, also)
        true, also = _blocked(name, found, circuit), "voltage_peak" in bounds
        spike = found.highest_voltages[name]
        yield peak(f"peak v({name})", stress["voltage_peak"], true, volts, spike, also)
    port = numbers.input_current
    if port is not None:
        name = circuit.input.name
        spike = found.highest_current_swings[name]
        yield peak("ripple of the input", port.ripple, found.current_swings[name], amperes, spike)
    if numbers.output_ripple is not None and circuit.output.element in found.voltage_swings:
        true = found.voltage_swings[circuit.output.element]
        spike = found.highest_swings[circuit.output.element]
        yield peak("output ripple", numbers.output_ripple, true, volts, spike)


def _blocked(name: str, found: Averages, circuit: Circuit) -> float:
    """The largest voltage across an element; a device that only conducts has none but its drop."""
    peak = found.peak_voltages[name]
    for device in (one for one in circuit.of(Switch, Diode) if one.name == name):
        drop, ohm = (0.0 if q is None else float(q.value or 0) for q in (device.drop, device.resistance))
        if peak <= 1.01 * (drop + ohm * found.peak_currents[name]):
            return 0.0
    return peak


def level_of_voltages(found: Averages, circuit: Circuit) -> float:
    """What is usual: the largest mean voltage of a source, a capacitor, or the output."""
    sources = [found.average_voltages[source.name] for source in circuit.sources]
    return max(abs(v) for v in [*sources, *found.capacitor_voltages.values(), found.output_voltage])


def level_of_currents(found: Averages, circuit: Circuit) -> float:
    """What is usual: the largest mean current of a source, a load or a coil, or ripple of a coil."""
    ports = [found.average_currents[one.name] for one in (*circuit.sources, *circuit.loads)]
    swings = [found.ripple[name] for name in found.inductor_currents]
    least = LEAK * level_of_voltages(found, circuit)
    return max([least, *(abs(i) for i in [*ports, *found.inductor_currents.values(), *swings])])
