"""The terminal view: complete, within the width, in the alphabet of the stream."""

import io
from dataclasses import replace

import pytest
from sympy import Symbol

from voltsec.report.terminal import show
from voltsec.steady.solution import Solution


class Stream(io.StringIO):
    """A text stream with an encoding of its own."""

    def __init__(self, encoding: str = "utf-8") -> None:
        super().__init__()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding


def printed(
    solution: Solution, monkeypatch: pytest.MonkeyPatch, width: int = 80, encoding: str = "utf-8"
) -> str:
    monkeypatch.setenv("COLUMNS", str(width))
    stream = Stream(encoding)
    show(solution, stream)
    return stream.getvalue()


@pytest.mark.parametrize("width", [60, 80, 120])
def test_it_fits(solution: Solution, monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    lines = printed(solution, monkeypatch, width).splitlines()
    assert max(map(len, lines)) <= width
    assert all(line == line.rstrip() for line in lines)


def test_nothing_is_shortened(solution: Solution, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sum far wider than the screen comes out whole."""
    names = [f"quantity{n}" for n in range(40)]
    long = sum(Symbol(name, positive=True) for name in names)
    wide = replace(solution, modes=(replace(solution.modes[0], output_voltage=long),))
    text = printed(wide, monkeypatch)
    assert all(name in text for name in names)
    assert "…" not in text and "..." not in text


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
