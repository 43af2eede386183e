"""What follows from units alone, and from the conservation of energy."""

from __future__ import annotations

import random
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Load
from voltsec.results.solution import Numbers, Solution

from .evaluation import Point, random_point
from .variants import QUICK, generated, made_up, solved

SEEDS = st.integers(0, 2**32)
NAMES = (*QUICK, "buck_lossy", "buckboost_lossy", "charger_lossy")

SCALINGS: dict[str, tuple[dict[str, int], dict[str, int]]] = {
    "voltages": ({"V": 1, "A": 1}, {"V": 1, "A": 1}),
    "impedances": ({"ohm": 1, "H": 1, "F": -1, "A": -1}, {"V": 0, "A": -1}),
    "time": ({"H": 1, "F": 1, "s": 1}, {"V": 0, "A": 0}),
}
"""Powers of the factor by which given values, and by which voltages and currents, are multiplied."""


def scaled(circuit: Circuit, point: Point, powers: Mapping[str, int], factor: float) -> Point:
    """The point with every value multiplied as its unit says."""
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    return {name: number * factor ** powers.get(units[name], 0) for name, number in point.items()}


def flat(numbers: Numbers, circuit: Circuit) -> dict[str, tuple[str, float | None]]:
    """Every number with its unit."""
    found: dict[str, tuple[str, float | None]] = {
        "gain": ("1", numbers.gain),
        "efficiency": ("1", numbers.efficiency),
        "output voltage": ("V", numbers.output_voltage),
    }
    capacitors = {capacitor.name for capacitor in circuit.capacitors}
    found |= {f"v({name})": ("V", number) for name, number in numbers.capacitor_voltages.items()}
    found |= {f"i({name})": ("A", number) for name, number in numbers.inductor_currents.items()}
    found |= {f"supply {name}": ("A", number) for name, number in numbers.source_currents.items()}
    for name, number in numbers.ripple.items():
        found[f"ripple {name}"] = ("V" if name in capacitors else "A", number)
    for name, entries in numbers.stress.items():
        for what, number in entries.items():
            found[f"{what} {name}"] = ("V" if what.startswith("voltage") else "A", number)
    return found


def at(solution: Solution, point: Point) -> Numbers | None:
    """Numbers at a point, None where no periodic state exists or none is known."""
    try:
        return solution.at(**point)
    except LookupError:
        return None


@pytest.mark.parametrize("what", SCALINGS)
@settings(generated, max_examples=40)
@given(name=st.sampled_from(NAMES), seed=SEEDS, power=st.floats(-2, 2))
def test_scaling_of_values_scales_the_numbers(what: str, name: str, seed: int, power: float) -> None:
    given_powers, powers = SCALINGS[what]
    answer = solved(name)
    point = random_point(answer.circuit, random.Random(seed), 0.2)
    factor = 10**power
    before = at(answer, point)
    after = at(answer, scaled(answer.circuit, point, given_powers, factor))
    if before is None or after is None:
        assert before is after
        return
    assert after.mode == before.mode
    one, other = flat(before, answer.circuit), flat(after, answer.circuit)
    top = dict.fromkeys("1VA", 0.0)
    for unit, number in one.values():
        top[unit] = max(top[unit], abs(number or 0.0))
    for key, (unit, number) in one.items():
        if number is None:
            assert other[key][1] is None
            continue
        expected = number * factor ** powers.get(unit, 0)
        allowed = 1e-9 * top[unit] * factor ** powers.get(unit, 0)
        assert other[key][1] == pytest.approx(expected, rel=1e-6, abs=allowed), key


def powers(circuit: Circuit, numbers: Numbers) -> tuple[float, float]:
    """Average power that the voltage sources give, and that loads and constant currents take."""
    given_power = sum(
        numbers.point[source.quantity.symbol] * numbers.source_currents[source.name]  # type: ignore[operator]
        for source in circuit.sources
    )
    taken = 0.0
    for element in circuit.loads:
        size = numbers.point[element.quantity.symbol]
        if isinstance(element, Load):
            taken += numbers.stress[element.name]["current_rms"] ** 2 * size  # type: ignore[operator]
        else:
            taken += _voltage_across(circuit, numbers, element.start, element.end) * size
    return given_power, taken


def _voltage_across(circuit: Circuit, numbers: Numbers, start: str, end: str) -> float:
    for capacitor in circuit.capacitors:
        if {capacitor.start, capacitor.end} == {start, end}:
            sign = 1 if capacitor.start == start else -1
            return sign * numbers.capacitor_voltages[capacitor.name]  # type: ignore[operator]
    raise AssertionError("a constant current of the tests lies across a capacitor")


def assert_power_is_kept(answer: Solution, seed: int) -> None:
    """Efficiency one, as a formula of every mode and in numbers."""
    for mode in answer.modes:
        assert mode.efficiency is None or mode.efficiency == 1, mode.name
    exact = at(answer, random_point(answer.circuit, random.Random(seed), 0.2))
    numbers = None if exact is None else exact.formulas  # charge that jumps loses power in the exact state
    if numbers is None:
        return
    if numbers.efficiency is not None:
        assert numbers.efficiency == pytest.approx(1, rel=1e-6)
    given_power, taken = powers(answer.circuit, numbers)
    assert taken == pytest.approx(given_power, rel=1e-6), numbers.point


@settings(generated, max_examples=80)
@given(name=st.sampled_from(QUICK), seed=SEEDS)
def test_no_power_is_lost_without_losses(name: str, seed: int) -> None:
    assert_power_is_kept(solved(name), seed)


@settings(generated, max_examples=12)
@given(circuit=made_up(lossless=True), seed=SEEDS)
def test_no_power_is_lost_in_made_up_circuits(circuit: Circuit, seed: int) -> None:
    assert_power_is_kept(voltsec.solve(circuit), seed)
