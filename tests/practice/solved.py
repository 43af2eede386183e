"""Shipped circuits, solved once a test run."""

from __future__ import annotations

from functools import cache

import voltsec
from voltsec.command.netlists import load, shipped_circuits
from voltsec.results.solution import Solution

SLOW = frozenset(
    {"boost_mult1_lossy", "quad_boost_lossy", "boost_then_buck", "quad_buck", "buck_lossy", "sl_boost"}
)
"""Many parts or many modes: these take seconds each."""


@cache
def solved(name: str) -> Solution:
    """The answer of a shipped circuit."""
    return voltsec.solve(load(name))


def every_circuit() -> list[str]:
    """Names of all shipped circuits."""
    return list(shipped_circuits())
