"""Numbers without what is rounding alone: a current of 1e-16 A in a stage of amperes is none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from voltsec.steady.solution import Numbers, PortNumbers, Solution

ROUNDING = 1e-9
"""Share of the circuit's largest voltage or current below which a number is rounding."""


def without_rounding(solution: Solution) -> Solution:
    """``solution`` with the numbers cleaned; itself where it has none."""
    if solution.numbers is None:
        return solution
    return replace(solution, numbers=cleaned(solution.numbers))


def cleaned(numbers: Numbers) -> Numbers:
    """Numbers with zero in place of what is below rounding."""
    peaks = [entry.get("voltage_peak") for entry in numbers.stress.values()]
    volt = ROUNDING * _largest([*peaks, *numbers.capacitor_voltages.values(), numbers.output_voltage])
    flows = [entry.get("current_peak") for entry in numbers.stress.values()]
    ampere = ROUNDING * _largest(
        [*flows, *numbers.inductor_currents.values(), *numbers.source_currents.values()]
    )
    stress = {
        name: {
            key: _kept(value, volt if key.startswith("voltage") else ampere) for key, value in entry.items()
        }
        for name, entry in numbers.stress.items()
    }
    ripple = {
        name: _kept(value, volt if name in numbers.capacitor_voltages else ampere)
        for name, value in numbers.ripple.items()
    }
    return replace(
        numbers,
        output_voltage=_kept(numbers.output_voltage, volt),
        capacitor_voltages=_each(numbers.capacitor_voltages, volt),
        inductor_currents=_each(numbers.inductor_currents, ampere),
        source_currents=_each(numbers.source_currents, ampere),
        ripple=ripple,
        stress=stress,
        input_current=_port(numbers.input_current, ampere),
        output_current=_port(numbers.output_current, ampere),
        output_ripple=_kept(numbers.output_ripple, volt),
    )


def _largest(values: Iterable[float | None]) -> float:
    return max((abs(value) for value in values if value is not None), default=0.0)


def _kept(value: float | None, least: float) -> float | None:
    return 0.0 if value is not None and abs(value) < least else value


def _each(values: Mapping[str, float | None], least: float) -> dict[str, float | None]:
    return {name: _kept(value, least) for name, value in values.items()}


def _port(port: PortNumbers | None, least: float) -> PortNumbers | None:
    return port if port is None or port.ripple >= least else replace(port, ripple=0.0)
