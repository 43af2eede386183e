"""A failing circuit made smaller while it fails in the same way.

Parts are taken out (left open, or short-circuited), then properties, couplings and duties of their own, then
values are rounded; every step is kept that leaves the failure as it is, until none does.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import replace
from fractions import Fraction

from voltsec.circuit.circuit import Circuit, Output
from voltsec.circuit.elements import Load, Source, Transformer
from voltsec.circuit.fault import CircuitError
from voltsec.language.reader import read
from voltsec.language.writer import write

from .draft import Draft
from .values import decimal

Fails = Callable[[Circuit], bool]


def shrunk(circuit: Circuit, fails: Fails, seconds: float = 300.0) -> Circuit:
    """The smallest circuit found in ``seconds`` for which ``fails`` stays true."""
    end = time.monotonic() + seconds
    smaller = True
    while smaller:
        smaller = False
        for candidate in _candidates(circuit):
            if time.monotonic() > end:
                return circuit
            if fails(candidate):
                circuit, smaller = candidate, True
                break
    return circuit


def _candidates(circuit: Circuit) -> Iterator[Circuit]:
    """Circuits one step simpler that pass their own check, the largest steps first."""
    seen = {circuit}
    for step in (
        _without_a_part,
        _with_a_part_shorted,
        _without_properties,
        _with_one_duty,
        _with_round_values,
    ):
        for draft in step(circuit):
            candidate = draft.done()
            if candidate not in seen and draft.works() and _can_be_read(candidate):
                seen.add(candidate)
                yield candidate


def _can_be_read(circuit: Circuit) -> bool:
    """False where the netlist lacks a statement, such as the drive of one of several switches."""
    try:
        read(write(circuit))
    except (CircuitError, ValueError):
        return False
    return True


def _without_a_part(circuit: Circuit) -> Iterator[Draft]:
    for element in reversed(circuit.elements):
        draft = Draft.of(circuit)
        _remove(draft, element.name)
        while loose := _loose(draft):
            _remove(draft, loose)
        yield draft


def _loose(draft: Draft) -> str | None:
    """A part at a node with no other part."""
    for element in draft.elements:
        if not isinstance(element, Transformer) and any(len(draft.at_node(n)) == 1 for n in element.nodes):
            return element.name
    return None


def _with_a_part_shorted(circuit: Circuit) -> Iterator[Draft]:
    for element in reversed(circuit.elements):
        if isinstance(element, Source | Load | Transformer):
            continue
        kept, gone = element.start, element.end
        if gone in circuit.grounds:
            kept, gone = gone, kept
        draft = Draft.of(circuit)
        _remove(draft, element.name)
        for other in draft.at_node(gone):
            draft.move(other, gone, kept)
        if gone not in circuit.grounds and all(
            len(set(e.nodes)) == len(e.nodes) or isinstance(e, Transformer) for e in draft.elements
        ):
            choice = draft.output_choice
            if choice is not None:
                start, end = (kept if n == gone else n for n in (choice.start, choice.end))
                draft.output_choice = Output(start, end, choice.element)
            yield draft


def _remove(draft: Draft, name: str) -> None:
    """Take a part out; switches that followed it are driven like it."""
    own = next((drive for drive in draft.drives if drive.switch == name), None)
    for index, drive in enumerate(draft.drives):
        if drive.argument == name and own is not None and drive.kind in ("with", "against"):
            inverse = {"at": "against", "on": "off", "off": "on", "with": "against", "against": "with"}
            if drive.kind == "with" or own.kind != "at":
                kind = own.kind if drive.kind == "with" else inverse[own.kind]
                draft.drives[index] = replace(drive, kind=kind, argument=own.argument)
    draft.remove(name)


def _without_properties(circuit: Circuit) -> Iterator[Draft]:
    """Without any resistance and drop, then without one of them, then without couplings and cores."""
    keys = ("resistance", "drop", "magnetizing")
    having = [(e.name, key) for e in circuit.elements for key in keys if getattr(e, key, None) is not None]
    groups = [[one for one in having if one[1] != "magnetizing"], *([one] for one in having)]
    for group in groups:
        draft = Draft.of(circuit)
        for name, key in group:
            draft.put(draft.find(name), **{key: None})
        yield draft
    for index in range(len(circuit.couplings)):
        draft = Draft.of(circuit)
        del draft.couplings[index]
        yield draft


def _with_one_duty(circuit: Circuit) -> Iterator[Draft]:
    """A switch with a duty of its own driven with or against the first one."""
    if len(circuit.switches) < 2:
        return
    first = circuit.switches[0].name
    for index, drive in enumerate(circuit.drives):
        for kind in ("with", "against"):
            if drive.kind == "at" and drive.switch != first:
                draft = Draft.of(circuit)
                draft.drives[index] = replace(drive, kind=kind, argument=first)
                if not any(d.kind == "at" and d.argument == drive.argument for d in draft.drives):
                    draft.operating.pop(drive.argument or "", None)
                yield draft


def _with_round_values(circuit: Circuit) -> Iterator[Draft]:
    """A value with one digit instead of more, all of a kind at once first."""
    for element in circuit.elements:
        value = getattr(getattr(element, "quantity", None), "value", None)
        if value is not None and decimal(float(value), 1) != value:
            draft = Draft.of(circuit)
            draft.set_value(element, decimal(float(value), 1))
            yield draft
    for name, value in circuit.operating:
        simple = Fraction("0.4") if name != "T" else Fraction("0.00001")
        if value != simple and not (name != "T" and value == Fraction(1, 2)):
            draft = deepcopy(Draft.of(circuit))
            draft.operating[name] = simple
            yield draft


STEPS = (_without_a_part, _with_a_part_shorted, _without_properties, _with_one_duty, _with_round_values)
