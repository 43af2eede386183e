"""The same circuit written differently, and circuits made up from the shipped ones."""

from __future__ import annotations

import os
import random
from dataclasses import replace
from fractions import Fraction
from functools import cache

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

import voltsec
from voltsec.circuit.circuit import Circuit, Output
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Inductor,
    Load,
    Quantity,
    Transformer,
)
from voltsec.command.netlists import shipped_circuits
from voltsec.language.writer import write
from voltsec.results.solution import Solution

from .evaluation import Pairing

generated = settings(
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    derandomize=not os.environ.get("VOLTSEC_RANDOM"),
)
"""Examples are a name and a seed: there is nothing to shrink, and a solution takes its time.

They are the same at every run unless the environment variable VOLTSEC_RANDOM is set.
"""

SHIPPED = tuple(shipped_circuits())

NAMES = (
    "E", "I", "N", "S", "Q", "O", "pi", "beta", "gamma", "zeta", "K", "K2", "d2", "d3", "Le", "oo", "zoo",
    "re", "sqrt", "And", "x", "y", "_1", "A_b", "Zz", "aa", "coil", "pump", "lamp", "valve",
    "W", "H", "mu", "V1", "V2", "R_1", "exp", "nan", "true", "false", "symbols", "i", "v", "u", "m", "r",
)  # fmt: skip
"""Element names that mean something to somebody else."""

NODES = (
    "lambda", "in", "is", "0", "1", "2a", "gnd", "out", "V", "T", "D", "S", "x", "y", "z", "net_7", "None",
    "b", "c", "q", "w",
)  # fmt: skip
"""Node names, some of which are words of the language or of Python."""


def is_lossless(circuit: Circuit) -> bool:
    """True where no element can lose power (loads and constant currents are no losses)."""
    return not any(
        element.kind == "resistor"
        or getattr(element, "resistance", None) is not None
        or getattr(element, "drop", None) is not None
        for element in circuit.elements
    )


LOSSLESS = tuple(name for name in SHIPPED if is_lossless(voltsec.load(name)))
"""Shipped circuits of ideal parts."""

LONG = ("boost_then_buck", "quad_buck", "quad_sepic", "sl_boost", "quad_boost_lowC", "quad_bb_D2_1mD")
"""Circuits with many modes: solving them takes seconds."""

QUICK = tuple(name for name in LOSSLESS if name not in LONG)


@cache
def solved(name: str) -> Solution:
    """The answer for a shipped circuit."""
    return voltsec.solve(voltsec.load(name))


# The same circuit, written differently


def again(circuit: Circuit) -> Circuit:
    """The circuit after a turn through text."""
    return voltsec.read(write(circuit))


def renamed(circuit: Circuit, source: random.Random) -> tuple[Circuit, Pairing]:
    """Other names for all elements and nodes."""
    fixed = {*circuit.duty_symbols, "T", *(parameter.symbol for parameter in circuit.parameters)}
    pool = [name for name in NAMES if name not in fixed]
    names = dict(
        zip((e.name for e in circuit.elements), source.sample(pool, len(circuit.elements)), strict=True)
    )
    used = (*circuit.nodes, *(g for g in circuit.grounds if g not in circuit.nodes))
    nodes = dict(zip(used, source.sample(NODES, len(used)), strict=True))
    symbols = {q.symbol: q.symbol for q in circuit.quantities}

    def quantity(old: Quantity | None, owner: str) -> Quantity | None:
        if old is None:
            return None
        new = names[owner] if old.symbol == owner else old.symbol.replace(owner, names[owner])
        symbols[old.symbol] = new
        return replace(old, symbol=new)

    elements = []
    for element in circuit.elements:
        if isinstance(element, Transformer):
            windings = tuple((nodes[a], nodes[b]) for a, b in element.windings)
            magnetizing = element.magnetizing
            elements.append(
                replace(element, name=names[element.name], windings=windings, magnetizing=magnetizing)
            )
            continue
        changes = {
            part: quantity(getattr(element, part), element.name)
            for part in ("quantity", "resistance", "drop")
            if hasattr(element, part)
        }
        elements.append(
            replace(
                element,
                name=names[element.name],
                start=nodes[element.start],
                end=nodes[element.end],
                **changes,
            )
        )
    couplings = []
    for place, coupling in enumerate(circuit.couplings):
        symbols[coupling.symbol] = f"Mutual{place}"
        couplings.append(
            replace(
                coupling, symbol=f"Mutual{place}", first=names[coupling.first], second=names[coupling.second]
            )
        )
    drives = tuple(
        replace(d, switch=names[d.switch], argument=d.argument if d.kind == "at" else names.get(d.argument))  # type: ignore[arg-type]
        for d in circuit.drives
    )
    output = circuit.output_choice
    if output is not None:
        named = None if output.element is None else names[output.element]
        output = Output(nodes[output.start], nodes[output.end], named)
    changed = replace(
        circuit,
        elements=tuple(elements),
        grounds=tuple(nodes[g] for g in circuit.grounds),
        couplings=tuple(couplings),
        drives=drives,
        input_name=None if circuit.input_name is None else names[circuit.input_name],
        output_choice=output,
    )
    return again(changed), Pairing(names, symbols)


def shuffled(circuit: Circuit, source: random.Random) -> tuple[Circuit, Pairing]:
    """The statements in another order, with input and output stated so that they stay what they are."""

    def mixed(entries: tuple) -> tuple:
        return tuple(source.sample(entries, len(entries)))

    changed = replace(
        circuit,
        elements=mixed(circuit.elements),
        parameters=mixed(circuit.parameters),
        couplings=mixed(circuit.couplings),
        drives=mixed(circuit.drives),
        input_name=circuit.input.name,
        output_choice=circuit.output,
    )
    return again(changed), Pairing({}, {})


def turned(circuit: Circuit, source: random.Random) -> tuple[Circuit, Pairing]:
    """Arrows of coils and capacitors the other way; coupled coils all together, or the dots would change."""
    coupled = {name for coupling in circuit.couplings for name in (coupling.first, coupling.second)}
    chosen = {
        e.name for e in circuit.of(Inductor, Capacitor) if e.name not in coupled and source.random() < 0.6
    }
    if source.random() < 0.5:
        chosen |= coupled
    elements = tuple(
        replace(e, start=e.end, end=e.start) if e.name in chosen else e for e in circuit.elements
    )
    changed = again(replace(circuit, elements=elements, output_choice=circuit.output))
    return changed, Pairing({}, {}, frozenset(chosen))


# Circuits made up from the shipped ones

BASES = (
    "buck", "boost", "buckboost", "cuk", "sepic", "zeta", "flyback", "boost_mult1", "iso_sepic", "flyback2",
    "sync_buck",
)  # fmt: skip
LOSSY_BASES = ("buck", "boost", "buckboost", "sync_buck")


@st.composite
def made_up(draw: st.DrawFn, lossless: bool = False) -> Circuit:
    """A shipped circuit with one or two parts added and its values changed."""
    name = draw(st.sampled_from(BASES))
    circuit = voltsec.load(name)
    changes = ["second_load", "input_filter", "split_coil", "split_capacitor", "current_load"]
    if name in LOSSY_BASES and not lossless:
        changes.append("loss")
    picked = draw(st.lists(st.sampled_from(changes), min_size=1, max_size=2, unique=True))
    source = random.Random(draw(st.integers(0, 10_000)))
    for change in picked:
        circuit = CHANGES[change](circuit, source)
    return again(_other_values(circuit, source))


def _other_values(circuit: Circuit, source: random.Random) -> Circuit:
    elements = []
    for element in circuit.elements:
        if isinstance(element, Load | Inductor | Capacitor):
            factor = Fraction(source.choice((3, 5, 8, 10, 13, 20, 30)), 10)
            value = element.quantity.value * factor  # type: ignore[operator]
            element = replace(element, quantity=replace(element.quantity, value=value))
        elements.append(element)
    return replace(circuit, elements=tuple(elements))


def _second_load(circuit: Circuit, source: random.Random) -> Circuit:
    capacitor = source.choice(circuit.capacitors)
    load = Load("R9", capacitor.start, capacitor.end, Quantity("R9", "ohm", Fraction(60)))
    return _stated(circuit, (*circuit.elements, load))


def _current_load(circuit: Circuit, source: random.Random) -> Circuit:
    output = circuit.output
    current = CurrentSource("I9", output.start, output.end, Quantity("I9", "A", Fraction(1, 5)))
    return _stated(circuit, (*circuit.elements, current))


def _input_filter(circuit: Circuit, source: random.Random) -> Circuit:
    old = circuit.input
    coil = Inductor("L9", "far", old.start, Quantity("L9", "H", Fraction(1, 10**4)))
    capacitor = Capacitor("C9", old.start, old.end, Quantity("C9", "F", Fraction(1, 10**4)))
    elements = tuple(replace(e, start="far") if e.name == old.name else e for e in circuit.elements)
    return _stated(circuit, (*elements, coil, capacitor))


def _split_coil(circuit: Circuit, source: random.Random) -> Circuit:
    if not circuit.inductors:
        return circuit
    old = source.choice(circuit.inductors)
    part = Inductor("L8", "between", old.end, Quantity("L8", "H", Fraction(33, 10**6)))
    elements = tuple(replace(e, end="between") if e.name == old.name else e for e in circuit.elements)
    return replace(circuit, elements=(*elements, part))


def _split_capacitor(circuit: Circuit, source: random.Random) -> Circuit:
    old = source.choice(circuit.capacitors)
    part = Capacitor("C8", old.start, old.end, Quantity("C8", "F", Fraction(1, 10**5)))
    return replace(circuit, elements=(*circuit.elements, part))


def _loss(circuit: Circuit, source: random.Random) -> Circuit:
    lossy = source.choice((*circuit.inductors, *circuit.diodes))
    resistance = Quantity(f"R_{lossy.name}", "ohm", Fraction(1, 10))
    elements = tuple(
        replace(e, resistance=resistance) if e.name == lossy.name else e for e in circuit.elements
    )
    return replace(circuit, elements=elements)


def _stated(circuit: Circuit, elements: tuple) -> Circuit:
    return replace(circuit, elements=elements, input_name=circuit.input.name, output_choice=circuit.output)


CHANGES = {
    "second_load": _second_load,
    "current_load": _current_load,
    "input_filter": _input_filter,
    "split_coil": _split_coil,
    "split_capacitor": _split_capacitor,
    "loss": _loss,
}
