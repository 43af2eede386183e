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
from voltsec.practice.solve import solve
from voltsec.search.sequences import find_sequences

from .baseline import (
    DEVICES,
    System,
    averages,
    by_linsolve,
    by_row_reduction,
    circuit_of,
    continuous,
    means_and_ramps,
    system,
)
from .every_loss import with_every_loss

SLOW = bool(os.environ.get("VOLTSEC_SLOW_BENCHMARKS"))
"""Set it for what takes minutes: full answers of the longest circuits, the library on means and ramps."""

IDEAL_TARGET = 0.05
LOSSY_TARGET = 1.0
SEPIC_LOSSY_TARGET = 0.5
MODES_TARGET = {1: 0.3, 3: 1.5}
"""Seconds for a full answer with all modes, by the number of diodes at most."""

EVERY_LOSS_TARGET = 5.0
"""Seconds for all modes of any ready stage with a resistance and a drop in every part."""

SHIPPED = tuple(shipped_circuits())
LOSSY = ("sepic_lossy", "quad_boost_lossy", "multiplier_lossy")

LONGEST = ("quad_boost_lossy", "multiplier_lossy")

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


FULL = tuple(name for name in (*SHIPPED, "multiplier_lossy") if SLOW or name not in LONGEST)


@pytest.mark.parametrize("name", FULL)
def test_full_answer(benchmark, name: str) -> None:
    circuit = circuit_of(name)
    answer = benchmark.pedantic(lambda: voltsec.solve(circuit), rounds=rounds(name))
    assert answer.modes
    note("full answer", name, benchmark.stats.stats.min, modes_target(name))


@pytest.mark.parametrize("name", SHIPPED if SLOW else ("boost", "sepic"))
def test_full_answer_with_every_loss(benchmark, name: str) -> None:
    circuit = with_every_loss(circuit_of(name))
    answer = benchmark.pedantic(lambda: voltsec.solve(circuit), rounds=1)
    assert answer.modes
    note("every loss", name, benchmark.stats.stats.min, EVERY_LOSS_TARGET)


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


WAYS: dict[str, Callable[[System], object]] = {
    "linsolve": lambda rows: by_linsolve(*rows),
    "row reduction": lambda rows: by_row_reduction(*rows[:2]),
}
CASES = [(name, False) for name in ("sepic", "sepic_lossy", "quad_boost_lossy")]
CASES += [("sepic", True), *([("sepic_lossy", True)] if SLOW else [])]


@pytest.mark.parametrize(("name", "ramps"), CASES)
@pytest.mark.parametrize("way", WAYS)
def test_against_a_general_library(name: str, ramps: bool, way: str, capfd: pytest.CaptureFixture) -> None:
    circuit, sequence = circuit_of(name), continuous(name)
    rows = system(circuit, sequence, ramps)
    solve_own = means_and_ramps if ramps else averages
    own = seconds_of(lambda: solve_own(circuit, sequence), 5)
    other = seconds_of(lambda: WAYS[way](rows), 1 if ramps else 2)
    what = f"{name} ({rows[0].rows} x {rows[0].cols}{', means and ramps' if ramps else ''})"
    target = ", target 100 times" if name == "sepic_lossy" and way == "row reduction" else ""
    with capfd.disabled():
        print(f"\n{what}, {way}: {other:.3f} s / {own:.4f} s = {other / own:.0f} times{target}")
    assert other > 2 * own
