"""``voltsec dynamics`` from the outside."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.command.conftest import Run

NO_VALUES = """source Vg : in -> gnd
inductor L : in -> a
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd
load R : out -> gnd
"""


def test_text(voltsec: Run) -> None:
    done = voltsec("dynamics", "boost")
    assert (done.returncode, done.stderr) == (0, "")
    assert "ω = D′²·R/L, right half-plane" in done.stdout
    assert "crossover below about 1.9 kHz" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_an_input_filter_is_told_of_by_itself(voltsec: Run) -> None:
    done = voltsec("dynamics", "buck_input_filter", "--response", "duty")
    assert "Filter: Lf, Cf, feeding the stage at node m" in done.stdout
    assert "in series with" in done.stdout and "Input to output" not in done.stdout


def test_discontinuous_conduction(voltsec: Run) -> None:
    done = voltsec("dynamics", "boost", "R=500", "--response", "duty")
    assert "DCM: L stops" in done.stdout and "ω = (2·D + d2)/(Co·D·R)" in done.stdout
    assert "of the exact period map" in done.stdout


def test_without_values_formulas_are_told(voltsec: Run) -> None:
    done = voltsec("dynamics", "-", stdin=NO_VALUES)
    assert done.returncode == 0
    words = " ".join(done.stdout.split())
    assert "Vg/D′²" in done.stdout
    assert "No numbers: there is no operating point: Vg, L, Co, R, D, T have no value" in words


def test_figure_and_table(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("dynamics", "sepic", "sepic_coupled", "-o", "loop.svg", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "written to loop.svg\n")
    text = (tmp_path / "loop.svg").read_text(encoding="utf-8")
    assert ">averaged<" in text and ">exact<" in text and "one core" in text
    done = voltsec("dynamics", "boost", "-o", "loop.csv", "--points", "7", cwd=tmp_path)
    assert done.returncode == 0
    rows = list(csv.DictReader((tmp_path / "loop.csv").open(encoding="utf-8")))
    assert len(rows) == 7 and float(rows[-1]["frequency_Hz"]) == pytest.approx(50e3)
    assert float(rows[0]["duty_exact_dB"]) == pytest.approx(33.6, abs=0.1)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["loop.csv", "loop.svg"]


def test_json(voltsec: Run) -> None:
    told = json.loads(voltsec("dynamics", "boost", "--json").stdout)
    duty = told["responses"][0]
    assert duty["factored"]["zeros"][0]["right_half_plane"] is True
    assert duty["averaged"]["poles"][0] == pytest.approx([-208.3333, -4995.658], rel=1e-6)
    assert duty["lowest_right_half_plane_zero"] == pytest.approx(9549.3, rel=1e-4)
    assert len(told["curves"]["frequency"]) == len(told["curves"]["responses"][0]["decibels"])


def test_latex(voltsec: Run) -> None:
    done = voltsec("dynamics", "boost", "--latex")
    assert r"\frac{1 - \frac{s}{\omega_{z1}}}" in done.stdout


def test_what_averaging_does_not_see_is_said(voltsec: Run) -> None:
    done = voltsec("dynamics", "boost_2x", "--response", "duty")
    words = " ".join(done.stdout.split())
    assert "the averaged response is off by up to" in words and "recharged in no time" in words


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["boost", "--response", "gain"], "'gain' is not one of"),
        (["boost", "--to", "v(uot)"], "did you mean v(out)?"),
        (["boost", "--to", "v(out),i(L)"], "--to takes one trace"),
        (["boost", "--mode", "XYZ"], "there is no mode 'XYZ'"),
        (["boost", "D=1.5"], "between 0 and 1"),
        (["boost", "Q=1"], "no symbol called Q"),
        (["D=0.4"], "no netlist is named"),
        (["boost", "cuk"], "give -o FILE.svg"),
        (["boost", "--filter"], "has no input filter"),
        (["boost", "--json", "-o", "x.svg"], "leave out -o"),
        (["boost", "-o", "x.doc"], "ends in .svg"),
        (["boost", "-o", "/no/such/place/x.svg"], "there is no directory"),
        (["boost", "--points", "1"], "not in the range"),
    ],
)
def test_bad_input(voltsec: Run, tmp_path: Path, arguments: list[str], words: str) -> None:
    done = voltsec("dynamics", *arguments, cwd=tmp_path)
    assert done.returncode == 2 and words in done.stderr and "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_figure_needs_an_operating_point(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("dynamics", "-", "-o", "x.svg", stdin=NO_VALUES, cwd=tmp_path)
    assert done.returncode == 2 and "there is no operating point" in done.stderr
    assert "write operate D = 0.4" in done.stderr and list(tmp_path.iterdir()) == []
