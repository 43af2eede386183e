"""The solver's closed forms against an integration in time that shares no equation with it.

Every circuit is looked at in six points: all coils at 5, 2 and 1.3 times, and at 0.8, 0.5 and 0.2 times
the size at which its first diode runs dry.  Compared are the solver's numbers, its formulas evaluated
at the same point, its region, and the sequence of conducting devices with their durations.
"""

from __future__ import annotations

import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import isfinite

import pytest
from sympy import Expr, Symbol

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Diode, Switch
from voltsec.steady.solution import Mode, Solution

from .own import OWN, SEVERAL_SWITCHES
from .published import PUBLISHED
from .switched import Averages, NotPeriodic, periodic_averages, with_small_ripple

FACTORS = (5.0, 2.0, 1.3, 0.8, 0.5, 0.2)
PATIENCE = 60
"""Seconds a solution may take before the test gives up."""

SHARED = {
    # Diodes that share a current between capacitors of equal voltage: the ideal circuit fixes what each
    # carries on average, resistances decide which stops first.
    "flyback2",
    "boost_mult1",
    "boost_2x",
    "modified_sepic",
    "boost_sepic",
    "sepic_cuk_bip",
    "boost_flyback",
    "qzs_boost",
    "probe_supply_six_diodes",
    "buck_with_negative_pump",
    "stacked_winding_with_lift",
    "lift_then_lower",
    "flyback_and_boost_rail",
    "series_parallel_step_down",
    "tapped_with_recovery",
    "three_coupled_coils",
}


@dataclass
class Comparison:
    """Collects what differs, so that one run of a circuit shows everything."""

    place: str = ""
    differences: list[str] = field(default_factory=list)
    least: float = 0.0
    """Least relative tolerance: straight ramps are an approximation where resistances bend them."""

    def say(self, text: str) -> None:
        """Note a difference at the present place."""
        self.differences.append(f"{self.place}: {text}")

    def close(
        self, name: str, solver: float | None, integrated: float, relative: float, scale: float
    ) -> None:
        """Compare two numbers; ``None`` (the solver leaves it open) passes here."""
        if solver is None:
            return
        relative = max(relative, self.least)
        if not isfinite(solver) or abs(solver - integrated) > relative * abs(integrated) + 2e-3 * scale:
            self.say(f"{name}: solver {solver:.6g}, integration {integrated:.6g}")


@contextmanager
def patience(seconds: int) -> Iterator[None]:
    """Turn a solution that does not end into a failure."""

    def give_up(*_: object) -> None:
        raise TimeoutError(f"no solution within {seconds} s")

    before = signal.signal(signal.SIGALRM, give_up)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def published_values(key: str, circuit: Circuit) -> dict[str, float]:
    """A published circuit at the edge: everything but the capacitances."""
    row = PUBLISHED[key]
    values = {
        "Vg": 12.0,
        "R": 10.0,
        "R2": 10.0,
        "T": 20e-6,
        "n": 2.0,
        "m": 0.5,
        "nr": 1.0,
        "D": row.duties[1],
    }
    values |= {q.symbol: row.edge * 10.0 * 20e-6 for q in circuit.quantities if q.unit == "H"}
    known = {q.symbol for q in circuit.quantities}
    return {symbol: value for symbol, value in values.items() if symbol in known}


def evaluated(formula: Expr | None, mode: Mode, point: dict[str, float]) -> float | None:
    """A formula's value with the mode's definitions filled in; None where an implicit unknown stays."""
    if formula is None:
        return None
    for _ in range(len(mode.definitions) + 1):
        formula = formula.subs({Symbol(name): meaning for name, meaning in mode.definitions.items()})
    value = formula.subs({Symbol(name): number for name, number in point.items()})
    return None if value.free_symbols else float(value)


def _lossy(circuit: Circuit) -> tuple[Switch | Diode, ...]:
    """Devices that may have a drop or a resistance."""
    return (*circuit.switches, *circuit.diodes)


def compare_numbers(
    found: Averages, solution: Solution, values: dict[str, float], told: Comparison
) -> Mode | None:
    """Compare everything that is a number; the mode that the solver says holds there."""
    try:
        numbers = solution.at(**values)
    except LookupError as error:
        shown = ", ".join(map(str, found.sequence()))
        told.say(f"{error}; integration: gain {found.gain:.5g}, {shown}")
        return None
    mode = next(mode for mode in solution.modes if mode.name == numbers.mode)
    volts = max(abs(v) for v in found.average_voltages.values())
    amperes = max([abs(i) for i in found.inductor_currents.values()] or [1.0])
    told.place += f" {mode.name}"

    told.close("gain", numbers.gain, found.gain, 5e-3, 0.0)
    for name, value in numbers.capacitor_voltages.items():
        told.close(f"v({name})", value, found.capacitor_voltages[name], 5e-3, volts)
    for name, value in numbers.inductor_currents.items():
        told.close(f"i({name})", value, found.inductor_currents[name], 5e-3, amperes)
        told.close(f"ripple({name})", numbers.ripple[name], found.ripple[name], 1e-2, amperes)
    for name, value in numbers.source_currents.items():
        told.close(f"source {name}", value, -found.average_currents[name], 5e-3, amperes)
    # The formulas leave out the losses of the ripple: exact only where there are none.
    lossless = all(
        element.drop is None and element.resistance is None for element in _lossy(solution.circuit)
    )
    told.close("efficiency", numbers.efficiency, found.efficiency, 2e-3 if lossless else 1.5e-2, 0.0)
    for name, stress in numbers.stress.items():
        told.close(f"mean i({name})", stress["current_average"], found.average_currents[name], 1e-2, amperes)
        told.close(f"rms i({name})", stress["current_rms"], found.rms_currents[name], 1e-2, amperes)
        told.close(f"peak i({name})", stress["current_peak"], found.peak_currents[name], 1e-2, amperes)
        told.close(f"peak v({name})", stress["voltage_peak"], found.peak_voltages[name], 1e-2, volts)
    if numbers.gain is None:
        told.say("the gain is left open")
    return mode


def compare_formulas(found: Averages, mode: Mode, values: dict[str, float], told: Comparison) -> None:
    """Compare the formulas and the region of the mode."""
    volts = max(abs(v) for v in found.average_voltages.values())
    amperes = max([abs(i) for i in found.inductor_currents.values()] or [1.0])
    told.close("gain formula", evaluated(mode.gain, mode, values), found.gain, 5e-3, 0.0)
    told.close(
        "output formula", evaluated(mode.output_voltage, mode, values), found.output_voltage, 5e-3, 0.0
    )
    for name, formula in mode.capacitor_voltages.items():
        value = evaluated(formula, mode, values)
        told.close(f"formula v({name})", value, found.capacitor_voltages[name], 5e-3, volts)
    for name, formula in mode.inductor_currents.items():
        value = evaluated(formula, mode, values)
        told.close(f"formula i({name})", value, found.inductor_currents[name], 5e-3, amperes)
    if mode.holds_when is not None:
        region = mode.holds_when
        for _ in range(len(mode.definitions) + 1):
            region = region.subs({Symbol(name): meaning for name, meaning in mode.definitions.items()})
        region = region.subs({Symbol(name): number for name, number in values.items()})
        if region in (True, False) and not region:
            told.say(f"numbers come from a mode whose own region, {mode.holds_when}, excludes the point")


def compare_sequence(
    found: Averages, mode: Mode, values: dict[str, float], shared: bool, told: Comparison
) -> None:
    """Compare which devices conduct, and for how long."""
    integrated = found.sequence()
    shown = ", ".join(map(str, integrated))
    if shared:
        idle = not integrated[-1].carrying
        if idle != (not mode.intervals[-1].conducting):
            told.say(f"idle time differs: integration {shown}")
        return
    pairs = list(zip(mode.intervals, integrated, strict=False))
    same = all(one.carrying <= set(interval.conducting) <= one.closed for interval, one in pairs)
    if len(mode.intervals) != len(integrated) or not same:
        solver = ", ".join("+".join(interval.conducting) or "none" for interval in mode.intervals)
        told.say(f"sequence: solver {solver}; integration {shown}")
        return
    ends = sum(interval.ends != "switch" for interval in mode.intervals)
    if ends == 0 and not mode.name.startswith("CCM"):
        told.say(f"name {mode.name} of a mode in which no diode ends an interval")
    for interval, one in pairs:
        value = evaluated(interval.fraction, mode, values)
        if value is not None and abs(value - one.fraction) > 3e-3:
            told.say(f"{one}: solver {value:.5f}")


def check(
    circuit: Circuit,
    edge: dict[str, float],
    factors: tuple[float, ...],
    shared: bool,
    least: float = 0.0,
) -> None:
    """Solve once, then compare at every factor of the edge inductances."""
    with patience(PATIENCE):
        solution = voltsec.solve(circuit)
    henries = {q.symbol for q in circuit.quantities if q.unit == "H"}
    told = Comparison(least=least)
    for factor in factors:
        values = {symbol: value * (factor if symbol in henries else 1.0) for symbol, value in edge.items()}
        values = with_small_ripple(circuit, values, 1e6)
        told.place = f"{factor} x edge"
        try:
            found = periodic_averages(circuit, values)
        except NotPeriodic as error:
            told.say(f"integration: {error}")
            continue
        with patience(PATIENCE):
            mode = compare_numbers(found, solution, values, told)
            if mode is not None:
                compare_formulas(found, mode, values, told)
                compare_sequence(found, mode, values, shared, told)
    assert not told.differences, "\n".join(told.differences)


@pytest.mark.parametrize("key", PUBLISHED)
def test_published_circuit(key: str) -> None:
    circuit = voltsec.read(PUBLISHED[key].netlist)
    check(circuit, published_values(key, circuit), FACTORS, key in SHARED)


@pytest.mark.parametrize("key", OWN | SEVERAL_SWITCHES)
def test_own_circuit(key: str) -> None:
    circuit = voltsec.read((OWN | SEVERAL_SWITCHES)[key])
    edge = {symbol: float(value) for symbol, value in circuit.values.items()}
    check(circuit, edge, FACTORS, key in SHARED)


LOSSY = (
    "buck",
    "boost",
    "buckboost",
    "cuk",
    "sepic",
    "zeta",
    "flyback",
    "forward",
    "modified_sepic",
    "superlift_po",
    "qzs_c1",
    "sl_boost",
)


@pytest.mark.parametrize("key", LOSSY)
def test_published_circuit_with_losses(key: str) -> None:
    """Drop and resistance in every device and winding, on both sides of the boundary."""
    netlist = PUBLISHED[key].netlist
    for kind, properties in (
        ("diode", "drop 0.5 V, resistance 10 mohm"),
        ("inductor", "resistance 10 mohm"),
        ("switch", "resistance 10 mohm"),
    ):
        netlist = re.sub(rf"({kind} \w+ : \w+ -> \w+)", rf"\1 {{ {properties} }}", netlist)
    circuit = voltsec.read(netlist)
    check(circuit, published_values(key, circuit), (5.0, 2.0, 0.7, 0.4), key in SHARED)


def test_a_mode_that_no_sample_point_met() -> None:
    """Asked at a point where none of the listed modes holds, the solver looks there anew."""
    circuit = voltsec.read(
        """
        source Vg : in -> gnd = 12 V { resistance 30 mohm }
        inductor L1 : in -> a = 40 uH { resistance 25 mohm }
        diode D1 : a -> b { drop 0.4 V, resistance 15 mohm }
        diode D2 : a -> c { drop 0.4 V }
        capacitor C1 : b -> gnd = 1 { resistance 12 mohm }
        inductor L2 : b -> c = 60 uH { resistance 50 mohm }
        switch S : c -> gnd { resistance 20 mohm }
        capacitor C2 : d -> c = 1 { resistance 20 mohm }
        diode D3 : b -> d { drop 0.4 V, resistance 20 mohm }
        diode D4 : d -> out { drop 0.4 V, resistance 20 mohm }
        capacitor Co : out -> gnd = 1
        load R : out -> gnd = 150 ohm
        operate D = 0.45, f = 100 kHz
        """.replace("= 1\n", "= 1 F\n").replace("= 1 {", "= 1 F {")
    )
    numbers = voltsec.solve(circuit).at(D=0.6)
    found = periodic_averages(circuit, {"D": 0.6})
    assert numbers.output_voltage == pytest.approx(found.output_voltage, rel=1e-3)
    assert numbers.mode == "CCM"
