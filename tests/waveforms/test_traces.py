"""Sampled courses: state equations by hand, textbook waveforms, Kirchhoff's laws, the integration in time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import voltsec
from tests.integration.switched import periodic_averages
from tests.random.cases import is_cheap, make
from tests.waveforms.traced import currents, kirchhoff_misses, traced
from voltsec.results.measures import Swing
from voltsec.results.table import stressed, voltage
from voltsec.waveforms.traces import PeriodTraces, TracePoints

RAIL = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH { resistance 0.2 ohm }
switch S : a -> gnd { resistance 0.1 ohm }
diode D1 : a -> out { drop 0.5 V }
capacitor Co : out -> gnd = 10 uF { resistance 50 mohm }
load R : out -> gnd = 24 ohm
operate D = 0.55, T = 20 us
"""
"""24 V for the level probe, from the battery."""


def coil(traces: PeriodTraces, name: str) -> TracePoints:
    return traces.points(((("i", name), 1),))


def node(traces: PeriodTraces, name: str) -> TracePoints:
    return traces.points(((("v", name), 1),))


def inner(traces: PeriodTraces, capacitor: str) -> TracePoints:
    return traces.points(((("V", capacitor), 1),))


def test_lossy_step_up_stage_against_its_state_equations() -> None:
    """Written by hand: L i' and C v' with the switch closed and open; scipy integrates them.

    From the state the trace begins with the integration passes every sample and comes back.
    """
    traces = traced(RAIL)
    assert traces is not None
    coil_ohm, switch_ohm, drop, esr, load, volts = 0.2, 0.1, 0.5, 0.05, 24.0, 12.0
    henry, farad, on = 100e-6, 10e-6, 0.55 * 20e-6

    def out(i: float, v: float, closed: bool) -> float:  # the node's voltage, both branches in parallel
        return (v / esr + (0.0 if closed else i)) / (1 / esr + 1 / load)

    def rate(time: float, state: np.ndarray) -> list[float]:
        i, v = state
        closed = time < on
        across = volts - coil_ohm * i - (switch_ohm * i if closed else drop + out(i, v, closed))
        return [across / henry, (out(i, v, closed) - v) / esr / farad]

    i, v, output = coil(traces, "L").values, inner(traces, "Co").values, node(traces, "out").values
    first = traces.interval == 0
    for part, span in ((first, (0.0, on)), (~first, (on, 20e-6))):
        start = np.flatnonzero(part)[0]
        moved = np.clip(traces.time[part], *span)
        found = solve_ivp(
            lambda t, x, part=part: rate(0.0 if part is first else on, x),
            span,
            [i[start], v[start]],
            t_eval=moved,
            rtol=1e-11,
            atol=1e-12,
        )
        assert i[part] == pytest.approx(found.y[0], rel=1e-7)
        assert v[part] == pytest.approx(found.y[1], rel=1e-7)
        told = [out(*state, part is first) for state in found.y.T]
        assert output[part] == pytest.approx(np.array(told), rel=1e-7)
    assert (i[-1], v[-1]) == pytest.approx((i[0], v[0]), rel=1e-9)
    # both sides of the step that the load current makes in the series resistance
    edge = np.flatnonzero(first)[-1]
    assert traces.time[edge] == pytest.approx(on) and traces.time[edge + 1] == pytest.approx(on)
    assert output[edge + 1] - output[edge] == pytest.approx(i[edge] * esr * load / (esr + load), rel=1e-9)


def test_discontinuous_inverting_stage_against_its_state_equations() -> None:
    """The coil rests in the third interval; scipy finds by an event when the diode stops."""
    traces = traced("""source Vg : in -> gnd = 18 V
switch S : in -> a
inductor L : a -> gnd = 15 uH
diode D1 : out -> a
capacitor Co : out -> gnd = 4.7 uF
load R : out -> gnd = 60 ohm
operate D = 0.3, T = 20 us
""")
    assert traces is not None
    i, v, time = coil(traces, "L").values, node(traces, "out").values, traces.time
    assert [sorted(conducting) for *_, conducting in traces.intervals] == [["S"], ["D1"], []]
    on = 0.3 * 20e-6
    peak = 18.0 * on / 15e-6
    assert i.max() == pytest.approx(peak, rel=1e-9)

    def stops(_: float, state: np.ndarray) -> float:
        return float(state[0])

    stops.terminal, stops.direction = True, -1  # type: ignore[attr-defined]
    second = traces.interval == 1
    falling = solve_ivp(
        lambda _, x: [x[1] / 15e-6, (-x[0] - x[1] / 60.0) / 4.7e-6],
        (on, 20e-6),
        [peak, v[second][0]],
        events=stops,
        dense_output=True,
        rtol=1e-11,
        atol=1e-12,
    )
    assert traces.intervals[1][1] == pytest.approx(falling.t_events[0][0], rel=1e-7)
    inside = time[second] < falling.t_events[0][0]
    expected = falling.sol(time[second][inside])
    assert i[second][inside] == pytest.approx(expected[0], abs=1e-7 * peak)
    assert v[second][inside] == pytest.approx(expected[1], rel=1e-7)
    third = traces.interval == 2
    assert np.abs(i[third]).max() == 0.0
    decay = np.exp(-(time[third] - time[third][0]) / (60.0 * 4.7e-6))
    assert v[third] == pytest.approx(v[third][0] * decay, rel=1e-9)


# Published waveforms: (source in the references, netlist, extremes of a coil's current, output's ripple).
# "S" are stored copies, "M" from memory; capacitors are finite here, hence the tolerances.
PUBLISHED = [
    (
        "S13, a step-up stage 5 to 15 V, 0.5 A",
        "source Vg : in -> gnd = 5 V\ninductor L : in -> a = 150 uH\nswitch S : a -> gnd\n"
        "diode D1 : a -> out\ncapacitor Co : out -> gnd = 220 uF\nload R : out -> gnd = 30 ohm\n"
        "operate D = 0.66667, f = 25 kHz\n",
        "L",
        (1.944 - 0.8889, 1.944),
        60.6e-3,
    ),
    (
        "M18, a step-down stage 50 to 20 V",
        "source Vg : in -> gnd = 50 V\nswitch S : in -> a\ndiode D1 : gnd -> a\n"
        "inductor L : a -> out = 400 uH\ncapacitor Co : out -> gnd = 100 uF\nload R : out -> gnd = 20 ohm\n"
        "operate D = 0.4, f = 20 kHz\n",
        "L",
        (0.25, 1.75),
        93.9e-3,
    ),
    (
        "M18, a step-up stage 12 to 30 V",
        "source Vg : in -> gnd = 12 V\ninductor L : in -> a = 120 uH\nswitch S : a -> gnd\n"
        "diode D1 : a -> out\ncapacitor Co : out -> gnd = 48 uF\nload R : out -> gnd = 50 ohm\n"
        "operate D = 0.6, f = 25 kHz\n",
        "L",
        (0.3, 2.7),
        0.306,
    ),
    (
        "M18, flyback 24 to 5 V",
        "source Vg : in -> gnd = 24 V\n"
        "transformer T1 : in -> a, sg -> b = 3 : 1 { magnetizing LM = 500 uH }\n"
        "switch S : a -> gnd\ndiode D1 : b -> out\ncapacitor Co : out -> sg = 200 uF\n"
        "load R : out -> sg = 5 ohm\noperate D = 0.3846, f = 40 kHz\n",
        "LM",
        (0.310, 0.772),
        0.0096 * 5.0,
    ),
]


@pytest.mark.parametrize(("netlist", "name", "extremes", "ripple"), [p[1:] for p in PUBLISHED])
def test_published_waveforms(netlist: str, name: str, extremes: tuple[float, float], ripple: float) -> None:
    traces = traced(netlist)
    assert traces is not None
    current = coil(traces, name).values
    assert (current.min(), current.max()) == pytest.approx(extremes, abs=0.005 * extremes[1])
    output = voltsec.read(netlist).output
    wave = traces.points(voltage(output.start, output.end)).values
    assert wave.max() - wave.min() == pytest.approx(ripple, rel=0.015)


def test_kirchhoffs_laws_hold_at_every_sample_of_random_circuits() -> None:
    """At every node the currents, and the charges of a jump, sum to zero; a period leaves nothing behind.

    No charge stays in a capacitor and no flux in an inductance (balance over a period).
    """
    met = jumping = 0
    for number in range(40):
        case = make(number)
        if not is_cheap(case):
            continue
        traces = traced(case.circuit)
        if traces is None:
            continue
        met += 1
        misses = kirchhoff_misses(traces, case.circuit)
        assert max(misses.values()) < 1e-7, (number, misses)
        measures = traces.measures
        for capacitor in case.circuit.capacitors:
            own = ((("i", capacitor.name), 1),)
            jumping += bool(traces.points(own).impulses)
            size = np.nanmax(np.abs(traces.points(own).values), initial=1e-3)
            charge = measures.average(own)[0]
            assert np.isnan(charge) or abs(charge) < 1e-6 * size, (number, capacitor.name)
        for inductor in case.circuit.inductors:
            flux = measures.average(((("u", inductor.name), 1),))[0]
            size = float(measures.network.scales.volt[0])
            assert np.isnan(flux) or abs(flux) < 1e-6 * size, (number, inductor.name)
    assert met >= 8 and jumping >= 1


@pytest.mark.parametrize("name", ["sepic_lossy", "forward", "qzs_c1", "sync_buck", "zeta_coupled"])
def test_voltages_and_currents_of_every_part_against_the_integration(name: str) -> None:
    """tests/integration/switched.py: mean and swing of everything that is drawn."""
    circuit = voltsec.load(name)
    traces = traced(circuit)
    assert traces is not None
    outside = periodic_averages(circuit, {})
    volts = max(outside.peak_voltages.values())
    amperes = max(outside.peak_currents.values())
    told = currents(circuit)
    for part, current, across, _ in stressed(circuit):
        if part not in told:
            continue
        for terms, means, swings, level in (
            (current, outside.average_currents, outside.current_swings, amperes),
            (across, outside.average_voltages, outside.voltage_swings, volts),
        ):
            points = traces.points(terms)
            assert not np.isnan(points.values).any() and not points.impulses, part
            mean = np.trapezoid(points.values, traces.time) / traces.period
            assert mean == pytest.approx(traces.measures.average(terms)[0], abs=2e-4 * level), part
            assert mean == pytest.approx(means[part], abs=5e-4 * level), part
            swing = points.values.max() - points.values.min()
            assert swing == pytest.approx(traces.measures.value(Swing(terms))[0], abs=1e-4 * level)
            assert swing == pytest.approx(swings[part], abs=5e-3 * level), part


def test_a_charge_that_jumps_is_what_the_capacitor_gains() -> None:
    """The flying capacitor of a super-lift stage is filled at once each period, by C times its step."""
    circuit = voltsec.load("superlift_po")
    traces = traced(circuit)
    assert traces is not None
    held = inner(traces, "C1").values
    (jump,) = traces.points(((("i", "C1"), 1),)).impulses
    assert jump.time == 0.0
    assert jump.amount == pytest.approx(22e-6 * (held[0] - held[-1]), rel=1e-6)
    assert held[0] == pytest.approx(12.0, rel=1e-6)  # to the input's voltage
    (through,) = traces.points(((("i", "D1"), 1),)).impulses
    assert through.amount == pytest.approx(jump.amount, rel=1e-9)
    low, high = traces.measures.extent(((("i", "D1"), 1),))
    assert (low[0], high[0]) == (pytest.approx(0.0, abs=1e-9), np.inf)


SHARING = """source Vg : in -> gnd = 48 V
transformer X1 : n1 -> n2, n3 -> gnd = 1 : 1 { magnetizing 500 uH }
switch S1 : in -> n1
switch S2 : n2 -> gnd
diode D1 : gnd -> n1
diode D2 : n2 -> in
diode D3 : n3 -> n4
diode D4 : gnd -> n4
inductor L1 : n4 -> out = 82 uH
capacitor C1 : out -> gnd = 270 uF
load R : out -> gnd = 3.3 ohm
drive S1 at D
drive S2 with S1
operate D = 0.35, T = 10 us
"""


def test_an_open_share_is_a_band_that_any_leaks_stay_within() -> None:
    """Once the core is reset nothing fixes how the switches share the input voltage; leaks do."""
    traces = traced(SHARING)
    assert traces is not None
    across = voltage("in", "n1")
    points = traces.points(across)
    open_ = np.isnan(points.values)
    assert set(traces.interval[open_]) == {2} and (traces.interval[~open_] != 2).all()
    assert points.low[open_] == pytest.approx(0.0, abs=1e-6)
    assert points.high[open_] == pytest.approx(48.0, rel=1e-6)
    assert np.array_equal(points.low[~open_], points.values[~open_])
    for first, second in ((1e6, 1e8), (3e7, 2e6), (1e7, 1e7)):
        leaking = traced(
            f"{SHARING}resistor Ra : in -> n1 = {first} ohm\nresistor Rb : n2 -> gnd = {second} ohm\n"
        )
        assert leaking is not None
        wave = leaking.points(across).values
        resting = wave[leaking.time > 0.75 * leaking.period]
        assert (resting > -0.05).all() and (resting < 48.05).all()


def test_what_signs_leave_no_choice_in_is_drawn() -> None:
    """A diode in series with an open switch takes none of the voltage: the switch has all, mean and all."""
    traces = traced("""source Vg : in -> gnd = 12 V
switch S : in -> x
diode Ds : x -> a
diode D1 : gnd -> a
inductor L : a -> out = 1 mH
capacitor Co : out -> gnd = 1 mF
load R : out -> gnd = 10 ohm
operate D = 0.4, T = 10 us
""")
    assert traces is not None
    points = traces.points(voltage("in", "x"))
    blocking = traces.interval == 1
    assert points.values[blocking] == pytest.approx(12.0, rel=1e-6)
    assert traces.measures.average(voltage("in", "x"))[0] == pytest.approx(0.6 * 12.0, rel=1e-6)


def test_the_charge_that_two_switches_beside_each_other_share_is_open() -> None:
    """Together they carry what one alone would; how much each takes hangs on their resistances."""
    text = voltsec.load("superlift_po").text
    line = next(one for one in text.splitlines() if one.startswith("switch"))
    twice = text.replace(line, f"{line}\nswitch S2 : a -> gnd\ndrive S at D\ndrive S2 with S")
    one, two = traced(text), traced(twice)
    assert one is not None and two is not None
    (alone,) = one.points(((("i", "S"), 1),)).impulses
    for name in ("S", "S2"):
        (shared,) = two.points(((("i", name), 1),)).impulses
        assert np.isnan(shared.amount)
        assert np.isnan(two.measures.average(((("i", name), 1),))[0])
    both = two.points(((("i", "S"), 1), (("i", "S2"), 1)))
    assert both.impulses[0].amount == pytest.approx(alone.amount, rel=1e-9)
    assert both.values[two.interval == 0] == pytest.approx(
        one.points(((("i", "S"), 1),)).values[one.interval == 0]
    )
