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


def seconds_of(command: list[str]) -> tuple[float, float]:
    """Time of a process from start to end, and how much of it the processor worked for it."""
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    before = os.times()
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment, timeout=60)
    whole = time.perf_counter() - start
    after = os.times()
    work = after.children_user + after.children_system - before.children_user - before.children_system
    return whole, work


def test_a_whole_process_against_the_import_of_sympy(capfd: pytest.CaptureFixture) -> None:
    program = shutil.which("voltsec", path=str(Path(sys.executable).parent)) or shutil.which("voltsec")
    if program is None:
        pytest.skip("voltsec is not installed as a command")
    commands = {
        "voltsec solve sepic": [program, "solve", "sepic"],
        "import sympy": [sys.executable, "-c", "import sympy"],
    }
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
    for run in range(RUNS + 1):
        for name, command in commands.items():
            taken = seconds_of(command)
            if run:  # the first one fills the file cache
                times[name].append(taken)
    ratios = []
    with capfd.disabled():
        print()
        for place, what in enumerate(("from start to end", "processor time")):
            middle = [statistics.median(taken[place] for taken in times[name]) for name in commands]
            ratios.append(middle[0] / middle[1])
            both = ", ".join(f"{name} {t:.3f} s" for name, t in zip(commands, middle, strict=True))
            print(f"{what:<18} {both}: {ratios[-1]:.2f} times, target {TARGET:g} (median of {RUNS})")
    # other processes on the machine stretch the one, not the other
    assert min(ratios) < ALLOWED
