"""The solver's closed forms against an integration in time that shares no equation with it.

Every circuit is looked at in six points: all coils at 5, 2 and 1.3 times, and at 0.8, 0.5 and 0.2 times
the size at which its first diode runs dry.  Compared are the solver's numbers, its formulas evaluated
at the same point, its region, and the sequence of conducting devices with their durations.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from math import isfinite

import pytest
from sympy import Expr

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Diode, Switch
from voltsec.results.solution import Mode, Solution

from .left_open import left_open
from .own import OWN, SEVERAL_SWITCHES
from .patience import patience
from .published import PUBLISHED
from .stated import value_of, values_where_it_holds
from .switched import Averages, NotPeriodic, periodic_averages, with_small_ripple

FACTORS = (5.0, 2.0, 1.3, 0.8, 0.5, 0.2)
PATIENCE = 60
"""Seconds of the processor a solution may take before the test gives up."""

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
    open: frozenset[str] = frozenset()
    """Quantities that the ideal circuit does not determine: these alone may be left out of the answer."""

    def say(self, text: str) -> None:
        """Note a difference at the present place."""
        self.differences.append(f"{self.place}: {text}")

    def close(
        self, name: str, solver: float | None, integrated: float, relative: float, scale: float
    ) -> None:
        """Compare two numbers; ``None`` (left open) passes only for a quantity that is listed as open."""
        if solver is None:
            if name.removeprefix("formula ") not in self.open:
                self.say(f"{name}: left open, integration {integrated:.6g}")
            return
        relative = max(relative, self.least)
        if not isfinite(solver) or abs(solver - integrated) > relative * abs(integrated) + 2e-3 * scale:
            self.say(f"{name}: solver {solver:.6g}, integration {integrated:.6g}")


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


def _lossy(circuit: Circuit) -> tuple[Switch | Diode, ...]:
    """Devices that may have a drop or a resistance."""
    return (*circuit.switches, *circuit.diodes)


def compare_numbers(
    found: Averages, solution: Solution, values: dict[str, float], told: Comparison
) -> Mode | None:
    """Compare everything that is a number; the mode that the solver says holds there."""
    try:
        numbers = solution.at(**values).formulas  # capacitors without ripple are compared here
        if numbers is None:
            raise LookupError("no mode holds")
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


def compare_formulas(
    found: Averages, mode: Mode, values: dict[str, float], told: Comparison
) -> dict[str, float] | None:
    """Compare the formulas of the mode within its region; the values there, unknown fractions included."""
    if not mode.written:
        return None
    inside = next(values_where_it_holds(mode, values), None)
    if inside is None:
        told.say(f"numbers come from a mode whose own region, {mode.holds_when}, excludes the point")
        return None

    def evaluated(formula: Expr | None) -> float | None:
        return None if formula is None else value_of(formula, inside)

    volts = max(abs(v) for v in found.average_voltages.values())
    amperes = max([abs(i) for i in found.inductor_currents.values()] or [1.0])
    if mode.gain is not None or mode.output_voltage is None:  # drops may make a ratio impossible
        told.close("gain formula", evaluated(mode.gain), found.gain, 5e-3, 0.0)
    told.close("output formula", evaluated(mode.output_voltage), found.output_voltage, 5e-3, 0.0)
    for name, formula in mode.capacitor_voltages.items():
        told.close(f"formula v({name})", evaluated(formula), found.capacitor_voltages[name], 5e-3, volts)
    for name, formula in mode.inductor_currents.items():
        told.close(f"formula i({name})", evaluated(formula), found.inductor_currents[name], 5e-3, amperes)
    return inside


def compare_sequence(
    found: Averages, mode: Mode, values: dict[str, float] | None, shared: bool, told: Comparison
) -> None:
    """Compare which devices conduct, and (with the values of a written mode) for how long."""
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
        value = None if values is None else value_of(interval.fraction, values)
        if values is not None and (value is None or abs(value - one.fraction) > 3e-3):
            told.say(f"{one}: solver {value}")


def check(
    circuit: Circuit,
    edge: dict[str, float],
    factors: tuple[float, ...],
    shared: bool,
    least: float = 0.0,
    open_: frozenset[str] = frozenset(),
) -> None:
    """Solve once, then compare at every factor of the edge inductances."""
    with patience(PATIENCE):
        solution = voltsec.solve(circuit)
    henries = {q.symbol for q in circuit.quantities if q.unit == "H"}
    told = Comparison(least=least, open=open_)
    for factor in factors:
        values = {symbol: value * (factor if symbol in henries else 1.0) for symbol, value in edge.items()}
        values = {s: float(v) for s, v in circuit.values.items()} | with_small_ripple(circuit, values, 1e6)
        told.place = f"{factor} x edge"
        try:
            found = periodic_averages(circuit, values)
        except NotPeriodic as error:
            told.say(f"integration: {error}")
            continue
        with patience(PATIENCE):
            mode = compare_numbers(found, solution, values, told)
            if mode is not None:
                inside = compare_formulas(found, mode, values, told)
                compare_sequence(found, mode, inside, shared, told)
    assert not told.differences, "\n".join(told.differences)


@pytest.mark.parametrize("key", PUBLISHED)
def test_published_circuit(key: str) -> None:
    circuit = voltsec.read(PUBLISHED[key].netlist)
    check(circuit, published_values(key, circuit), FACTORS, key in SHARED, open_=left_open(key))


@pytest.mark.parametrize("key", OWN | SEVERAL_SWITCHES)
def test_own_circuit(key: str) -> None:
    circuit = voltsec.read((OWN | SEVERAL_SWITCHES)[key])
    edge = {symbol: float(value) for symbol, value in circuit.values.items()}
    check(circuit, edge, FACTORS, key in SHARED, open_=left_open(key))


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
    # what resistances share is determined; what lies in series while all is open is not
    open_ = frozenset(name for name in left_open(key) if name.startswith("peak v"))
    check(circuit, published_values(key, circuit), (5.0, 2.0, 0.7, 0.4), key in SHARED, open_=open_)


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
