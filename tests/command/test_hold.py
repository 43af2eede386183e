"""``voltsec solve --hold`` from the outside."""

from __future__ import annotations

import json

import pytest

from tests.command.conftest import Run


def test_text(voltsec: Run) -> None:
    done = voltsec("solve", "sepic", "--hold", "S=off")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Vg does not reach the output: V = 0 V." in done.stdout
    assert "no safety" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_json(voltsec: Run) -> None:
    done = voltsec("solve", "boost", "--hold", "S=on", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert told["shorts"][0]["loop"] == ["Vg", "L", "S"]
    assert told["reaches_output"] is False


def test_several(voltsec: Run) -> None:
    done = voltsec("solve", "buckboost_two_switch", "--hold", "S1=on", "--hold", " S2 = off ")
    assert done.returncode == 0
    assert "S1, L, DB" in done.stdout


def test_the_others_keep_switching(voltsec: Run) -> None:
    done = voltsec("solve", "buckboost_two_switch", "--hold", "S2=off")
    assert done.returncode == 0
    assert "keep switching" in done.stdout and "CCM" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--hold", "s=off"), "did you mean 'S'?"),
        (("--hold", "S=open"), "did you mean S=off?"),
        (("--hold", "D1=off"), "is a diode, not a switch"),
        (("--hold", "S"), "SWITCH=on or SWITCH=off"),
        (("--hold", "=on"), "SWITCH=on or SWITCH=off"),
        (("--hold", "S="), "SWITCH=on or SWITCH=off"),
        (("--hold", "S=on", "--hold", "S=off"), "given twice"),
        (("--hold", "S=on", "--latex"), "not --latex"),
    ],
)
def test_bad_input(voltsec: Run, arguments: tuple[str, ...], message: str) -> None:
    done = voltsec("solve", "sepic", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert message in done.stderr and "Traceback" not in done.stderr


def test_bad_input_as_json(voltsec: Run) -> None:
    done = voltsec("solve", "sepic", "--hold", "Q=off", "--json")
    assert done.returncode == 2
    assert json.loads(done.stdout)["errors"][0]["kind"] == "unknown-name"
