"""Text -> Circuit.  Everything that is wrong with a netlist is reported in one go.

>>> read("source Vg : in -> gnd = 12 V").sources[0].quantity.value
Fraction(12, 1)
"""

from __future__ import annotations

import re
from pathlib import Path

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Place
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.language.meaning import Meaning
from voltsec.language.parsing import SyntaxFault, parse_statement
from voltsec.language.splitting import split
from voltsec.language.statements import Statement

LARGEST_FILE = 1_000_000
"""Characters a netlist may have (some 20000 elements); what is longer is no parts list."""

MOST_FAULTS = 200
"""Statements that cannot be read before the reader gives up on the rest of the text."""

_WORD = re.compile(r"[A-Za-z0-9_]+")

_SHAPE_FAULTS = {"same-node", "duplicate-name", "too-few-windings", "turns-mismatch"}
"""Faults after which the circuit's shape is not what the writer meant."""


def read(text: str, file: str = "<text>") -> Circuit:
    """The circuit a netlist describes.

    :class:`CircuitError` holds every fault found: of the language always, and those of the circuit
    (``voltsec.circuit.graph``) as well where every element could be read.  A text without faults of
    the language is returned unchecked; ``Circuit.check()`` looks at the circuit.
    """
    text = text.removeprefix("\ufeff")
    if len(text) > LARGEST_FILE:
        message = f"the netlist has {len(text)} characters, the most is {LARGEST_FILE}"
        fault = Fault("too-long", message, Place(1, 1), hint="is this the right file?")
        raise CircuitError((fault,), file, text[:LARGEST_FILE])
    if "\0" in text:
        raise CircuitError((_not_text(text.encode("utf-8", "replace").index(0), text),), file, "")
    statements, faults, unsure = read_statements(text)
    meaning = Meaning(statements, unsure)
    circuit = meaning.circuit(file, text)
    found = faults + meaning.findings.faults
    if not circuit.elements and not faults:
        hint = "write one element a line: KIND NAME : NODE -> NODE = VALUE"
        found.append(Fault("empty-netlist", "there is no element", Place(1, 1), hint=hint))
    if not found:
        return circuit
    if not faults and circuit.elements and not _SHAPE_FAULTS & {fault.kind for fault in found}:
        from voltsec.circuit.graph import find_faults

        found += [fault for fault in find_faults(circuit) if fault.kind not in meaning.doubtful]
    raise CircuitError(in_order(found), file, text)


def read_statements(text: str) -> tuple[list[Statement], list[Fault], frozenset[str]]:
    """Statements that could be parsed, the faults of the others, and the words in those others."""
    statements: list[Statement] = []
    faults: list[Fault] = []
    unsure: set[str] = set()
    for piece in split(text):
        if piece.kind != "statement":
            continue
        try:
            statements.append(parse_statement(piece))
        except SyntaxFault as error:
            faults.append(error.fault)
            unsure.update(_WORD.findall(piece.text[:1000]))
            if len(faults) >= MOST_FAULTS:
                message = f"reading stopped here, after {MOST_FAULTS} lines that could not be read"
                place = Place(piece.line, len(piece.text) + 1)
                faults.append(Fault("reading-stopped", message, place, hint="is this a netlist?"))
                break
    return statements, faults, frozenset(unsure)


def in_order(faults: list[Fault]) -> tuple[Fault, ...]:
    """Faults by their place in the text, those without one last; each only once."""
    unique = list(dict.fromkeys(faults))
    places = {id(fault): fault.place or Place(10**9, 0) for fault in unique}
    return tuple(sorted(unique, key=lambda fault: (places[id(fault)].line, places[id(fault)].column)))


def read_bytes(data: bytes, file: str = "<bytes>") -> Circuit:
    """The circuit in a file's contents, UTF-8 with or without byte order mark.

    :class:`CircuitError` of kind ``not-text`` where the contents are no text, ``not-utf-8`` where
    they are in another encoding.
    """
    if len(data) > 4 * LARGEST_FILE:
        message = f"the file has {len(data)} bytes, a netlist has at most {LARGEST_FILE} characters"
        fault = Fault("too-long", message, Place(1, 1), hint="is this the right file?")
        raise CircuitError((fault,), file, "")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        fault = Fault("not-utf-8", "the file is UTF-16 text", Place(1, 1), hint="save it as UTF-8")
        raise CircuitError((fault,), file, "")
    if b"\0" in data:
        before = data[: data.index(0)].decode("utf-8", "replace")
        raise CircuitError((_not_text(data.index(0), before),), file, "")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8", "replace")
        place = _place_after(before)
        message = f"byte 0x{data[error.start]:02x} is not UTF-8 text"
        fault = Fault("not-utf-8", message, place, hint="save the file as UTF-8")
        raise CircuitError((fault,), file, "") from None
    return read(text, file)


def read_file(path: str | Path) -> Circuit:
    """The circuit in a file; :class:`CircuitError` of kind ``cannot-read`` where there is none to read."""
    path = Path(path)
    try:
        with path.open("rb") as opened:
            # One byte more than may be read tells a file that is too long from one that is not.
            data = opened.read(4 * LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        raise CircuitError((_cannot_read(path, error),), str(path), "") from None
    return read_bytes(data, str(path))


def _cannot_read(path: Path, error: OSError | ValueError) -> Fault:
    """The fault of a path that cannot be read, with the nearest file name beside it as a hint."""
    from voltsec.circuit.spelling import did_you_mean

    hint = ""
    reason = getattr(error, "strerror", None) or str(error)
    if isinstance(error, FileNotFoundError):
        reason = "there is no such file"
        try:
            hint = did_you_mean(path.name, sorted(one.name for one in path.parent.glob("*.topo"))[:1000])
        except OSError:
            hint = ""
    elif isinstance(error, IsADirectoryError):
        reason, hint = "it is a directory", "name a file in it"
    return Fault("cannot-read", f"cannot read {path}: {reason}", None, hint=hint)


def _not_text(position: int, before: str) -> Fault:
    """The fault of contents with a zero byte."""
    message = f"the file is not text: byte {position + 1} is zero"
    hint = "a netlist is plain text; is this the right file?"
    return Fault("not-text", message, _place_after(before.partition("\0")[0]), hint=hint)


def _place_after(before: str) -> Place:
    """The place right after a text."""
    lines = re.split(r"\r\n|\n|\r", before.removeprefix("\ufeff"))
    return Place(len(lines), len(lines[-1]) + 1)
