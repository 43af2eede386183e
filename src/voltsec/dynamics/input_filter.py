"""An input filter against the stage it feeds: the classic impedance criterion, and what damps the filter.

A stage that holds its output takes constant power, so its input is a negative resistance; a filter whose
output impedance comes near the stage's input impedance changes the loop, or oscillates.  Nothing much changes
where the filter's impedance is well below two impedances of the stage: with the duty held (Z_D), and with the
duty moved so that the output stays where it is (Z_N).  (Middlebrook, "Input filter considerations in design
and application of switching regulators", IAS 1976, from memory.)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import pi, sqrt

import networkx as nx
import numpy as np

from voltsec.circuit.circuit import Circuit, Output
from voltsec.circuit.elements import (
    Capacitor,
    Element,
    Inductor,
    Quantity,
    Resistor,
    Source,
)
from voltsec.circuit.graph import references
from voltsec.dynamics.averaged import PROBE, small_signal, with_probe
from voltsec.dynamics.chosen_mode import NotTold
from voltsec.dynamics.equations import INPUT_CURRENT, OUTPUT
from voltsec.dynamics.number_ring import UNITS, NumberRing
from voltsec.dynamics.sampled import Sampled
from voltsec.dynamics.transfer import Transfer
from voltsec.formulas.first_order_dry import Case
from voltsec.periodic.stages import Stages
from voltsec.results.measures import Average
from voltsec.results.table import voltage
from voltsec.tableau.interval import Interval, Sequence
from voltsec.tableau.network import coils
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.linear import Array
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.network import NotDetermined

COMFORTABLE = 6.0
"""Decibels between the impedances that leave a loop nearly as it was (common practice, no source)."""
NOTHING = 1e-9
"""A response of the output to the duty below this share of the input's voltage is none."""
PASSIVE = (Inductor, Capacitor, Resistor)
POINTS = 400


@dataclass(frozen=True)
class InputFilter:
    """The passive parts between the input and the stage, which it feeds at ``node``."""

    node: str
    reference: str
    elements: tuple[Element, ...]
    """Without the source."""

    @property
    def names(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(element.name for element in self.elements)


def input_filter(circuit: Circuit) -> InputFilter | None:
    """The filter of a circuit: coils in the way from the input, capacitors across it; None without one.

    It ends at the last node that all of the input's current passes and that a capacitor holds.
    """
    source = circuit.input
    grounds = set(references(circuit))
    if source.end not in grounds or source.start in grounds:
        return None
    graph = nx.MultiGraph()
    for element in circuit.elements:
        for start, end in (
            element.windings if hasattr(element, "windings") else [(element.start, element.end)]
        ):
            graph.add_edge(start, end, element=element)
    graph.remove_nodes_from(grounds)
    if source.start not in graph:
        return None
    best: InputFilter | None = None
    for node in graph:
        if node == source.start:
            continue
        rest = graph.copy()
        rest.remove_node(node)
        inside = nx.node_connected_component(rest, source.start)
        found = _between(circuit, inside, node, grounds)
        if found is not None and (best is None or len(found.elements) > len(best.elements)):
            best = InputFilter(node, source.end, found.elements)
    return best


def _between(circuit: Circuit, inside: set[str], node: str, grounds: set[str]) -> InputFilter | None:
    """What hangs on the nodes before ``node``, and branches of capacitors across it."""
    parts: list[Element] = []
    for element in circuit.elements:
        if element is circuit.input:
            continue
        nodes = set(element.nodes)
        across = nodes - grounds == {node} and isinstance(element, Capacitor)
        if nodes & inside or across:
            if not isinstance(element, PASSIVE):
                return None
            parts.append(element)
    # damping branches across the node: a resistor and a capacitor in series
    parts += [e for e in _branches(circuit, node, grounds) if e not in parts]
    holds = any(isinstance(e, Capacitor) and node in e.nodes for e in parts)
    holds = holds or any(isinstance(e, Capacitor) for e in _branches(circuit, node, grounds))
    coil = any(isinstance(e, Inductor) for e in parts)
    ordered = tuple(element for element in circuit.elements if element in parts)
    return InputFilter(node, "", ordered) if holds and coil else None


def _branches(circuit: Circuit, node: str, grounds: set[str]) -> list[Element]:
    """Resistor and capacitor in series from ``node`` to a reference node."""
    found: list[Element] = []
    for first in circuit.of(Resistor, Capacitor):
        if node not in first.nodes:
            continue
        middle = next(iter(set(first.nodes) - {node}), node)
        others = [e for e in circuit.elements if middle in e.nodes and e is not first]
        if middle in grounds or middle == node or len(others) != 1:
            continue
        (second,) = others
        series = isinstance(second, Resistor | Capacitor) and set(second.nodes) - {middle} <= grounds
        if series and (isinstance(first, Capacitor) or isinstance(second, Capacitor)):
            found += [first, second]
    return found


@dataclass(frozen=True)
class Interaction:
    """Impedances over frequency, ohm, complex (f,)."""

    found: InputFilter
    hertz: Array
    source: Array
    """Of the filter, seen from the stage."""
    held: Array
    """Of the stage with the duty held."""
    regulated: Array
    """Of the stage with its output held by the duty."""
    damping: Damping | None

    def margins(self, impedance: Array | None = None) -> Array:
        """(f,) decibels between the lower of the stage's impedances and the filter's (or another)."""
        lower = np.minimum(np.abs(self.held), np.abs(self.regulated))
        with np.errstate(divide="ignore"):  # an undamped filter has no bound
            return 20 * np.log10(lower / np.abs(self.source if impedance is None else impedance))

    @property
    def worst(self) -> tuple[float, float]:
        """Least margin (decibels) and where (hertz)."""
        margins = self.margins()
        place = int(np.argmin(margins))
        return float(margins[place]), float(self.hertz[place])


@dataclass(frozen=True)
class Damping:
    """A resistor and a capacitor in series across a filter's capacitor."""

    across: str
    resistance: float
    capacitance: float
    margin: float
    """Least margin with them, decibels."""


def interaction(circuit: Circuit, point: Mapping[str, float]) -> Interaction:
    """The filter of ``circuit`` against its stage at ``point`` (every symbol, SI units).

    Raises :class:`NotTold` where there is no filter, or no state that repeats.
    """
    found = input_filter(circuit)
    if found is None:
        raise NotTold(
            "the circuit has no input filter: no node passes all of the input's current, with a coil before "
            "it and a capacitor across it"
        )
    duty = next(iter(circuit.duty_symbols), None)
    whole = exact_state(circuit, point)
    if whole is None or duty is None:
        raise NotTold("no state was found that repeats from period to period")
    level = Measures(whole).value(Average(voltage(found.node, found.reference)))[0]
    stage, there = _stage(circuit, found, point, float(level))
    state = exact_state(stage, there)
    if state is None:
        raise NotTold("no state of the stage without its filter was found")
    try:
        sampled = Sampled(state.trajectory)
    except (NotDetermined, np.linalg.LinAlgError) as problem:
        raise NotTold(f"no exact response of the stage: {problem}") from None
    transfer = _filter_impedance(circuit, found, point)
    hertz = _frequencies(transfer, point)
    responses = sampled.at(hertz)
    symbol = circuit.input.quantity.symbol
    a, b = responses[OUTPUT, duty], responses[OUTPUT, symbol]
    if np.abs(a).max() <= NOTHING * abs(float(level)):
        raise NotTold(
            f"{duty} does not move the output, so no loop could hold it, and there is nothing to compare the "
            "filter with"
        )
    c, e = responses[INPUT_CURRENT, duty], responses[INPUT_CURRENT, symbol]
    with np.errstate(all="ignore"):
        result = Interaction(found, hertz, transfer.at(hertz), 1 / e, 1 / (e - c * b / a), None)
    return replace(result, damping=_damping(circuit, result, point))


def _stage(
    circuit: Circuit, found: InputFilter, point: Mapping[str, float], level: float
) -> tuple[Circuit, dict[str, float]]:
    """The circuit with a source of ``level`` volts in place of its filter."""
    source = circuit.input
    gone = {*found.names, source.name}
    kept = tuple(element for element in circuit.elements if element.name not in gone)
    fed = Source(source.name, found.node, found.reference, source.quantity)
    couplings = tuple(c for c in circuit.couplings if not {c.first, c.second} & gone)
    stage = replace(circuit, elements=(fed, *kept), couplings=couplings, input_name=source.name)
    return stage, {**point, source.quantity.symbol: level}


def _filter_circuit(circuit: Circuit, found: InputFilter, more: tuple[Element, ...] = ()) -> Circuit:
    """The filter alone; what stands at ``found.node`` is its output."""
    gone = set(found.names)
    couplings = tuple(c for c in circuit.couplings if {c.first, c.second} <= gone)
    output = Output(found.node, found.reference)
    elements = (circuit.input, *found.elements, *more)
    return Circuit(
        elements,
        grounds=(found.reference,),
        couplings=couplings,
        output_choice=output,
        input_name=circuit.input.name,
        parameters=circuit.parameters,
    )


def _filter_impedance(
    circuit: Circuit, found: InputFilter, point: Mapping[str, float], more: tuple[Element, ...] = ()
) -> Transfer:
    """Output impedance of the filter alone, ohm."""
    alone = with_probe(_filter_circuit(circuit, found, more))
    values = {**point, PROBE: 0.0}
    values |= {q.symbol: float(q.value) for e in more for q in e.quantities if q.value is not None}
    period = Interval(0, frozenset())
    case = Case(
        alone,
        Stages((), (frozenset(),)),
        Sequence((period,)),
        references(alone),
        values,
        np.ones(1),
    )
    ring = NumberRing(case, values)
    ratio = small_signal(case, ring).responses.get((OUTPUT, PROBE))
    if ratio is None:
        raise NotTold("the filter's impedance is not determined")
    scale = UNITS["ohm"]
    top, bottom = (ring.in_s(part) for part in ratio.parts)
    return Transfer(tuple(c * scale for c in top), tuple(bottom))


def _frequencies(transfer: Transfer, point: Mapping[str, float]) -> Array:
    """Up to half the switching frequency, resonances of the filter among them."""
    switching = 1.0 / point["T"]
    roots = [abs(root) / (2 * pi) for root in (*transfer.poles, *transfer.zeros) if root]
    lowest = max(min([0.05 * f for f in roots] or [switching / 200]), switching * 1e-6)
    near = [abs(p.imag) / (2 * pi) for p in transfer.poles if p.imag]
    return np.union1d(np.geomspace(lowest, switching / 2, POINTS), [f for f in near if f < switching / 2])


def _damping(circuit: Circuit, result: Interaction, point: Mapping[str, float]) -> Damping | None:
    """A branch across the filter's capacitor that leaves :data:`COMFORTABLE`; None where it is not needed.

    For a coil L and a capacitor C, with R0 = sqrt(L/C), a branch of R and n C in series limits the impedance
    to R0 sqrt(2 (2 + n))/n at best, with R = R0 sqrt((2 + n) (4 + 3 n)/(2 n^2 (4 + n))).  (Erickson,
    Maksimovic, section 10.4, from memory.)  The margin told is that of the circuit with the branch.
    """
    if result.worst[0] >= COMFORTABLE:
        return None
    found = result.found
    alone = [e for e in found.elements if isinstance(e, Inductor)]
    held = [e for e in found.elements if isinstance(e, Capacitor) and found.node in e.nodes]
    if len(alone) != 1 or len(held) != 1 or len(coils(_filter_circuit(circuit, found))) != 1:
        return None
    henry, farad = point[alone[0].quantity.symbol], point[held[0].quantity.symbol]
    ohm = sqrt(henry / farad)
    lower = float(np.minimum(np.abs(result.held), np.abs(result.regulated)).min())
    wanted = lower / 10 ** (COMFORTABLE / 20)
    times = (ohm / wanted) ** 2 * (1 + sqrt(1 + 4 * (wanted / ohm) ** 2))
    resistance = ohm * sqrt((2 + times) * (4 + 3 * times) / (2 * times**2 * (4 + times)))
    middle = f"{found.node}#"
    more: tuple[Element, ...] = (
        Resistor("R#", found.node, middle, Quantity("R#", "ohm", Fraction(resistance))),
        Capacitor("C#", middle, found.reference, Quantity("C#", "F", Fraction(times * farad))),
    )
    damped = _filter_impedance(circuit, found, point, more).at(result.hertz)
    return Damping(held[0].name, resistance, times * farad, float(result.margins(damped).min()))
