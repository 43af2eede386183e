"""Orders of switch edges: each that some values allow, and no other; what is closed in each part."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import voltsec
from voltsec.circuit.states import certain_states, possible_states
from voltsec.circuit.timing import Edge, Schedule, gaps, needed, orders, schedules_of
from voltsec.formulas.mode_names import order_text
from voltsec.periodic.stages import stages_of

SYMBOLS = ("D1", "D2", "p", "q")
STARTS: st.SearchStrategy = st.sampled_from(
    [Fraction(0), Fraction(1, 2), Fraction(1, 3), Fraction(3, 10), "p", "q"]
)
values = st.fixed_dictionaries({name: st.floats(0.01, 0.99) for name in SYMBOLS})


def pulses(start: Fraction | str, duty: str, point: dict[str, float], instant: float) -> bool:
    """Whether an on-time covers an instant: by the definition, modulo the period."""
    begin = point[start] if isinstance(start, str) else float(start)
    return (instant - begin) % 1.0 < point[duty]


@settings(deadline=None, max_examples=30)
@given(st.lists(st.tuples(STARTS, st.sampled_from(["D1", "D2"])), min_size=1, max_size=3), values)
def test_exactly_one_order_holds_and_tells_what_is_closed(drives: list, point: dict[str, float]) -> None:
    schedules = {f"S{k}": Schedule(duty, k % 2 == 0, start) for k, (start, duty) in enumerate(drives)}
    holding = []
    for order in orders(schedules):
        lengths = [after.at(point) - before.at(point) for before, after in gaps(order.edges)]
        assume(all(abs(length) > 1e-6 for length in lengths))
        if min(lengths) > 0:
            holding.append((order, lengths))
    ((order, lengths),) = holding
    assert sum(lengths) == pytest.approx(1)
    instant = 0.0
    for closed, length in zip(order.closed(schedules), lengths, strict=True):
        middle = instant + length / 2
        expected = {
            name
            for name, schedule in schedules.items()
            if pulses(schedule.start, str(schedule.duty), point, middle) == schedule.first
        }
        assert closed == expected
        instant += length


@pytest.mark.parametrize("legs", [2, 3, 4, 6])
def test_as_many_orders_as_legs(legs: int) -> None:
    """N equal on-times spread over the period overlap more and more: D below 1/N, 2/N ... (own count)."""
    schedules = {f"S{k}": Schedule("D", True, Fraction(k, legs)) for k in range(legs)}
    texts = {order_text([*_conditions(order.edges)]) for order in orders(schedules)}
    assert len(texts) == legs
    assert f"D < 1/{legs}" in texts


def _conditions(edges: tuple[Edge, ...]) -> list:
    from voltsec.periodic.stages import Stages

    return Stages(edges, ()).conditions()


def test_what_follows_from_the_rest_is_not_said() -> None:
    schedules = {"S1": Schedule("D", True), "S2": Schedule("D", True, Fraction(1, 2))}
    first, second = sorted(orders(schedules), key=lambda order: len(order.over_the_end))
    assert len(needed(first.edges)) == len(needed(second.edges)) == 1
    assert order_text(_conditions(first.edges)) == "D < 1/2"
    assert order_text(_conditions(second.edges)) == "D > 1/2"


def test_plain_duties_keep_their_orders() -> None:
    schedules = {"S1": Schedule("D1", True), "S2": Schedule("D2", True)}
    found = {order_text(_conditions(order.edges)) for order in orders(schedules)}
    assert found == {"D1 < D2", "D2 < D1"}


LEGS = """
source Vg : in -> gnd = 12 V
switch S1 : in -> a
switch S2 : in -> b
diode D1 : gnd -> a
diode D2 : gnd -> b
inductor L1 : a -> out
inductor L2 : b -> out
load R : out -> gnd
drive S1 at D
drive S2 at D from {start}
operate D = {duty}
"""


def test_states_that_are_certain_and_possible() -> None:
    circuit = voltsec.read(LEGS.format(start="0.5", duty="0.3"))
    one, other, none = frozenset({"S1"}), frozenset({"S2"}), frozenset()
    assert set(certain_states(circuit)) == {one, other, none}
    assert set(possible_states(circuit)) == {one, other, none, one | other}
    both = voltsec.read(LEGS.format(start="0.5", duty="0.7"))
    assert set(certain_states(both)) == {one, other, one | other}
    open_ = voltsec.read(LEGS.format(start="0.5", duty="0.7").replace("operate D = 0.7\n", ""))
    assert set(certain_states(open_)) == {one, other}  # each alone at times, whatever D is


def test_a_common_start_is_no_start() -> None:
    """Only how on-times lie to each other matters, so a lone one may be counted from its own start."""
    text = LEGS.format(start="0.5", duty="0.3").replace("S1 at D", "S1 at D from 0.5")
    assert len(stages_of(voltsec.read(text))) == 1
    shifted = LEGS.format(start="0.75", duty="0.3").replace("S1 at D", "S1 at D from 0.25")
    plain = LEGS.format(start="0.5", duty="0.3")
    assert schedules_of(voltsec.read(shifted)) == schedules_of(voltsec.read(plain))
