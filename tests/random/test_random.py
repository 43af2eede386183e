"""Random circuits through the whole tool, judged by the integration in time.

The ordinary run takes a part of the cheap cases of ``ordinary.txt``, another one every day;
``VOLTSEC_RANDOM=N`` with ``--everything`` takes the first N of all.
A failing case is printed as a netlist, with what the integration found, and
``python -m tests.random.shrink NUMBER`` makes it smaller.
"""

from __future__ import annotations

import os

import pytest

import voltsec

from .cases import make, shelf
from .ordinary import PASSING, ordinary
from .running import run
from .summary import account


def numbers() -> list[int]:
    """Numbers of the cases to run."""
    wanted = os.environ.get("VOLTSEC_RANDOM")
    return list(range(int(wanted))) if wanted else list(ordinary())


@pytest.mark.parametrize("number", numbers())
def test_random_circuits(number: int) -> None:
    """Every case is right or fails as it is known to; one that is cured has to leave the known ones."""
    (row,), known = run([number]), ordinary().get(number)
    if row["outcome"] in PASSING:
        assert known is None, f"case {number} is no longer {known}: say so in ordinary.txt"
    else:
        assert row["outcome"] == known, account(row)


def test_enough_cases_run() -> None:
    assert len(ordinary()) >= 300


def test_a_number_always_gives_the_same_netlist() -> None:
    for number in range(0, 200, 7):
        assert make(number).netlist == make(number).netlist


@pytest.mark.parametrize("number", range(0, 100, 3))
def test_a_netlist_can_be_read_back(number: int) -> None:
    case = make(number)
    assert voltsec.read(case.netlist).check() == case.circuit


def test_every_shelf_circuit_is_drawn() -> None:
    drawn = {name for number in range(0, 3000, 5) for name in make(number).history[:1]}
    assert set(shelf()) <= drawn
