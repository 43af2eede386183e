"""Switch edges: instants of the period as sums of duties and starts, and the orders they can come in.

An on-time begins at its start and lasts its duty; one that runs over the period's end goes on at the
period's beginning.  Every order of the edges that some values allow is an order of its own; orders that
no value allows (``0.5 + D`` before ``D``) are left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise, permutations
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit

LEAST_GAP = 1e-9
"""Edges that come no further apart than this, whatever the values, have no order of their own."""


@dataclass(frozen=True)
class Schedule:
    """When a switch conducts, followed to the end of ``against`` and ``with`` chains.

    ``duty`` is the symbol of the on-time's share, ``None`` for a held switch; the on-time begins at
    the fraction ``start`` of the period and may run over its end.  ``first`` tells whether the switch
    conducts in that time or, for ``against``, in the rest; for a held switch, whether it is on.
    """

    duty: str | None
    first: bool
    start: Fraction | str = Fraction(0)


@dataclass(frozen=True)
class Edge:
    """An instant as a fraction of the period: a constant and the sum of some symbols."""

    constant: Fraction
    symbols: tuple[str, ...] = ()

    def at(self, values: Mapping[str, Any]) -> Any:
        """The instant for the symbols' values (numbers or arrays that broadcast)."""
        total: Any = float(self.constant)
        for name in self.symbols:
            total = total + values[name]
        return total


BEGIN, END = Edge(Fraction(0)), Edge(Fraction(1))


@dataclass(frozen=True)
class OnTime:
    """An on-time: where it starts (a fraction below one, or a symbol) and the duty it lasts."""

    start: Fraction | str
    duty: str

    @property
    def first(self) -> Edge:
        """The instant at which it begins."""
        return Edge(Fraction(0), (self.start,)) if isinstance(self.start, str) else Edge(self.start)

    def last(self, over_the_end: bool) -> Edge:
        """The instant at which it ends, in the next period's count where it runs ``over_the_end``."""
        first = self.first
        return Edge(first.constant - int(over_the_end), (*first.symbols, self.duty))


@dataclass(frozen=True)
class Order:
    """The edges inside a period in one order, and the on-times that run over its end."""

    edges: tuple[Edge, ...]
    over_the_end: frozenset[OnTime] = frozenset()

    def conducts(self, on_time: OnTime, stage: int) -> bool:
        """Whether ``on_time`` covers the part of the period after ``stage`` edges."""
        begun = on_time.first == BEGIN or stage > self.edges.index(on_time.first)
        wraps = on_time in self.over_the_end
        going_on = stage <= self.edges.index(on_time.last(wraps))
        return begun or going_on if wraps else begun and going_on

    def closed(self, schedules: Mapping[str, Schedule]) -> tuple[frozenset[str], ...]:
        """The switches that conduct between each two edges; one set more than there are edges."""
        found = []
        for stage in range(len(self.edges) + 1):
            on = set()
            for name, schedule in schedules.items():
                on_time = on_time_of(schedule)
                if schedule.first == (on_time is None or self.conducts(on_time, stage)):
                    on.add(name)
            found.append(frozenset(on))
        return tuple(found)


def on_time_of(schedule: Schedule) -> OnTime | None:
    """The on-time a schedule speaks of, None for a held switch."""
    if schedule.duty is None:
        return None
    start = schedule.start
    return OnTime(start if isinstance(start, str) else start % 1, schedule.duty)


def schedules_of(circuit: Circuit) -> dict[str, Schedule]:
    """When each switch conducts, by name.

    Where no on-time begins with the period, it is counted from the earliest start: only how on-times
    lie to each other matters.
    """
    found = {switch.name: circuit.schedule(switch.name) for switch in circuit.switches}
    starts = {on_time.start for on_time in map(on_time_of, found.values()) if on_time is not None}
    earliest = next(iter(starts)) if len(starts) == 1 else Fraction(0)
    if starts and all(isinstance(start, Fraction) for start in starts):
        earliest = min(start for start in starts if isinstance(start, Fraction))
    return {name: _counted_from(earliest, schedule) for name, schedule in found.items()}


def _counted_from(earliest: Fraction | str, schedule: Schedule) -> Schedule:
    if schedule.start == earliest:
        return replace(schedule, start=Fraction(0))
    if isinstance(schedule.start, Fraction) and isinstance(earliest, Fraction):
        return replace(schedule, start=schedule.start - earliest)
    return schedule


def orders(schedules: Mapping[str, Schedule]) -> tuple[Order, ...]:
    """Every order of the edges that some values of the symbols, each between 0 and 1, allow."""
    found = (on_time_of(schedule) for schedule in schedules.values())
    return _orders(tuple(dict.fromkeys(one for one in found if one is not None)))


@lru_cache(maxsize=256)
def _orders(on_times: tuple[OnTime, ...]) -> tuple[Order, ...]:
    if all(one.first == BEGIN for one in on_times):
        return tuple(Order(edges) for edges in permutations(one.last(False) for one in on_times))
    found = [Order(())]
    for one in on_times:
        found = [longer for order in found for longer in _with(order, one)]
    return tuple(found)


def _with(order: Order, on_time: OnTime) -> Iterator[Order]:
    """The orders that one on-time more makes of one."""
    for wraps in (False,) if on_time.first == BEGIN else (False, True):
        for begun in _inserted(order.edges, on_time.first):
            for edges in _inserted(begun, on_time.last(wraps)):
                yield Order(edges, order.over_the_end | ({on_time} if wraps else set()))


def _inserted(edges: tuple[Edge, ...], edge: Edge) -> list[tuple[Edge, ...]]:
    """The edges with one more at every place where some values put it."""
    if edge == BEGIN or edge in edges:
        return [edges]
    longer = ((*edges[:place], edge, *edges[place:]) for place in range(len(edges) + 1))
    return [some for some in longer if inside(some) is not None]


@lru_cache(maxsize=4096)
def inside(edges: tuple[Edge, ...]) -> Mapping[str, float] | None:
    """Values of the symbols that put ``edges`` in this order, as far apart as can be; None where none do."""
    from scipy.optimize import linprog  # only starts other than the period's own need it

    names = symbols_of(edges)
    rows, limits = [], []
    for gap in gaps(edges):  # every gap is at least the last variable, which is made as large as can be
        row, constant = _row(gap, names)
        rows.append([*(-value for value in row), 1.0])
        limits.append(constant)
    for place in range(len(names)):
        own = [float(place == other) for other in range(len(names))]
        rows += [[*(-value for value in own), 1.0], [*own, 1.0]]
        limits += [0.0, 1.0]
    bounds = [(0.0, 1.0)] * len(names) + [(None, 1.0)]
    result = linprog([*([0.0] * len(names)), -1.0], rows, limits, bounds=bounds)
    if not result.success or result.x[-1] <= LEAST_GAP:
        return None
    return dict(zip(names, (float(value) for value in result.x), strict=False))


def needed(edges: tuple[Edge, ...]) -> tuple[tuple[Edge, Edge], ...]:
    """The pairs (before, after) that make up the order, without those that follow from the others.

    That every symbol lies between 0 and 1 is taken for granted.
    """
    if all(edge.constant == 0 and len(edge.symbols) == 1 for edge in edges):
        return tuple(pairwise(edges))
    from scipy.optimize import linprog

    names = symbols_of(edges)
    kept = list(gaps(edges))
    for gap in gaps(edges):
        others = [_row(other, names) for other in kept if other != gap]
        row, constant = _row(gap, names)
        if not names:
            continue
        result = linprog(
            row,
            [[-value for value in other] for other, _ in others] or None,
            [limit for _, limit in others] or None,
            bounds=[(0.0, 1.0)] * len(names),
        )
        if result.success and result.fun + constant >= -LEAST_GAP:
            kept.remove(gap)
    return tuple(kept)


def gaps(edges: tuple[Edge, ...]) -> tuple[tuple[Edge, Edge], ...]:
    """Neighbours in the period, its begin and end among them."""
    return tuple(pairwise((BEGIN, *edges, END)))


def symbols_of(edges: tuple[Edge, ...]) -> tuple[str, ...]:
    """Every symbol in the edges, in their order."""
    return tuple(dict.fromkeys(name for edge in edges for name in edge.symbols))


def _row(gap: tuple[Edge, Edge], names: tuple[str, ...]) -> tuple[list[float], float]:
    """Coefficients of the symbols and constant of what lies between two edges."""
    before, after = gap
    row = [float(after.symbols.count(name) - before.symbols.count(name)) for name in names]
    return row, float(after.constant - before.constant)
