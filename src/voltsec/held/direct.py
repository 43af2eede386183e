"""The direct-current state of a circuit whose switches all stand still.

Every coil's voltage and every capacitor's current is zero; which diodes conduct is one small
complementarity problem.  Where a source is shorted through a coil, that coil's current has no
limit: its voltage is left free instead, and the rest of the circuit is still told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import islice, product

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Diode, Inductor, Quantity, Resistor, Switch, Transformer
from voltsec.circuit.graph import references
from voltsec.periodic.affine import Affine
from voltsec.periodic.balance import Balance
from voltsec.periodic.complementarity import PeriodicProblem, PeriodicState
from voltsec.periodic.points import base_point
from voltsec.periodic.time_grid import uniform
from voltsec.tableau.assembly import average_rows
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.interval import Interval, Sequence
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio

UNCLEAR = 3e-3
"""Diode current and reverse voltage, relative to the circuit's level, that may both stand for zero."""

TRACES = (1e-3, 1e-5)
"""Resistance, relative to the circuit's level, put in series with every ideal coil, switch and diode in turn:
what it alone holds back rises as it falls."""

LEAK = 1e4
"""Resistance, relative to the load, across every capacitor: it settles what diodes leave floating."""

SMALLER = 1e-2
"""Switches and diodes get less of it by this factor: a voltage no part can bear stands on the coil."""

LARGE = 100.0
RISES = 5.0
"""A coil current that rises so many times from the larger trace to the smaller, above so many times
the circuit's level, has no limit."""

MOST_UNCLEAR = 8
MOST_TRIES = 32
"""Assignments of the diodes whose equations are written out."""


class DirectBalance(Balance):
    """The equations of one interval that never ends; ``running`` are coils and capacitors without limit."""

    def __init__(self, circuit: Circuit, conducting: frozenset[str], running: frozenset[str]) -> None:
        super().__init__(circuit, Sequence((Interval(0, conducting),)), references(circuit))
        self.running = running

    @cached_property
    def averages(self) -> Eliminated:
        """All voltages and currents, volt and ampere."""
        rows = average_rows(self.circuit, self.sequence, self.network)
        capacitors = {capacitor.name for capacitor in self.circuit.capacitors}
        left_out = [{("m", 0, ("i" if name in capacitors else "u", name))} for name in self.running]
        return eliminate([row for row in rows if set(row) not in left_out], self.ring)

    def affine(self, k: int, row: Row, part: str) -> Affine:
        """As :class:`Balance`'s; nothing ramps."""
        if part in ("ramp", "bend"):
            return Affine(Ratio(self.ring.zero, self.ring.one), {})
        return super().affine(k, row, part)


@dataclass(frozen=True)
class DirectState:
    """What conducts, and the equations that go with it."""

    balance: DirectBalance
    point: dict[str, float]
    running: tuple[str, ...]
    """Coils and capacitors whose current or voltage has no limit."""

    @property
    def conducting(self) -> frozenset[str]:
        """Switches and diodes that conduct."""
        return self.balance.sequence.intervals[0].conducting


def direct_states(circuit: Circuit, closed: frozenset[str]) -> list[DirectState]:
    """States with the switches ``closed``: one a consistent assignment of the diodes, the best determined.

    There are several where ideal diodes carry nothing and take nothing, or leave open how they share a
    voltage.  Numbers are the netlist's; a part without a value gets an ordinary one.
    """
    circuit = with_magnetizing(circuit)
    point = base_point(circuit)
    states = [_numeric(circuit, closed, point, trace) for trace in TRACES]
    first = states[0]
    if first is None:
        return []
    running = _running(circuit, first, states[1], point)
    found: list[tuple[int, DirectState]] = []
    for conducting in islice(_assignments(circuit, closed, first, point), MOST_TRIES):
        balance = DirectBalance(circuit, conducting, frozenset(running))
        if _consistent(balance, point):
            found.append((len(balance.averages.free), DirectState(balance, point, running)))
    least = min((free for free, _ in found), default=0)
    return [state for free, state in found if free == least]


def _numeric(
    circuit: Circuit, closed: frozenset[str], point: dict[str, float], trace: float
) -> PeriodicState | None:
    """The state by numbers, with a trace of resistance in every coil, switch and diode that has none."""
    loads = [point[e.quantity.symbol] for e in circuit.of(Resistor)]
    ohms = trace * (min(loads) if loads else 1.0)
    values, elements, magnetizing = dict(point), [], []
    for element in circuit.elements:
        if isinstance(element, Transformer) and element.magnetizing is not None:
            coil = element.magnetizing
            trace_of_it = Quantity(f"#{coil.symbol}", "ohm")
            magnetizing.append(Inductor(coil.symbol, *element.windings[0], coil, resistance=trace_of_it))
            values[trace_of_it.symbol] = ohms
            element = replace(element, magnetizing=None)
        elif isinstance(element, Inductor | Switch | Diode) and element.resistance is None:
            element = replace(element, resistance=Quantity(f"#{element.name}", "ohm"))
            values[f"#{element.name}"] = ohms if isinstance(element, Inductor) else SMALLER * ohms
        elements.append(element)
    elements += magnetizing
    for capacitor in circuit.capacitors:
        leak = Quantity(f"#{capacitor.name}", "ohm")
        elements.append(Resistor(f"#{capacitor.name}", capacitor.start, capacitor.end, leak))
        values[leak.symbol] = LEAK * (min(loads) if loads else 1.0)
    # at direct current coils do not act on each other
    softened = replace(circuit, elements=tuple(elements), couplings=())
    problem = PeriodicProblem(softened, references(circuit), (closed,), values)
    return problem.solve(np.array([1.0]), uniform(1, 1))


def _running(
    circuit: Circuit, larger: PeriodicState, smaller: PeriodicState | None, point: dict[str, float]
) -> tuple[str, ...]:
    """Coils and capacitors whose current or voltage has no limit."""
    found = dict.fromkeys(larger.runaway)
    if smaller is not None:
        found |= dict.fromkeys(smaller.runaway)
        for place, coil in enumerate(coils(circuit)):
            before, after = (abs(float(state.coil_currents[0, place])) for state in (larger, smaller))
            if after > RISES * before and after > LARGE * _ampere(circuit, point):
                found[coil.name] = None
    return tuple(found)


def _ampere(circuit: Circuit, point: dict[str, float]) -> float:
    """The circuit's level of current: its largest source across its smallest resistance."""
    volt = max([abs(point[s.quantity.symbol]) for s in circuit.sources] or [1.0])
    loads = [point[e.quantity.symbol] for e in circuit.of(Resistor)]
    return volt / (min(loads) if loads else 1.0)


def with_magnetizing(circuit: Circuit) -> Circuit:
    """The circuit with a magnetizing inductance in every transformer: none passes direct current."""
    taken = {quantity.symbol for quantity in circuit.quantities}
    elements = []
    for element in circuit.elements:
        if isinstance(element, Transformer) and element.magnetizing is None:
            symbol = f"L_{element.name}"
            while symbol in taken:
                symbol += "_"
            taken.add(symbol)
            value = Fraction(1, 1000)  # henry; a direct-current state does not depend on it
            element = replace(element, magnetizing=Quantity(symbol, "H", value))
        elements.append(element)
    return replace(circuit, elements=tuple(elements))


def _assignments(
    circuit: Circuit, closed: frozenset[str], state: PeriodicState, point: dict[str, float]
) -> Iterator[frozenset[str]]:
    """Assignments that the numbers allow, blocking first where a diode carries and blocks nothing."""
    volt = max([abs(point[s.quantity.symbol]) for s in circuit.sources] or [1.0])
    ampere = _ampere(circuit, point)
    sure, unclear = set(closed), []
    for place, diode in enumerate(circuit.diodes):
        current = state.currents[0, place] / ampere
        blocking = state.blocking[0, place] / volt
        if max(current, blocking) < UNCLEAR:
            unclear.append(diode.name)
        elif current > blocking:
            sure.add(diode.name)
    choices = product((False, True), repeat=min(len(unclear), MOST_UNCLEAR))
    for choice in sorted(choices, key=sum):
        also = {name for name, conducts in zip(unclear, choice, strict=False) if conducts}
        yield frozenset(sure | also)


def _consistent(balance: DirectBalance, point: dict[str, float]) -> bool:
    """No contradiction, and every sign as it must be at ``point``."""
    if balance.averages.conditions:
        return False
    whole = point | {"#1": 1.0}
    for condition in balance.sign_conditions:
        top = balance.ring.terms(condition.ratio.numerator, whole)
        bottom = float(balance.ring.value(condition.ratio.denominator, whole))
        size = float(np.abs(top).sum())
        if size and float(top.sum()) / size * np.sign(bottom) < -1e-9:
            return False
    return True
