"""A switch held on or off.

The expectations are reasoned from the diagrams (common practice, no source): a coil is a wire and a
capacitor a gap for direct current, a diode lets it through along its arrow.
"""

from __future__ import annotations

import pytest
from sympy import Symbol, simplify

import voltsec
from tests.report.test_held import lines_of
from voltsec.circuit.fault import CircuitError
from voltsec.command.netlists import shipped_circuits
from voltsec.held.held import held_state
from voltsec.held.state import HeldState

Vg, n = Symbol("Vg", positive=True), Symbol("n", positive=True)

SINGLE = [name for name in shipped_circuits() if len(voltsec.load(name).switches) == 1]

PASSING_OFF = {
    "boost", "boost_2x", "boost_current_load", "boost_flyback", "boost_mult1", "boost_sepic",
    "modified_sepic", "quad_boost", "quad_boost_lowC", "qzs_boost", "qzs_c1", "sl_boost", "superlift_po",
    "tap_boost_switchtap", "boost_two_sources", "boost_lossy", "boost_mult1_lossy", "quad_boost_lossy",
}  # fmt: skip
"""With the switch open a way through coils and diodes leads from the source to the output."""

PASSING_ON = {
    "buck", "buck_current_load", "buck_input_filter", "buck_lossy", "charger_lossy", "quad_buck",
    "tap_buck_diodetap", "tap_buck_switchtap", "watkins_johnson", "superlift_po", "luo_selflift_po",
}  # fmt: skip
"""With the switch closed it is itself in the way, or diodes lead past it."""

LIFTED_BY_LOSSES = {"boost_lossy", "boost_mult1_lossy", "quad_boost_lossy"}
"""Closed, the short's current lifts the switch node above the diodes' drops: a little gets through."""

NO_SHORT = PASSING_ON - {"superlift_po", "luo_selflift_po", "charger_lossy"}
"""Closed, the coil is in series with the load: nothing is shorted."""


def state(name: str, **held: str) -> HeldState:
    return held_state(voltsec.load(name), held)


@pytest.mark.parametrize("name", SINGLE)
def test_held_off(name: str) -> None:
    found = held_state(voltsec.load(name), {voltsec.load(name).switches[0].name: "off"})
    assert found.kind == "direct"
    assert found.shorts == () and found.runaway == ()
    assert found.output is not None and found.output.value is not None
    assert found.reaches is (name in PASSING_OFF)
    if found.reaches:
        assert found.path[0] == found.circuit.input.name
        assert found.output.value > 0
    elif name != "charger_lossy":  # its output is the battery's
        assert found.output.formula == 0


@pytest.mark.parametrize("name", SINGLE)
def test_held_on(name: str) -> None:
    circuit = voltsec.load(name)
    found = held_state(circuit, {circuit.switches[0].name: "on"})
    assert found.kind == "direct"
    assert bool(found.shorts) is (name not in NO_SHORT)
    for short in found.shorts:
        limited = all(element.resistance for element in circuit.inductors)
        assert (short.current is not None) is bool(limited and circuit.inductors)
    if name == "forward":  # the transformer passes the voltage while its magnetizing current still rises
        assert found.reaches and simplify(found.output.formula - n * Vg) == 0
    elif name == "qzs_c1":  # the load hangs between two coils whose currents rise without limit
        assert found.reaches is None
    else:
        assert found.reaches is (name in PASSING_ON | LIFTED_BY_LOSSES)


@pytest.mark.parametrize("name", SINGLE)
@pytest.mark.parametrize("word", ["on", "off"])
def test_kirchhoff_holds_round_the_path(name: str, word: str) -> None:
    """The path's elements join one another, from the source through the load and back."""
    circuit = voltsec.load(name)
    found = held_state(circuit, {circuit.switches[0].name: word})
    if found.path:
        nodes: list[set[str]] = []
        for part in found.path:
            element, _, winding = part.partition(".")
            whole = circuit.element(element)
            nodes.append(set(whole.windings[int(winding) - 1] if winding else whole.nodes))
        assert all(one & other for one, other in zip(nodes, nodes[1:] + nodes[:1], strict=True))
        assert circuit.output.element in found.path


def test_step_up_off() -> None:
    found = state("boost", S="off")
    assert found.path == ("Vg", "L", "D1", "R")
    assert found.output.formula == Vg
    assert found.conducting == ("D1",)
    assert found.blocking["S"].formula == Vg


def test_step_up_on() -> None:
    found = state("boost", S="on")
    (short,) = found.shorts
    assert (short.loop, short.coils, short.current) == (("Vg", "L", "S"), ("L",), None)
    assert found.runaway == ("L",)
    assert found.reaches is False and found.output.formula == 0


def test_step_up_off_with_losses() -> None:
    found = state("boost_lossy", S="off")
    symbols = {name: Symbol(name, positive=True) for name in ("R", "R_D1", "R_L", "V_D1")}
    R, rd, rl, drop = symbols.values()
    assert simplify(found.output.formula - R * (Vg - drop) / (R + rd + rl)) == 0
    assert [str(part) for part in found.holds_when] == ["Vg > V_D1"]


def test_resistances_limit_the_short() -> None:
    found = state("sepic_lossy", S="on")
    (short,) = found.shorts
    assert short.current is not None
    assert short.current.value == pytest.approx(18 / 0.09)
    assert found.runaway == ()


def test_step_down() -> None:
    off, on = state("buck", S="off"), state("buck", S="on")
    assert off.output.formula == 0 and off.blocking["S"].formula == Vg
    assert on.output.formula == Vg and on.shorts == () and on.blocking["D1"].formula == Vg


def test_a_capacitor_in_the_way_is_named() -> None:
    found = state("sepic", S="off")
    assert found.blocking_capacitors == ("C1",)
    assert found.capacitor_voltages["C1"].formula == Vg
    text = " ".join(" ".join(lines_of(found)).split())
    assert "C1 blocks direct current" in text and "no safety isolation" in text
    assert state("boost", S="off").blocking_capacitors == ()


def test_a_transformer_is_named_as_separation() -> None:
    found = state("flyback", S="off")
    assert found.separating_windings == ("T",)
    assert "insulation is not judged" in " ".join(" ".join(lines_of(found)).split())
    assert state("tap_boost_switchtap", S="off").separating_windings == ()


def test_a_transformer_without_magnetizing_inductance_passes_no_direct_current() -> None:
    text = """source Vg : in -> gnd = 12 V
    transformer T : in -> a, s -> sgnd = 1 : 2
    switch S : a -> gnd
    diode D1 : s -> out
    capacitor Co : out -> sgnd = 10 uF
    load R : out -> sgnd = 12 ohm
    ground gnd, sgnd"""
    found = held_state(voltsec.read(text), {"S": "on"})
    assert found.shorts[0].loop == ("Vg", "T.1", "S")


def test_two_switches_held() -> None:
    found = state("buckboost_two_switch", S1="on", S2="off")
    assert found.kind == "direct" and found.path == ("Vg", "S1", "L", "DB", "R")


def test_the_others_keep_switching() -> None:
    found = state("buckboost_two_switch", S2="off")
    assert found.kind == "periodic" and found.reaches
    assert found.solution.gain == Symbol("D", positive=True)
    assert state("buckboost_two_switch", S1="off").reaches is False


def test_a_follower_does_not_stick() -> None:
    """S2 is driven with S1, and goes on when S1 sticks."""
    found = state("buckboost_two_switch", S1="on")
    assert simplify(found.output.formula - Vg / (1 - Symbol("D", positive=True))) == 0


def test_switches_alone_short_the_source() -> None:
    found = state("sync_buck", S1="on")
    assert found.kind == "none"
    assert found.shorts[0].loop == ("Vg", "S1", "S2") and found.shorts[0].coils == ()


def test_a_coil_that_is_cut_off() -> None:
    found = state("sync_buck", S2="off")
    assert found.kind == "none"
    assert "current of L has no path" in found.reason and found.runaway == ()


def test_a_short_while_others_switch() -> None:
    found = state("boost_then_buck", S1="on")
    assert found.kind == "none"
    assert found.shorts[0].loop == ("Vg", "L1", "S1")


@pytest.mark.parametrize(
    ("held", "kind", "hint"),
    [
        ({"s": "off"}, "unknown-name", "'S'"),
        ({"Q7": "off"}, "unknown-name", "switches: S"),
        ({"D1": "off"}, "wrong-kind", "switches: S"),
        ({"S": "open"}, "unknown-drive", "S=off"),
        ({"S": "closed"}, "unknown-drive", "S=on"),
        ({"S": "0"}, "unknown-drive", "S=on or S=off"),
        ({"S": "OFF"}, "unknown-drive", "S=off"),
    ],
)
def test_bad_input(held: dict[str, str], kind: str, hint: str) -> None:
    with pytest.raises(CircuitError) as raised:
        held_state(voltsec.load("sepic"), held)
    (fault,) = raised.value.faults
    assert fault.kind == kind
    assert hint in fault.hint


def test_every_fault_is_told() -> None:
    with pytest.raises(CircuitError) as raised:
        held_state(voltsec.load("sepic"), {"Q": "off", "S": "ajar"})
    assert len(raised.value.faults) == 2
