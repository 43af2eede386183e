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
from voltsec.steady.solution import Numbers

from ..integration.switched import Averages

EXACT, SHARE = 1e-3, 2e-4
PEAK, PEAK_SHARE = 1e-2, 3e-3
EFFICIENCY = 2e-3


@dataclass(frozen=True)
class Reading:
    """One quantity: what the answer tells, what the integration found, how far apart they may be."""

    name: str
    told: float | None
    found: float
    tolerance: float
    strict: bool = False
    """Output voltage, gain and efficiency: a difference makes the answer wrong."""

    @property
    def agrees(self) -> bool:
        """Near enough; nothing told is no agreement."""
        return self.told is not None and isfinite(self.told) and abs(self.told - self.found) <= self.tolerance


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
    for name, value in numbers.capacitor_voltages.items():
        true = found.capacitor_voltages[name]
        yield Reading(f"v({name})", value, true, near(true, volts))
    for name, value in numbers.inductor_currents.items():
        true = found.inductor_currents[name]
        yield Reading(f"i({name})", value, true, near(true, amperes))
    for name, value in numbers.source_currents.items():
        true = -found.average_currents[name]
        yield Reading(f"source {name}", value, true, near(true, amperes))
    for name, value in numbers.ripple.items():
        true = found.ripple[name]
        level = amperes if name in found.inductor_currents else volts
        yield Reading(f"ripple({name})", value, true, near(true, level, PEAK, PEAK_SHARE))
    for name, stress in numbers.stress.items():
        true = found.average_currents[name]
        yield Reading(f"mean i({name})", stress["current_average"], true, near(true, amperes))
        true = found.rms_currents[name]
        yield Reading(f"rms i({name})", stress["current_rms"], true, near(true, amperes, 5e-3, 1e-3))
        true = found.peak_currents[name]
        yield Reading(f"peak i({name})", stress["current_peak"], true, near(true, amperes, PEAK, PEAK_SHARE))
        true = found.peak_voltages[name]
        yield Reading(f"peak v({name})", stress["voltage_peak"], true, near(true, volts, PEAK, PEAK_SHARE))
    port = numbers.input_current
    if port is not None:
        true = found.current_swings[circuit.input.name]
        yield Reading("ripple of the input", port.ripple, true, near(true, amperes, PEAK, PEAK_SHARE))
    if numbers.output_ripple is not None and circuit.output.element in found.voltage_swings:
        true = found.voltage_swings[circuit.output.element]
        yield Reading("output ripple", numbers.output_ripple, true, near(true, volts, PEAK, PEAK_SHARE))


def level_of_voltages(found: Averages, circuit: Circuit) -> float:
    """What is usual: the largest mean voltage of a source, a capacitor, or the output."""
    sources = [found.average_voltages[source.name] for source in circuit.sources]
    return max(abs(v) for v in [*sources, *found.capacitor_voltages.values(), found.output_voltage])


def level_of_currents(found: Averages, circuit: Circuit) -> float:
    """What is usual: the largest mean current of a source, a load or a coil, or ripple of a coil."""
    ports = [found.average_currents[one.name] for one in (*circuit.sources, *circuit.loads)]
    swings = [found.ripple[name] for name in found.inductor_currents]
    return max(abs(i) for i in [*ports, *found.inductor_currents.values(), *swings])
