"""Writing a report file in one step, and PDF from the page by a headless browser."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

from voltsec.report.output_file import CannotWrite, draft_of, ending_of

SUFFIXES = (".html", ".md", ".tex", ".pdf")
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)
PATIENCE = 90
"""Seconds a browser may take to print a page."""


def check_target(path: Path) -> None:
    """Complain before any work is done about a file that could not be written."""
    if ending_of(path, SUFFIXES) == ".pdf":
        browser()


def browser() -> str:
    """The browser that prints PDF; a complaint that says what to install where there is none."""
    for name in BROWSERS:
        found = shutil.which(name)
        if found is not None:
            return found
    raise CannotWrite(
        "PDF is printed by a headless browser, and none is installed: install Chromium (on Debian: "
        "apt-get install chromium), or write .html and print that; .html, .md and .tex need no browser"
    )


def write_report(path: Path, text: str) -> None:
    """Put ``text`` (the page, for PDF) into ``path``; a failure leaves what was there before."""
    try:
        with draft_of(path) as draft:
            if path.suffix.lower() == ".pdf":
                _print_pdf(text, draft)
            else:
                draft.write_text(text, encoding="utf-8", newline="\n")
    except OSError as problem:
        raise CannotWrite(f"{path} cannot be written: {problem.strerror or problem}") from problem


def _print_pdf(page: str, target: Path) -> None:
    program = browser()
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "page.html"
        source.write_text(page, encoding="utf-8")
        printed = Path(folder) / "page.pdf"
        command = [
            program,
            *FLAGS,
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={printed}",
            source.as_uri(),
        ]
        try:
            subprocess.run(command, capture_output=True, timeout=PATIENCE, check=True)
        except (subprocess.SubprocessError, OSError) as problem:
            raise CannotWrite(f"{program} could not print the page: {problem}") from problem
        if not printed.exists():
            raise CannotWrite(f"{program} printed no page")
        shutil.copyfile(printed, target)
