"""``voltsec draw`` from the outside."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command.conftest import Run


@pytest.mark.parametrize("ending", [".svg", ".png", ".pdf"])
def test_a_picture(voltsec: Run, tmp_path: Path, ending: str) -> None:
    done = voltsec("draw", "buck", "-o", f"logger{ending}", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, "")
    assert done.stderr == f"drawn into logger{ending}\n"
    assert [entry.name for entry in tmp_path.iterdir()] == [f"logger{ending}"]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("draw", "buck"), "-o"),
        (("draw", "buck", "-o", "logger.gif"), ".svg, .png or .pdf, not logger.gif"),
        (("draw", "buck", "-o", "missing/logger.svg"), "there is no directory missing"),
        (("draw", "bukc", "-o", "logger.svg"), "did you mean 'buck"),
    ],
)
def test_bad_input_leaves_nothing(
    voltsec: Run, tmp_path: Path, arguments: tuple[str, ...], told: str
) -> None:
    done = voltsec(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr and "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_intervals(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("draw", "boost", "--interval", "all", "-o", "radio.svg", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    told = (tmp_path / "radio.svg").read_text(encoding="utf-8")
    assert "Interval 1 of 2, 0 s to 5 µs: S conducts" in told and "L absorbs; Co supplies" in told
    wrong = voltsec("draw", "boost", "--interval", "3", "-o", "other.svg", cwd=tmp_path)
    assert wrong.returncode == 2
    assert "there is no interval '3'; there are '1: S', '2: D1'" in wrong.stderr
    assert [entry.name for entry in tmp_path.iterdir()] == ["radio.svg"]


def test_without_an_operating_point_the_plain_circuit(voltsec: Run, tmp_path: Path) -> None:
    netlist = "source V : a -> gnd = 12 V\nswitch S : a -> b\ndiode F : gnd -> b\n"
    netlist += "inductor L : b -> c\nload R : c -> gnd\n"
    (tmp_path / "lamp.topo").write_text(netlist, encoding="utf-8")
    done = voltsec("draw", "lamp.topo", "--interval", "all", "-o", "lamp.svg", cwd=tmp_path)
    assert done.returncode == 0
    assert "No pictures of the intervals: there is no operating point" in done.stderr
    assert 'data-part="F"' in (tmp_path / "lamp.svg").read_text(encoding="utf-8")
