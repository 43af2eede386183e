"""Statements -> Circuit: names resolved, statements held against each other, every fault noted."""

from __future__ import annotations

from fractions import Fraction
from typing import TypeVar

from voltsec.circuit.circuit import Circuit, Coupling, Output
from voltsec.circuit.elements import (
    Element,
    Inductor,
    Place,
    Quantity,
    Source,
    Switch,
    Transformer,
    TwoTerminal,
)
from voltsec.language.driving import DriveBook
from voltsec.language.expected import a
from voltsec.language.findings import Findings
from voltsec.language.parts import make_element
from voltsec.language.statements import (
    CoupleStatement,
    DriveStatement,
    ElementStatement,
    GroundStatement,
    InputStatement,
    OperateStatement,
    OutputStatement,
    ParameterStatement,
    Statement,
    TitleStatement,
    Word,
)
from voltsec.language.symbols import check_symbols

S = TypeVar("S")


class Meaning:
    """The circuit being put together from statements, in two passes.

    The first takes elements and parameters, so that a statement may come before what it names; the
    second everything that refers to them.  ``unsure`` holds the words of statements that could not
    be read: a name among them may well exist, so it is not reported as unknown.
    """

    def __init__(self, statements: list[Statement], unsure: frozenset[str]) -> None:
        self.statements = statements
        self.findings = Findings()
        self.unsure = unsure
        self.elements: dict[str, Element] = {}
        self.parameters: dict[str, Quantity] = {}
        self.parameter_places: dict[str, Place] = {}
        self.grounds: dict[str, None] = {}
        self.title: Word | None = None
        self.couplings: list[Coupling] = []
        self.coupled: set[frozenset[str]] = set()
        self.operating: dict[str, Fraction] = {}
        self.input_name: Word | None = None
        self.output: Output | None = None
        self.doubtful: set[str] = set()
        """Kinds of circuit faults that would only follow from faults already noted here."""
        self._declare()
        self.nodes = dict.fromkeys(node for element in self.elements.values() for node in element.nodes)
        self.drives = DriveBook(self.elements, self.findings, unsure)
        self._refer()

    def circuit(self, file: str, text: str) -> Circuit:
        """The circuit, with faulty statements left out."""
        return Circuit(
            elements=tuple(self.elements.values()),
            title=self.title.text if self.title is not None else None,
            grounds=tuple(self.grounds) or ("gnd",),
            parameters=tuple(self.parameters.values()),
            couplings=tuple(self.couplings),
            drives=tuple(self.drives.drives.values()),
            operating=tuple(self.operating.items()),
            input_name=self.input_name.text if self.input_name is not None else None,
            output_choice=self.output,
            doubts=tuple(self.findings.doubts),
            file=file,
            text=text,
        )

    def _declare(self) -> None:
        """First pass: title, parameters, elements."""
        for title in self._all(TitleStatement):
            if self._once(self.title, title.title, "converter"):
                self.title = title.title
        for parameter in self._all(ParameterStatement):
            self._take_parameter(parameter)
        for statement in self._all(ElementStatement):
            name = statement.name
            element = make_element(statement, self.findings, self.parameters, self.unsure)
            earlier = self.elements.get(name.text)
            if earlier is not None:
                self._add(
                    "duplicate-name",
                    f"two elements are called {name.text}: {a(earlier.kind)}{_on_line(earlier.place)}"
                    f" and this {statement.kind}",
                    name.place,
                    (name.text,),
                    "every element has a name of its own",
                )
                continue
            self.elements[name.text] = element

    def _refer(self) -> None:
        """Second pass: everything that names elements, nodes or symbols."""
        noted = len(self.findings.faults)
        for drive in self._all(DriveStatement):
            self.drives.take(drive)
        self.drives.finish()
        noted = self._doubt(noted, "source-loop", "no-current-path")
        for couple in self._all(CoupleStatement):
            self._take_couple(couple)
        noted = self._doubt(noted, "part-without-source", "coupling-not-passive")
        for ground in self._all(GroundStatement):
            self._take_ground(ground)
        for chosen in self._all(InputStatement):
            self._take_input(chosen)
        noted = len(self.findings.faults)
        first: Word | None = None
        for output in self._all(OutputStatement):
            if self._once(first, output.start, "output"):
                first = output.start
                self._take_output(output)
        self._doubt(noted, "no-load")
        for operate in self._all(OperateStatement):
            self._take_operate(operate)
        check_symbols(
            self.elements, self.parameters, self.parameter_places, self.couplings, self.drives, self.findings
        )

    def _all(self, kind: type[S]) -> list[S]:
        """The statements of one kind, in order."""
        return [one for one in self.statements if isinstance(one, kind)]

    def _doubt(self, noted: int, *kinds: str) -> int:
        """Faults noted since there were ``noted`` make some faults of the circuit doubtful."""
        if len(self.findings.faults) > noted:
            self.doubtful |= set(kinds)
        return len(self.findings.faults)

    def _add(
        self, kind: str, message: str, place: Place | None, elements: tuple[str, ...] = (), hint: str = ""
    ) -> None:
        self.findings.add(kind, message, place, elements, (), hint)

    def _once(self, earlier: Word | None, now: Word, word: str) -> bool:
        """Whether this is the first statement of a kind that stands at most once."""
        if earlier is None:
            return True
        message = f"a second {word} statement; the first is on line {earlier.place.line}"
        self._add("given-twice", message, now.place, (), "keep one of them")
        return False

    def _take_parameter(self, statement: ParameterStatement) -> None:
        name = statement.name
        if name.text in self.parameters:
            message = f"two parameters are called {name.text}"
            self._add("duplicate-name", message, name.place, (name.text,), "keep one of them")
            return
        self.findings.symbol(name, "")
        hint = "a turns ratio is positive: turn the winding's arrow"
        value = self.findings.positive(statement.amount, "1", f"the parameter {name.text}", name.text, hint)
        self.parameters[name.text] = Quantity(name.text, "1", value)
        self.parameter_places[name.text] = name.place

    def _named(self, name: Word, kind: type, what: str) -> bool:
        """Whether ``name`` is an element of a class; notes the fault where it is not."""
        element = self.elements.get(name.text)
        if isinstance(element, kind):
            return True
        if element is not None:
            self._add("wrong-kind", f"{name.text} is {a(element.kind)}, not {what}", name.place, (name.text,))
        elif name.text not in self.unsure:
            fitting = (one.name for one in self.elements.values() if isinstance(one, kind))
            hint = self.findings.nearest_or_all(name.text, fitting)
            self._add("unknown-name", f"no element is called {name.text}", name.place, (name.text,), hint)
        return False

    def _take_couple(self, statement: CoupleStatement) -> None:
        first, second, amount = statement.first, statement.second, statement.amount
        known = [self._named(name, Inductor, "an inductor") for name in (first, second)]
        pair = (first.text, second.text)
        symbol = statement.symbol.text if statement.symbol is not None else "M_" + "_".join(pair)
        if statement.symbol is not None:
            self.findings.symbol(statement.symbol, "")
        value, unit = self.findings.value(amount, "1", f"the coupling of {' and '.join(pair)}", "", ("H",))
        place = amount.number.place if amount is not None else first.place
        if value is not None and unit == "1" and not 0 <= value <= 1:
            hint = "write the mutual inductance with its unit, H"
            if -1 <= value < 0:
                hint = "turn the arrow of one of the two inductors and write a positive coefficient"
            self._add("coefficient-out-of-range", "a coupling coefficient lies in 0…1", place, pair, hint)
            value = None
        if value is not None and unit == "H" and value < 0:
            hint = "turn the arrow of one of the two inductors and write a positive value"
            message = f"the mutual inductance of {' and '.join(pair)} is negative"
            self._add("not-positive", message, place, pair, hint)
            value = None
        if first.text == second.text:
            self._add("same-inductor", f"{first.text} is coupled to itself", second.place, (first.text,))
            return
        if frozenset(pair) in self.coupled:
            message = f"{' and '.join(pair)} are coupled twice"
            self._add("given-twice", message, first.place, pair, "keep one of them")
            return
        self.coupled.add(frozenset(pair))
        if all(known):
            coefficient, mutual = (value, None) if unit == "1" else (None, value)
            self.couplings.append(Coupling(symbol, *pair, coefficient, mutual, place=first.place))

    def _known_node(self, node: Word) -> bool:
        """Whether a node occurs at an element; notes the fault where it does not."""
        if node.text in self.nodes:
            return True
        if node.text not in self.unsure:
            hint = self.findings.nearest(node.text, self.nodes)
            message = f"no element connects to a node {node.text}"
            self.findings.add("unknown-node", message, node.place, (), (node.text,), hint)
        return False

    def _take_ground(self, statement: GroundStatement) -> None:
        for node in statement.nodes:
            if node.text in self.grounds:
                message = f"node {node.text} is named as ground twice"
                self.findings.add("given-twice", message, node.place, (), (node.text,), "keep one of them")
            elif self._known_node(node):
                self.grounds[node.text] = None

    def _take_input(self, statement: InputStatement) -> None:
        if not self._once(self.input_name, statement.name, "input"):
            return
        if self._named(statement.name, Source, "a source"):
            self.input_name = statement.name

    def _take_output(self, statement: OutputStatement) -> None:
        start, end = statement.start, statement.end
        if end is not None:
            known = [self._known_node(node) for node in (start, end)]
            if start.text == end.text:
                message = "the output goes from a node to the same node"
                self.findings.add("same-node", message, end.place, (), (end.text,))
            elif all(known):
                self.output = Output(start.text, end.text)
            return
        element = self.elements.get(start.text)
        if element is None and start.text in self.nodes:
            hint = f"write output {start.text} -> NODE"
            message = f"{start.text} is a node, not an element"
            self._add("unknown-name", message, start.place, (start.text,), hint)
        elif isinstance(element, Transformer):
            hint = "write output NODE -> NODE"
            message = f"{start.text} is a transformer, not one port"
            self._add("wrong-kind", message, start.place, (start.text,), hint)
        elif element is not None:
            self.output = Output(element.start, element.end, element.name)
        else:
            self._named(start, TwoTerminal, "an element")

    def _take_operate(self, statement: OperateStatement) -> None:
        for name, amount in statement.settings:
            duties = self.drives.duties
            place = amount.number.place
            if name.text in self.drives.phases and name.text not in duties:
                key, (value, _) = name.text, self.findings.value(amount, "1", f"the start {name.text}", "")
                if value is not None and not 0 <= value <= 1:
                    hint = "a start is a fraction of the period"
                    message = f"the start {name.text} lies in 0…1"
                    self._add("start-out-of-range", message, place, (), hint)
                    value = None
            elif name.text in duties:
                key, (value, _) = name.text, self.findings.value(amount, "1", f"the duty {name.text}", "")
                if value is not None and not 0 < value < 1:
                    hint = "a duty is a fraction of the period"
                    if value in (0, 1):
                        hint = "a switch that never or always conducts is driven off or on"
                    if 2 <= value <= 100:
                        hint = f"write {amount.number.text} % for per cent"
                    message = f"the duty {name.text} lies between 0 and 1"
                    self._add("duty-out-of-range", message, place, (), hint)
                    value = None
            elif name.text == "T":
                key = "T"
                value = self.findings.positive(amount, "s", "the period T", "", "write a time above zero")
            elif name.text == "f":
                key = "T"
                value = self.findings.positive(amount, "Hz", "the frequency f", "", "write one above zero")
                value = 1 / value if value is not None else None
            else:
                self._unknown_setting(name)
                continue
            if key in self.operating:
                message = f"{name.text} is given twice"
                if key == "T":
                    message = "the period is given twice" + (": f is 1/T" if name.text == "f" else "")
                self._add("given-twice", message, name.place, (), "keep one of them")
            elif value is not None:
                self.operating[key] = value

    def _unknown_setting(self, name: Word) -> None:
        """Note a setting in ``operate`` that is neither a duty nor the period."""
        switches = any(isinstance(one, Switch) for one in self.elements.values())
        if name.text in self.unsure or not switches or self.drives.incomplete:
            # Without a readable switch or drive no duty is known; that fault is reported elsewhere.
            return
        timing = list(dict.fromkeys([*self.drives.duties, *self.drives.phases]))
        hint = self.findings.nearest(name.text, [*timing, "T", "f"])
        if name.text in self.elements or name.text in self.parameters:
            hint = f"the value of {name.text} stands in its own statement"
        elif not hint:
            hint = f"operate sets {', '.join([*timing, 'T or f'])}"
        known = "duty, start" if self.drives.phases else "duty"
        message = f"operate sets {name.text}, which is no {known}, T or f"
        self._add("unknown-symbol", message, name.place, (), hint)


def _on_line(place: Place | None) -> str:
    return f" on line {place.line}" if place is not None else ""
