"""Where direct current can go: through the output and back, or round a source without meeting a load.

Edges are elements (a transformer one a winding, keyed ``T.1``); a direction is one that current
can take, known from the sign of the current where that is determined.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice, pairwise

import networkx as nx

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, CurrentSource, Diode, Element, Resistor, Switch, Transformer
from voltsec.tableau.network import coils

MOST_PATHS = 200
"""Paths to the output that are looked at before the search is given up."""


def carrying_graph(
    circuit: Circuit, conducting: frozenset[str], signs: Mapping[str, int | None]
) -> nx.MultiDiGraph:
    """Elements that can carry direct current, an edge in each direction it can go.

    ``signs`` gives, by edge name, the sign of the current along the arrow: 0 leaves the element
    out, None (or no entry) leaves the direction open.
    """
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(circuit.nodes)
    for element in circuit.elements:
        if isinstance(element, Capacitor):
            continue
        if isinstance(element, Switch | Diode) and element.name not in conducting:
            continue
        for name, start, end in _edges(element):
            sign = signs.get(name)
            if sign == 0:
                continue
            if sign is None or sign > 0:
                graph.add_edge(start, end, key=name, element=element)
            if (sign is None and not isinstance(element, Diode)) or (sign is not None and sign < 0):
                graph.add_edge(end, start, key=name, element=element)
    return graph


def _edges(element: Element) -> list[tuple[str, str, str]]:
    if isinstance(element, Transformer):
        return [(f"{element.name}.{n}", *winding) for n, winding in enumerate(element.windings, 1)]
    return [(element.name, element.start, element.end)]


def path_through_output(circuit: Circuit, graph: nx.MultiDiGraph) -> tuple[str, ...]:
    """Elements from the input source through the output's load and back to it, empty where there are none."""
    source, output = circuit.input, circuit.output
    load = next(
        (
            e
            for e in circuit.elements
            if isinstance(e, Resistor | CurrentSource)
            and (e.name == output.element if output.element else set(e.nodes) == {output.start, output.end})
        ),
        None,
    )
    if load is None:
        return ()
    inner = graph.copy()
    for element in (source, load):
        for one, other in ((element.start, element.end), (element.end, element.start)):
            if inner.has_edge(one, other, key=element.name):
                inner.remove_edge(one, other, key=element.name)
    for enter, leave in ((load.start, load.end), (load.end, load.start)):
        if not graph.has_edge(enter, leave, key=load.name):
            continue
        for first, last in ((source.start, source.end), (source.end, source.start)):
            if not graph.has_edge(last, first, key=source.name):
                continue
            found = _round_trip(inner, (first, enter), (leave, last))
            if found is not None:
                return (source.name, *found[0], load.name, *found[1])
    return ()


def _round_trip(
    graph: nx.MultiDiGraph, there: tuple[str, str], back: tuple[str, str]
) -> tuple[list[str], list[str]] | None:
    """Names on the shortest pair of paths without a common node."""
    simple = nx.DiGraph(graph)
    paths = [[there[0]]] if there[0] == there[1] else nx.shortest_simple_paths(simple, *there)
    try:
        for path in islice(paths, MOST_PATHS):
            rest = simple.copy()
            rest.remove_nodes_from(set(path) - set(back))
            if set(back) & set(path):
                continue
            if nx.has_path(rest, *back):
                return _names(graph, path), _names(graph, nx.shortest_path(rest, *back))
    except nx.NetworkXNoPath:
        return None
    return None


def _names(graph: nx.MultiDiGraph, path: list[str]) -> list[str]:
    return [min(graph[one][other]) for one, other in pairwise(path)]


def loops_through_coils(
    circuit: Circuit, conducting: frozenset[str], signs: Mapping[str, int | None] | None = None
) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Loops from a source back to it with no load, resistor or constant current on the way.

    Each as its elements in order, the source first, and the coils among them.
    """
    graph = carrying_graph(circuit, conducting, signs or {})
    taking = [
        (one, other, key)
        for one, other, key, element in graph.edges(keys=True, data="element")
        if isinstance(element, Resistor | CurrentSource)
    ]
    graph.remove_edges_from(taking)
    magnetizing = {t.name: t.magnetizing.symbol for t in circuit.transformers if t.magnetizing is not None}
    names = {coil.name for coil in coils(circuit)}
    found: list[tuple[tuple[str, ...], tuple[str, ...]]] = []
    for source in circuit.sources:
        if not graph.has_edge(source.end, source.start, key=source.name):
            continue
        others = graph.copy()
        others.remove_edge(source.end, source.start, key=source.name)
        if others.has_edge(source.start, source.end, key=source.name):
            others.remove_edge(source.start, source.end, key=source.name)
        if not nx.has_path(others, source.start, source.end):
            continue
        path = _names(others, nx.shortest_path(others, source.start, source.end))
        inductances = [
            magnetizing.get(name.rpartition(".")[0], name) if "." in name else name for name in path
        ]
        on_the_way = tuple(dict.fromkeys(name for name in inductances if name in names))
        loop = (source.name, *path)
        if on_the_way and not any(set(loop) == set(other) for other, _ in found):
            found.append((loop, on_the_way))
    return found
