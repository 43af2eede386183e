"""A whole process, `voltsec solve sepic`, against one that only imports sympy."""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

RUNS = 5
TARGET = 2.5
"""Times the import of sympy, in a process of its own."""
ALLOWED = 4.0
"""More than that is an error even on a loaded machine: something is imported too early."""


def seconds_of(command: list[str]) -> float:
    """Time of a process from start to end."""
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment, timeout=60)
    return time.perf_counter() - start


def test_a_whole_process_against_the_import_of_sympy(capfd: pytest.CaptureFixture) -> None:
    program = shutil.which("voltsec", path=str(Path(sys.executable).parent)) or shutil.which("voltsec")
    if program is None:
        pytest.skip("voltsec is not installed as a command")
    commands = {
        "voltsec solve sepic": [program, "solve", "sepic"],
        "import sympy": [sys.executable, "-c", "import sympy"],
    }
    times: dict[str, list[float]] = {name: [] for name in commands}
    for run in range(RUNS + 1):
        for name, command in commands.items():
            taken = seconds_of(command)
            if run:  # the first one fills the file cache
                times[name].append(taken)
    middle = {name: statistics.median(values) for name, values in times.items()}
    ratio = middle["voltsec solve sepic"] / middle["import sympy"]
    with capfd.disabled():
        print()
        for name, value in middle.items():
            print(f"{name:<22} {value:.3f} s (median of {RUNS})")
        print(f"{'ratio':<22} {ratio:.2f}   target {TARGET:g}")
    assert ratio < ALLOWED
