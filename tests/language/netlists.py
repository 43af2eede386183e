"""Circuits for hypothesis: well-formed in the language, whatever they would do as converters."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import strategies as st

from voltsec.circuit.circuit import Circuit, Coupling, Drive, Output
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Inductor,
    Load,
    Quantity,
    Resistor,
    Source,
    Switch,
    Transformer,
)

NODES = ("gnd", "in", "a", "b", "0", "out", "12v", "load", "lambda", "_x")

values = st.none() | st.builds(
    lambda digits, power: digits * Fraction(10) ** power, st.integers(1, 10**9), st.integers(-25, 15)
)
starts = st.sampled_from([Fraction(0), Fraction(1, 2), Fraction(1, 3), Fraction(7, 10), "phi", "start2"])
arrows = st.permutations(NODES).map(lambda nodes: (nodes[0], nodes[1]))


@st.composite
def properties(draw: st.DrawFn, name: str, beginning: str, unit: str) -> Quantity | None:
    """A property of the element ``name``, or none."""
    if draw(st.booleans()):
        return None
    symbol = draw(st.sampled_from([beginning + name, f"own_{beginning}{name}"]))
    return Quantity(symbol, unit, draw(values))


@st.composite
def two_terminals(draw: st.DrawFn, name: str):
    """An element of any kind but a transformer."""
    start, end = draw(arrows)
    resistance = draw(properties(name, "R_", "ohm"))
    drop = draw(properties(name, "V_", "V"))
    value = draw(values)
    match draw(st.integers(0, 7)):
        case 0:
            return Source(name, start, end, Quantity(name, "V", value), resistance=resistance)
        case 1:
            return CurrentSource(name, start, end, Quantity(name, "A", value))
        case 2:
            return Resistor(name, start, end, Quantity(name, "ohm", value))
        case 3:
            return Load(name, start, end, Quantity(name, "ohm", value))
        case 4:
            return Inductor(name, start, end, Quantity(name, "H", value), resistance=resistance)
        case 5:
            return Capacitor(name, start, end, Quantity(name, "F", value), resistance=resistance)
        case 6:
            return Switch(name, start, end, resistance=resistance, drop=drop)
    return Diode(name, start, end, resistance=resistance, drop=drop)


@st.composite
def transformers(draw: st.DrawFn, name: str, parameters: tuple[str, ...]) -> Transformer:
    """A transformer whose turns are numbers or declared parameters."""
    windings = tuple(draw(st.lists(arrows, min_size=2, max_size=4)))
    numbers = values.map(lambda value: value or Fraction(1))
    turn = numbers | st.sampled_from(parameters) if parameters else numbers
    turns = tuple(draw(turn) for _ in windings)
    return Transformer(name, windings, turns, draw(properties(name, "L_", "H")))


@st.composite
def circuits(draw: st.DrawFn) -> Circuit:
    """Any circuit the language can say."""
    parameters = tuple(draw(st.sampled_from([(), ("n",), ("n", "m1")])))
    elements = [draw(two_terminals(f"X{count}")) for count in range(draw(st.integers(1, 8)))]
    elements += [draw(transformers(f"T{count}", parameters)) for count in range(draw(st.integers(0, 2)))]
    elements = draw(st.permutations(elements))
    nodes = list(dict.fromkeys(node for element in elements for node in element.nodes))
    coils = [one.name for one in elements if isinstance(one, Inductor)]
    couplings = []
    for first, second in pairwise(coils):
        k = draw(st.none() | st.integers(0, 100).map(lambda count: Fraction(count, 100)))
        mutual = draw(values) if k is None else None
        symbol = draw(st.sampled_from([f"M_{first}_{second}", f"M{first}"]))
        couplings.append(Coupling(symbol, first, second, k, mutual))
    drives: list[Drive] = []
    for switch in (one.name for one in elements if isinstance(one, Switch)):
        kinds = ["at", "on", "off", *(["with", "against"] if drives else [])]
        kind = draw(st.sampled_from(kinds))
        argument = {"at": draw(st.sampled_from(["D", "d2"]))}.get(kind)
        follows = drives[-1].switch if kind in ("with", "against") else argument
        drives.append(Drive(switch, kind, follows, draw(starts) if kind == "at" else Fraction(0)))
    timing = [drive.argument for drive in drives if drive.kind == "at"]
    timing += [drive.start for drive in drives if isinstance(drive.start, str)]
    duties = dict.fromkeys(timing)
    operating = [
        (duty, draw(st.integers(1, 999).map(lambda count: Fraction(count, 1000)))) for duty in duties
    ]
    period = draw(values | st.integers(1, 10**6).map(lambda frequency: Fraction(1, frequency)))
    if period is not None:
        operating.append(("T", period))
    sources = [one.name for one in elements if isinstance(one, Source)]
    ends = [Output(one.start, one.end, one.name) for one in elements if not isinstance(one, Transformer)]
    return Circuit(
        elements=tuple(elements),
        title=draw(
            st.none() | st.sampled_from(["", "Lamp rail", "5 V # for the gauge", "\N{GREEK SMALL LETTER MU}"])
        ),
        grounds=draw(st.sampled_from([("gnd",), (nodes[0],), tuple(nodes[:2])])),
        parameters=tuple(Quantity(name, "1", draw(values)) for name in parameters),
        couplings=tuple(couplings),
        drives=tuple(drives),
        operating=tuple(operating),
        input_name=draw(st.sampled_from([None, *sources])),
        output_choice=draw(st.sampled_from([None, Output(nodes[0], nodes[1]), *ends])),
    )
