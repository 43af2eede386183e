"""Test modules share solutions: these are frozen values, and the same circuits are asked for often."""

from __future__ import annotations

from datetime import UTC, datetime
from importlib import import_module
from typing import Any
from zlib import crc32

import pytest

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import BUDGET, seconds_left
from voltsec.results.solution import Solution

PARTS = 6
"""The long tests are done in so many days."""
LONG = (
    "tests/command/test_compare.py",
    "tests/command/test_dynamics.py",
    "tests/command/test_report_compare.py",
    "tests/command/test_size.py",
    "tests/command/test_startup.py",
    "tests/command/test_states.py",
    "tests/command/test_waves.py",
    "tests/drawing/",
    "tests/dynamics/",
    "tests/formulas/",
    "tests/held/",
    "tests/integration/",
    "tests/language/test_words.py::test_every_other_name",
    "tests/periodic/",
    "tests/practice/",
    "tests/properties/",
    "tests/published/",
    "tests/random/test_random.py::test_random_circuits[",
    "tests/report/",
)
"""Tests over every circuit there is, of which any part would show a fault of a class."""

_solve = voltsec.solve
_solved: dict[tuple[Any, ...], Solution] = {}
ENOUGH = 0.8 * BUDGET
"""Seconds that tell a budget someone chose from the usual one."""


def solve_once(circuit: Circuit, budget: float | None = None) -> Solution:
    """As ``voltsec.solve``, from memory where the same netlist was solved before."""
    if seconds_left() < ENOUGH:  # a command with a short --budget
        return _solve(circuit, budget)
    key = (circuit, circuit.text, circuit.file, budget)
    if key not in _solved:
        _solved[key] = _solve(circuit, budget)
    return _solved[key]


voltsec.solve = solve_once
import_module("voltsec.practice.solve").solve = solve_once  # type: ignore[attr-defined]


def _today() -> int:
    return datetime.now(UTC).toordinal() % PARTS


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--everything``: leave none of the long tests to another day."""
    parser.addoption("--everything", action="store_true", help="run all of the long tests, not today's part")
    parser.addoption("--part", type=int, default=_today(), help=f"of the long tests this part of {PARTS}")


def pytest_report_header(config: pytest.Config) -> str:
    """Say what is left out."""
    if config.getoption("--everything"):
        return "long tests: all"
    part = config.getoption("--part")
    return f"long tests: part {part} of 0 to {PARTS - 1}, another every day (--everything runs all)"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Of the tests in ``LONG`` one part runs; which one says the day."""
    if config.getoption("--everything"):
        return
    part = config.getoption("--part")
    kept, left = [], []
    for item in items:
        other_day = item.nodeid.startswith(LONG) and crc32(item.nodeid.encode()) % PARTS != part
        (left if other_day else kept).append(item)
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = kept
