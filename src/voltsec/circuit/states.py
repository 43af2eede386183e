"""Which switches are closed together: the states a circuit's drives lead it through."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import TYPE_CHECKING

from voltsec.circuit.timing import BEGIN, OnTime, Schedule, on_time_of, orders

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit

MOST_DUTIES = 5
"""Symbols of duties and starts up to which every order of the edges is looked at."""


def certain_states(circuit: Circuit) -> tuple[frozenset[str], ...]:
    """Sets of closed switches that occur whatever values are left open.

    With a value for every duty and start, all states of the period; without, those that every order
    of the edges has (the first and the last, where all on-times begin with the period).
    """
    schedules = _schedules(circuit)
    on_times = _on_times(schedules)
    point = dict(circuit.operating)
    if all(name in point for name in _symbols(on_times)):
        return _states_at(schedules, on_times, point)
    if len(_symbols(on_times)) > MOST_DUTIES:
        if any(one.first != BEGIN for one in on_times):
            return ()
        return tuple(dict.fromkeys((_closed(schedules, on_times), _closed(schedules, ()))))
    states = [order.closed(schedules) for order in orders(schedules)]
    return tuple(state for state in dict.fromkeys(states[0]) if all(state in others for others in states))


def possible_states(circuit: Circuit) -> tuple[frozenset[str], ...]:
    """Sets of closed switches that some values of the duties and starts lead to.

    With more than :data:`MOST_DUTIES` symbols one set stands for all: every switch not held off.
    """
    schedules = _schedules(circuit)
    if len(_symbols(_on_times(schedules))) > MOST_DUTIES:
        return (frozenset(name for name, one in schedules.items() if one.duty is not None or one.first),)
    return tuple(dict.fromkeys(state for order in orders(schedules) for state in order.closed(schedules)))


def _symbols(on_times: tuple[OnTime, ...]) -> tuple[str, ...]:
    """Duties and symbols of starts."""
    found = [one.duty for one in on_times]
    found += [one.start for one in on_times if isinstance(one.start, str)]
    return tuple(dict.fromkeys(found))


def _schedules(circuit: Circuit) -> dict[str, Schedule]:
    """When each switch conducts; one whose drive leads nowhere counts as held off."""
    found = {}
    for switch in circuit.switches:
        try:
            found[switch.name] = circuit.schedule(switch.name)
        except ValueError:
            found[switch.name] = Schedule(None, False)
    return found


def _on_times(schedules: Mapping[str, Schedule]) -> tuple[OnTime, ...]:
    found = (on_time_of(one) for one in schedules.values())
    return tuple(dict.fromkeys(one for one in found if one is not None))


def _states_at(
    schedules: Mapping[str, Schedule], on_times: tuple[OnTime, ...], point: Mapping[str, Fraction]
) -> tuple[frozenset[str], ...]:
    """The states of a period with a value for every symbol."""
    spans = {}
    for one in on_times:
        start = (point[one.start] if isinstance(one.start, str) else one.start) % 1
        spans[one] = (start, start + point[one.duty])
    instants = sorted({Fraction(0), *(instant % 1 for span in spans.values() for instant in span)})
    states = []
    for instant in instants:
        now = [one for one, (start, end) in spans.items() if start <= instant < end or instant + 1 < end]
        states.append(_closed(schedules, tuple(now)))
    return tuple(dict.fromkeys(states))


def _closed(schedules: Mapping[str, Schedule], now: tuple[OnTime, ...]) -> frozenset[str]:
    """The switches closed while the on-times in ``now`` last."""
    return frozenset(
        name for name, one in schedules.items() if one.first == (one.duty is None or on_time_of(one) in now)
    )
