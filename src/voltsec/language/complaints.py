"""Faults for people (file, line, column, the line with a caret, hint) and for machines (JSON objects)."""

from __future__ import annotations

from typing import Any

from voltsec.circuit.fault import CircuitError, Fault
from voltsec.language.splitting import lines_of

MOST_SHOWN = 20
"""Faults that are shown; of more, their number."""

WIDEST_EXCERPT = 100
"""Characters of a line that are shown around the place."""

KINDS: dict[str, str] = {
    # The file
    "cannot-read": "the file does not exist or cannot be read",
    "not-text": "the file holds a zero byte: it is no text",
    "not-utf-8": "the file is text in another encoding than UTF-8",
    "too-long": "the file is far longer than any parts list",
    "line-too-long": "a statement is far longer than any statement",
    "empty-netlist": "the file holds no element",
    "reading-stopped": "so many lines could not be read that the rest was left unread",
    "more-faults": "stands for the faults beyond those shown",
    # The form of a statement
    "unknown-statement": "a line begins with no known word",
    "bad-character": "a character that names, nodes and numbers cannot hold",
    "bad-name": "a name begins with a digit",
    "missing-name": "a name was expected",
    "missing-colon": "the colon after an element's name was expected",
    "missing-arrow": "the arrow between two nodes was expected",
    "missing-node": "a node was expected",
    "missing-equals": "an equals sign was expected",
    "missing-value": "a number was expected",
    "missing-comma": "a comma was expected",
    "missing-brace": "braces are not opened or not closed",
    "missing-title": "a title in quotes was expected",
    "unclosed-title": "a title has no closing quote",
    "unknown-drive": "a drive is none of at, against, with, on, off",
    "missing-start": "a number or symbol was expected after from",
    "unexpected-text": "text that does not belong to the statement",
    # Values and properties
    "unknown-unit": "the word after a number is no unit",
    "wrong-unit": "the unit belongs to another kind of quantity",
    "number-out-of-range": "a number is absurdly long, large or small",
    "not-positive": "a value that must be above zero is not",
    "no-value-here": "a switch or diode is given a value",
    "unknown-property": "no property has this name",
    "wrong-property": "this kind of element has no such property",
    "incomplete-loss": "a property needs others beside it before a loss can be told",
    "coefficient-out-of-range": "a coupling coefficient is outside 0…1",
    "duty-out-of-range": "a duty is not between 0 and 1",
    "start-out-of-range": "the start of an on-time is not in 0…1",
    # Names and symbols
    "duplicate-name": "two elements, or two parameters, have one name",
    "symbol-clash": "two things would share one symbol in the formulas",
    "reserved-word": "a symbol is a word that Python or sympy keeps for itself",
    "unknown-name": "no element has this name",
    "wrong-kind": "the named element is of another kind than is needed here",
    "unknown-node": "no element connects to this node",
    "unknown-parameter": "a transformer's turns name a parameter that is not declared",
    "unknown-symbol": "operate sets something that is no duty, T or f",
    "given-twice": "something is stated twice that stands once",
    # Elements and statements that make no sense
    "same-node": "an element, or the output, begins and ends at one node",
    "same-inductor": "an inductor is coupled to itself",
    "missing-turns": "a transformer has no turns",
    "turns-mismatch": "a transformer has more or fewer turns than windings",
    "too-few-windings": "a transformer has a single winding",
    "missing-drive": "one of several switches has no drive",
    "drive-loop": "a drive follows itself",
    # The circuit
    "no-source": "the circuit has no source",
    "no-switch": "the circuit has no switch",
    "no-load": "the circuit has no load, constant current or stated output",
    "loose-node": "a node has one connection",
    "part-without-source": "a part of the circuit has no path to any source",
    "source-loop": "sources, or a source and closed switches, form a loop",
    "no-current-path": "the current of an inductor, or a constant current, has no path in any state",
    "two-grounds": "two ground nodes are in one galvanically connected part",
    "not-determined": "the circuit settles, but which devices conduct when could not be confirmed",
    "drop-above-input": "a device's drop is not below the highest source's voltage",
    "coupling-not-passive": "the mutual inductances would store negative energy",
    # Formulas to check
    "no-formula": "there is no equation to check",
    "bad-formula": "a formula is no arithmetic that can be checked",
    "implicit-product": "two factors stand side by side without a sign",
    "missing-operand": "a sign or a bracket has nothing to work on",
    "unclosed-bracket": "brackets of a formula are not opened or not closed",
    "ambiguous-parallel": "a parallel value stands beside a product without brackets",
    "bad-exponent": "an exponent is no number, or far too large",
    "formula-too-long": "a formula or a derivation is far longer than any written by hand",
    "unknown-quantity": "a name in a formula means nothing in this circuit",
    "wrong-argument": "a quantity in a formula is asked of something that has none",
    "no-such-interval": "the stage has no interval of that number",
    "no-such-mode": "the stage has no mode of that name",
    "nothing-to-check": "an equation says nothing about the stage",
    # Traces over time
    "no-trace": "no trace is asked for where one was expected",
    "bad-trace": "a trace is not written as a voltage v( ) or a current i( ) of something that has one",
    "unknown-trace": "a trace names no node, element or quantity of the circuit",
    "too-many-traces": "more traces are asked for than can be told apart",
    "no-operating-point": "values are missing without which there is no operating point",
    # The answer
    "no-numbers": "the values lead to no state that could be told in numbers",
    "no-steady-state": "the circuit has no periodic steady state",
    "unreachable-output": "no duty gives the wanted output",
}
"""Every kind of fault in one line each."""


def shown(faults: tuple[Fault, ...], most: int = MOST_SHOWN) -> tuple[Fault, ...]:
    """The first faults, and one more that counts the rest where there are more than ``most``."""
    if len(faults) <= most:
        return faults
    return (*faults[:most], Fault("more-faults", f"and {len(faults) - most} more"))


def render(error: CircuitError, most: int = MOST_SHOWN) -> str:
    """The text a person reads: every fault with its place, its line, a caret and a hint."""
    lines = lines_of(error.text) if error.text else []
    return "\n".join(_one(fault, error.file, lines) for fault in shown(error.faults, most))


def as_objects(error: CircuitError, most: int = MOST_SHOWN) -> list[dict[str, Any]]:
    """The entries of ``errors`` in the JSON output; line and column are null without a place."""
    return [
        {
            "line": fault.place.line if fault.place is not None else None,
            "column": fault.place.column if fault.place is not None else None,
            "kind": fault.kind,
            "message": fault.message,
            "elements": list(fault.elements),
            "nodes": list(fault.nodes),
            "hint": fault.hint,
            "file": error.file,
        }
        for fault in shown(error.faults, most)
    ]


def _one(fault: Fault, file: str, lines: list[str]) -> str:
    if fault.kind == "more-faults":
        return fault.message
    place = fault.place
    where = f"{file}:{place.line}:{place.column}" if place is not None else file
    parts = [f"{_plain(where)}: {_plain(fault.message)} [{fault.kind}]"]
    if place is not None and 1 <= place.line <= len(lines):
        parts += _excerpt(lines[place.line - 1], place.column)
    for what, names in (("elements", fault.elements), ("nodes", fault.nodes)):
        if any(name not in fault.message for name in names):
            parts.append(f"    {what}: {', '.join(names)}")
    if fault.hint:
        parts.append(f"    hint: {_plain(fault.hint)}")
    return "\n".join(parts)


def _excerpt(line: str, column: int) -> list[str]:
    """The line (its part around a far column) and the caret under the column."""
    first = max(0, column - 1 - WIDEST_EXCERPT * 2 // 3) if len(line) > WIDEST_EXCERPT else 0
    last = first + WIDEST_EXCERPT
    head = "…" if first else ""
    tail = "…" if last < len(line) else ""
    before = head + line[first : column - 1]
    padding = "".join(character if character == "\t" else " " for character in before)
    return [f"    {head}{_plain(line[first:last])}{tail}", f"    {padding}^"]


def _plain(text: str) -> str:
    """Text that is safe on a terminal: control characters become question marks."""
    return "".join(character if character.isprintable() or character == "\t" else "?" for character in text)
