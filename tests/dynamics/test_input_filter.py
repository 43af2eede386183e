"""The input filter's criterion against formulas of ladder networks and of constant power."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from voltsec.dynamics.chosen_mode import NotTold
from voltsec.dynamics.input_filter import input_filter, interaction
from voltsec.periodic.points import operating_point
from voltsec.practice.dynamics import told_of

STAGE = """source Vg : in -> gnd = 12 V
{filter}
switch S : m -> a
diode D1 : gnd -> a
inductor L : a -> out = 47 uH
capacitor Co : out -> gnd = 47 uF
load R : out -> gnd = 5 ohm
operate D = 0.417, f = 200 kHz
"""
PLAIN = "inductor Lf : in -> m = 22 uH\ncapacitor Cf : m -> gnd = 22 uF"
DAMPED = PLAIN + "\nresistor Rd : m -> d = 1 ohm\ncapacitor Cd : d -> gnd = 100 uF"


def circuit(parts: str) -> voltsec.Circuit:
    return voltsec.read(STAGE.format(filter=parts))


@pytest.mark.parametrize(
    ("text", "node", "parts"),
    [
        (STAGE.format(filter=PLAIN), "m", ("Lf", "Cf")),
        (STAGE.format(filter=DAMPED), "m", ("Lf", "Cf", "Rd", "Cd")),
        (
            STAGE.format(
                filter=PLAIN.replace("m", "k") + "\ninductor L2 : k -> m = 10 uH\n"
                "capacitor C2 : m -> gnd = 10 uF"
            ),
            "m",
            ("Lf", "Cf", "L2", "C2"),
        ),
    ],
)
def test_what_the_filter_is(text: str, node: str, parts: tuple[str, ...]) -> None:
    found = input_filter(voltsec.read(text))
    assert found is not None and (found.node, found.names) == (node, parts)


@pytest.mark.parametrize("name", ["buck", "boost", "sepic", "cuk", "flyback", "bridge", "charger_lossy"])
def test_stages_without_one(name: str) -> None:
    assert input_filter(voltsec.load(name)) is None


def test_a_step_up_stage_behind_a_filter_keeps_its_own_coil() -> None:
    text = (
        "source Vg : in -> gnd = 12 V\ninductor Lf : in -> m = 4.7 uH\ncapacitor Cf : m -> gnd = 22 uF\n"
        "inductor L : m -> a = 47 uH\nswitch S : a -> gnd\ndiode D1 : a -> out\n"
        "capacitor Co : out -> gnd = 47 uF\nload R : out -> gnd = 20 ohm\noperate D = 0.5, f = 200 kHz\n"
    )
    found = input_filter(voltsec.read(text))
    assert found is not None and found.node == "m" and found.names == ("Lf", "Cf")


def test_impedances() -> None:
    """Lf and Cf and the branch in parallel; the stage -R/D**2 at low frequencies while its output is held."""
    one = circuit(DAMPED)
    point = operating_point(one)
    assert point is not None
    found = interaction(one, point)
    s = 2j * np.pi * found.hertz
    wanted = 1 / (1 / (s * 22e-6) + s * 22e-6 + 1 / (1 + 1 / (s * 100e-6)))
    assert np.abs(found.source / wanted - 1).max() < 1e-9
    assert found.regulated[0].real == pytest.approx(-5 / 0.417**2, rel=2e-3)
    low = 5 / 0.417**2
    held = (s * 47e-6 + 1 / (s * 47e-6 + 1 / 5)) / 0.417**2
    slow = found.hertz < 5e3
    assert np.abs(found.held / held - 1)[slow].max() < 0.01
    assert abs(found.held[0]) < low


def test_damping_gives_the_margin_it_says() -> None:
    plain = circuit(PLAIN)
    point = operating_point(plain)
    assert point is not None
    found = interaction(plain, point)
    assert found.worst[0] < 0 and found.damping is not None
    branch = (
        f"\nresistor Rd : m -> d = {found.damping.resistance!r} ohm"
        f"\ncapacitor Cd : d -> gnd = {found.damping.capacitance!r} F"
    )
    damped = circuit(PLAIN + branch)
    there = operating_point(damped)
    assert there is not None
    told = interaction(damped, there)
    assert told.worst[0] == pytest.approx(found.damping.margin, abs=0.1) and told.worst[0] > 5.9
    assert told.damping is None or told.worst[0] < 6


STRAIGHT = """source Vg : in -> gnd = 12 V
inductor Lf : in -> m = 10 uH
capacitor Cf : m -> gnd = 10 uF
switch S1 : m -> a
switch S2 : a -> gnd
capacitor C1 : a -> b = 1 uF
diode D1 : m -> b
load R : m -> gnd = 10 ohm
drive S1 at D
drive S2 against S1
operate D = 0.4, T = 10 us
"""


def test_a_duty_that_moves_nothing_is_told() -> None:
    """The load hangs at the filter itself: by Kirchhoff's laws the switched capacitor changes no mean."""
    one = voltsec.read(STRAIGHT)
    point = operating_point(one)
    assert point is not None
    with pytest.raises(NotTold, match="does not move the output"):
        interaction(one, point)
    found = told_of(voltsec.solve(one), {})
    assert found.interaction is None
    duty = found.model.response("duty")
    assert duty is not None and duty.averaged is not None and duty.averaged.zero
    exact = found.model.exact(duty.link, np.array([1e3, 1e4]))
    assert exact is not None and not exact.any()
    assert not any("off by" in note or "is zero" in note for note in found.model.notes)
