"""``voltsec compare`` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command.conftest import Run

TASK = "Vin=8:16, Vout=24, Iout=0.5, f=100k"


def test_text_figure_and_json(voltsec: Run, tmp_path: Path) -> None:
    told = voltsec("compare", "boost", "buck", "--for", TASK)
    assert (told.returncode, told.stderr) == (0, "")
    assert all(len(line) <= 80 for line in told.stdout.splitlines())
    assert "Cannot do the job" in told.stdout and "buck: at Vg" in told.stdout
    machine = json.loads(voltsec("compare", "boost", "buck", "--for", TASK, "--json").stdout)
    assert [one["can"] for one in machine["circuits"]] == [True, False]
    losses = machine["circuits"][0]["values"]["losses"]
    assert f"{losses * 1000:.4g} mW" in told.stdout
    path = tmp_path / "rails.svg"
    done = voltsec("compare", "boost", "buck", "-o", str(path))
    assert done.returncode == 0 and "Gain, size" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "arguments, words",
    [
        ((), "no netlist is named"),
        (("boost",), "one netlist alone"),
        (("boost", "boost"), "two netlists are called boost"),
        (("--shelf",), "--shelf needs a task"),
        (("boost", "buck", "--by", "losses"), "needs a task"),
        (("boost", "buck", "--for", "Vin=8:16, Vaut=24"), "did you mean 'Vout'?"),
        (("boost", "buck", "--for", TASK, "--parts", "switch=3V"), "is in ohm"),
        (("boost", "buck", "-o", "rails.txt"), "ends in"),
        (("boost", "buck", "-o", "rails.svg", "--json"), "leave out -o"),
        (("boost", "bucks"), "did you mean"),
    ],
)
def test_bad_input(voltsec: Run, arguments: tuple[str, ...], words: str) -> None:
    told = voltsec("compare", *arguments)
    assert told.returncode == 2 and (told.stdout == "" or "--json" in arguments)
    assert words in " ".join(told.stderr.split()), told.stderr
