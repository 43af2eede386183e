"""Which switches are closed together: the states a circuit's drives lead it through."""

from __future__ import annotations

from itertools import product

from voltsec.circuit.circuit import Circuit, Schedule

MOST_DUTIES = 5
"""Duty symbols up to which every combination of edges is looked at one by one."""


def certain_states(circuit: Circuit) -> tuple[frozenset[str], ...]:
    """Sets of closed switches that occur whatever the duties' values are left open.

    With a value for every duty, all states of the period; without, the first (no edge has passed)
    and the last (every edge has): the order of edges in between is not known then.
    """
    schedules = _schedules(circuit)
    duties = _duties(schedules)
    point = dict(circuit.operating)
    states = [_closed(schedules, frozenset())]
    if all(duty in point for duty in duties):
        for value in sorted({point[duty] for duty in duties}):
            states.append(_closed(schedules, frozenset(duty for duty in duties if point[duty] <= value)))
    else:
        states.append(_closed(schedules, frozenset(duties)))
    return tuple(dict.fromkeys(states))


def possible_states(circuit: Circuit) -> tuple[frozenset[str], ...]:
    """Sets of closed switches that some values of the duties lead to.

    With more than :data:`MOST_DUTIES` duty symbols one set stands for all: every switch not held off.
    """
    schedules = _schedules(circuit)
    duties = _duties(schedules)
    if len(duties) > MOST_DUTIES:
        return (frozenset(name for name, one in schedules.items() if one.duty is not None or one.first),)
    states = [
        _closed(schedules, frozenset(duty for duty, passed in zip(duties, choice, strict=True) if passed))
        for choice in product((False, True), repeat=len(duties))
    ]
    return tuple(dict.fromkeys(states))


def _schedules(circuit: Circuit) -> dict[str, Schedule]:
    """When each switch conducts; one whose drive leads nowhere counts as held off."""
    found = {}
    for switch in circuit.switches:
        try:
            found[switch.name] = circuit.schedule(switch.name)
        except ValueError:
            found[switch.name] = Schedule(None, False)
    return found


def _duties(schedules: dict[str, Schedule]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.duty for one in schedules.values() if one.duty is not None))


def _closed(schedules: dict[str, Schedule], passed: frozenset[str]) -> frozenset[str]:
    """The switches closed after the edges of the duties in ``passed``."""
    return frozenset(
        name
        for name, one in schedules.items()
        if (one.first if one.duty is None else one.first != (one.duty in passed))
    )
