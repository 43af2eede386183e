"""``voltsec states`` from the outside."""

from __future__ import annotations

import json

import pytest
import sympy

from tests.command.conftest import Run


def test_text(voltsec: Run) -> None:
    done = voltsec("states", "sepic")
    assert (done.returncode, done.stderr) == (0, "")
    assert "  L1·di(L1)/dt = Vg − v(C1) − v(Co)" in done.stdout
    assert "B, C, E as before" in done.stdout and "Mean of the intervals" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


@pytest.mark.parametrize("name", ["sepic_lossy", "boost_mult1", "forward", "iso_cuk"])
def test_fits_the_screen(voltsec: Run, name: str) -> None:
    done = voltsec("states", name, extra={"COLUMNS": "60"})
    assert done.returncode == 0 and max(map(len, done.stdout.splitlines())) <= 60


def test_json_reads_back(voltsec: Run) -> None:
    done = voltsec("states", "boost", "--json")
    told = json.loads(done.stdout)
    names = {name: sympy.Symbol(name) for name in told["symbols"]}
    own = told["averaged"]
    assert own["states"] == ["i(L)", "v(Co)"] and own["inputs"] == ["Vg"]
    entry = sympy.sympify(own["A"][0][1], locals=names)
    assert sympy.simplify(entry + (1 - names["D"]) / names["L"]) == 0
    assert told["intervals"][0]["laws"][0] == {"element": "L", "left": [["L", "i(L)"]], "right": "Vg"}


def test_latex(voltsec: Run) -> None:
    done = voltsec("states", "boost", "--latex")
    assert done.returncode == 0 and r"\begin{pmatrix} i_{\mathrm{L}} \\" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["boost", "--mode", "CMM"], "there is no mode 'CMM'"),
        (["bost"], "no shipped circuit of that name"),
        (["boost", "--latex", "--jsn"], "No such option"),
    ],
)
def test_bad_input(voltsec: Run, arguments: list[str], words: str) -> None:
    done = voltsec("states", *arguments)
    assert done.returncode == 2 and words in done.stderr and "Traceback" not in done.stderr
