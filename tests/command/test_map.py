"""``voltsec map`` from the outside."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command.conftest import Run


def test_the_map_as_text(voltsec: Run) -> None:
    done = voltsec("map", "sepic")
    assert (done.returncode, done.stderr) == (0, "")
    assert "CCM  S | D1" in done.stdout and "DCM  S | D1 | none" in done.stdout
    assert "operating point: D = 0.4, K = 0.68" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


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
        (("-o", "map.pdf"), ".png or .svg"),
        (("-o", "map"), ".png or .svg"),
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
