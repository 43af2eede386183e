"""Which voltages and currents are looked at over time: ``v(out), v(a,b), v(D1), i(L1), Vout``.

Names are those of ``voltsec check``.  ``v(X)`` and ``i(X)`` are the voltage and current along the arrow of
the element X (a winding is ``T.1``, a magnetizing inductance goes by its symbol); ``v(n)`` is the voltage of
the node n against the reference node of its part, ``v(a,b)`` that from node a to node b.  Where a name is
both an element's and a node's, ``v(X)`` is the element, as in a check, and ``v(X,gnd)`` the node.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import networkx as nx

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Place, Transformer
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.circuit.graph import graph_of, references
from voltsec.circuit.spelling import did_you_mean, nearest
from voltsec.practice.quantities import PLAIN
from voltsec.results.measures import Terms
from voltsec.results.table import inductances, stressed, voltage

MOST_TRACES = 40
"""Traces that may be asked for at once."""
MOST_BY_DEFAULT = 20
"""Traces that are shown where none are named."""
LONGEST = 4000
"""Characters of a list of traces."""
SOURCE = "--show"
"""What a list of traces is called in messages."""
PORTS = ("Vout", "Iin", "Iout")
"""Plain quantities that have a course in time."""

_ONE = re.compile(r"(?P<head>[^\s(),;]*)\s*(?P<open>\()?(?P<inside>[^()]*)(?P<close>\))?(?P<rest>[^,]*)")


@dataclass(frozen=True)
class WantedTrace:
    """One voltage or current over time."""

    text: str
    """As it is written: ``v(out)``."""
    terms: Terms
    """A sum of the network's unknowns."""
    unit: str
    """``V`` or ``A``."""
    part: str = ""
    """The element, winding or magnetizing inductance it belongs to; empty for a voltage between nodes."""


class TraceNames:
    """What names of traces mean in one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.currents: dict[str, Terms] = {}
        self.voltages: dict[str, Terms] = {}
        for name, current, across, _ in stressed(circuit):
            self.currents[name] = current
            self.voltages[name] = across
        self.nodes = circuit.nodes
        self.references = references(circuit)
        symbols = {quantity.symbol for quantity in circuit.quantities}
        self.plain = {word: name for word, name in PLAIN.items() if name in PORTS and word not in symbols}
        """Words for the ports' quantities -> which of them."""

    @property
    def known(self) -> list[str]:
        """Every trace of one name, written out."""
        nodes = [node for node in self.nodes if node not in (*self.references, *self.voltages)]
        return [
            *(f"v({name})" for name in (*nodes, *self.voltages)),
            *(f"i({name})" for name in self.currents),
            *self.plain,
        ]

    def of_part(self, letter: str, part: str) -> WantedTrace:
        """``v`` or ``i`` of an element, a winding or a magnetizing inductance."""
        table, unit = (self.voltages, "V") if letter == "v" else (self.currents, "A")
        return WantedTrace(f"{letter}({part})", table[part], unit, part)

    def between(self, start: str, end: str | None = None) -> WantedTrace:
        """The voltage of a node, or that between two nodes."""
        if end is None:
            return WantedTrace(f"v({start})", ((("v", start), 1),), "V")
        return WantedTrace(f"v({start},{end})", voltage(start, end), "V")

    def output(self) -> WantedTrace:
        """The output voltage, named by its nodes."""
        start, end = self.circuit.output.start, self.circuit.output.end
        if end in self.references and start not in (*self.references, *self.voltages):
            return self.between(start)
        return self.between(start, end)

    def port(self, word: str) -> WantedTrace | None:
        """A plain quantity; None for the current of an output that is no element."""
        circuit, name = self.circuit, self.plain[word]
        if name == "Vout":
            return WantedTrace(word, voltage(circuit.output.start, circuit.output.end), "V")
        if name == "Iin":
            return WantedTrace(word, ((("i", circuit.input.name), -1),), "A")
        element = circuit.output.element
        return None if element is None else WantedTrace(word, ((("i", element), 1),), "A")

    def joined(self, start: str, end: str) -> bool:
        """True where the voltage between two nodes is fixed: something connects them."""
        return bool(nx.has_path(graph_of(self.circuit), start, end))


def default_traces(circuit: Circuit) -> tuple[WantedTrace, ...]:
    """What is looked at first: coil currents, device currents and voltages, the output voltage.

    Of many the voltages of devices give way, then their currents.
    """
    names = TraceNames(circuit)
    devices = [device.name for device in circuit.devices]
    coils = [names.of_part("i", name) for name in inductances(circuit)][: MOST_BY_DEFAULT - 1]
    room = MOST_BY_DEFAULT - 1 - len(coils)
    currents = [names.of_part("i", name) for name in devices][:room]
    voltages = [names.of_part("v", name) for name in devices][: room - len(currents)]
    return (*coils, *currents, *voltages, names.output())


def read_traces(text: str | Iterable[str], circuit: Circuit) -> tuple[WantedTrace, ...]:
    """The traces that ``text`` lists, parted by commas.

    Raises :class:`CircuitError` with everything that is wrong with the list.
    """
    listed = text if isinstance(text, str) else ", ".join(text)
    names = TraceNames(circuit)
    found: dict[str, WantedTrace] = {}
    faults: list[Fault] = []
    if len(listed) > LONGEST:
        message = f"the list of traces is longer than {LONGEST} characters"
        fault = Fault("too-many-traces", message, hint="ask several times")
        raise CircuitError((fault,), SOURCE)
    listed = " ".join(listed.splitlines())
    pieces = list(_pieces(listed))
    if not listed.strip():
        pieces = []
        faults.append(Fault("no-trace", "no trace is asked for", hint=_such(names)))
    for column, piece in pieces:
        read = _read(piece, column, names)
        if isinstance(read, Fault):
            faults.append(read)
        elif read.text in found:
            hint = "take one of them away"
            faults.append(
                Fault("given-twice", f"{read.text} is asked for twice", Place(1, column), hint=hint)
            )
        else:
            found[read.text] = read
    if len(found) > MOST_TRACES:
        message = f"{len(found)} traces are more than can be told apart; {MOST_TRACES} are the most"
        faults.append(Fault("too-many-traces", message, hint="ask several times"))
    if faults:
        raise CircuitError(tuple(faults), SOURCE, listed)
    return tuple(found.values())


def _pieces(text: str) -> Iterator[tuple[int, str]]:
    """Entries between commas that stand in no brackets, each with its column from 1."""
    depth, start = 0, 0
    for place, sign in enumerate([*text, ","]):
        depth += (sign == "(") - (sign == ")")
        if sign == "," and (depth <= 0 or place == len(text)):
            piece = text[start:place]
            yield start + len(piece) - len(piece.lstrip()) + 1, piece.strip()
            start, depth = place + 1, 0


def _read(piece: str, column: int, names: TraceNames) -> WantedTrace | Fault:
    place = Place(1, column)
    if not piece:
        return Fault("no-trace", "there is no trace between two commas", place, hint=_such(names))
    match = _ONE.match(piece)
    assert match is not None
    head, inside = match["head"], match["inside"]
    if match["open"] and not match["close"]:
        return Fault(
            "unclosed-bracket", "this bracket is not closed", _at(place, piece, "("), hint="write ')'"
        )
    if not match["open"] and match["close"]:
        return Fault("unclosed-bracket", "this bracket closes none", _at(place, piece, ")"), hint="write '('")
    if match["rest"].strip() or (not match["open"] and inside.strip()):
        message = f"'{_short(piece)}' is no single trace"
        return Fault("bad-trace", message, place, hint=f"part traces by commas; {_such(names)}")
    if not match["open"]:
        return _plain(head, place, names)
    if head not in ("v", "i"):
        hint = f"did you mean {head.lower()}({inside})?" if head in ("V", "I") else _such(names)
        message = f"'{_short(head)}( )' is neither a voltage v( ) nor a current i( )"
        return Fault("bad-trace", message, place, hint=hint)
    inner = [part.strip() for part in inside.split(",")]
    if not all(inner) or len(inner) > 2:
        message = f"{head}( ) takes {'a name or two nodes' if head == 'v' else 'the name of one element'}"
        return Fault("bad-trace", message, place, hint=_such(names))
    if len(inner) == 2:
        return _pair(head, inner[0], inner[1], place, names)
    return _single(head, inner[0], place, names)


def _plain(word: str, place: Place, names: TraceNames) -> WantedTrace | Fault:
    """A word without brackets."""
    if word in names.plain:
        found = names.port(word)
        if found is None:
            message = f"{word} is not known: the output is a pair of nodes, no element"
            return Fault("unknown-trace", message, place, hint=_such(names))
        return found
    if word in names.currents:
        return Fault("bad-trace", f"{word} is an element", place, hint=f"write v({word}) or i({word})")
    if word in names.nodes:
        return Fault("bad-trace", f"{word} is a node", place, hint=f"write v({word})")
    hint = did_you_mean(word, [*names.plain, *names.known]) or _such(names)
    return Fault("unknown-trace", f"there is no trace called '{_short(word)}'", place, hint=hint)


def _single(letter: str, name: str, place: Place, names: TraceNames) -> WantedTrace | Fault:
    """``v(name)`` or ``i(name)``."""
    if name in names.currents:
        return names.of_part(letter, name)
    if any(isinstance(e, Transformer) and e.name == name for e in names.circuit.elements):
        windings = [part for part in names.currents if part.startswith(f"{name}.")]
        hint = f"write {' or '.join(f'{letter}({part})' for part in windings)}"
        return Fault("bad-trace", f"the transformer {name} has several windings", place, (name,), hint=hint)
    if name in names.nodes and letter == "v":
        if name in names.references:
            message = f"{name} is a reference node: its voltage is zero by definition"
            return Fault("bad-trace", message, place, nodes=(name,), hint=f"v(a,{name}) counts from it")
        return names.between(name)
    if name in names.nodes:
        at_it = [e.name for e in names.circuit.elements if name in e.nodes]
        at_it = [part for part in names.currents if part.split(".")[0] in at_it]
        message = f"{name} is a node, and a current is that of an element"
        hint = f"at it there are {', '.join(f'i({part})' for part in at_it[:6])}"
        return Fault("bad-trace", message, place, nodes=(name,), hint=hint)
    known = names.currents if letter == "i" else [*names.nodes, *names.voltages]
    near = " or ".join(f"{letter}({one})" for one in nearest(name, known))
    hint = f"did you mean {near}?" if near else _such(names)
    what = "node or element" if letter == "v" else "element"
    return Fault("unknown-trace", f"there is no {what} called '{_short(name)}'", place, hint=hint)


def _pair(letter: str, start: str, end: str, place: Place, names: TraceNames) -> WantedTrace | Fault:
    """``v(start,end)``."""
    if letter == "i":
        message = "i( ) takes the name of one element"
        return Fault("bad-trace", message, place, hint=f"the voltage between two nodes is v({start},{end})")
    for name in (start, end):
        if name not in names.nodes:
            message = f"v(a,b) takes two nodes, and no node is called '{_short(name)}'"
            if name in names.voltages:
                message = f"v(a,b) takes two nodes, and {name} is an element"
            hint = did_you_mean(name, names.nodes) or f"the nodes are {', '.join(names.nodes[:12])}"
            return Fault("unknown-trace", message, place, hint=hint)
    if start == end:
        message = f"v({start},{end}) begins and ends at one node"
        return Fault("same-node", message, place, nodes=(start,), hint="name two different nodes")
    if not names.joined(start, end):
        message = f"nothing connects {start} and {end}: the voltage between them is not determined"
        hint = "ask for each against its own reference node"
        return Fault("bad-trace", message, place, nodes=(start, end), hint=hint)
    return names.between(start, end)


def _such(names: TraceNames) -> str:
    """A hint: what may be written."""
    coils = inductances(names.circuit)
    part = coils[0] if coils else next(iter(names.currents))
    return f"such as {names.output().text}, v({part}) or i({part})"


def _at(place: Place, piece: str, sign: str) -> Place:
    return Place(place.line, place.column + max(piece.find(sign), 0))


def _short(text: str) -> str:
    return text if len(text) <= 30 else text[:29] + "…"
