"""Random circuits through the whole tool, judged by the integration in time.

The ordinary run takes the cheap cases of ``ordinary.txt``; ``VOLTSEC_RANDOM=N`` takes the first N of all.
A failing case is printed as a netlist, with what the integration found, and
``python -m tests.random.shrink NUMBER`` makes it smaller.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

import voltsec

from .cases import make, shelf
from .ordinary import PASSING, ordinary
from .running import run
from .summary import account

CHUNK = 5


def chunks() -> Iterator[list[int]]:
    """Numbers of the cases to run, some at a time."""
    wanted = os.environ.get("VOLTSEC_RANDOM")
    numbers = list(range(int(wanted))) if wanted else list(ordinary())
    for begin in range(0, len(numbers), CHUNK):
        yield numbers[begin : begin + CHUNK]


@pytest.mark.parametrize("numbers", list(chunks()), ids=lambda numbers: f"{numbers[0]}-{numbers[-1]}")
def test_random_circuits(numbers: list[int]) -> None:
    """Every case is right or fails as it is known to; one that is cured has to leave the known ones."""
    complaints, known = [], ordinary()
    for row in run(numbers):
        number, outcome = row["number"], row["outcome"]
        if outcome in PASSING:
            if known.get(number) is not None:
                complaints.append(f"case {number} is no longer {known[number]}: say so in ordinary.txt")
        elif outcome != known.get(number):
            complaints.append(account(row))
    assert not complaints, "\n\n".join(complaints)


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
