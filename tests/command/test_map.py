"""``voltsec map`` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sympy import Symbol, sympify

from tests.command.conftest import Run


def test_the_map_as_text(voltsec: Run) -> None:
    done = voltsec("map", "sepic")
    assert (done.returncode, done.stderr) == (0, "")
    assert "CCM  S | D1" in done.stdout and "DCM  S | D1 | none" in done.stdout
    assert "operating point: D = 0.4, K = 0.68" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_the_map_as_json(voltsec: Run) -> None:
    """Cells against K_crit = D (1 - D)**2 of the step-up stage (REFERENCES.md, section 2)."""
    done = voltsec("map", "boost", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    x, y = told["axes"]["x"], told["axes"]["y"]
    assert (told["format"], x["symbol"], x["unit"], y["symbol"], y["unit"]) == (1, "D", "1", "K", "1")
    assert (x["scale"], y["scale"]) == ("linear", "logarithmic")
    names = {name: Symbol(name) for name in told["symbols"]}
    assert sympify(y["definition"], locals=names) == 2 * names["L"] / (names["R"] * names["T"])
    cells = [[told["modes"][place] for place in row] for row in told["cells"]]
    assert len(cells) == len(y["values"]) and {len(row) for row in cells} == {len(x["values"])}
    for value, row in zip(y["values"], cells, strict=True):
        assert row == ["CCM" if value >= d * (1 - d) ** 2 else "DCM" for d in x["values"]]
    (edge,) = told["boundaries"]
    assert sympify(edge["formula"], locals=names).expand() == (names["D"] * (1 - names["D"]) ** 2).expand()
    assert edge["y"] == pytest.approx([d * (1 - d) ** 2 for d in edge["x"]])
    assert told["point"] == pytest.approx({"x": 0.5, "y": 5 / 6}, rel=1e-3)
    assert (told["fixed"], told["coarse"], told["runaway"]) == ({}, [], [])


def test_errors_as_json(voltsec: Run) -> None:
    done = voltsec("map", "boost", "--over", "R7", "--json")
    assert done.returncode == 2
    (error,) = json.loads(done.stdout)["errors"]
    assert error["kind"] == "usage" and "did you mean" in error["message"]


def test_an_ascii_terminal(voltsec: Run) -> None:
    done = voltsec("map", "boost", extra={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0 and done.stdout.isascii()


def test_a_picture(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("map", "buck", "--over", "R", "-o", "gauge.png", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "gauge.png").read_bytes().startswith(b"\x89PNG")
    assert [entry.name for entry in tmp_path.iterdir()] == ["gauge.png"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--over", "R7"), "did you mean 'R'?"),
        (("--over", "D"), "horizontal axis"),
        (("--duty", "D2"), "there is D"),
        (("-o", "map.gif"), ".png, .svg or .pdf"),
        (("-o", "map"), ".png, .svg or .pdf"),
        (("-o", "nowhere/map.png"), "no directory nowhere"),
        (("-o", "folder.png"), "is a directory"),
    ],
)
def test_bad_input(voltsec: Run, tmp_path: Path, arguments: tuple[str, ...], message: str) -> None:
    (tmp_path / "folder.png").mkdir()
    done = voltsec("map", "buck", *arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert message in done.stderr and "Traceback" not in done.stderr
    assert [entry.name for entry in tmp_path.iterdir()] == ["folder.png"]


def test_no_duty(voltsec: Run) -> None:
    text = "source Vg : in -> gnd = 5 V\nswitch S : in -> a\ninductor L : a -> out = 1 mH\n"
    text += "diode D1 : gnd -> a\nload R : out -> gnd = 5 ohm\ndrive S on\n"
    done = voltsec("map", "-", stdin=text)
    assert done.returncode == 2
    assert "no switch has a duty" in done.stderr
