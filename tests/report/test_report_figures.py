"""The report's waveforms and small signals: in which mode, in which form, and within its time."""

from __future__ import annotations

import re
from itertools import pairwise
from time import process_time

import numpy as np
import pytest
from matplotlib.colors import to_hex
from sympy import Expr, srepr, sympify

import voltsec
from tests.practice.solved import solved
from tests.report.test_computed_points import CLAMPED
from tests.report.test_page import parsed
from voltsec.circuit.computing_time import budget_of
from voltsec.practice.dynamics import told_of
from voltsec.practice.mode_points import mode_points
from voltsec.report.document import document
from voltsec.report.factored_form import FactoredForm, Markup
from voltsec.report.figure_face import CURVES, INK, panels
from voltsec.report.latex_figure import latex_figure
from voltsec.report.over_frequency import over_frequency
from voltsec.report.over_time import over_time
from voltsec.report.page import page


def test_a_point_is_found_for_a_mode_that_is_not_at_the_operating_point() -> None:
    """SEPIC: discontinuous where K = 2 L1 L2/((L1 + L2) R T) < (1 - D)**2.

    Erickson, Maksimovic, Fundamentals of Power Electronics, chapter 5 (boundary), from memory.
    """
    answer = solved("sepic")
    (nearest, *_) = mode_points(answer, ("DCM",))["DCM"]
    assert list(nearest.changes) == ["R"], "the load alone is enough"
    shown = over_time(answer)
    assert shown is not None and [one.waves.mode for one in shown.periods] == ["CCM", "DCM"]
    for period in shown.periods:
        at = period.waves.point
        parallel = 2 * at["L1"] * at["L2"] / ((at["L1"] + at["L2"]) * at["R"] * at["T"])
        assert (parallel < (1 - at["D"]) ** 2) == (period.waves.mode == "DCM")
    assert "R = 56 Ω in place of R = 10 Ω" in shown.periods[1].words and not shown.note


def test_a_mode_that_is_not_shown_is_told() -> None:
    answer = solved("watkins_johnson")
    assert answer.evaluate is not None
    with budget_of(1e-9):
        few = over_time(answer)
    assert few is not None and few.periods, "the operating point is shown in any case"
    assert bool(few.note) == (len(few.periods) < min(len(answer.modes), 4))


BARE = """source Vg : in -> gnd
inductor L : in -> a
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd
load R : out -> gnd
"""


class Python(Markup):
    """Text that sympy reads back."""

    def text(self, expression: Expr) -> str:
        return f"({srepr(expression)})"

    def lowered(self, letter: str, below: str) -> str:
        return f"{letter}_{below.replace(',', '_')}" if below else letter

    def fraction(self, top: str, bottom: str) -> str:
        return f"(({top})/({bottom}))"

    def raised(self, base: str, power: int) -> str:
        return f"({base})**{power}"

    def bracketed(self, inside: str) -> str:
        return f"({inside})"

    def row(self, parts: list[str]) -> str:
        """Signs stand between terms; what has none between is multiplied."""
        text = parts[0]
        for before, part in pairwise(parts):
            text += part if {before, part} & {"+", "-", "="} else f"*{part}"
        return text

    def sign(self, sign: str) -> str:
        return sign


@pytest.mark.parametrize("name", ["boost", "sepic", "buck_input_filter", "buckboost_lossy", "quad_boost"])
def test_the_mathematics_is_the_response(name: str) -> None:
    """The written factors, put together again, against the ratio that numbers alone gave."""
    told = told_of(solved(name), {})
    form = FactoredForm(Python())
    named: dict[str, Expr] = {}
    hertz = np.array([1.0, 300.0, 2e3, 9e3, 3e4])
    for response in told.model.responses:
        assert response.factored is not None and response.averaged is not None
        written = form.response(response.factored, "this one")
        for definition in written.definitions:
            left, right = definition.split("=", 1)
            named[left] = sympify(right)
        ratio = sympify(written.ratio.split("=", 1)[1], locals={})
        point = {symbol: told.model.point[str(symbol)] for e in named.values() for symbol in e.free_symbols}
        values = {key: complex(value.subs(point)) for key, value in named.items()}
        found = [
            complex(ratio.subs({**values, "s": 2j * np.pi * f}).evalf())  # names are symbols of their own
            for f in hertz
        ]
        assert found == pytest.approx(response.averaged.at(hertz), rel=1e-9)


def test_the_page_has_its_figures() -> None:
    text = page(solved("buck_input_filter"))
    found = parsed(text)
    assert {"waves", "dynamics"} <= found.anchors
    assert text.count('<svg class="drawn"') == 2 + 1 + 4, "two modes, the map, three responses, the filter"
    assert "Least margin" in text and "right half-plane" in text
    assert "prefers-color-scheme: dark" in text


def test_without_an_operating_point_formulas_alone() -> None:
    text = page(voltsec.solve(voltsec.read(BARE)))
    found = parsed(text)
    assert "waves" not in found.anchors and "dynamics" in found.anchors


def test_a_short_budget_leaves_a_whole_page() -> None:
    circuit = voltsec.read(CLAMPED)
    began = process_time()
    with budget_of(1.0):
        text = page(voltsec.solve(circuit, 1.0))
    assert process_time() - began < 10
    assert "waves" in parsed(text).anchors


def test_formulas_nobody_can_read_are_not_printed() -> None:
    from sympy import symbols

    from voltsec.report.formula import UNREADABLE, readable
    from voltsec.report.latex import formula_latex
    from voltsec.tableau.lengths import PAGE

    long = sum((k + 1) * symbol**k for k, symbol in enumerate(symbols(f"a0:{PAGE}")))
    assert not readable(long) and readable(symbols("a")) and readable(None)
    assert "too long" in formula_latex(long) and "too long" in UNREADABLE


def test_a_figure_becomes_commands_of_tex() -> None:
    figure, (upper, lower) = panels(2)
    upper.plot([0, 1], [0, 2], color=CURVES[0])
    upper.set_title("ripple of L_1 & 5 % more")
    lower.plot([0, 1, 2], [5, float("nan"), 4], "--", color=CURVES[1])
    text = latex_figure(figure)
    assert r"ripple of L\_1 \& 5 \% more" in text
    for colour in (CURVES[0], INK):
        red, green, blue = (int(to_hex(colour)[k : k + 2], 16) for k in (1, 3, 5))
        assert f"rgb,255:red,{red};green,{green};blue,{blue}" in text
    assert "nan" not in text and "dash pattern=on" in text
    places = [float(x) for pair in re.findall(r"\(([-\d.]+),([-\d.]+)\)", text) for x in pair]
    assert max(places) < 1000, "big points, on a page"


def test_latex_and_markdown_hold_the_small_signals() -> None:
    text = document(solved("boost"), ".tex")
    assert text.count(r"\begin{tikzpicture}") == text.count(r"\end{tikzpicture}")
    assert text.count("One period ") == 2 and text.count("up to half the switching frequency") == 3
    assert r"\omega_{z1} = \frac{D'^{2} R}{L}" in text and "right half-plane" in text


PUMP = """converter "doubled battery rail for the lamp"
source Vg : in -> gnd = 12 V
switch S1 : in -> x
switch S2 : x -> gnd
capacitor C1 : x -> y = 10 uF
diode D1 : in -> y
diode D2 : y -> out
capacitor Co : out -> gnd = 47 uF
load R : out -> gnd = 100 ohm
drive S1 at D
drive S2 against S1
operate D = 0.4, T = 10 us
"""


def test_a_duty_that_moves_the_output_by_its_ripple_alone_has_its_curve() -> None:
    """A pump of ideal parts doubles at any duty; its mean moves by the ripple all the same."""
    answer = voltsec.solve(voltsec.read(PUMP))
    shown = over_frequency(answer)
    assert shown is not None
    duty = shown.model.response("duty")
    assert duty is not None and duty.averaged is not None and duty.averaged.zero
    exact = shown.model.exact(duty.link, np.array([1e3]))
    assert exact is not None and abs(exact[0]) > 0
    assert any("duty" in kinds for kinds, _ in shown.figures)
