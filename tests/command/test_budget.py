"""The time budget: what is not finished is left out and said; numbers come all the same."""

from __future__ import annotations

import json

import pytest

from .conftest import Run


def test_numbers_come_without_formulas(voltsec: Run) -> None:
    done = voltsec("solve", "quad_boost_lossy", "--budget", "0.05", "--json")
    told = json.loads(done.stdout)
    assert done.returncode == 0 and told["modes"] == []
    assert told["numbers"]["exact"] is not None
    assert told["numbers"]["output_voltage"] == pytest.approx(48, rel=0.02)  # 12 V * 1/(1 - 0.52)**2, less
    assert any("in the time allowed" in line for line in told["warnings"])


@pytest.mark.parametrize("options", [(), ("--brief",), ("--full",), ("--latex",), ("--for", "Vout=30")])
def test_every_view_without_modes(voltsec: Run, options: tuple[str, ...]) -> None:
    done = voltsec("solve", "quad_boost_lossy", "--budget", "0.05", *options)
    assert done.returncode == 0 and "48.05 V" in done.stdout.replace("\\,", " ")


@pytest.mark.parametrize("line", [("derive",), ("check", "gain = 1"), ("solve", "--mode", "CCM")])
def test_what_needs_formulas_says_that_time_is_short(voltsec: Run, line: tuple[str, ...]) -> None:
    command, *rest = line
    done = voltsec(command, "quad_boost_lossy", "--budget", "0.05", *rest)
    assert done.returncode == 3 and "--budget SECONDS" in done.stderr


def test_a_part_of_the_formulas(voltsec: Run) -> None:
    done = voltsec("solve", "quad_boost_lossy", "--budget", "4", "--json")
    told = json.loads(done.stdout)
    assert told["modes"] and any("--budget SECONDS" in line for line in told["warnings"])


@pytest.mark.parametrize("seconds", ["0", "-1", "soon"])
def test_bad_budgets(voltsec: Run, seconds: str) -> None:
    assert voltsec("solve", "boost", "--budget", seconds).returncode == 2
