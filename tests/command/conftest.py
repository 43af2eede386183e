"""Running the command line as a user does."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def voltsec() -> Run:
    """Runs ``voltsec`` with the given arguments in a process of its own, 80 columns wide."""

    def run(
        *arguments: str, stdin: str = "", extra: Mapping[str, str] | None = None, cwd: object = None
    ) -> subprocess.CompletedProcess[str]:
        environment = os.environ | {"COLUMNS": "80", "PYTHONIOENCODING": "utf-8"} | dict(extra or {})
        environment.pop("FORCE_COLOR", None)
        return subprocess.run(
            [sys.executable, "-c", "from voltsec.command.main import main; main()", *arguments],
            input=stdin,
            capture_output=True,
            encoding="utf-8",
            env=environment,
            cwd=cwd,  # type: ignore[call-overload]
            timeout=120,
        )

    return run
