"""The circuit: elements and statements of one netlist, as a frozen value.

``voltsec.read(text)`` makes one from text (through ``voltsec.language``), ``check()`` looks for
what cannot work on its graph.  What the netlist leaves open (the drive of a lone switch, the
input, the output) is settled here once, so that every later room reads the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import PurePath
from typing import Any

from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Inductor,
    Load,
    Place,
    Quantity,
    Source,
    Switch,
    Transformer,
)
from voltsec.circuit.timing import Schedule


@dataclass(frozen=True)
class Coupling:
    """Magnetic coupling of two inductors; ``symbol`` is the mutual inductance in every formula.

    Exactly one of ``coefficient`` (k, 0 to 1) and ``mutual`` (henry) may hold a value; both are
    ``None`` where the coupling is purely symbolic.
    """

    symbol: str
    first: str
    second: str
    coefficient: Fraction | None = None
    mutual: Fraction | None = None
    place: Place | None = field(default=None, compare=False, kw_only=True)


@dataclass(frozen=True)
class Drive:
    """How a switch is driven: ``kind`` is at, against, with, on or off.

    ``argument`` is the duty symbol for ``at`` and the other switch for ``against`` and ``with``;
    ``start`` is where in the period the on-time begins (``at`` only): a fraction or a symbol of one.
    """

    switch: str
    kind: str
    argument: str | None = None
    start: Fraction | str = Fraction(0)
    place: Place | None = field(default=None, compare=False, kw_only=True)


@dataclass(frozen=True)
class Output:
    """The output voltage: from node ``start`` to node ``end``, ``element`` where one is named."""

    start: str
    end: str
    element: str | None = None


@dataclass(frozen=True)
class Circuit:
    """One netlist.  Equality compares meaning (elements and statements), not places in the text."""

    elements: tuple[Element, ...]
    title: str | None = None
    grounds: tuple[str, ...] = ("gnd",)
    parameters: tuple[Quantity, ...] = ()
    couplings: tuple[Coupling, ...] = ()
    drives: tuple[Drive, ...] = ()
    operating: tuple[tuple[str, Fraction], ...] = ()
    """Operating point as written: duties, starts of on-times, the period "T" in seconds (f becomes T)."""
    input_name: str | None = None
    output_choice: Output | None = None
    doubts: tuple[str, ...] = field(default=(), compare=False)
    """What can be read but was hardly meant so (a coil of 47 H), for people to look at."""
    file: str = field(default="<text>", compare=False)
    text: str = field(default="", compare=False, repr=False)

    def __repr__(self) -> str:
        return f"<circuit {self.name}: {' '.join(element.name for element in self.elements)}>"

    @property
    def name(self) -> str:
        """The title, or the stem of the file's name."""
        return self.title or PurePath(self.file).stem

    def check(self) -> Circuit:
        """This circuit, or :class:`NetlistErrors` naming everything that cannot work in it."""
        from voltsec.circuit.graph import check

        return check(self)

    def _repr_svg_(self) -> str | None:
        from voltsec.circuit.fault import CircuitError
        from voltsec.report.drawing import draw  # only a notebook asks for it

        try:
            return draw(self).svg
        except CircuitError:  # a circuit that cannot work shows itself as text
            return None

    def element(self, name: str) -> Element:
        """The element called ``name``; KeyError where there is none."""
        for element in self.elements:
            if element.name == name:
                return element
        raise KeyError(name)

    def symbol_of(self, name: str) -> str:
        """Symbol of an element's value; KeyError where there is none of that name, or it has no value."""
        element = self.element(name)
        if isinstance(element, Switch | Diode | Transformer):
            raise KeyError(name)
        return element.quantity.symbol

    def of(self, *kinds: type) -> tuple[Any, ...]:
        """All elements of the given classes, in the order of the netlist."""
        return tuple(element for element in self.elements if isinstance(element, kinds))

    @property
    def parasitics(self) -> tuple[str, ...]:
        """Symbols of all series resistances and drops; loads and plain resistors are no losses of a part."""
        return tuple(q.symbol for element in self.elements for q in element.parasitics.values())

    @property
    def sources(self) -> tuple[Source, ...]:
        """Voltage sources."""
        return self.of(Source)

    @property
    def loads(self) -> tuple[Load | CurrentSource, ...]:
        """Elements that take the useful power: loads and constant currents."""
        return self.of(Load, CurrentSource)

    @property
    def inductors(self) -> tuple[Inductor, ...]:
        """Coils (magnetizing inductances of transformers not included)."""
        return self.of(Inductor)

    @property
    def capacitors(self) -> tuple[Capacitor, ...]:
        """Capacitors."""
        return self.of(Capacitor)

    @property
    def switches(self) -> tuple[Switch, ...]:
        """Controlled switches."""
        return self.of(Switch)

    @property
    def diodes(self) -> tuple[Diode, ...]:
        """Diodes."""
        return self.of(Diode)

    @property
    def devices(self) -> tuple[Switch | Diode, ...]:
        """Switches, then diodes: everything that conducts in some intervals and blocks in others."""
        return (*self.switches, *self.diodes)

    def device(self, name: str) -> Switch | Diode:
        """The switch or diode called ``name``; KeyError where there is none."""
        for device in self.devices:
            if device.name == name:
                return device
        raise KeyError(name)

    @property
    def transformers(self) -> tuple[Transformer, ...]:
        """Transformers."""
        return self.of(Transformer)

    @property
    def nodes(self) -> tuple[str, ...]:
        """Every node, in the order of first use."""
        return tuple(dict.fromkeys(node for element in self.elements for node in element.nodes))

    @property
    def input(self) -> Source:
        """The input: the source named by ``input``, else the first source."""
        if self.input_name is not None:
            for source in self.sources:
                if source.name == self.input_name:
                    return source
        return self.sources[0]

    @property
    def output(self) -> Output:
        """The output port: as stated, else the first load (the first constant current without one)."""
        if self.output_choice is not None:
            return self.output_choice
        loads = self.of(Load) or self.of(CurrentSource)
        return Output(loads[0].start, loads[0].end, loads[0].name)

    def schedule(self, switch: str) -> Schedule:
        """When ``switch`` conducts.  A lone switch without a drive conducts ``at D``."""
        invert = False
        name = switch
        for _ in range(len(self.switches) + 1):
            drive = next((d for d in self.drives if d.switch == name), None)
            if drive is None:
                return Schedule("D", not invert)
            if drive.kind == "at":
                return Schedule(drive.argument, not invert, drive.start)
            if drive.kind in ("on", "off"):
                return Schedule(None, (drive.kind == "on") != invert)
            invert = invert != (drive.kind == "against")
            name = drive.argument or ""
        raise ValueError(f"the drive of {switch} follows itself")

    @property
    def duty_symbols(self) -> tuple[str, ...]:
        """Duty symbols in the order of the switches that use them."""
        schedules = (self.schedule(switch.name) for switch in self.switches)
        return tuple(dict.fromkeys(s.duty for s in schedules if s.duty is not None))

    @property
    def phase_symbols(self) -> tuple[str, ...]:
        """Symbols of where on-times begin, in the order of the switches that use them."""
        schedules = (self.schedule(switch.name) for switch in self.switches)
        starts = (s.start for s in schedules if s.duty is not None)
        return tuple(dict.fromkeys(start for start in starts if isinstance(start, str)))

    @property
    def timing_symbols(self) -> tuple[str, ...]:
        """Every symbol that is a fraction of the period: duties, then starts of on-times."""
        return (*self.duty_symbols, *self.phase_symbols)

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Every symbol with its unit and value: elements, parameters, mutual inductances, timing, T."""
        found = [quantity for element in self.elements for quantity in element.quantities]
        found += self.parameters
        values = {quantity.symbol: quantity.value for quantity in found}
        for coupling in self.couplings:
            mutual = coupling.mutual
            if mutual is None and coupling.coefficient is not None:
                pair = [
                    value
                    for name in (coupling.first, coupling.second)
                    if (value := values.get(self.symbol_of(name))) is not None
                ]
                if len(pair) == 2:
                    root = float(pair[0] * pair[1]) ** 0.5
                    mutual = coupling.coefficient * Fraction(root)
            found.append(Quantity(coupling.symbol, "H", mutual))
        point = dict(self.operating)
        found += [Quantity(name, "1", point.get(name)) for name in self.timing_symbols]
        found.append(Quantity("T", "s", point.get("T")))
        return tuple(found)

    @property
    def values(self) -> dict[str, Fraction]:
        """The values the netlist gives, by symbol, SI units."""
        return {q.symbol: q.value for q in self.quantities if q.value is not None}
