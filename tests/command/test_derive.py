"""``voltsec derive``."""

from __future__ import annotations

from tests.command.conftest import Run


def test_text(voltsec: Run) -> None:
    done = voltsec("derive", "buck")
    assert done.returncode == 0 and done.stderr == ""
    assert "volt-second balance of L" in done.stdout
    assert done.stdout.rstrip().splitlines()[-1].split()[:3] == ["V/Vg", "=", "D"]
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_other_forms(voltsec: Run) -> None:
    assert voltsec("derive", "buck", "--markdown").stdout.startswith("# ")
    assert r"\section*" in voltsec("derive", "buck", "--latex", "--mode", "DCM").stdout


def test_an_unknown_mode(voltsec: Run) -> None:
    done = voltsec("derive", "buck", "--mode", "CM")
    assert done.returncode == 2 and "CCM, DCM" in done.stderr and done.stdout == ""


def test_a_terminal_without_signs(voltsec: Run) -> None:
    done = voltsec("derive", "buck", extra={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    done.stdout.encode("ascii")
