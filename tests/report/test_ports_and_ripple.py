"""What source and load see, and the warning of ripple, in every view."""

from __future__ import annotations

import io

import pytest

import voltsec
from voltsec.report.document import document
from voltsec.report.latex import latex_fragment
from voltsec.report.machine import as_json
from voltsec.report.notebook import html
from voltsec.report.quantity import engineering
from voltsec.report.terminal import show

TOO_SMALL = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 600 nF { resistance rc = 50 mohm }
load R : out -> gnd = 20 ohm
operate D = 0.5, T = 10 us
"""


def views(answer: voltsec.Solution) -> dict[str, str]:
    stream = io.StringIO()
    show(answer, stream, full=True)
    found = {"terminal": stream.getvalue(), "latex": latex_fragment(answer), "notebook": html(answer)}
    return found | {suffix: document(answer, suffix) for suffix in (".md", ".tex", ".html")}


@pytest.fixture(scope="module")
def warned() -> voltsec.Solution:
    return voltsec.solve(voltsec.read(TOO_SMALL))


def test_every_view_tells_of_ports_and_ripple(warned: voltsec.Solution) -> None:
    """The numbers are the exact ones; a note names what the formulas give instead, as a table does."""
    told = as_json(warned)["numbers"]
    ripple = told["output_ripple"]
    assert told["output_voltage"] == told["exact"]["output_voltage"]
    for name, text in views(warned).items():
        joined = " ".join(text.split())
        assert "continuous, ripple" in joined and "pulsating, share of T" in joined, name
        assert "Output ripple" in joined, name
        assert "ripple is not small" in joined and "formulas neglect it" in joined, name
        assert f"{engineering(ripple, 'V')} peak to peak" in joined.replace("~", " "), name


def test_json_tells_the_ports_in_both_modes(warned: voltsec.Solution) -> None:
    told = as_json(warned)
    modes = {mode["name"]: mode for mode in told["modes"]}
    assert modes["CCM"]["input_current"]["continuous"] and not modes["DCM"]["input_current"]["continuous"]
    assert modes["DCM"]["output_current"]["share"] == "d2"
    assert "rc" in modes["CCM"]["output_ripple"]["expression"]
    numbers = told["numbers"]
    assert numbers["input_current"] == {
        "continuous": True,
        "share": pytest.approx(1.0),
        "ripple": pytest.approx(numbers["ripple"]["L"]),
    }
    assert numbers["output_ripple"] > numbers["ripple"]["Co"]


def test_a_formula_told_before_is_not_repeated() -> None:
    """Without series resistance the output ripple is the capacitor's own."""
    text = views(voltsec.solve(voltsec.load("cuk")))["terminal"]
    modes, numbers = text.split("Numbers  at the operating point")
    assert "Output ripple" not in modes and "Output ripple" in numbers
    assert modes.count("Output current") == 2  # a row in each of the two modes


def test_a_continuous_current_without_ripple() -> None:
    text = views(voltsec.solve(voltsec.load("buck_input_filter")))
    assert "continuous, no ripple to first order" in text["terminal"]
    assert r"& && \text{Input current, continuous, no ripple to first order}" in text["latex"]
