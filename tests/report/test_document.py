"""The report as LaTeX and Markdown, and how files are written."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.practice.solved import solved
from voltsec.report.document import document
from voltsec.report.output import browser, check_target, write_report
from voltsec.report.output_file import CannotWrite

SAMPLES = ["sepic", "boost_lossy", "iso_cuk", "watkins_johnson"]


@pytest.mark.parametrize("name", SAMPLES)
def test_latex(name: str, tmp_path: Path) -> None:
    """Compiled where TeX is there, else looked through."""
    text = document(solved(name), ".tex")
    assert text.count("{") - text.count(r"\{") == text.count("}") - text.count(r"\}")
    for word in set(re.findall(r"\\begin\{(\w+\*?)\}", text)):
        assert text.count(rf"\begin{{{word}}}") == text.count(rf"\end{{{word}}}")
    program = shutil.which("pdflatex")
    if program is None:
        return
    (tmp_path / "report.tex").write_text(text, encoding="utf-8")
    command = [program, "-interaction=nonstopmode", "-halt-on-error", "report.tex"]
    done = subprocess.run(
        command, cwd=tmp_path, capture_output=True, text=True, timeout=120, errors="replace"
    )
    assert done.returncode == 0, done.stdout[-1500:]
    assert (tmp_path / "report.pdf").stat().st_size > 10_000


@pytest.mark.parametrize("name", SAMPLES)
def test_markdown(name: str) -> None:
    text = document(solved(name), ".md")
    widths = [line.count(" | ") for line in text.splitlines() if line.startswith("| ")]
    assert widths
    assert text.count("# ") >= 5 and text.count("```") == 2
    assert "## Cautions" in text


def test_an_unknown_ending_and_a_missing_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "report.doc", tmp_path / "missing" / "report.html"):
        with pytest.raises(CannotWrite):
            check_target(path)
    (tmp_path / "folder.html").mkdir()
    with pytest.raises(CannotWrite, match="directory"):
        check_target(tmp_path / "folder.html")


def test_without_a_browser_only_pdf_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(CannotWrite, match="install Chromium"):
        check_target(tmp_path / "report.pdf")
    for suffix in (".html", ".md", ".tex"):
        check_target(tmp_path / f"report{suffix}")


def test_a_failure_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "report.html"
    path.write_text("before")

    def full(draft: Path, *_: object, **__: object) -> None:
        draft.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(CannotWrite, match="No space left"):
        write_report(path, "after")
    assert path.read_bytes() == b"before"
    assert [entry.name for entry in tmp_path.iterdir()] == ["report.html"]


def test_pdf(tmp_path: Path) -> None:
    try:
        browser()
    except CannotWrite:
        pytest.skip("no browser to print with")
    path = tmp_path / "report.pdf"
    write_report(path, document(solved("sepic"), ".pdf"))
    content = path.read_bytes()
    assert content.startswith(b"%PDF") and len(content) > 20_000
