"""How long an answer takes, and the exact elimination against a general library in the same run.

Targets are those the project set itself; they are printed, not held, as a loaded machine is no error.
What is held is the order of magnitude against the library.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator

import pytest

import voltsec
from voltsec.circuit.graph import references
from voltsec.command.netlists import shipped_circuits
from voltsec.steady.sequences import find_sequences
from voltsec.steady.solve import solve

from .baseline import (
    DEVICES,
    averages,
    by_linsolve,
    by_row_reduction,
    circuit_of,
    continuous,
    system,
)

SLOW = bool(os.environ.get("VOLTSEC_SLOW_BASELINE"))
"""Set it to run the library on the stage with seven losses as well: minutes."""

IDEAL_TARGET = 0.05
LOSSY_TARGET = 1.0
SEPIC_LOSSY_TARGET = 0.5
MODES_TARGET = {1: 0.3, 3: 1.5}
"""Seconds for a full answer with all modes, by the number of diodes at most."""

SHIPPED = tuple(shipped_circuits())
LOSSY = ("sepic_lossy", "quad_boost_lossy", "multiplier_lossy")

_table: list[tuple[str, str, float, float | None]] = []


@pytest.fixture(scope="module", autouse=True)
def table(request: pytest.FixtureRequest) -> Iterator[None]:
    """Print what was measured beside its target."""
    solve(circuit_of("buck"))  # imports and caches are none of a circuit's time
    yield
    capture = request.config.pluginmanager.getplugin("capturemanager")
    with capture.global_and_fixture_disabled():
        print()
        for what, name, seconds, target in _table:
            beside = "" if target is None else f"   target {target:g} s"
            print(f"{what:<18} {name:<28} {seconds:9.4f} s{beside}")


def note(what: str, name: str, seconds: float, target: float | None = None) -> None:
    """Keep a line for the table."""
    _table.append((what, name, seconds, target))


def seconds_of(task: Callable[[], object], repeat: int = 1) -> float:
    """Shortest of some runs."""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return min(times)


def rounds(name: str) -> int:
    """Repetitions: one where a circuit takes long."""
    return 1 if name.endswith("_lossy") else 3


def modes_target(name: str) -> float | None:
    """Seconds allowed for all modes of an ideal circuit."""
    if name.endswith("_lossy"):
        return None
    diodes = len(circuit_of(name).diodes)
    return next((target for most, target in MODES_TARGET.items() if diodes <= most), None)


@pytest.mark.parametrize("name", [*SHIPPED, "multiplier_lossy"])
def test_full_answer(benchmark, name: str) -> None:
    circuit = circuit_of(name)
    answer = benchmark.pedantic(lambda: voltsec.solve(circuit), rounds=rounds(name))
    assert answer.modes
    note("full answer", name, benchmark.stats.stats.min, modes_target(name))


@pytest.mark.parametrize("name", [name for name in SHIPPED if not name.endswith("_lossy")])
def test_mode_search(benchmark, name: str) -> None:
    circuit = circuit_of(name)
    searches = benchmark.pedantic(lambda: find_sequences(circuit, references(circuit)), rounds=3)
    assert any(search.found or search.numeric for search in searches)
    note("mode search", name, benchmark.stats.stats.min)


@pytest.mark.parametrize("name", DEVICES)
def test_elimination(benchmark, name: str) -> None:
    circuit, sequence = circuit_of(name), continuous(name)
    result = benchmark.pedantic(
        lambda: averages(circuit, sequence), rounds=3 if name in LOSSY else 20, warmup_rounds=1
    )
    assert result is not None
    target = LOSSY_TARGET if name in LOSSY else IDEAL_TARGET
    target = SEPIC_LOSSY_TARGET if name == "sepic_lossy" else target
    note("elimination", name, benchmark.stats.stats.min, target)


@pytest.mark.parametrize("name", ["sepic", *(["sepic_lossy"] if SLOW else [])])
@pytest.mark.parametrize("way", ["linsolve", "row reduction"])
def test_against_a_general_library(name: str, way: str, capfd: pytest.CaptureFixture) -> None:
    circuit, sequence = circuit_of(name), continuous(name)
    matrix, right, symbols = system(circuit, sequence)
    own = seconds_of(lambda: averages(circuit, sequence), 3)
    if way == "linsolve":
        other = seconds_of(lambda: by_linsolve(matrix, right, symbols))
    else:
        other = seconds_of(lambda: by_row_reduction(matrix, right))
    note(way, f"{name} ({matrix.rows} x {matrix.cols})", other)
    note("  against own", name, own)
    with capfd.disabled():
        print(f"\n{name}, {way}: {other:.3f} s / {own:.4f} s = {other / own:.0f} times")
    assert other > own
    if name == "sepic_lossy" and way == "row reduction":
        assert other > 100 * own
