"""What is said beside the answer, on standard error or among its warnings."""

from __future__ import annotations

import json

import pytest

from tests.command.conftest import Run
from tests.steady.test_device_notes import NOTE, SOLAR_CELL


@pytest.mark.parametrize(
    "arguments",
    [
        ("map", "-"),
        ("derive", "-"),
        ("check", "-", "Vout = Vg/(1 - D) - V_D1"),
        ("sweep", "-", "D=0.5:0.9:5"),
    ],
)
def test_a_drop_above_the_input_is_noted(voltsec: Run, arguments: tuple[str, ...]) -> None:
    done = voltsec(*arguments, stdin=SOLAR_CELL)
    assert done.returncode == 0, done.stderr
    assert NOTE in done.stderr and NOTE not in done.stdout
    quiet = voltsec(*arguments, stdin=SOLAR_CELL.replace("0.7 V", "0.3 V"))
    assert (quiet.returncode, quiet.stderr) == (0, "")


def test_solve_has_it_among_its_warnings(voltsec: Run) -> None:
    told = json.loads(voltsec("solve", "-", "--json", stdin=SOLAR_CELL).stdout)
    assert any(line.startswith(NOTE) for line in told["warnings"])
    plain = voltsec("solve", "-", "--for", "Vout=3.3", stdin=SOLAR_CELL)
    assert plain.returncode == 0 and NOTE in " ".join(plain.stdout.split())


def test_a_swept_drop_is_noted(voltsec: Run) -> None:
    """Above the input at the far end of the range only."""
    done = voltsec("sweep", "boost_lossy", "V_D1=1:20:5")
    assert done.returncode == 0 and "V_D1 of D1 is not below the input voltage" in done.stderr
