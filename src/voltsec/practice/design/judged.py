"""What stages are compared by: one table of measures, read by text, JSON and Python alike."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measure:
    """One row of a comparison."""

    key: str
    label: str
    unit: str
    """Of a number; ``text`` for words, ``formula`` for a formula."""
    best: str = ""
    """``least`` or ``most``: what makes a stage the better one; empty where nothing does."""
    told: str = ""
    """How the number is made, in words."""


MEASURES = (
    Measure("gain", "Gain, ideal", "formula", "", "in continuous conduction"),
    Measure("polarity", "Polarity", "text"),
    Measure("duty_least", "Duty, least", "1"),
    Measure("duty_largest", "Duty, largest", "1"),
    Measure("switch_voltage", "Switch, peak voltage", "V", "least", "the highest of all switches"),
    Measure("switch_current", "Switch, rms current", "A", "least", "the highest of all switches"),
    Measure("diode_voltage", "Diode, peak voltage", "V", "least", "the highest of all diodes"),
    Measure("diode_current", "Diode, rms current", "A", "least", "the highest of all diodes"),
    Measure(
        "stress", "Switch stress", "VA", "least", "peak voltage times rms current, summed over the switches"
    ),
    Measure("utilisation", "Utilisation", "1", "most", "largest output power over the switch stress"),
    Measure(
        "energy", "Coil energy", "J", "least", "L times the square of the peak current, halved, all coils"
    ),
    Measure("capacitor_current", "Capacitors, rms", "A", "least", "rms currents of all capacitors, summed"),
    Measure("input", "Input current", "text"),
    Measure("output", "Output current", "text"),
    Measure("losses", "Conduction losses", "W", "least", "with the same parts for every stage"),
    Measure("efficiency", "Efficiency, least", "1", "most", "with the same parts, conduction alone"),
    Measure("held_off", "Held off", "text"),
    Measure("separation", "Separation", "text"),
    Measure("parts", "Parts", "text"),
    Measure("part_count", "Number of parts", "1", "least", "loads and sources left out"),
    Measure("order", "Order", "1", "least", "poles of the response to the duty"),
    Measure("right_zeros", "Right-half zeros", "1", "least", "of the output's response to the duty"),
)
"""Every measure, in the order in which it is told."""

CRITERIA = tuple(measure.key for measure in MEASURES if measure.best)
"""What stages may be put in order by."""


def measure(key: str) -> Measure:
    """The measure called ``key``; KeyError where there is none."""
    return {one.key: one for one in MEASURES}[key]
