"""Modes solved in floats at many points: the same answers as exact formulas, as the exact equations
point by point, and as an integration in time that shares no equation with either."""

from __future__ import annotations

import pickle
from functools import cache

import numpy as np
import pytest

import voltsec
from tests.integration.switched import periodic_averages, with_small_ripple
from voltsec.formulas.compiled import compile_mode
from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.reading_list import quantity_units
from voltsec.periodic.row_mode import RowMode, row_mode
from voltsec.periodic.waveform import Waveforms
from voltsec.practice.sweep import sweep
from voltsec.results.solution import Solution
from voltsec.tableau.network import coils
from voltsec.tableau.scaled_ring import AMPERE, VOLT

COUNT = 80


@cache
def shipped(name: str) -> Solution:
    return voltsec.solve(voltsec.load(name))


def scattered(answer: Solution, count: int = COUNT) -> tuple[dict[str, float], dict[str, np.ndarray]]:
    """Values that stay, and random duties and loads that reach every mode."""
    generator = np.random.default_rng(5)
    known = {symbol: float(value) for symbol, value in answer.circuit.values.items()}
    load = answer.circuit.loads[0].quantity.symbol
    varied = {duty: generator.uniform(0.05, 0.95, count) for duty in answer.circuit.duty_symbols}
    varied[load] = known[load] * 10 ** generator.uniform(-1, 2, count)
    return {name: value for name, value in known.items() if name not in varied}, varied


def without_formulas(builder: ModeBuilder) -> NumericMode:
    """The sequence of a mode as if it had no formulas."""
    balance = builder.balance
    return NumericMode(
        balance.circuit, builder.found.stages, balance.sequence, tuple(balance.network.references)
    )


@pytest.mark.parametrize(
    "name",
    [
        "boost",
        "boost_2x",  # diodes whose currents are fixed on average only
        "charger_lossy",
        "flyback2",
        "forward",  # two fractions end by themselves
        "quad_boost",
        "luo_selflift_po",  # the condition has a pole beside its root
        "sl_boost",  # voltages that stay free while nothing conducts
        "zeta_coupled",
    ],
)
def test_every_mode_as_its_formulas_say(name: str) -> None:
    """Exact ratios of polynomials on one side, the same equations in floats on the other."""
    answer = shipped(name)
    constants, varied = scattered(answer)
    wanted = tuple(quantity_units(answer.circuit))
    for label, builder in answer.engine.builders:
        formulas = compile_mode(label, builder, constants, wanted)
        rows = row_mode(label, without_formulas(builder), constants, wanted)
        held, fractions = formulas.holds(constants | varied, COUNT)
        found, solved = rows.holds(constants | varied, COUNT)
        assert np.array_equal(found, held)
        here = {key: value[held] for key, value in (varied | fractions).items()}
        for key in fractions:
            assert solved[key][held] == pytest.approx(fractions[key][held], rel=1e-8)
        expected = formulas.read(constants | here, int(held.sum()))
        numbers = rows.read(constants | here, int(held.sum()))
        for quantity in wanted:
            assert numbers[quantity] == pytest.approx(expected[quantity], rel=1e-6, abs=1e-9, nan_ok=True), (
                quantity
            )


@pytest.mark.parametrize(
    ("name", "count"), [("quad_boost_lossy", 3), ("boost_mult1_lossy", 12), ("sepic_lossy", 12)]
)
def test_as_the_exact_equations_point_by_point(name: str, count: int) -> None:
    answer = shipped(name)
    constants, varied = scattered(answer, count)
    circuit = answer.circuit
    voltages = {f"capacitor_voltages.{c.name}": c.name for c in circuit.capacitors}
    currents = {f"inductor_currents.{c.name}": c.name for c in coils(circuit)}
    for label, mode in answer.engine.numeric:
        rows = row_mode(label, mode, constants, (*voltages, *currents))
        held, fractions = rows.holds(constants | varied, count)
        here = {key: value[held] for key, value in (varied | fractions).items()}
        numbers = rows.read(constants | here, int(held.sum())) if held.any() else {}
        for place in range(count):
            point = constants | {key: float(value[place]) for key, value in varied.items()}
            exact = mode.at(point)
            if exact is None:
                continue
            assert held[place]
            balance, arrays = exact
            row = int(held[:place].sum())
            waves = Waveforms(balance, arrays)
            for key, part in voltages.items():
                value = waves.numeric(balance.capacitor_voltage(part))[0] * VOLT
                assert numbers[key][row] == pytest.approx(value, rel=1e-6)
            for key, part in currents.items():
                value = waves.numeric(waves.average_of_free({("i", part): balance.ring.one}))[0] * AMPERE
                assert numbers[key][row] == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("factor", [8.0, 60.0])
def test_against_an_integration_in_time(factor: float) -> None:
    """SEPIC with losses at light load; tests/integration/switched.py steps the circuit through time."""
    answer = shipped("sepic_lossy")
    circuit = answer.circuit
    load = circuit.loads[0].quantity.symbol
    values = {symbol: float(value) for symbol, value in circuit.values.items()}
    values[load] *= factor
    values = with_small_ripple(circuit, values)
    stepped = periodic_averages(circuit, values)
    result = answer.sweep(("output_voltage",), **values)
    assert str(result.mode) in {name for name, _ in answer.engine.numeric}
    output = next(
        c.name for c in circuit.capacitors if {c.start, c.end} == {circuit.output.start, circuit.output.end}
    )
    assert float(result.output_voltage) == pytest.approx(abs(stepped.capacitor_voltages[output]), rel=2e-3)


def test_travels_to_another_process() -> None:
    answer = shipped("sepic_lossy")
    constants, varied = scattered(answer, 30)
    name, mode = answer.engine.numeric[0]
    ready = row_mode(name, mode, constants, ("gain", "efficiency"))
    again = pickle.loads(pickle.dumps(ready))
    assert isinstance(again, RowMode)
    held, fractions = ready.holds(constants | varied, 30)
    there, others = again.holds(constants | varied, 30)
    assert held.any() and np.array_equal(held, there)
    for key, value in fractions.items():
        assert np.array_equal(value, others[key], equal_nan=True)


def test_powers_add_up() -> None:
    """Power in equals power out plus losses in every mode (Tellegen's theorem)."""
    answer = shipped("sepic_lossy")
    generator = np.random.default_rng(6)
    duty, load = generator.uniform(0.1, 0.8, 300), 10 ** generator.uniform(1, 3, 300)
    capacitors = {f"losses.{capacitor.name}" for capacitor in answer.circuit.capacitors}
    lossy = tuple(name for name in quantity_units(answer.circuit) if name.startswith("losses."))
    source = answer.circuit.input
    wanted = ("efficiency", f"source_currents.{source.name}", *lossy)
    result = sweep(answer, {"D": duty, answer.circuit.loads[0].quantity.symbol: load}, wanted, most_exact=0)
    assert len(set(result.mode_index.tolist())) == 2
    given = float(answer.circuit.values[source.quantity.symbol]) * result[wanted[1]]
    lost = sum(result[name] for name in lossy)
    told = result.efficiency * given + lost
    # what ripple current loses in capacitors comes on top in continuous conduction
    ripple = np.where(result.mode == "CCM", sum(result[name] for name in capacitors), 0.0)
    assert (told > given * (1 - 1e-6)).all() and (told < given * (1 + 1e-6) + ripple).all()


LITTLE_STORED = """source Vg : in -> gnd = 12 V { resistance 12 mohm }
inductor L1 : in -> a = 7.5 uH { resistance 6 mohm }
switch S : a -> gnd { resistance 15 mohm, drop 0.4 V }
diode D1 : a -> m { resistance 6 mohm, drop 0.8 V }
capacitor C1 : m -> gnd = 22 uF { resistance 20 mohm }
capacitor C2 : b -> a = 10 uF { resistance 9 mohm }
inductor L2 : m -> b = 0.3 uH { resistance 5 mohm }
diode D2 : b -> out { resistance 6 mohm, drop 0.3 V }
capacitor Co : out -> gnd = 47 uF { resistance 20 mohm }
load R : out -> gnd = 96 ohm
operate D = 0.5, T = 10 us
"""


def test_modes_of_a_stage_that_stores_little() -> None:
    """Two fractions that end by themselves, far from the start: either diode may stop first, in continuous
    conduction and beyond it (by an integration in time at points of each)."""
    answer = voltsec.solve(voltsec.read(LITTLE_STORED))
    labels = {mode.label for mode in answer.modes}
    assert {"CCM", "CCM, D1 stops", "CCM, D2 stops", "DCM: D1 stops", "DCM: D2 stops"} <= labels
    assert not [note for note in answer.warnings if "could be confirmed" in note or "no steady state" in note]
    numbers = answer.numbers
    assert numbers is not None and numbers.mode == "DCM"
    for values in ({}, {"L1": 0.5e-6, "L2": 0.62e-6, "D": 0.4}, {"L1": 67e-6, "L2": 0.44e-6, "D": 0.4}):
        outside = periodic_averages(answer.circuit, values)
        told = answer.at(**values)
        assert told.mode in {mode.name for mode in answer.modes}
        assert told.output_voltage == pytest.approx(outside.output_voltage, rel=2e-3)
