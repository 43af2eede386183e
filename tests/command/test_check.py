"""``voltsec check`` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command.conftest import Run


def test_it_holds(voltsec: Run) -> None:
    done = voltsec("check", "sepic", "Vout/Vg = D/(1-D)")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Holds in CCM" in done.stdout
    assert "K ≥ D′²" in done.stdout and "proved" in done.stdout
    assert "D/√(K)" in done.stdout  # what is right in the other mode


def test_it_does_not(voltsec: Run) -> None:
    done = voltsec("check", "boost", "Vout/Vg = 1/D")
    assert (done.returncode, done.stderr) == (1, "")
    assert "Vout/Vg = 1/D′" in done.stdout
    assert "D and 1 − D are exchanged" in done.stdout
    assert "For example" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_the_mode_asked_for(voltsec: Run) -> None:
    done = voltsec("check", "sepic", "Vout/Vg = D/(1-D)", "--mode", "DCM")
    assert done.returncode == 1
    assert "continuous conduction" in done.stdout


def test_an_interval(voltsec: Run) -> None:
    assert voltsec("check", "sepic", "v(L1) = Vg - v(C1) - Vout", "--interval", "2").returncode == 0
    done = voltsec("check", "sepic", "v(L1) = Vg - v(C1)", "--interval", "2")
    assert done.returncode == 1
    assert "Vout is missing" in done.stdout


def test_a_derivation_in_a_file(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "lamp.txt"
    path.write_text("# lamp supply\nv(C1) = Vg\nVout/Vg = D'/D\nVout = Vg\n", encoding="utf-8")
    done = voltsec("check", "sepic", "--from", str(path))
    assert done.returncode == 1
    assert "Line 3 does not hold" in done.stdout
    from_pipe = voltsec("check", "sepic", "--from", "-", stdin=path.read_text(encoding="utf-8"))
    assert from_pipe.stdout == done.stdout


def test_json(voltsec: Run) -> None:
    done = voltsec("check", "boost", "v(Co) = Vout", "Vout/Vg = 1/D", "--json")
    assert (done.returncode, done.stderr) == (1, "")
    told = json.loads(done.stdout)
    assert (told["holds"], told["mode"], told["modes"], told["first_wrong"]) == (False, "CCM", [], 2)
    first, second = told["lines"]
    assert first["holds"] is True
    assert second["right"] == {"of": "Vout/Vg", "formula": "1/(1 - D)"}
    assert second["ratio"] == "(1 - D)/D"
    assert second["slips"][0]["kind"] == "complement"
    assert second["example"]["left"] != second["example"]["right"]
    right = json.loads(voltsec("check", "sepic", "M = D/D'", "--json").stdout)
    assert (right["holds"], right["mode"], right["holds_when"]) == (True, "CCM", "K >= (1 - D)**2")


@pytest.mark.parametrize(
    ("arguments", "kind"),
    [
        (("sepic", "Vout/Vg = D/(1-D"), "unclosed-bracket"),
        (("sepic", "Vuot = D"), "unknown-quantity"),
        (("sepic", "x = x"), "nothing-to-check"),
        (("sepic", "v(L1) = Vg", "--interval", "9"), "no-such-interval"),
        (("sepic", "M = D", "--mode", "XYZ"), "no-such-mode"),
        (("sepic",), "no-formula"),
        (("sepic", "M = D", "--from", "nowhere.txt"), "usage"),
        (("sepic", "--from", "nowhere.txt"), "system"),
        (("-", "--from", "-"), "usage"),
        (("sepik", "M = D"), "cannot-read"),
    ],
)
def test_bad_input(voltsec: Run, arguments: tuple[str, ...], kind: str) -> None:
    done = voltsec("check", *arguments, "--json")
    assert done.returncode == 2
    assert json.loads(done.stdout)["errors"][0]["kind"] == kind


def test_the_caret(voltsec: Run) -> None:
    done = voltsec("check", "sepic", "M = D/(1 - D)", "Vout = 2Vg")
    assert done.returncode == 2
    assert done.stderr.splitlines()[:3] == [
        "<formula>:2:9: a sign is missing before 'Vg' [implicit-product]",
        "    Vout = 2Vg",
        "            ^",
    ]


def test_a_file_that_is_no_text(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "lamp.txt"
    path.write_bytes(b"M = \xff\xfe")
    done = voltsec("check", "sepic", "--from", str(path), "--json")
    assert done.returncode == 2
    assert json.loads(done.stdout)["errors"][0]["kind"] == "not-utf-8"


def test_an_ascii_terminal(voltsec: Run) -> None:
    done = voltsec("check", "boost", "M = 1/D", extra={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 1
    assert done.stdout.isascii() and "?" not in done.stdout


def test_a_formula_that_begins_with_a_minus_sign(voltsec: Run) -> None:
    assert voltsec("check", "sepic", "-Vout = -Vg*D/(1 - D)").returncode == 0


def test_the_operating_point_in_another_mode(voltsec: Run) -> None:
    """The lamp draws so little that conduction is discontinuous."""
    netlist = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 10 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 2400 ohm
operate D = 0.5, T = 10 us
"""
    done = voltsec("check", "-", "Vout/Vg = 1/(1 - D)", stdin=netlist)
    assert done.returncode == 0
    assert "Beware" in done.stdout and "in DCM" in done.stdout
