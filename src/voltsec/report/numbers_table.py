"""The numbers at the operating point as rows of text, shared by the terminal and the notebook view."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.outline import NO_RIPPLE, in_order_of_interest
from voltsec.report.quantity import engineering, percent
from voltsec.steady.solution import PortNumbers, Solution

LEAST_RIPPLE = 1e-12
"""Ampere; less is rounding."""

PART_HEADING = (
    "Part",
    "Voltage\nmean",
    "Ripple\npk-pk",
    "Voltage\npeak",
    "Current\nmean",
    "Current\npeak",
    "Current\nrms",
)


def stage_rows(
    solution: Solution, alphabet: Alphabet = UNICODE, told: Mapping[str, str] | None = None
) -> Iterator[tuple[str, str]]:
    """Label and value for the stage as a whole; ``solution`` has numbers.

    ``told`` says how the ports' currents flow where that stands above already: label -> words.
    """
    above = told or {}
    numbers = solution.numbers
    assert numbers is not None
    for duty in solution.circuit.timing_symbols:
        yield duty, engineering(numbers.point.get(duty), "1", alphabet)
    period = numbers.point.get("T")
    if period:
        yield "T", f"{engineering(period, 's', alphabet)} ({engineering(1 / period, 'Hz', alphabet)})"
    if numbers.gain is not None:
        yield "Gain", engineering(numbers.gain, "1", alphabet)
    yield "Output voltage", engineering(numbers.output_voltage, "V", alphabet)
    if numbers.efficiency is not None:
        yield "Efficiency", percent(numbers.efficiency, alphabet)
    for name, current in numbers.source_currents.items():
        yield f"Drawn from {name}", engineering(current, "A", alphabet)
    if numbers.input_current is not None:
        yield "Input current", port_text(numbers.input_current, alphabet, above.get("Input current", ""))
    if numbers.output_ripple is not None:
        if numbers.output_current is not None:
            flow = above.get("Output current", "")
            yield "Output current", port_text(numbers.output_current, alphabet, flow)
        yield "Output ripple", f"{engineering(numbers.output_ripple, 'V', alphabet)} peak to peak"


def port_text(port: PortNumbers, alphabet: Alphabet = UNICODE, told: str = "") -> str:
    """How a port's current flows: ``pulsating, 40 % of T, 3.06 A peak to peak``.

    What the words in ``told`` say already is not said again.
    """
    if port.continuous and port.ripple < LEAST_RIPPLE:
        return NO_RIPPLE
    swing = f"{engineering(port.ripple, 'A', alphabet)} peak to peak"
    if port.continuous:
        return swing if told.startswith("continuous") else f"continuous, {swing}"
    share = f"{percent(port.share, alphabet)} of T, {swing}"
    return share if told.startswith("pulsating") else f"pulsating, {share}"


def part_rows(solution: Solution, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, ...]]:
    """The heading, then one row a part; ``solution`` has numbers."""
    numbers = solution.numbers
    assert numbers is not None
    yield PART_HEADING
    groups = (numbers.inductor_currents, numbers.capacitor_voltages, numbers.stress, numbers.ripple)
    names = [name for group in groups for name in group]
    for name in in_order_of_interest(names, solution.circuit):
        stress = numbers.stress.get(name, {})
        current = numbers.inductor_currents.get(name, numbers.source_currents.get(name))
        if current is None:
            current = stress.get("current_average")
        ripple_unit = "V" if name in numbers.capacitor_voltages else "A"
        cells = (
            (numbers.capacitor_voltages.get(name), "V"),
            (numbers.ripple.get(name), ripple_unit),
            (stress.get("voltage_peak"), "V"),
            (current, "A"),
            (stress.get("current_peak"), "A"),
            (stress.get("current_rms"), "A"),
        )
        yield name, *("" if value is None else engineering(value, unit, alphabet) for value, unit in cells)
