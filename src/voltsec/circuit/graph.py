"""The circuit as a graph: what cannot work in it, and its reference nodes.

Nodes of the graph are nodes of the circuit, edges its elements (a transformer gives one edge a
winding).  The checks find what is wrong whatever the values are; they leave to the solver what is
a matter of equations (loops of capacitors and diodes, cutsets of inductors).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import networkx as nx

from voltsec.circuit.elements import CurrentSource, Element, Inductor, Place, Source, Switch, Transformer
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.circuit.passivity import coupling_faults
from voltsec.circuit.states import certain_states, possible_states

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit


def check(circuit: Circuit) -> Circuit:
    """The circuit itself; :class:`CircuitError` with everything that cannot work in it."""
    faults = find_faults(circuit)
    if faults:
        raise CircuitError(faults, circuit.file, circuit.text)
    return circuit


def graph_of(circuit: Circuit) -> nx.MultiGraph:
    """The graph: one edge an element, keyed by its name, a winding keyed ``T.1``, ``T.2`` …

    Each edge holds its element as ``element``.
    """
    graph = nx.MultiGraph()
    graph.add_nodes_from(circuit.nodes)
    for element in circuit.elements:
        if isinstance(element, Transformer):
            for count, (start, end) in enumerate(element.windings, 1):
                graph.add_edge(start, end, key=f"{element.name}.{count}", element=element)
        else:
            graph.add_edge(element.start, element.end, key=element.name, element=element)
    return graph


def find_faults(circuit: Circuit) -> tuple[Fault, ...]:
    """Everything that cannot work in the circuit, each fault with its elements and nodes."""
    graph = graph_of(circuit)
    faults = [*_missing_faults(circuit), *_ground_faults(circuit, graph)]
    loose = _loose_nodes(circuit, graph)
    dead = _dead_parts(circuit, graph) if circuit.sources else []
    faults += [fault for _, fault in loose]
    faults += [fault for _, fault in dead]
    faults += _source_loops(circuit, graph, certain_states(circuit))
    # A current without a path is no news in a part that is not connected properly.
    known = {node for node, _ in loose}.union(*(nodes for nodes, _ in dead))
    faults += _trapped_currents(circuit, graph, known)
    faults += coupling_faults(circuit)
    faults += _drop_faults(circuit)
    return tuple(faults)


def references(circuit: Circuit) -> tuple[str, ...]:
    """The reference nodes (potential zero), one for each galvanically separate part.

    First those the circuit names, then, for parts without one, a node picked by what is connected:
    where the output ends, else where a source ends, else where a load ends, else the node with most
    connections; names in alphabetical order decide between equals, so statement order does not.
    """
    graph = graph_of(circuit)
    stated = [node for node in circuit.grounds if node in graph]
    parts = [part for part in nx.connected_components(graph) if not part.intersection(stated)]
    return (*stated, *sorted(_pick(circuit, graph, part) for part in parts))


def _pick(circuit: Circuit, graph: nx.MultiGraph, part: set[str]) -> str:
    """The reference node of a part that names none."""
    ends = []
    if circuit.output_choice is not None or circuit.loads:
        ends.append(circuit.output.end)
    if circuit.sources:
        ends.append(circuit.input.end)
    ends += [source.end for source in sorted(circuit.sources, key=lambda one: one.name)]
    ends += [load.end for load in sorted(circuit.loads, key=lambda one: one.name)]
    for end in ends:
        if end in part:
            return end
    return min(part, key=lambda node: (-graph.degree(node), node))


def _missing_faults(circuit: Circuit) -> list[Fault]:
    """No source, no switch, no load."""
    faults = []
    if not circuit.sources:
        hint = "add a line: source Vg : in -> gnd"
        faults.append(Fault("no-source", "the circuit has no source", hint=hint))
    if not circuit.switches:
        hint = "a converter needs a switch, diodes alone do not make one"
        faults.append(Fault("no-switch", "the circuit has no switch", hint=hint))
    if not circuit.loads and circuit.output_choice is None:
        hint = "add a line: load R : out -> gnd, or say what the output is: output NODE -> NODE"
        faults.append(Fault("no-load", "the circuit has no load and names no output", hint=hint))
    return faults


def _ground_faults(circuit: Circuit, graph: nx.MultiGraph) -> list[Fault]:
    """Ground nodes that do not exist, and two in one galvanic part."""
    faults = []
    if circuit.grounds != ("gnd",):
        for node in circuit.grounds:
            if node not in graph:
                message = f"no element connects to the ground node {node}"
                faults.append(Fault("unknown-node", message, _ground_place(circuit, node), (), (node,)))
    for part in nx.connected_components(graph):
        inside = [node for node in circuit.grounds if node in part]
        if len(inside) > 1:
            message = f"{' and '.join(inside)} are both ground in one galvanically connected part"
            hint = "each galvanically separate part has one ground node"
            place = _ground_place(circuit, inside[1])
            faults.append(Fault("two-grounds", message, place, (), tuple(inside), hint))
    return faults


def _loose_nodes(circuit: Circuit, graph: nx.MultiGraph) -> list[tuple[str, Fault]]:
    """Nodes with one connection."""
    faults = []
    for node in circuit.nodes:
        if graph.degree(node) != 1:
            continue
        element = next(iter(graph.edges(node, data="element")))[2]
        other = _nearest_node(node, circuit.nodes)
        hint = f"did you mean '{other}'?" if other else "connect something else to it"
        message = f"node {node} has one connection, to {element.name}"
        place = _node_place(circuit, element, node)
        faults.append((node, Fault("loose-node", message, place, (element.name,), (node,), hint)))
    return faults


def _dead_parts(circuit: Circuit, graph: nx.MultiGraph) -> list[tuple[set[str], Fault]]:
    """Parts that no source can reach, through transformers and coupled inductors either."""
    linked = nx.Graph(graph)
    for transformer in circuit.transformers:
        linked.add_edges_from((transformer.nodes[0], node) for node in transformer.nodes[1:])
    inductors = {one.name: one for one in circuit.inductors}
    for coupling in circuit.couplings:
        if coupling.first in inductors and coupling.second in inductors:
            linked.add_edge(inductors[coupling.first].start, inductors[coupling.second].start)
    fed = {source.start for source in circuit.sources}
    faults = []
    for part in nx.connected_components(linked):
        if part & fed:
            continue
        members = [element for element in circuit.elements if element.nodes[0] in part]
        names = tuple(element.name for element in members)
        nodes = tuple(node for node in circuit.nodes if node in part)
        message = f"no path leads from {_list(names)} to any source"
        hint = "check the node names " + _list(nodes)
        place = members[0].place if members else None
        faults.append((part, Fault("part-without-source", message, place, names, nodes, hint)))
    return faults


def shorts(circuit: Circuit, states: Iterable[frozenset[str]]) -> list[Fault]:
    """Loops of sources and switches that are closed together in one of ``states``."""
    return _source_loops(circuit, graph_of(circuit), states)


def _source_loops(circuit: Circuit, graph: nx.MultiGraph, states: Iterable[frozenset[str]]) -> list[Fault]:
    """Loops of sources and closed switches in some states.

    A source with an internal resistance makes no such loop.  A switch with one does where it
    shorts a single source, but not between two sources, where the resistance sets the current.
    """
    reported: dict[frozenset[str], Fault] = {}
    for closed in states:
        hard, switches = nx.MultiGraph(), nx.MultiGraph()
        for start, end, name, element in graph.edges(keys=True, data="element"):
            if isinstance(element, Source) and element.resistance is None:
                hard.add_edge(start, end, key=name)
            elif isinstance(element, Switch) and name in closed:
                switches.add_edge(start, end, key=name)
                if element.resistance is None:
                    hard.add_edge(start, end, key=name)
        for source in circuit.sources:
            if source.resistance is not None:
                continue
            others = hard.copy()
            others.remove_edge(source.start, source.end, key=source.name)
            path = _path(switches, source.start, source.end) or _path(others, source.start, source.end)
            if path is None:
                continue
            loop, nodes = (source.name, *path[0]), path[1]
            if frozenset(loop) not in reported:
                reported[frozenset(loop)] = _loop_fault(circuit, loop, nodes)
    return list(reported.values())


def _loop_fault(circuit: Circuit, loop: tuple[str, ...], nodes: tuple[str, ...]) -> Fault:
    """The fault of one loop of sources and closed switches."""
    elements = [circuit.element(name) for name in loop]
    switches = [one.name for one in elements if isinstance(one, Switch)]
    sources = [one.name for one in elements if isinstance(one, Source)]
    if not switches:
        message = f"the sources {_list(sources)} form a loop"
        hint = "give one of them a resistance"
    elif len(sources) == 1:
        message = f"{switches[0]}, when closed, shorts the source {sources[0]}"
        hint = "check the nodes"
        if len(switches) > 1:
            message = f"{_list(switches)}, closed together, short the source {sources[0]}"
            hint = "check the nodes and the drives: one against the other"
    else:
        message = f"{_list(switches)}, when closed, connects the sources {_list(sources)} in a loop"
        hint = "give a source or the switch a resistance"
    places = [one.place for one in elements if one.place is not None]
    last = max(places, key=lambda place: (place.line, place.column)) if places else None
    return Fault("source-loop", message, last, loop, nodes, hint)


def _path(graph: nx.MultiGraph, start: str, end: str) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """Edge names and nodes of a shortest path, None where there is none."""
    if start not in graph or end not in graph:
        return None
    try:
        nodes = nx.shortest_path(graph, start, end)
    except nx.NetworkXNoPath:
        return None
    return tuple(min(graph[one][other]) for one, other in pairwise(nodes)), tuple(nodes)


def _trapped_currents(circuit: Circuit, graph: nx.MultiGraph, known: set[str]) -> list[Fault]:
    """Inductors and constant currents that in no state have a path back to their other end.

    Everything but an open switch may carry current: diodes whatever their direction, capacitors,
    other inductors, windings.  A constant current finds no path through another one alone.
    """
    waiting: dict[str, Element] = {
        one.name: one
        for one in circuit.elements
        if isinstance(one, (Inductor, CurrentSource)) and not known.intersection(one.nodes)
    }
    faults = []
    for closed in possible_states(circuit):
        if not waiting:
            break
        opened = [
            (start, end, name)
            for start, end, name, element in graph.edges(keys=True, data="element")
            if isinstance(element, Switch) and name not in closed
        ]
        state = graph.copy()
        state.remove_edges_from(opened)
        bridges = _bridges(state)
        state.remove_edges_from([(one.start, one.end, one.name) for one in circuit.of(CurrentSource)])
        joined = {node: count for count, part in enumerate(nx.connected_components(state)) for node in part}
        for name, element in list(waiting.items()):
            if isinstance(element, CurrentSource):
                carried = joined[element.start] == joined[element.end]
            else:
                carried = name not in bridges
            if carried:
                del waiting[name]
    reported: set[frozenset[str]] = set()
    for name, element in waiting.items():
        what = "constant current" if isinstance(element, CurrentSource) else "inductor"
        message = f"the current of {what} {name} has no path in any state"
        node, blockers = _blockers(graph, element)
        if frozenset((name, *blockers)) in reported:
            # Two constant currents in series are one fault, not two.
            continue
        reported.add(frozenset((name, *blockers)))
        if blockers:
            message += f": at node {node} nothing but {_list(blockers)} could take it over"
        hint = "add a diode or a switch that takes the current over, or check the node names"
        elements, nodes = (name, *blockers), tuple(element.nodes)
        faults.append(Fault("no-current-path", message, element.place, elements, nodes, hint))
    return faults


def _bridges(graph: nx.MultiGraph) -> set[str]:
    """Names of the edges whose removal parts the graph: no current can flow in a circle through them."""
    simple = nx.Graph(graph)
    simple.remove_edges_from(list(nx.selfloop_edges(simple)))
    single = ((start, end) for start, end in nx.bridges(simple) if graph.number_of_edges(start, end) == 1)
    return {next(iter(graph[start][end])) for start, end in single}


def _blockers(graph: nx.MultiGraph, element: Element) -> tuple[str, tuple[str, ...]]:
    """The end of a trapped current where only switches (or constant currents) could take it, and those."""
    blocking = (Switch, CurrentSource) if isinstance(element, CurrentSource) else (Switch,)
    for node in reversed(element.nodes):
        others = {
            name: other
            for _, _, name, other in graph.edges(node, keys=True, data="element")
            if name != element.name
        }
        if others and all(isinstance(other, blocking) for other in others.values()):
            return node, tuple(sorted(others))
    return "", ()


def _nearest_node(node: str, nodes: Iterable[str]) -> str | None:
    """Another node spelled nearly the same."""
    import difflib

    others = [other for other in nodes if other != node]
    same = [other for other in others if other.lower() == node.lower()]
    close = same or (difflib.get_close_matches(node, others, n=1, cutoff=0.7) if len(node) > 2 else [])
    return close[0] if close else None


def _node_place(circuit: Circuit, element: Element, node: str) -> Place | None:
    """Where a node stands in the statement of an element (the element's own place failing that)."""
    place = element.place
    if place is None:
        return None
    lines = re.split(r"\r\n|\n|\r", circuit.text)
    if place.line > len(lines):
        return place
    line = lines[place.line - 1]
    found = re.compile(rf"\b{re.escape(node)}\b").search(line, line.find(":", place.column) + 1)
    return Place(place.line, found.start() + 1) if found else place


def _ground_place(circuit: Circuit, node: str) -> Place | None:
    """Where a node stands in a ``ground`` statement of the text."""
    for count, line in enumerate(re.split(r"\r\n|\n|\r", circuit.text), 1):
        if re.match(r"\s*ground\b", line):
            found = re.compile(rf"\b{re.escape(node)}\b").search(line, line.index("ground") + 6)
            if found:
                return Place(count, found.start() + 1)
    return None


def _list(names: Iterable[str]) -> str:
    """Names as people list them, at most eight."""
    shown = list(names)
    if len(shown) > 8:
        shown = [*shown[:7], f"{len(shown) - 7} more"]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def _drop_faults(circuit: Circuit) -> Iterator[Fault]:
    """One fault for each drop whose value is not below the highest source's.

    Nothing is said where a value is missing.
    """
    values = circuit.values
    sources = [source.quantity.symbol for source in circuit.sources]
    if not sources or any(symbol not in values for symbol in sources):
        return
    highest = max(values[symbol] for symbol in sources)
    for device in circuit.devices:
        drop = device.drop
        if drop is not None and drop.symbol in values and values[drop.symbol] >= highest:
            yield Fault(
                "drop-above-input",
                f"the drop {drop.symbol} of {device.name} is {float(values[drop.symbol]):g} V, not below the "
                f"input voltage of {float(highest):g} V",
                device.place,
                (device.name,),
                hint="check the two values; without them the formulas are told for any",
            )
