"""``voltsec report``: the forms, and what it refuses before doing any work."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command.conftest import Run


@pytest.mark.parametrize(
    ("ending", "start"), [("html", "<!DOCTYPE html>"), ("md", "# "), ("tex", r"\documentclass")]
)
def test_forms(voltsec: Run, tmp_path: Path, ending: str, start: str) -> None:
    path = tmp_path / f"stage.{ending}"
    done = voltsec("report", "buck", "-o", str(path))
    assert done.returncode == 0 and done.stdout == ""
    assert path.read_text(encoding="utf-8").startswith(start)
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("name", ["stage.docx", "nowhere/stage.html", "."])
def test_what_cannot_be_written(voltsec: Run, tmp_path: Path, name: str) -> None:
    done = voltsec("report", "buck", "-o", name, cwd=tmp_path)
    assert done.returncode == 2 and done.stderr.startswith("Usage")
    assert list(tmp_path.iterdir()) == []


def test_a_bad_netlist_writes_nothing(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("report", "-", "-o", "stage.html", stdin="source Vg : a -> b = 1 H\n", cwd=tmp_path)
    assert done.returncode == 2
    assert list(tmp_path.iterdir()) == []


def test_no_browser(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("report", "buck", "-o", "stage.pdf", cwd=tmp_path, extra={"PATH": str(tmp_path)})
    assert done.returncode == 2 and "install Chromium" in done.stderr
    assert list(tmp_path.iterdir()) == []
