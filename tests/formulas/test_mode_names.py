"""What modes are called: by whether the inductors conduct throughout, and by what stops."""

from __future__ import annotations

import pytest

import voltsec
from voltsec.formulas.mode_names import Conduction, name_modes

SHELF = {
    # common practice, no source: what the trade calls these
    "buck": ["CCM", "DCM: L stops"],
    "sepic": ["CCM", "DCM: D1 stops"],
    "sepic_coupled": ["CCM", "DCM: D1 stops"],
    "cuk": ["CCM", "DCM: D1 stops"],
    "flyback": ["CCM", "DCM: LM stops"],
    "boost_flyback": ["CCM", "DCM: LM stops"],
    "tap_boost_switchtap": ["CCM", "DCM: LM stops"],
    "watkins_johnson": ["CCM", "DCM: LM stops"],
    "iso_sepic": ["CCM", "DCM: D1 stops"],
    "buck_input_filter": ["CCM", "DCM: L stops"],
    "forward": ["CCM, LM resets", "DCM: L stops, then LM resets", "DCM: LM resets, then L stops"],
    "sync_buck": ["CCM"],
    "quad_boost": [
        "CCM",
        "DCM: L2 stops",
        "DCM: L2 stops first, then L1",
        "DCM: L1 stops first, then L2",
        "DCM: L1 stops",
    ],
    "sepic_lossy": ["CCM", "DCM: D1 stops"],
}


@pytest.mark.parametrize("name", SHELF)
def test_labels_of_the_shelf(name: str) -> None:
    modes = voltsec.solve(voltsec.load(name)).modes
    assert modes[0].label == SHELF[name][0]
    assert sorted(mode.label for mode in modes) == sorted(SHELF[name])
    kinds = [mode.name.split()[0] for mode in modes]
    assert kinds == sorted(kinds)  # continuous conduction first
    assert len({mode.name for mode in modes}) == len(modes)


def test_the_gain_is_that_of_the_usual_mode() -> None:
    """The forward stage in continuous conduction: n*D (common practice, no source)."""
    answer = voltsec.solve(voltsec.load("forward"))
    assert str(answer.gain) == "D*n"
    assert answer.numbers is not None and answer.numbers.mode == answer.modes[0].name == "CCM"


def test_a_diode_that_stops_leaves_continuous_conduction() -> None:
    """All inductors of these conduct on while a diode takes turns: continuous, whatever ends an interval."""
    labels = [mode.label for mode in voltsec.solve(voltsec.load("sl_boost")).modes]
    assert labels[:3] == ["CCM", "CCM, D2 stops", "CCM, D1 stops"]


LEAKAGE = """
parameter n = 1.5
source Vg : in -> gnd = 12 V
inductor Llk : in -> p = 1 uH
transformer T : p -> a, sg -> b = 1 : n { magnetizing LM = 60 uH }
switch S : a -> gnd
diode Dc : a -> cl
capacitor Cc : cl -> in = 1 uF
resistor Rc : cl -> in = 1 kohm
diode D1 : b -> out
capacitor Co : out -> sg = 100 uF
load R : out -> sg = 20 ohm
operate D = 0.4, f = 100 kHz
"""

FILTERED = """
parameter n = 1.5
source Vg : in0 -> gnd = 12 V
inductor Lf : in0 -> in = 10 uH
capacitor Cf : in -> gnd = 47 uF
transformer T : in -> a, sg -> b = 1 : n { magnetizing LM = 60 uH }
switch S : a -> gnd
diode D1 : b -> out
capacitor Co : out -> sg = 100 uF
load R : out -> sg = 20 ohm
operate D = 0.4, f = 100 kHz
"""

COUPLED = """
source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 60 uH
inductor L2 : gnd -> b = 60 uH
couple L1, L2 = 0.98
switch S : a -> gnd
diode Dc : a -> cl
capacitor Cc : cl -> in = 100 nF
resistor Rc : cl -> in = 2 kohm
diode D1 : b -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 20 ohm
operate D = 0.4, f = 100 kHz
"""


def test_a_clamp_that_runs_dry_is_continuous_conduction() -> None:
    """Each winding of a flyback idles half of the period; the flux rests in discontinuous conduction only."""
    for text in (LEAKAGE, COUPLED):
        answer = voltsec.solve(voltsec.read(text))
        assert answer.numbers is not None and answer.numbers.mode.startswith("CCM")
        resting = [mode for mode in answer.modes if mode.intervals[-1].conducting == ()]
        assert resting and all(mode.name.startswith("DCM") for mode in resting)
        rest = [mode for mode in answer.modes if mode not in resting]
        assert all(mode.name.startswith("CCM") for mode in rest)
    assert "Llk" in answer.modes[0].label or "D" in answer.modes[0].label


def test_a_filter_does_not_make_a_flyback_continuous() -> None:
    """The input filter's coil goes on, but what the output lives on rests (common practice, no source)."""
    assert [m.label for m in voltsec.solve(voltsec.read(FILTERED)).modes] == ["CCM", "DCM: LM stops"]


def test_numbers_and_labels() -> None:
    told = [
        Conduction("CCM", ""),
        Conduction("DCM", "L2 stops"),
        Conduction("CCM", "", ("D1 conducts throughout",)),
        Conduction("DCM", "L1 stops"),
    ]
    assert [(one.name, one.label) for one in name_modes(told)] == [
        ("CCM", "CCM"),
        ("DCM", "DCM: L2 stops"),
        ("CCM 2", "CCM, D1 conducts throughout"),
        ("DCM 2", "DCM: L1 stops"),
    ]


def test_labels_tell_modes_apart() -> None:
    """The same coil may stop while different diodes conduct: then the label says which."""
    details = ("D2 stops, then D1", "with D1 D2, then D1, then no diode")
    told = [
        Conduction("DCM", "L stops"),
        Conduction("DCM", "L stops", details),
        Conduction("DCM", "L stops", (details[0], "with D1, then no diode")),
        Conduction("DCM", "L stops", details[:1]),
    ]
    assert [one.label for one in name_modes(told)] == [
        "DCM: L stops",
        "DCM: D2 stops, then D1, L stops",
        "DCM: with D1, then no diode, L stops",
        "DCM: D2 stops, then D1, L stops (2)",
    ]
