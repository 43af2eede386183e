"""Stages side by side against textbook relations; one table read by text, JSON and Python alike."""

from __future__ import annotations

from functools import cache

import pytest
import sympy

import voltsec
from voltsec.practice.asked import BadValues
from voltsec.practice.design.comparison import Comparison, read_task
from voltsec.practice.design.equipped import SameParts, equipped, ideal, read_parts, same_structure
from voltsec.practice.design.judged import CRITERIA, MEASURES
from voltsec.report.comparison_text import comparison_lines, value_text
from voltsec.report.design_machine import comparison_json
from voltsec.tableau.expression import symbol

TASK = "Vin=8:16, Vout=24, Iout=0.5, f=100k"
TINY = SameParts(1e-6, 1e-6, 1e-6, 1e-6, 1e-6)
"""Parts so good that textbook relations of ideal stages hold."""


@cache
def compared() -> Comparison:
    names = ("boost", "buckboost", "buck")
    return voltsec.compare({name: voltsec.load(name) for name in names}, TASK, "stress", TINY)


def test_gain_duty_and_stress_of_textbook_stages() -> None:
    """Boost: 1/(1 - D), the switch takes V; buck-boost: -D/(1 - D), it takes Vin + V (M1, from memory).

    Duties over 8 to 16 V for 24 V: 1 - Vin/V, V/(V + Vin).
    """
    duty = symbol("D")
    boost, other = compared()["boost"].values, compared()["buckboost"].values
    assert sympy.simplify(boost["gain"] - 1 / (1 - duty)) == 0
    assert sympy.simplify(other["gain"] + duty / (1 - duty)) == 0
    assert (boost["duty_least"], boost["duty_largest"]) == pytest.approx((1 / 3, 2 / 3), rel=5e-3)
    assert (other["duty_least"], other["duty_largest"]) == pytest.approx((24 / 40, 24 / 32), rel=5e-3)
    assert boost["switch_voltage"] == pytest.approx(24, rel=0.01)  # and half the output's ripple
    assert other["switch_voltage"] == pytest.approx(40, rel=0.01)
    # coil current Io/(1 - D), 30 % ripple: rms of the switch I sqrt(D (1 + r^2/12))
    assert boost["switch_current"] == pytest.approx(1.5 * (2 / 3 * (1 + 0.09 / 12)) ** 0.5, rel=0.01)
    assert boost["utilisation"] == pytest.approx(12 / (24 * 1.2296), rel=0.02)
    assert (boost["polarity"], other["polarity"]) == ("same as the input", "inverting")
    assert (boost["input"], boost["output"]) == ("continuous", "pulsating")
    assert (other["input"], other["output"]) == ("pulsating", "pulsating")
    # one zero in the right half plane each, two poles (M1, from memory)
    assert [(one["order"], one["right_zeros"]) for one in (boost, other)] == [(2, 1), (2, 1)]
    assert (boost["held_off"], other["held_off"]) == ("input feeds the output", "output off")


def test_what_cannot_do_the_job_says_why() -> None:
    found = compared()
    assert [one.name for one in found.judged] == ["boost", "buckboost", "buck"]
    assert "no duty gives 24 V" in found["buck"].why_not
    assert found["buck"].values["gain"] == symbol("D")


def test_losses_with_the_same_parts() -> None:
    """To first order the losses are those of the ideal stage's currents (M1, from memory)."""
    parts = SameParts(switch=1e-3, diode=1e-6, drop=1e-6, coil=1e-6, capacitor=1e-6)
    found = voltsec.compare({"boost": voltsec.load("boost")}, TASK, parts=parts)["boost"].values
    current = compared()["boost"].values["switch_current"]
    assert isinstance(current, float)
    assert found["losses"] == pytest.approx(1e-3 * current**2, rel=0.02)


def test_one_table_for_text_json_and_python() -> None:
    found = compared()
    machine = comparison_json(found)
    assert [row["key"] for row in machine["measures"]] == [one.key for one in MEASURES]
    text = "\n".join(comparison_lines(found, 80))
    assert all(len(line) <= 80 for line in text.splitlines())
    able = [one for one in found.judged if not one.why_not]
    for stage, told in zip(found.judged, machine["circuits"], strict=True):
        assert told["name"] == stage.name and set(told["values"]) == set(stage.values)
    for one in MEASURES:
        assert one.label in text, one.label
        for stage in able:
            value = stage.values[one.key]
            if isinstance(value, float):
                assert value_text(one, value) in text
    assert {"losses", "stress", "utilisation"} <= set(CRITERIA)


def test_without_a_task_structure_and_formulas() -> None:
    found = voltsec.compare([voltsec.load("sepic"), voltsec.load("flyback")])
    assert found["flyback"].values["separation"] == "galvanic, by T"
    assert found["sepic"].values["separation"] == "direct current, by C1"
    assert found["sepic"].values["order"] == 4  # two coils, two capacitors (M1, from memory)
    assert "switch_voltage" not in found["sepic"].values


def test_stages_wear_the_same_parts() -> None:
    lossy, plain = voltsec.load("sepic_lossy"), voltsec.load("sepic")
    assert same_structure(ideal(lossy), ideal(plain))
    assert not same_structure(ideal(plain), ideal(voltsec.load("zeta")))
    worn = equipped(ideal(lossy), read_parts("switch=20mohm, drop=0.4V"))
    assert worn.device("S").resistance is not None and float(worn.device("S").resistance.value or 0) == 0.02
    assert worn.device("D1").drop is not None and float(worn.device("D1").drop.value or 0) == 0.4
    assert len({q.symbol for q in worn.quantities}) == len(worn.quantities)


@pytest.mark.parametrize(
    "wanted, by, words",
    [
        ("Vin=8:16, Vout=24", "beauty", "no criterion 'beauty'"),
        ("", "losses", "needs a task"),
        ("Vin=16:8, Vout=24", "", "write Vin=8:16"),
        ("Vin=8:16, ripple(L1)=30%", "", "ripple(coils)"),
        ("Vin=8:16, ripple(coils)=3V", "", "is in A"),
        ("Vin=8:16, ripple(out)=1%, ripple(out)=2%", "", "given twice"),
    ],
)
def test_bad_tasks(wanted: str, by: str, words: str) -> None:
    circuits = {name: voltsec.load(name) for name in ("boost", "sepic")}
    with pytest.raises(BadValues) as problem:
        voltsec.compare(circuits, wanted, by)
    assert words in str(problem.value)


def test_ripples_of_the_task() -> None:
    rest, limits = read_task("Vin=8:16, ripple(coils)=40%, ripple(out)=50mV, Vout=24")
    assert rest == "Vin=8:16, Vout=24"
    assert (limits["coils"].amount, limits["coils"].relative) == (0.4, True)
    assert (limits["out"].amount, limits["out"].relative) == (pytest.approx(0.05), False)


@pytest.mark.parametrize(
    "text, words", [("switch", "NAME=VALUE"), ("swich=1ohm", "switch"), ("drop=2ohm", "in V")]
)
def test_bad_parts(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read_parts(text)
