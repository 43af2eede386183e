"""A statement of one element -> the element, with everything checked that it can tell alone."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from voltsec.circuit.elements import (
    Element,
    Quantity,
    Transformer,
)
from voltsec.language.expected import a
from voltsec.language.findings import Findings
from voltsec.language.quantities import OutOfRange, number
from voltsec.language.statements import ElementStatement, PropertyText, Word
from voltsec.language.vocabulary import IN_EQUATIONS, KINDS, PROPERTIES, TOGETHER

QUANTITY_OF = {"V": "voltage", "A": "current", "ohm": "resistance", "H": "inductance", "F": "capacitance"}


def make_element(
    statement: ElementStatement,
    findings: Findings,
    parameters: Mapping[str, object],
    unsure: frozenset[str] = frozenset(),
) -> Element:
    """The element a statement describes; what is wrong with it goes to ``findings``.

    Always an element, with a faulty value left out, so that other statements can refer to it.
    ``parameters`` are the declared turns parameters, ``unsure`` words of statements that could not
    be read (a parameter among them is not reported as missing).
    """
    name = statement.name
    for start, end in statement.arrows:
        if start.text == end.text:
            findings.add(
                "same-node",
                f"{name.text} goes from node {start.text} to the same node",
                end.place,
                (name.text,),
                (start.text,),
                "an element connects two different nodes",
            )
    properties = _properties(statement, findings)
    if statement.kind == "transformer":
        turns = _turns(statement, findings, parameters, unsure)
        windings = tuple((start.text, end.text) for start, end in statement.arrows)
        return Transformer(name.text, windings, turns, place=name.place, **properties)
    maker, unit, _ = KINDS[statement.kind]
    start, end = statement.arrows[0]
    if unit is None:
        if statement.amount is not None:
            findings.add(
                "no-value-here",
                f"{a(statement.kind)} has no value",
                statement.amount.number.place,
                (name.text,),
                (),
                f"a {statement.kind} may have {{ resistance …, drop … }}",
            )
    else:
        findings.symbol(name, name.text)
        what = f"the {QUANTITY_OF[unit]} of {name.text}"
        hint = "turn the arrow and write a positive value"
        if statement.kind not in ("source", "current"):
            hint = "leave the value out for a symbol alone, or write a positive one"
        value = findings.positive(statement.amount, unit, what, name.text, hint)
        findings.doubt_bare(statement.amount, unit, value, name.text)
        properties = {"quantity": Quantity(name.text, unit, value), **properties}
    return maker(name.text, start.text, end.text, place=name.place, **properties)


def _properties(statement: ElementStatement, findings: Findings) -> dict[str, Any]:
    """The properties of an element by name; those of losses beside conduction as ``beside``."""
    found = _quantities(statement, findings)
    beside = {name: found.pop(name) for name in tuple(found) if name not in IN_EQUATIONS}
    owner = statement.name
    for group in TOGETHER:
        missing = [name for name in group if name not in beside]
        if missing and len(missing) < len(group):
            message = f"{owner.text} has no {', '.join(missing)}"
            hint = f"these stand together: {', '.join(group)}"
            findings.add("incomplete-loss", message, owner.place, (owner.text,), (), hint)
    if "core_turns" in beside and statement.kind == "transformer" and "magnetizing" not in found:
        message = f"the core of {owner.text} has no flux without a magnetizing inductance"
        hint = "write magnetizing beside it"
        findings.add("incomplete-loss", message, owner.place, (owner.text,), (), hint)
    return {**found, "beside": tuple(beside.items())} if beside else dict(found)


def _quantities(statement: ElementStatement, findings: Findings) -> dict[str, Quantity]:
    """Every property of an element by name."""
    allowed = KINDS[statement.kind][2]
    owner = statement.name.text
    found: dict[str, Quantity] = {}
    for entry in statement.properties:
        name = entry.name.text
        if name not in allowed:
            _refuse(entry, statement, allowed, findings)
            continue
        if name in found:
            message = f"{owner} has two entries {name}"
            findings.add("given-twice", message, entry.name.place, (owner,), (), "keep one of them")
            continue
        beginning, unit = PROPERTIES[name]
        if entry.symbol is not None:
            findings.symbol(entry.symbol, owner)
        if entry.amount is None and name not in IN_EQUATIONS:
            message = f"the {name} of {owner} has no value"
            hint = f"write {name} with its value: this loss is told in numbers alone"
            findings.add("missing-value", message, entry.name.place, (owner,), (), hint)
        hint = f"leave {name} out: an unwritten property is ideal"
        value = findings.positive(entry.amount, unit, f"the {name} of {owner}", owner, hint)
        findings.doubt_bare(entry.amount, unit, value, f"the {name} of {owner}")
        symbol = entry.symbol.text if entry.symbol is not None else beginning + owner
        found[name] = Quantity(symbol, unit, value)
    return found


def _refuse(
    entry: PropertyText, statement: ElementStatement, allowed: tuple[str, ...], findings: Findings
) -> None:
    """Note a property that this kind of element does not have."""
    name = entry.name.text
    kind = statement.kind
    has = f"{a(kind)} may have: {', '.join(allowed)}" if allowed else f"{a(kind)} has no properties"
    hint = findings.nearest(name, allowed) or has
    kind_of_fault = "wrong-property" if name in PROPERTIES else "unknown-property"
    message = f"{a(kind)} has no {name}" if name in PROPERTIES else f"no property is called '{name[:30]}'"
    findings.add(kind_of_fault, message, entry.name.place, (statement.name.text,), (), hint)


def _turns(
    statement: ElementStatement, findings: Findings, parameters: Mapping[str, object], unsure: frozenset[str]
) -> tuple[Fraction | str, ...]:
    """Turns of a transformer's windings; faulty ones count as 1."""
    owner = statement.name
    windings = len(statement.arrows)
    if windings < 2:
        findings.add(
            "too-few-windings",
            f"transformer {owner.text} has one winding",
            statement.arrows[0][0].place,
            (owner.text,),
            (),
            "write transformer T : a -> b, c -> d = 1 : n",
        )
    if statement.turns is None:
        findings.add(
            "missing-turns",
            f"transformer {owner.text} has no turns",
            owner.place,
            (owner.text,),
            (),
            "write = " + " : ".join(["1", *"nmpq"][: max(windings, 2)]),
        )
        return (Fraction(1),) * windings
    if windings >= 2 and len(statement.turns) != windings:
        findings.add(
            "turns-mismatch",
            f"transformer {owner.text} has {windings} windings but {len(statement.turns)} turns",
            statement.turns[0].place,
            (owner.text,),
            (),
            "write one number or parameter a winding, separated by colons",
        )
    return tuple(_turn(word, owner.text, findings, parameters, unsure) for word in statement.turns)


def _turn(
    word: Word, owner: str, findings: Findings, parameters: Mapping[str, object], unsure: frozenset[str]
) -> Fraction | str:
    """One winding's turns: a positive number or a declared parameter."""
    if word.text[0].isalpha() or word.text[0] == "_":
        if word.text not in parameters and word.text not in unsure:
            hint = findings.nearest(word.text, parameters) or f"add a line: parameter {word.text}"
            findings.add(
                "unknown-parameter", f"no parameter is called {word.text}", word.place, (owner,), (), hint
            )
        return word.text
    try:
        turns = number(word.text)
    except OutOfRange as error:
        findings.add("number-out-of-range", str(error), word.place, (owner,))
        return Fraction(1)
    if turns <= 0:
        hint = "turn the winding's arrow and write a positive number"
        findings.add("not-positive", f"the turns of {owner} are not positive", word.place, (owner,), (), hint)
        return Fraction(1)
    return turns
