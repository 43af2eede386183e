"""Running the command line as a user does."""

from __future__ import annotations

import subprocess
from collections.abc import Callable

import pytest

from .run_command import run_command

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def voltsec() -> Run:
    """Runs ``voltsec`` with the given arguments, 80 columns wide; see :func:`run_command`."""

    def run(*arguments: str, **how: object) -> subprocess.CompletedProcess[str]:
        return run_command(arguments, **how)  # type: ignore[arg-type]

    return run
