"""Bounds of voltages that nothing fixes."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec

from .found import exact

TWO_SWITCH_FORWARD = """source Vg : in -> gnd = 48 V
transformer X1 : n1 -> n2, n3 -> gnd = 1 : 3
switch S1 : in -> n1
switch S2 : n2 -> gnd
diode D1 : gnd -> n1
diode D2 : n2 -> in
diode D3 : n3 -> n4
diode D4 : gnd -> n4
inductor L1 : n4 -> n5 = 820 nH
capacitor C1 : n5 -> gnd = 270 uF
load R : n5 -> gnd = 3.3 ohm
drive S1 at D
drive S2 with S1
operate D = 0.5, T = 3.3 us
"""


def test_two_switch_forward_blocks_the_input_voltage() -> None:
    """Clamped by the diodes, each switch blocks the input voltage at most, the winding too.

    Erickson and Maksimović, Fundamentals of Power Electronics, section 6.3.2, from memory.
    """
    found = exact(TWO_SWITCH_FORWARD)
    for part in ("S1", "S2", "X1.1"):
        assert found.values[f"stress.{part}.voltage_peak"][0] == pytest.approx(48.0, rel=1e-9)
    assert found.bounds["stress.S1.voltage_peak"][0]
    # the winding has this voltage for certain while the switches conduct
    assert not found.bounds["stress.X1.1.voltage_peak"][0]


def test_shares_by_resistances_stay_within_the_bounds() -> None:
    """The same stage with any leaks written out: no peak is above the bound, and some leaks come near it."""
    bound = exact(TWO_SWITCH_FORWARD).values
    nearest = dict.fromkeys(("S1", "S2", "D1", "D2", "D3"), 0.0)
    generator = np.random.default_rng(3)
    for _ in range(40):
        ohms = 10.0 ** generator.uniform(5, 10, 4)
        leaks = "".join(
            f"resistor Rl{k} : {ends} = {ohm:.6g} ohm\n"
            for k, (ends, ohm) in enumerate(
                zip(("in -> n1", "n2 -> gnd", "gnd -> n1", "n2 -> in"), ohms, strict=True)
            )
        )
        text = TWO_SWITCH_FORWARD.replace("drive S1", f"{leaks}drive S1", 1)
        found = exact(text)
        assert found.found[0]
        for part in nearest:
            peak = float(found.values[f"stress.{part}.voltage_peak"][0])
            most = float(bound[f"stress.{part}.voltage_peak"][0])
            assert peak <= most * (1 + 1e-3), (part, ohms)
            nearest[part] = max(nearest[part], peak / most)
    assert nearest["S1"] > 0.9 and nearest["S2"] > 0.9


def test_a_diode_in_series_with_an_open_switch_has_a_bound() -> None:
    """The diode cannot take any of it without conducting: the switch has all for certain."""
    found = exact(
        """source Vg : in -> gnd = 12 V
switch S : in -> x
diode Ds : x -> a
diode D1 : gnd -> a
inductor L : a -> out = 1 mH
capacitor Co : out -> gnd = 1 mF
load R : out -> gnd = 10 ohm
operate D = 0.4, T = 10 us
"""
    )
    assert found.values["stress.S.voltage_peak"][0] == pytest.approx(12.0, rel=1e-6)
    assert found.values["stress.Ds.voltage_peak"][0] == pytest.approx(0.0, abs=1e-6)
    assert not found.bounds["stress.S.voltage_peak"][0]


DIODES_IN_SERIES = """source Vg : in -> gnd = 18 V
inductor L1 : in -> a = 18 uH { resistance 150 mohm }
switch S : a -> gnd { resistance 7 mohm }
diode D1 : a -> b { drop 0.4 V }
diode D2 : b -> out { drop 0.5 V }
capacitor Co : out -> gnd = 18 uF { resistance 56 mohm }
load R : out -> gnd = 27 ohm
operate D = 0.5, T = 4.7 us
"""


def test_a_share_open_at_some_points_of_a_sweep_leaves_the_output_alone() -> None:
    """Two diodes in series are one diode with both drops (Kirchhoff's voltage law)."""
    one = "".join(line for line in DIODES_IN_SERIES.splitlines(True) if "D2" not in line)
    one = one.replace("a -> b { drop 0.4 V }", "a -> out { drop 0.9 V }")
    points = {"D": np.linspace(0.2, 0.8, 9), "R": np.geomspace(5, 2000, 9)}
    gains = [
        voltsec.solve(voltsec.read(text)).sweep(("gain",), **points).gain for text in (DIODES_IN_SERIES, one)
    ]
    assert np.isfinite(gains[1]).all()
    assert gains[0] == pytest.approx(gains[1], rel=1e-9)


RESONANT_INPUT = """converter "isolated sensor rail behind a small input filter"
source Vg : in -> gnd = 24 V
inductor L2 : in -> n6 = 1.2 uH
capacitor C2 : n6 -> gnd = 220 nF
transformer X1 : n1 -> n2, n3 -> gnd = 1 : 1 { magnetizing 5.6 mH }
switch S1 : n6 -> n1
switch S2 : n2 -> gnd
diode D1 : gnd -> n1
diode D2 : n2 -> n6
diode D3 : n3 -> n4
diode D4 : gnd -> n4
inductor L1 : n4 -> n5 = 8.2 uH
capacitor C1 : n5 -> gnd = 6.8 uF
load R : n5 -> gnd = 56 ohm
drive S1 at D
drive S2 with S1
operate D = 0.5, T = 2.7 us
"""


def test_a_diode_without_voltage_beside_one_that_conducts_may_take_a_share() -> None:
    """While the filter's capacitor stands at 0 V the winding is shorted, by either switch with either diode.

    D3 and D4 may then both carry the inductor's current, and nothing says in which parts; all of it passes
    one or the other.
    """
    found = exact(RESONANT_INPUT)
    mean = {
        name: found.values[f"stress.{name}.current_average"][0] for name in ("D3", "D4", "S1", "S2", "L1")
    }
    assert found.found[0] and mean["L1"] == pytest.approx(23.2744 / 56, rel=1e-4)
    assert np.isnan([mean[name] for name in ("D3", "D4", "S1", "S2")]).all()
    assert found.bounds["stress.D4.current_peak"][0]
