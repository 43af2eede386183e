"""The numbers at the operating point as rows of text, shared by the terminal and the notebook view."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.outline import NO_RIPPLE, in_order_of_interest
from voltsec.report.quantity import engineering, percent
from voltsec.results.solution import Numbers, PortNumbers, Solution

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


def numbers_title(numbers: Numbers) -> str:
    """What the numbers are: ``at the operating point, CCM, ripple included``."""
    mode = f", {numbers.mode}" if numbers.mode else ""
    return f"at the operating point{mode}, ripple included"


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
    if numbers.overall_efficiency is not None:
        overall = percent(numbers.overall_efficiency, alphabet)
        yield "Overall efficiency", f"{overall} with the losses beside conduction"
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
    for name in part_names(solution):
        yield name, *(number_text(numbers, key, alphabet) for key in part_results(numbers, name))


def part_names(solution: Solution) -> list[str]:
    """Parts with numbers, those of most interest first."""
    assert solution.numbers is not None
    return list(in_order_of_interest(list(solution.numbers.stress), solution.circuit))


def part_results(numbers: Numbers, name: str) -> tuple[str, ...]:
    """Results of a part in the columns of :data:`PART_HEADING`; some do not exist."""
    current = next(
        (
            key
            for key in (f"inductor_currents.{name}", f"source_currents.{name}")
            if numbers.results.get(key) is not None
        ),
        f"stress.{name}.current_average",
    )
    return (
        f"capacitor_voltages.{name}",
        f"ripple.{name}",
        f"stress.{name}.voltage_peak",
        current,
        f"stress.{name}.current_peak",
        f"stress.{name}.current_rms",
    )


def number_text(numbers: Numbers, key: str, alphabet: Alphabet = UNICODE) -> str:
    """A result as it is shown: bounds as such, nothing for what is not there, a dash for what is open."""
    if key not in numbers.results:
        return ""
    value = numbers.results[key]
    if key in numbers.unbounded:
        return "no bound"
    if value is None:
        return engineering(None, "", alphabet)
    unit = "V" if key.endswith("voltage_peak") or _is_voltage(numbers, key) else "A"
    text = engineering(value, unit, alphabet)
    return alphabet.plain(f"≤ {text}") if key in numbers.bounds else text


def _is_voltage(numbers: Numbers, key: str) -> bool:
    group, _, name = key.partition(".")
    return group == "capacitor_voltages" or (group == "ripple" and name in numbers.capacitor_voltages)
