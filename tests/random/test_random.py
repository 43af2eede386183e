"""Random circuits through the whole tool, judged by the integration in time.

The ordinary run takes the first cheap cases; ``VOLTSEC_RANDOM=N`` takes the first N of all.  A failing
case is printed as a netlist, with what the integration found; ``python -m tests.random.shrink NUMBER``
makes it smaller.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import count, islice

import pytest

import voltsec

from .cases import is_cheap, make, shelf
from .known_open import PASSING, known_open
from .running import run
from .summary import account

ORDINARY = 300
CHUNK = 10


def chosen() -> list[int]:
    """Numbers of the cases to run."""
    wanted = os.environ.get("VOLTSEC_RANDOM")
    if wanted:
        return list(range(int(wanted)))
    return list(islice((number for number in count() if is_cheap(make(number))), ORDINARY))


def chunks() -> Iterator[list[int]]:
    """The chosen numbers, some at a time."""
    numbers = chosen()
    for begin in range(0, len(numbers), CHUNK):
        yield numbers[begin : begin + CHUNK]


@pytest.mark.parametrize("numbers", chunks(), ids=lambda numbers: f"{numbers[0]}-{numbers[-1]}")
def test_random_circuits(numbers: list[int]) -> None:
    """Every case is right or fails as the list of open ones says; one that is cured has to leave the list."""
    complaints, listed = [], known_open()
    for row in run(numbers):
        number, outcome = row["number"], row["outcome"]
        expected = listed.get(number)
        if outcome in PASSING:
            if expected is not None:
                complaints.append(f"case {number} is no longer {expected}: take it from known_open.txt")
        elif expected is None or expected != outcome:
            complaints.append(account(row))
    assert not complaints, "\n\n".join(complaints)


def test_a_number_always_gives_the_same_netlist() -> None:
    for number in range(0, 200, 7):
        assert make(number).netlist == make(number).netlist


@pytest.mark.parametrize("number", range(0, 100, 3))
def test_a_netlist_can_be_read_back(number: int) -> None:
    case = make(number)
    assert voltsec.read(case.netlist).check() == case.circuit


def test_every_shelf_circuit_is_drawn() -> None:
    drawn = {name for number in range(3000) for name in make(number).history[:1]}
    assert set(shelf()) <= drawn
