"""Hand derivations: right ones hold with their conditions, wrong ones are told with the slip behind them."""

from __future__ import annotations

from functools import cache

import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

import voltsec
from tests.practice.derivations import RIGHT, UNEXPLAINED, WRONG, Right, Wrong
from voltsec.circuit.fault import CircuitError
from voltsec.practice.check import check
from voltsec.practice.verdict import HOLDS, OPEN, Verdict
from voltsec.practice.verdict import WRONG as FAILS
from voltsec.report.alphabet import ASCII, UNICODE
from voltsec.report.formula import formula
from voltsec.results.solution import Solution


@cache
def solved(name: str) -> Solution:
    return voltsec.solve(voltsec.load(name))


def judged(name: str, *lines: str, mode: str | None = None, interval: int | None = None) -> Verdict:
    return check(solved(name), lines, mode, interval)


def kinds(verdict: Verdict) -> list[str]:
    assert verdict.wrong is not None
    mistake = verdict.lines[verdict.wrong].mistake
    assert mistake is not None
    return [slip.kind for slip in mistake.slips]


@pytest.mark.parametrize("case", RIGHT, ids=lambda case: f"{case.circuit}: {case.line}")
def test_a_published_line_holds(case: Right) -> None:
    verdict = judged(case.circuit, case.line, interval=case.interval)
    assert verdict.outcome == HOLDS
    assert case.mode in verdict.modes
    assert verdict.lines[0].judged(case.mode).points == 0, "proved, not only checked"


@pytest.mark.parametrize("case", RIGHT, ids=lambda case: f"{case.circuit}: {case.line}")
def test_it_holds_where_the_mode_is_named(case: Right) -> None:
    assert judged(case.circuit, case.line, mode=case.mode, interval=case.interval).modes == (case.mode,)


@pytest.mark.parametrize("case", WRONG, ids=lambda case: f"{case.circuit}: {case.line} ({case.kind})")
def test_a_slip_is_recognised(case: Wrong) -> None:
    verdict = judged(case.circuit, case.line, mode=case.mode, interval=case.interval)
    assert verdict.outcome == FAILS
    assert case.kind in kinds(verdict)


@pytest.mark.parametrize("case", WRONG, ids=lambda case: f"{case.circuit}: {case.line} ({case.kind})")
def test_numbers_show_it(case: Wrong) -> None:
    mistake = judged(case.circuit, case.line, mode=case.mode, interval=case.interval).lines[0].mistake
    assert mistake is not None and mistake.example is not None
    assert mistake.example.left != mistake.example.right


@pytest.mark.parametrize(("circuit", "line", "source"), UNEXPLAINED)
def test_errors_met_in_sources_do_not_hold(circuit: str, line: str, source: str) -> None:
    assert judged(circuit, line).outcome == FAILS, source


def test_the_right_formula_ratio_and_difference() -> None:
    mistake = judged("boost", "Vout/Vg = 1/D").lines[0].mistake
    assert mistake is not None
    D = sympy.Symbol("D", positive=True)
    assert mistake.label == "Vout/Vg"
    assert mistake.formula == 1 / (1 - D)
    assert mistake.ratio == (1 - D) / D
    assert sympy.simplify(mistake.difference - (1 / D - 1 / (1 - D))) == 0


def test_the_example_avoids_points_where_the_sides_agree() -> None:
    """At D = 0.5, the boost's operating point, D and 1 - D are one number."""
    example = judged("boost", "Vout/Vg = 1/D").lines[0].mistake.example  # type: ignore[union-attr]
    assert example is not None and not example.is_operating_point
    assert example.left != pytest.approx(example.right)


def test_a_chain_names_its_first_wrong_line() -> None:
    lines = (
        "# the radio's supply, by hand",
        "interval 1: v(L) = Vg",
        "interval 2: v(L) = Vg - Vout",
        "",
        "D*v(L, 1) + D'*v(L, 2) = 0",
        "Vout/Vg = 1/D      # here it went wrong",
        "i(L) = Vout/R",
    )
    verdict = judged("boost", *lines)
    assert verdict.wrong == 3
    assert verdict.lines[3].claim.equation.line == 6
    assert [line.judged("CCM").outcome for line in verdict.lines] == [HOLDS, HOLDS, HOLDS, FAILS, FAILS]
    assert kinds(verdict)[0] == "complement"


def test_a_chain_must_hold_in_one_mode() -> None:
    both = judged("sepic", "Vout/Vg = D/D'", "Vout/Vg = D/sqrt(K)")
    assert both.outcome == FAILS
    assert judged("sepic", "Vout/Vg = D/sqrt(K)", "i(L2) = Vout/R").modes == ("DCM",)


def test_a_line_that_holds_elsewhere_than_at_the_operating_point() -> None:
    verdict = judged("sepic", "M = D/sqrt(K)")
    assert verdict.modes == ("DCM",) and verdict.operating_mode == "CCM"
    assert [mode for mode, _, _ in verdict.lines[0].elsewhere] == ["CCM"]


def test_what_the_model_leaves_open() -> None:
    """Two ideal capacitors in parallel share their charging current as they like."""
    solution = solved("boost_mult1")
    open_parts = [name for name, stress in solution.modes[0].stress.items() if stress.current_rms is None]
    if not open_parts:
        pytest.skip("everything is determined in this stage")
    verdict = check(solution, [f"irms({open_parts[0]}) = Iout"])
    assert verdict.outcome == OPEN


BAD = (
    ("nothing-to-check", "x = x", None, None),
    ("nothing-to-check", "Vout = Vout", None, None),
    ("nothing-to-check", "Vout/Vg = Vout*(1 - D)/(D'*Vg)", None, None),
    ("nothing-to-check", "R = 2*L1", None, None),
    ("nothing-to-check", "1 = 1", None, None),
    ("unknown-quantity", "Vuot = D", None, None),
    ("unknown-quantity", "v(L9) = Vg", None, None),
    ("unknown-quantity", "voltage(L1) = Vg", None, None),
    ("unknown-quantity", "Vout = S*Vg", None, None),
    ("unknown-quantity", "M = D1'", None, None),
    ("unknown-quantity", "d2 = D", "CCM", None),
    ("wrong-argument", "ripple(S) = 1", None, None),
    ("wrong-argument", "v(2*L1) = 1", None, None),
    ("wrong-argument", "v(L1, L2) = 1", None, None),
    ("wrong-argument", "irms(L1, 2) = 1", None, None),
    ("wrong-argument", "M = sqrt(D, D)", None, None),
    ("no-such-interval", "v(L1) = Vg", None, 4),
    ("no-such-interval", "v(L1) = Vg", None, 0),
    ("no-such-interval", "v(L1) = Vg", None, -1),
    ("no-such-interval", "v(L1) = Vg", "CCM", 3),
    ("no-such-interval", "v(L1, 7) = Vg", None, None),
    ("no-such-interval", "v(L1, 1.5) = Vg", None, None),
    ("no-such-mode", "M = D", "BCM", None),
    ("no-formula", "", None, None),
    ("no-formula", "# only a comment", None, None),
    ("bad-formula", "M = 1/(D - D)", None, None),
    ("implicit-product", "M = D(1 - D)", None, None),
)


@pytest.mark.parametrize(("kind", "line", "mode", "interval"), BAD)
def test_bad_input(kind: str, line: str, mode: str | None, interval: int | None) -> None:
    with pytest.raises(CircuitError) as caught:
        judged("sepic", line, mode=mode, interval=interval)
    assert [fault.kind for fault in caught.value.faults] == [kind]


def test_all_bad_lines_are_told_together() -> None:
    with pytest.raises(CircuitError) as caught:
        judged("sepic", "Vuot = D", "M = D/D'", "v(L9) = 1")
    assert [fault.place.line for fault in caught.value.faults if fault.place] == [1, 3]
    assert "Vout" in caught.value.faults[0].hint


def test_parts_called_like_constants_are_plain_symbols() -> None:
    text = """source E : in -> gnd = 12 V
inductor I : in -> a = 100 uH
switch S : a -> gnd
diode D : a -> out
capacitor pi : out -> gnd = 100 uF
load N : out -> gnd = 24 ohm
operate D = 0.5, T = 10 us
"""
    solution = voltsec.solve(voltsec.read(text))
    for line in ("Vout/E = 1/(1 - D)", "i(I) = E/(N*D'^2)", "v(pi) = E/D'", "ripple(pi) = D*T*Vout/(N*pi)"):
        assert check(solution, [line]).outcome == HOLDS, line
    assert check(solution, ["iavg(D) = E/(N*D')"]).outcome == HOLDS


def test_numeric_turns() -> None:
    text = """ground gnd, sgnd
source Vg : in -> gnd = 12 V
transformer T1 : in -> a, sgnd -> b = 1 : 3 { magnetizing LM = 60 uH }
switch S : a -> gnd
diode D1 : b -> out
capacitor Co : out -> sgnd = 47 uF
load R : out -> sgnd = 20 ohm
operate D = 0.3, T = 10 us
"""
    solution = voltsec.solve(voltsec.read(text))
    assert check(solution, ["M = 3*D/D'"]).outcome == HOLDS
    assert "turns" in kinds(check(solution, ["M = D/D'"]))


def test_a_name_that_the_netlist_uses_itself() -> None:
    text = """source Vg : in -> gnd = 12 V
inductor M : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 24 ohm
"""
    solution = voltsec.solve(voltsec.read(text))
    with pytest.raises(CircuitError) as caught:
        check(solution, ["M = 1/D'"])
    assert "gain" in caught.value.faults[0].hint


def test_sums_that_cancel_are_zero_and_huge_powers_are_not_equal() -> None:
    assert judged("boost", "D*Vg + D'*(Vg - Vout) + Vg*(1e6 - 1000000) = 0").outcome == HOLDS
    verdict = judged("boost", "M = ((D + R + Vg + Co)^64)^64")
    assert verdict.outcome == FAILS and kinds(verdict) == []


def test_a_maximum() -> None:
    assert judged("boost", "max(sqrt(Vg - R), Vout/2) = D").outcome == FAILS
    assert judged("boost", "max(Vout, Vg) = Vg/(1 - D)").lines[0].judged("CCM").points > 0


@pytest.mark.parametrize("name", ["sepic", "buck", "flyback", "boost_lossy", "forward"])
@pytest.mark.parametrize("alphabet", [UNICODE, ASCII], ids=["unicode", "ascii"])
def test_what_solve_prints_holds(name: str, alphabet: object) -> None:
    """Every formula shown can be pasted back and is found right."""
    solution = solved(name)
    duties = solution.circuit.duty_symbols
    for mode in solution.modes:
        told = {"Vout": mode.output_voltage, "efficiency": mode.efficiency, "gain": mode.gain}
        told |= {f"v({part})": value for part, value in mode.capacitor_voltages.items()}
        told |= {f"i({part})": value for part, value in mode.inductor_currents.items()}
        told |= {f"ripple({part})": value for part, value in mode.ripple.items()}
        told |= {f"irms({part})": s.current_rms for part, s in mode.stress.items() if "." not in part}
        told |= dict(mode.definitions)
        for quantity, value in told.items():
            cases = [case for case, _ in value.args] if isinstance(value, sympy.Piecewise) else [value]
            for case in cases if value is not None else ():
                line = f"{quantity} = {formula(case, duties, alphabet)}"  # type: ignore[arg-type]
                assert check(solution, [line], mode.name).outcome == HOLDS, (mode.name, line)


# Properties: a right formula stays right however it is rewritten, and wrong however it is disturbed.

STEPS = st.lists(
    st.sampled_from(
        [
            lambda a, b: (f"({a})*n", f"n*({b})"),
            lambda a, b: (f"({a})/R", f"({b})*(1/R)"),
            lambda a, b: (f"({a}) + D'", f"1 - D + ({b})"),
            lambda a, b: (f"({a})^2", f"({b})**2"),
            lambda a, b: (f"({b})", f"({a})"),
            lambda a, b: (f"({a})*(T + LM)", f"({b})*T + LM*({b})"),
            lambda a, b: (f"-({a})", f"({b})·(−1)"),
            lambda a, b: (f"({a})*(LM || R)", f"({b})*LM*R/(LM + R)"),
            lambda a, b: (f"sqrt(T)*({a})*sqrt(R)", f"({b})*√(T·R)"),
            lambda a, b: (f"({a})*(1 - D^2)", f"({b})*(1 + D)*D'"),
        ]
    ),
    max_size=4,
)
FLYBACK = st.sampled_from(
    [
        ("Vout", "n*D*Vg/(1 - D)", "CCM"),
        ("i(LM)", "n^2*D*Vg/(R*D'^2)", "CCM"),
        ("vpeak(S)", "Vg/(1 - D)", "CCM"),
        ("Kcrit", "D'^2", "CCM"),
        ("gain", "n*D/sqrt(K)", "DCM"),
        ("d2", "sqrt(2*n^2*LM/(R*T))", "DCM"),
    ]
)


@settings(max_examples=60, deadline=None)
@given(start=FLYBACK, steps=STEPS)
def test_rewriting_keeps_a_line_right(start: tuple[str, str, str], steps: list) -> None:
    left, right, mode = start
    for step in steps:
        left, right = step(left, right)
    assert judged("flyback", f"{left} = {right}", mode=mode).outcome == HOLDS


@settings(max_examples=60, deadline=None)
@given(
    start=FLYBACK,
    steps=STEPS,
    disturbance=st.sampled_from(
        ["({})*D", "({})*3/2", "({})/n", "({})*R*T/LM", "({})*(1 + D)", "({})*1.0001"]
    ),
)
def test_disturbing_makes_a_line_wrong(start: tuple[str, str, str], steps: list, disturbance: str) -> None:
    left, right, mode = start
    right = disturbance.format(right)
    for step in steps:
        left, right = step(left, right)
    assert judged("flyback", f"{left} = {right}", mode=mode).outcome == FAILS


def test_formulas_too_long_to_be_compared_are_no_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left out for its length is said to be open, not guessed."""
    from voltsec.practice.equality import Prover
    from voltsec.tableau.ring import TooLarge

    def too_large(*_: object) -> None:
        raise TooLarge("a formula of many terms")

    monkeypatch.setattr(Prover, "inserted", too_large)
    verdict = judged("sepic", "Vout/Vg = D/(1 - D)")
    told = verdict.lines[0].judgements
    assert {one.outcome for one in told} == {OPEN}
    assert all("too long" in one.reason for one in told)
