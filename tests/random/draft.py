"""A circuit in the making: parts are added, replaced and removed, names and nodes are found for new ones."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from voltsec.circuit.circuit import Circuit, Coupling, Drive, Output
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Inductor,
    Load,
    Quantity,
    Resistor,
    Source,
    Switch,
    Transformer,
)
from voltsec.circuit.fault import CircuitError

Value = Fraction | None

LETTERS = {
    Source: "V",
    CurrentSource: "I",
    Resistor: "R",
    Load: "R",
    Inductor: "L",
    Capacitor: "C",
    Switch: "S",
    Diode: "D",
    Transformer: "X",
}
"""What the names of new parts begin with."""

UNITS = {Source: "V", CurrentSource: "A", Resistor: "ohm", Load: "ohm", Inductor: "H", Capacitor: "F"}


@dataclass
class Draft:
    """The parts of a circuit, to be changed; ``done`` freezes them."""

    elements: list[Element] = field(default_factory=list)
    grounds: tuple[str, ...] = ("gnd",)
    parameters: tuple[Quantity, ...] = ()
    couplings: list[Coupling] = field(default_factory=list)
    drives: list[Drive] = field(default_factory=list)
    operating: dict[str, Fraction] = field(default_factory=dict)
    input_name: str | None = None
    output_choice: Output | None = None
    handed: set[str] = field(default_factory=set)
    """Nodes that were handed out, in use or not."""

    @classmethod
    def of(cls, circuit: Circuit) -> Draft:
        """A draft that begins as ``circuit``."""
        return cls(
            list(circuit.elements),
            circuit.grounds,
            circuit.parameters,
            list(circuit.couplings),
            list(circuit.drives),
            dict(circuit.operating),
            circuit.input_name,
            circuit.output_choice,
        )

    def done(self) -> Circuit:
        """The circuit."""
        return Circuit(
            tuple(self.elements),
            grounds=self.grounds,
            parameters=self.parameters,
            couplings=tuple(self.couplings),
            drives=tuple(self.drives),
            operating=tuple(self.operating.items()),
            input_name=self.input_name,
            output_choice=self.output_choice,
        )

    def works(self) -> bool:
        """True where the circuit passes its own check."""
        try:
            self.done().check()
        except CircuitError:
            return False
        return True

    # What there is

    def of_kind(self, *kinds: type) -> list:
        """All elements of the given classes, not of classes derived from them."""
        return [element for element in self.elements if type(element) in kinds]

    def nodes(self) -> list[str]:
        """Every node, in the order of first use."""
        return list(dict.fromkeys(node for element in self.elements for node in element.nodes))

    def at_node(self, node: str) -> list[Element]:
        """Elements that touch ``node``."""
        return [element for element in self.elements if node in element.nodes]

    def period(self) -> float:
        """The switching period, second."""
        return float(self.operating["T"])

    def load(self) -> float:
        """A resistance that tells large from small here: the first load's, else 10 ohm."""
        loads = self.of_kind(Load) or self.of_kind(Resistor)
        return float(loads[0].quantity.value) if loads else 10.0

    def coupled(self, name: str) -> bool:
        """True where a coil has a coupling."""
        return any(name in (one.first, one.second) for one in self.couplings)

    # New parts

    def name(self, kind: type) -> str:
        """A name that no part has and that clashes with no symbol."""
        taken = {element.name for element in self.elements} | {q.symbol for q in self.done().quantities}
        letter = LETTERS[kind]
        return next(f"{letter}{n}" for n in range(1, 1000) if f"{letter}{n}" not in taken)

    def node(self) -> str:
        """A node that is not in use; a new one at every call."""
        taken = self.handed | set(self.nodes())
        found = next(f"n{n}" for n in range(1, 1000) if f"n{n}" not in taken)
        self.handed.add(found)
        return found

    def add(
        self, kind: type, start: str, end: str, value: Value = None, *, name: str = "", **properties: Value
    ) -> str:
        """Add a two-terminal part and return its name; properties are ``resistance`` and ``drop``."""
        name = name or self.name(kind)
        parts = [] if kind in (Switch, Diode) else [Quantity(name, UNITS[kind], value)]
        self.elements.append(kind(name, start, end, *parts, **_properties(name, properties)))
        return name

    def add_transformer(
        self, windings: Iterable[tuple[str, str]], turns: Iterable[Fraction], magnetizing: Value = None
    ) -> str:
        """Add an ideal transformer, with a magnetizing inductance where one is given."""
        name = self.name(Transformer)
        core = None if magnetizing is None else Quantity(f"L_{name}", "H", magnetizing)
        self.elements.append(Transformer(name, tuple(windings), tuple(turns), core))
        return name

    def couple(self, first: str, second: str, coefficient: Fraction) -> None:
        """Couple two coils."""
        self.couplings.append(Coupling(f"M_{first}_{second}", first, second, coefficient))

    # Changes

    def put(self, element: Element, **changes: object) -> None:
        """Replace fields of an element."""
        self.elements[self.elements.index(element)] = replace(element, **changes)

    def give(self, element: Element, **properties: Value) -> None:
        """Give an element properties (``resistance``, ``drop``) with their usual symbols."""
        self.put(element, **_properties(element.name, properties))

    def set_value(self, element: Element, value: Fraction) -> None:
        """Another value for an element; a coupling given in henry is turned into the coefficient it was."""
        for index, one in enumerate(self.couplings):
            if one.mutual is not None and element.name in (one.first, one.second):
                first, second = (self.find(n).quantity.value for n in (one.first, one.second))
                ratio = min(float(one.mutual) / float(first * second) ** 0.5, 1.0)
                coefficient = Fraction(f"{ratio:.3g}")
                self.couplings[index] = replace(one, mutual=None, coefficient=coefficient)
        self.put(element, quantity=replace(element.quantity, value=value))

    def find(self, name: str) -> Element:
        """The element called ``name``."""
        return next(element for element in self.elements if element.name == name)

    def move(self, element: Element, old: str, new: str) -> None:
        """Move the ends of an element that are at node ``old`` to node ``new``."""
        if isinstance(element, Transformer):
            moved = tuple(tuple(new if n == old else n for n in winding) for winding in element.windings)
            self.put(element, windings=moved)
        else:
            ends = {side: new for side in ("start", "end") if getattr(element, side) == old}
            self.put(element, **ends)

    def remove(self, name: str) -> None:
        """Remove an element and what refers to it."""
        self.elements = [element for element in self.elements if element.name != name]
        self.couplings = [one for one in self.couplings if name not in (one.first, one.second)]
        self.drives = [one for one in self.drives if one.switch != name]
        if self.input_name == name:
            self.input_name = None
        if self.output_choice is not None and self.output_choice.element == name:
            self.output_choice = None

    def drive(self, switch: str, kind: str, argument: str | None = None, duty: Value = None) -> None:
        """State how a switch is driven, with the duty's value for a new duty symbol."""
        self.drives.append(Drive(switch, kind, argument))
        if duty is not None:
            self.operating = {argument or "": duty} | self.operating

    def settle_drives(self) -> None:
        """A lone switch that had no drive gets the one it has by default, before another switch comes."""
        driven = {one.switch for one in self.drives}
        for switch in self.of_kind(Switch):
            if switch.name not in driven:
                self.drives.append(Drive(switch.name, "at", "D"))


def _properties(name: str, values: dict[str, Value]) -> dict[str, Quantity]:
    letters = {"resistance": ("R_", "ohm"), "drop": ("V_", "V")}
    return {
        key: Quantity(letters[key][0] + name, letters[key][1], value)
        for key, value in values.items()
        if value is not None
    }
