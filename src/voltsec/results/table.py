"""The table of results: what is told of a stage, by name, with its unit and how it is measured.

A result is a measure (average, rms, peak, peak to peak ...) of a quantity (a voltage or current as a sum of
the network's unknowns).  Whoever computes results, from formulas or from exact waveforms, walks this table.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Element,
    Inductor,
    Load,
    Resistor,
    Source,
    Transformer,
    TwoTerminal,
)
from voltsec.results.measures import (
    Average,
    Beside,
    Charge,
    Core,
    Efficiency,
    FlowShare,
    Gain,
    Gate,
    Heat,
    Measure,
    OverallEfficiency,
    Peak,
    RootMeanSquare,
    Step,
    Swing,
    Terms,
    Turning,
    one,
)


@dataclass(frozen=True)
class Result:
    """One row of the table."""

    name: str
    """``gain``, ``stress.S.voltage_peak``, ``losses.L1`` ..."""
    unit: str
    measure: Measure


def results_of(circuit: Circuit) -> dict[str, Result]:
    """Every result of the circuit, by name."""
    return {result.name: result for result in _results(circuit)}


def _results(circuit: Circuit) -> Iterator[Result]:
    output = voltage(circuit.output.start, circuit.output.end)
    yield Result("gain", "1", Gain(output, circuit.input.quantity.symbol))
    yield Result("output_voltage", "V", Average(output))
    yield Result("efficiency", "1", _efficiency(circuit))
    yield Result("output_ripple", "V", _output_swing(circuit))
    ports = {"input": Swing(_input(circuit)), "output_current": _output_current_swing(circuit)}
    for port, swing in ports.items():
        terms = swing.terms
        if terms:
            yield Result(f"{port}_ripple", "A", swing)
            yield Result(f"{port}_share", "1", FlowShare(terms))
            yield Result(f"{port}_step", "A", Step(terms))
    for capacitor in circuit.capacitors:
        yield Result(f"capacitor_voltages.{capacitor.name}", "V", Average(one(("V", capacitor.name))))
        yield Result(
            f"ripple.{capacitor.name}",
            "V",
            Swing(one(("V", capacitor.name)), _inside(capacitor)),
        )
    for name in inductances(circuit):
        yield Result(f"inductor_currents.{name}", "A", Average(one(("i", name))))
        yield Result(f"ripple.{name}", "A", Swing(one(("i", name))))
    for source in circuit.sources:
        yield Result(f"source_currents.{source.name}", "A", Average(((("i", source.name), -1),)))
    for part, current, across, device in stressed(circuit):
        yield Result(f"stress.{part}.voltage_peak", "V", Peak(across, device))
        yield Result(f"stress.{part}.current_average", "A", Average(current))
        yield Result(f"stress.{part}.current_peak", "A", Peak(current))
        yield Result(f"stress.{part}.current_rms", "A", RootMeanSquare(current))
    for name, heat in heats(circuit).items():
        yield Result(f"losses.{name}", "W", heat)
    beside = dict(_beside(circuit))
    for name, measure in beside.items():
        yield Result(f"other_losses.{name}", "W", measure)
    if beside:
        whole = OverallEfficiency(_efficiency(circuit), tuple(beside.values()))
        yield Result("overall_efficiency", "1", whole)


def inductances(circuit: Circuit) -> tuple[str, ...]:
    """Inductors by name and magnetizing inductances by symbol."""
    magnetizing = (t.magnetizing.symbol for t in circuit.transformers if t.magnetizing is not None)
    return (*(inductor.name for inductor in circuit.inductors), *magnetizing)


def stressed(circuit: Circuit) -> Iterator[tuple[str, Terms, Terms, str | None]]:
    """(name, current, voltage, device or None) of elements, windings (``T.1``), magnetizing inductances."""
    for element in circuit.elements:
        if isinstance(element, Transformer):
            for number, winding in enumerate(element.windings):
                yield (
                    f"{element.name}.{number + 1}",
                    winding_current(element, number),
                    voltage(*winding),
                    None,
                )
        else:
            device = element.name if element in circuit.devices else None
            yield element.name, one(("i", element.name)), voltage(element.start, element.end), device
    for transformer in circuit.transformers:
        if transformer.magnetizing is not None:
            symbol = transformer.magnetizing.symbol
            yield symbol, one(("i", symbol)), voltage(*transformer.windings[0]), None


def lossy_elements(circuit: Circuit) -> tuple[TwoTerminal, ...]:
    """Elements that turn power into heat: those with a resistance or drop, and plain resistors."""
    return tuple(
        element
        for element in circuit.of(TwoTerminal)
        if element.parasitics or (isinstance(element, Resistor) and not isinstance(element, Load))
    )


def heats(circuit: Circuit) -> dict[str, Heat]:
    """Which current heats which resistance and drop, by the name of the element."""
    return {element.name: _heat(element) for element in lossy_elements(circuit)}


def output_capacitor(circuit: Circuit) -> Capacitor | None:
    """A capacitor directly across the output; one without series resistance comes first."""
    ports = {circuit.output.start, circuit.output.end}
    across = [c for c in circuit.capacitors if {c.start, c.end} == ports]
    return min(across, key=lambda c: c.resistance is not None, default=None)


def output_path(circuit: Circuit) -> tuple[tuple[Capacitor | Source, int], ...] | None:
    """Capacitors and sources in series across the output, each with the sign by which it counts.

    ``None`` where none lead from one end of the output to the other.  A capacitor directly across it comes
    first, else the fewest parts do.
    """
    single = output_capacitor(circuit)
    graph = nx.Graph()
    graph.add_nodes_from(circuit.nodes)
    for part in reversed((*circuit.capacitors, *circuit.sources)):  # of parallel ones the first stays
        graph.add_edge(part.start, part.end, part=part)
    if single is not None:
        graph.add_edge(single.start, single.end, part=single)
    try:
        nodes = nx.shortest_path(graph, circuit.output.start, circuit.output.end)
    except nx.NetworkXNoPath:
        return None
    parts = [(graph.edges[start, end]["part"], start) for start, end in pairwise(nodes)]
    return tuple((part, 1 if part.start == start else -1) for part, start in parts)


def voltage(start: str, end: str) -> Terms:
    """The voltage from one node to another (a reference node's potential is no unknown; it is left in)."""
    return ((("v", start), 1), (("v", end), -1))


def winding_current(transformer: Transformer, number: int) -> Terms:
    """Current into a winding's terminal, the magnetizing current included."""
    own: Terms = ((("i", transformer.name, number), 1),)
    if number == 0 and transformer.magnetizing is not None:
        return (*own, (("i", transformer.magnetizing.symbol), 1))
    return own


def _input(circuit: Circuit) -> Terms:
    return ((("i", circuit.input.name), -1),)


def _output(circuit: Circuit) -> Terms:
    """The current into everything that lies directly across the output: load and capacitors."""
    ends = (circuit.output.start, circuit.output.end)
    found = []
    for element in circuit.of(Resistor, CurrentSource, Capacitor):
        if (element.start, element.end) == ends:
            found.append((("i", element.name), 1))
        elif (element.end, element.start) == ends:
            found.append((("i", element.name), -1))
    return tuple(found)


def _inside(capacitor: Capacitor) -> Charge:
    """What makes the voltage inside a capacitor swing, without its series resistance."""
    return Charge(((capacitor.name, 1, capacitor.quantity.symbol),))


def _output_swing(circuit: Circuit) -> Swing:
    """The output's ripple, of capacitors and sources in series across it where there are some."""
    terms, path = voltage(circuit.output.start, circuit.output.end), output_path(circuit)
    if path is None:
        return Swing(terms)
    capacitors = [(c.name, sign, c.quantity.symbol) for c, sign in path if isinstance(c, Capacitor)]
    resistances = [(c.name, sign, c.resistance.symbol) for c, sign in path if c.resistance is not None]
    return Swing(terms, Charge(tuple(capacitors), tuple(resistances)))


def _output_current_swing(circuit: Circuit) -> Swing:
    """The output current's ripple; of a resistive load with no capacitor right across it, its voltage's."""
    ports = {circuit.output.start, circuit.output.end}
    across = [e for e in circuit.of(Resistor, CurrentSource, Capacitor) if {e.start, e.end} == ports]
    if circuit.capacitors and across and all(isinstance(element, Resistor) for element in across):
        ohms = tuple(element.quantity.symbol for element in across)
        return Swing(_output(circuit), voltage=_output_swing(circuit), resistances=ohms)
    return Swing(_output(circuit))


def _heat(element: TwoTerminal) -> Heat:
    if isinstance(element, Resistor):
        return Heat(one(("i", element.name)), element.quantity.symbol, None)
    resistance, drop = element.resistance, element.drop
    return Heat(
        one(("i", element.name)),
        None if resistance is None else resistance.symbol,
        None if drop is None else drop.symbol,
        isinstance(element, Capacitor),
    )


def _beside(circuit: Circuit) -> Iterator[tuple[str, Beside]]:
    """Losses beside conduction by part and kind (``S.turn_on``), of parts whose properties tell them."""
    for element in circuit.elements:
        given = {name: float(quantity.value) for name, quantity in element.beside if quantity.value}
        if isinstance(element, TwoTerminal):
            across, current = voltage(element.start, element.end), one(("i", element.name))
            for kind, key, closing in TURNS:
                if key in given:
                    amounts = {TURNS[kind, key, closing]: given[key]}
                    yield f"{element.name}.{kind}", Turning(element.name, across, current, closing, **amounts)
        if "gate_charge" in given:
            yield f"{element.name}.gate", Gate(given["gate_charge"], given["gate_voltage"])
        if "core_turns" in given:
            fit = (given[f"steinmetz_{name}"] for name in ("k", "alpha", "beta"))
            size = (given[f"core_{name}"] for name in ("turns", "area", "volume"))
            yield f"{element.name}.core", Core(_linkage(circuit, element), *size, *fit)


TURNS = {
    ("turn_on", "turn_on", True): "overlap",
    ("turn_off", "turn_off", False): "overlap",
    ("output_capacitance", "output_capacitance", True): "capacitance",
    ("recovery", "recovery_charge", False): "charge",
}
"""Kind of loss, property, at the turn-on or the turn-off -> which amount of :class:`Turning` it is."""


def _linkage(circuit: Circuit, element: Element) -> tuple[tuple[Terms, str], ...]:
    """Flux linkage of a coil, or of a transformer's first winding: currents times inductances."""
    if isinstance(element, Transformer):
        assert element.magnetizing is not None  # the reader asks for it
        symbol = element.magnetizing.symbol
        return ((one(("i", symbol)), symbol),)
    assert isinstance(element, Inductor)
    linkage = [(one(("i", element.name)), element.quantity.symbol)]
    for coupling in circuit.couplings:
        pair = (coupling.first, coupling.second)
        if element.name in pair:
            other = pair[1 - pair.index(element.name)]
            linkage.append((one(("i", other)), coupling.symbol))
    return tuple(linkage)


def _efficiency(circuit: Circuit) -> Efficiency:
    ports = [
        (s.quantity.symbol, one(("i", s.name)) if isinstance(s, Source) else voltage(s.start, s.end))
        for s in circuit.of(Source, CurrentSource)
    ]
    return Efficiency(tuple(_heat(load) for load in circuit.of(Load)), tuple(ports))
