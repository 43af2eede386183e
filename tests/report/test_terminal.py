"""The terminal view: complete, within the width, in the alphabet of the stream."""

import io
from dataclasses import replace

import pytest
from sympy import Symbol

import voltsec
from tests.properties.evaluation import worked_out
from voltsec.formulas.shortened import shortened
from voltsec.periodic.points import base_point
from voltsec.report.document import document
from voltsec.report.latex import latex_fragment
from voltsec.report.machine import as_json
from voltsec.report.notebook import html
from voltsec.report.outline import result_rows
from voltsec.report.rounding import cleaned
from voltsec.report.selection import Part, Row, Section, fitted
from voltsec.report.terminal import show
from voltsec.results.solution import Solution


class Stream(io.StringIO):
    """A text stream with an encoding of its own."""

    def __init__(self, encoding: str = "utf-8") -> None:
        super().__init__()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding


def printed(
    solution: Solution,
    monkeypatch: pytest.MonkeyPatch,
    width: int = 80,
    encoding: str = "utf-8",
    **how: bool,
) -> str:
    monkeypatch.setenv("COLUMNS", str(width))
    stream = Stream(encoding)
    show(solution, stream, **how)
    return stream.getvalue()


@pytest.mark.parametrize("width", [60, 80, 120])
def test_it_fits(solution: Solution, monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    lines = printed(solution, monkeypatch, width).splitlines()
    assert max(map(len, lines)) <= width
    assert all(line == line.rstrip() for line in lines)


def test_nothing_is_shortened(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    """In full a sum far wider than the screen comes out whole."""
    names = [f"quantity{n}" for n in range(40)]
    long = sum(Symbol(name, positive=True) for name in names)
    wide = replace(solution, modes=(replace(solution.modes[0], output_voltage=long),))
    text = printed(wide, monkeypatch, full=True)
    assert all(name in text for name in names)
    assert "…" not in text and "..." not in text
    assert "Left out" not in text
    short = printed(wide, monkeypatch)
    assert "V     long: --full prints it" in short and names[20] not in short


def test_what_it_tells(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    text = printed(solution, monkeypatch)
    for expected in (
        "12 V bus from the solar panel",
        "D′ = 1 − D",
        "K ≥ D′²",
        "proved",
        "checked at sample values, not proved",
        "0 = d2² − K",
        "D′     D1        C1, Co   L1, L2    switch",
        "blocks up to",
        "800 mA",
        "10 µs (100 kHz)",
        "V(C1) − V(C2): only the sum is fixed",
        "the first load, R, was taken as the output",
        "Beware",
    ):
        assert expected in text


def test_plain_ascii(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    text = printed(solution, monkeypatch, encoding="ascii")
    assert text.isascii()
    assert "K >= D'^2" in text and "D*Vg/D'" in text


def test_a_mode_that_always_holds(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    always = replace(solution.modes[0], holds_when=None, definitions={}, boundary={}, stress={})
    text = printed(replace(solution, modes=(always,), numbers=None), monkeypatch)
    assert "always (0 < D < 1)" in text
    assert "Stress" not in text
    assert "Numbers" not in text


def test_most_important_first() -> None:
    """The leading mode is told most of, and no part of it is left out for a less important one."""

    def part(importance: int, height: int) -> Part:
        return Part(importance, f"part {importance}", str(importance), height, (Row("", "", ""),))

    one = Section(2, lambda: [part(0, 2), part(1, 4), part(2, 5), part(5, 6), part(6, 1)])
    every = fitted([one, one], 1, 1000)
    assert [len(parts) for parts in every] == [5, 5]
    told = fitted([one, one], 1, 30)
    assert [p.importance for p in told[1]] == [0, 1, 2, 5] and [p.importance for p in told[0]] == [0, 1]
    assert [[p.importance for p in parts] for parts in fitted([one, one], 0, 24)] == [[0, 1, 2], [0, 1]]
    assert [p.importance for p in fitted([one], 0, 3)[0]] == [0, 1]  # its core is told in any case
    total = sum(p.height + 1 for parts in fitted([one, one, one], 0, 42) for p in parts)
    assert total <= 42


def test_what_has_no_room_is_not_worked_out() -> None:
    """Long formulas of modes that no screen has room for would take seconds."""
    short = Section(1, lambda: [Part(0, "all", "region", 1, (Row("", "", ""),))])
    long = Section(50, lambda: pytest.fail("worked out in vain"))
    assert [len(parts) for parts in fitted([short, long, short], 0, 10)] == [1, 0, 1]
    assert long.missing([]) == ["all"]


def test_one_line_says_what_is_left_out(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    text = printed(voltsec.solve(voltsec.load("sepic")), monkeypatch)
    assert len(text.splitlines()) <= 120
    assert "Left out here: " in text and "--full prints it all" in text
    assert "stress of other parts" in text
    assert "Left out" not in printed(replace(solution, modes=solution.modes[:1]), monkeypatch)


def test_brief(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    text = printed(solution, monkeypatch, brief=True)
    assert "Holds when" in text and "Numbers  at the operating point" in text
    assert "blocks up to" not in text and "Share" not in text and "Beware" not in text


def test_labels_in_every_view() -> None:
    answer = voltsec.solve(voltsec.load("forward"))
    stream = io.StringIO()
    show(answer, stream, full=True)
    views = [stream.getvalue(), latex_fragment(answer), html(answer)]
    views += [document(answer, suffix) for suffix in (".md", ".tex", ".html")]
    for view in views:
        assert "CCM, LM resets" in view and "DCM 2: LM resets, then L stops" in view
    assert [mode["label"] for mode in as_json(answer)["modes"]] == [mode.label for mode in answer.modes]


def test_rounding_is_no_number() -> None:
    """What is a billionth of the circuit's own and less prints as zero."""
    answer = voltsec.solve(voltsec.load("sepic"))
    numbers = answer.numbers
    assert numbers is not None
    changed = {
        "stress.Co.current_average": -3e-17,
        "stress.Co.voltage_peak": 2e-9,
        "ripple.L1": 4e-10,
        "ripple.Co": 1e-7,
        "input_ripple": 1e-12,
    }
    results = cleaned(replace(numbers, results={**numbers.results, **changed}), answer.circuit).results
    assert all(results[name] == 0.0 for name in changed if name != "ripple.Co")
    assert results["ripple.Co"] == 1e-7
    kept = numbers.results.keys() - changed.keys()
    assert all(results[name] == numbers.results[name] for name in kept if numbers.results[name])
    assert "output_voltage" in kept and "stress.L1.current_rms" in kept


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        # common practice, no source: V is the output voltage
        ("boost", "D·T·V/(Co·R)"),
        ("buck", "D′·T²·V/(8·Co·L)"),
        ("buckboost", "D·T·|V|/(Co·R)"),
        ("sepic", "D·T·V/(Co·R)"),
        ("boost_lossy", "D·T·V_Co/(Co·R)"),
    ],
)
def test_the_familiar_form_of_the_output_ripple(name: str, shown: str) -> None:
    stream = io.StringIO()
    show(voltsec.solve(voltsec.load(name)), stream)
    assert shown in stream.getvalue()


@pytest.mark.parametrize("name", ["boost", "buck", "buckboost", "sepic", "boost_lossy", "zeta"])
def test_the_familiar_form_is_the_ripple(name: str) -> None:
    """At ordinary values the told formula is the mode's own (V and states filled in)."""
    answer = voltsec.solve(voltsec.load(name))
    mode = shortened(answer).modes[0]
    point = base_point(answer.circuit)
    row = next(r for r in result_rows(mode, answer.circuit) if r.part == "Co" and r.letter == "dV")
    own = answer.modes[0].ripple["Co"]
    told_by = {"V": mode.output_voltage, "V_Co": mode.capacitor_voltages["Co"], **mode.definitions}
    told_by |= {f"I_{coil}": current for coil, current in mode.inductor_currents.items()}
    told_by |= {f"dI_{coil}": ripple for coil, ripple in mode.ripple.items()}
    told = worked_out(row.expression, told_by, point)
    assert told == pytest.approx(worked_out(own, answer.modes[0].definitions, point), rel=1e-9)
