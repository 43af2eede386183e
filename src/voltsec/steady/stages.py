"""Switch intervals: what the drives alone cut the period into, for one order of the duty edges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import Any

from voltsec.circuit.circuit import Circuit


@dataclass(frozen=True)
class Stages:
    """The period cut at the switch edges, which come in the order ``edges`` (duty symbols)."""

    edges: tuple[str, ...]
    closed: tuple[frozenset[str], ...]
    """Switches that conduct in each switch interval; one more than there are edges."""

    def fractions(self, duties: Mapping[str, Any]) -> list[Any]:
        """Share of the period of each switch interval (numbers or arrays, as the duties are)."""
        bounds = [0.0, *(duties[edge] for edge in self.edges), 1.0]
        return [after - before for before, after in pairwise(bounds)]


def stages_of(circuit: Circuit) -> tuple[Stages, ...]:
    """Every order of the duty edges (one order where there is a single duty or none)."""
    schedules = {switch.name: circuit.schedule(switch.name) for switch in circuit.switches}
    found = []
    for edges in permutations(circuit.duty_symbols):
        closed = []
        for place in range(len(edges) + 1):
            on = set()
            for name, schedule in schedules.items():
                if schedule.duty is None:
                    conducts = schedule.first
                else:
                    conducts = (place <= edges.index(schedule.duty)) == schedule.first
                if conducts:
                    on.add(name)
            closed.append(frozenset(on))
        found.append(Stages(edges, tuple(closed)))
    return tuple(found)
