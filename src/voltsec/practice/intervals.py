"""One interval on the board: loops and nodes, each coil's voltage, each capacitor's current.

The interval's mean network is solved with capacitor voltages and coil currents as if they were sources.
Where an interval ties these together (a loop of capacitors, a cutset of coils), the tie comes out as a
condition and what it leaves open stays as an unknown of the interval.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import networkx as nx

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, CurrentSource, Diode, Inductor, Resistor, Source, Switch
from voltsec.tableau.assembly import parameter_names
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.interval import Interval
from voltsec.tableau.network import Network, Row, Unknown, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring


def voltage_name(name: str, interval: int | None = None) -> str:
    """``v(C1)``, or ``v2(L1)`` for what belongs to interval 2."""
    return f"v{'' if interval is None else interval}({name})"


def current_name(name: str, interval: int | None = None) -> str:
    """``i(L1)``, or ``i2(L1)`` for what belongs to interval 2."""
    return f"i{'' if interval is None else interval}({name})"


def rise_name(name: str, interval: int) -> str:
    """``rise2(L1)``: by how much the current of L1 rises over interval 2."""
    return f"rise{interval}({name})"


@dataclass(frozen=True)
class Local:
    """The solved network of one interval over ``ring``, states being variables."""

    ring: Ring
    network: Network
    rows: tuple[Row, ...]
    eliminated: Eliminated

    @property
    def ties(self) -> tuple[Polynomial, ...]:
        """What the interval ties together: each polynomial is zero."""
        return self.eliminated.conditions

    @property
    def open(self) -> tuple[Unknown, ...]:
        """What the laws leave open, potentials between blocking devices that stand in no law as well."""
        standing = {unknown for row in self.rows for unknown in row}
        loose = [("v", node) for node in self.network.nodes if ("v", node) not in standing]
        return (*self.eliminated.free, *loose)

    def value(self, row: Row) -> tuple[Ratio, dict[Unknown, Ratio]]:
        """A sum of unknowns as a ratio in the states, and what stays open in it."""
        one = self.ring.one
        constant = Ratio(self.ring.zero, one)
        open_terms: dict[Unknown, Ratio] = {}
        for unknown, coefficient in row.items():
            if unknown is None:
                constant = constant + Ratio(coefficient, one)
                continue
            denominator, terms = self.eliminated.solved.get(unknown, (one, {unknown: one}))
            for free, term in terms.items():
                part = Ratio(term, denominator) * Ratio(coefficient, one)
                if free is None:
                    constant = constant + part
                else:
                    before = open_terms.get(free, Ratio(self.ring.zero, one))
                    open_terms[free] = before + part
        return constant, {u: r for u, r in open_terms.items() if not r.is_zero}

    def state(self, unknown: Unknown) -> Row:
        """The row of one unknown; a capacitor's voltage or a coil's current is a variable already."""
        name = _state_name(unknown, self.network.circuit)
        if name is not None:
            return {None: self.ring.symbol(name)}
        return {unknown: self.ring.one}

    def holds(self) -> bool:
        """Put back into every law of the interval, the solution leaves nothing, ties apart."""
        for row in self.rows:
            constant, left = self.value(row)
            if left or not self._tied(constant.numerator):
                return False
        return True

    def _tied(self, polynomial: Polynomial) -> bool:
        """True for zero, or a combination of the ties (each linear in the states)."""
        for name, tie in self._leads:
            polynomial = self._without(polynomial, name, tie)
        return bool(polynomial.is_zero())

    @cached_property
    def _leads(self) -> list[tuple[str, Polynomial]]:
        """The ties, each with a state that no later one holds."""
        found: list[tuple[str, Polynomial]] = []
        for tie in self.ties:
            for name, earlier in found:
                tie = self._without(tie, name, earlier)
            states = sorted(name for name in self.ring.variables(tie) if "(" in name)
            if states:
                found.append((states[0], tie))
        return found

    def _without(self, polynomial: Polynomial, name: str, tie: Polynomial) -> Polynomial:
        parts = self.ring.coefficients(polynomial, name)
        if len(parts) < 2:
            return polynomial
        return polynomial * self.ring.coefficients(tie, name)[1] - parts[1] * tie


def _state_name(unknown: Unknown | None, circuit: Circuit) -> str | None:
    if unknown is None:
        return None
    if unknown[0] == "V":
        return voltage_name(unknown[1])
    if unknown[0] == "i" and len(unknown) == 2 and any(c.name == unknown[1] for c in coils(circuit)):
        return current_name(unknown[1])
    return None


def solve_interval(circuit: Circuit, interval: Interval, references: tuple[str, ...]) -> Local:
    """The interval's mean network, solved for everything in terms of sources and states."""
    states = [voltage_name(c.name) for c in circuit.capacitors]
    states += [current_name(c.name) for c in coils(circuit)]
    ring = Ring((*parameter_names(circuit), *states))
    network = Network(circuit, ring, references)
    rows = [*network.rows, *network.device_rows(interval.conducting)]
    known: list[Row] = []
    for row in rows:
        told: Row = {}
        for unknown, coefficient in row.items():
            name = _state_name(unknown, circuit)
            if name is not None:
                unknown, coefficient = None, coefficient * ring.symbol(name)
            total = told[unknown] + coefficient if unknown in told else coefficient
            told[unknown] = total
        known.append({u: c for u, c in told.items() if not c.is_zero()})
    return Local(ring, network, tuple(known), _preferring_parts(circuit, eliminate(known, ring)))


def _preferring_parts(circuit: Circuit, found: Eliminated) -> Eliminated:
    """What stays open told as a coil's voltage or a capacitor's current rather than a node or a device."""
    wanted = [("u", coil.name) for coil in coils(circuit)]
    wanted += [("i", capacitor.name) for capacitor in circuit.capacitors]
    solved = dict(found.solved)
    free = list(found.free)
    for place, old in enumerate(free):
        if old in wanted:
            continue
        new = next((u for u in wanted if u not in free and u in solved and old in solved[u][1]), None)
        if new is None:
            continue
        denominator, terms = solved.pop(new)
        factor = terms[old]
        rest = {u: c for u, c in terms.items() if u != old}
        # factor * old = denominator * new - rest
        solution: Row = {u: -c for u, c in rest.items()}
        solution[new] = denominator
        for unknown, (own, row) in list(solved.items()):
            if old in row:
                share = row[old]
                changed: Row = {u: c * factor for u, c in row.items() if u != old}
                for u, c in solution.items():
                    changed[u] = changed[u] + c * share if u in changed else c * share
                solved[unknown] = (own * factor, {u: c for u, c in changed.items() if not c.is_zero()})
        solved[old] = (factor, solution)
        free[place] = new
    return Eliminated(found.ring, solved, found.conditions, tuple(free))


def loop_of(circuit: Circuit, interval: Interval, start: str, end: str) -> tuple[str, ...] | None:
    """Elements of the shortest way from ``end`` back to ``start`` whose voltages are known.

    These are sources, capacitors and conducting devices; ``None`` where there is no such way.
    """
    graph = nx.MultiGraph()
    for element in circuit.elements:
        closed = isinstance(element, Switch | Diode) and element.name in interval.conducting
        if isinstance(element, Source | Capacitor | Switch | Diode) and (
            closed or not isinstance(element, Switch | Diode)
        ):
            graph.add_edge(element.start, element.end, name=element.name)
    graph.add_nodes_from((start, end))
    if not nx.has_path(graph, end, start):
        return None
    path = nx.shortest_path(graph, end, start)
    return tuple(
        next(iter(graph.get_edge_data(one, other).values()))["name"]
        for one, other in itertools.pairwise(path)
    )


def nodes_of(circuit: Circuit, interval: Interval, capacitor: Capacitor) -> tuple[str, ...] | None:
    """Nodes whose current law gives a capacitor's current: coils, loads and current sources cross alone."""
    joined = nx.Graph()
    joined.add_nodes_from(circuit.nodes)
    for element in circuit.elements:
        if element is capacitor or isinstance(element, Inductor | Resistor | CurrentSource):
            continue
        if isinstance(element, Switch | Diode) and element.name not in interval.conducting:
            continue
        nodes = element.nodes
        joined.add_edges_from(itertools.pairwise(nodes))
    groups = [nx.node_connected_component(joined, node) for node in (capacitor.start, capacitor.end)]
    if groups[0] == groups[1]:
        return None
    ground = set(circuit.grounds)
    best = min(groups, key=lambda group: (bool(group & ground), len(group)))
    return tuple(node for node in circuit.nodes if node in best)
