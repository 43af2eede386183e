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
        (("draw", "bukc", "-o", "logger.svg"), "did you mean buck"),
    ],
)
def test_bad_input_leaves_nothing(
    voltsec: Run, tmp_path: Path, arguments: tuple[str, ...], told: str
) -> None:
    done = voltsec(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr and "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []
