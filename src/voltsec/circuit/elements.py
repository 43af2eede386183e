"""What a circuit is made of: frozen values, one class an element kind.

Sign convention, written down once: every two-terminal element has an arrow ``start -> end``.
Its voltage is counted from ``start`` to ``end`` (v = potential(start) - potential(end)) and its
current flows through it from ``start`` to ``end``.  A diode conducts along its arrow.  The dot
of a transformer winding, or of a coupled inductor, is at ``start``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction


@dataclass(frozen=True)
class Place:
    """Where something stands in the netlist text (both counted from 1)."""

    line: int
    column: int


@dataclass(frozen=True)
class Quantity:
    """A symbol of the formulas with its SI unit and, where the file gives one, its value.

    ``value`` is exact (a decimal fraction as written); ``None`` means purely symbolic.
    """

    symbol: str
    unit: str
    value: Fraction | None = None


BesideConduction = tuple[tuple[str, Quantity], ...]
"""What losses beside conduction are estimated from (switching times, charges, core), by property name, each
with its value.  None of it enters the equations: it is no part of an element's ``quantities``."""


@dataclass(frozen=True)
class TwoTerminal:
    """Common part of every element with one arrow; ``kind`` is the netlist's word for it."""

    name: str
    start: str
    end: str
    place: Place | None = field(default=None, compare=False, kw_only=True)
    beside: BesideConduction = field(default=(), kw_only=True)
    resistance: Quantity | None = field(default=None, kw_only=True)
    """In series with it, ohm: internal, of a winding, equivalent series, on or forward resistance."""
    drop: Quantity | None = field(default=None, kw_only=True)
    """Of a conducting device, along its arrow, volt."""

    kind = ""

    @property
    def nodes(self) -> tuple[str, ...]:
        """Nodes it connects, arrow order."""
        return (self.start, self.end)

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Every symbol this element brings into the formulas."""
        own: Quantity | None = getattr(self, "quantity", None)
        return (*(() if own is None else (own,)), *self.parasitics.values())

    @property
    def parasitics(self) -> dict[str, Quantity]:
        """Series resistance and drop, by these words, where it has them."""
        pairs = {"resistance": self.resistance, "drop": self.drop}
        return {word: quantity for word, quantity in pairs.items() if quantity is not None}


@dataclass(frozen=True)
class Source(TwoTerminal):
    """Voltage source: ``quantity`` volts from start to end, with an optional internal resistance."""

    quantity: Quantity
    kind = "source"


@dataclass(frozen=True)
class CurrentSource(TwoTerminal):
    """Constant current along the arrow, whatever the voltage (a constant-current load, for one)."""

    quantity: Quantity
    kind = "current"


@dataclass(frozen=True)
class Resistor(TwoTerminal):
    """Resistance in ohm."""

    quantity: Quantity
    kind = "resistor"


@dataclass(frozen=True)
class Load(Resistor):
    """A resistor that marks an output port."""

    kind = "load"


@dataclass(frozen=True)
class Inductor(TwoTerminal):
    """Inductance in henry, with an optional winding resistance in series."""

    quantity: Quantity
    kind = "inductor"


@dataclass(frozen=True)
class Capacitor(TwoTerminal):
    """Capacitance in farad, with an optional equivalent series resistance."""

    quantity: Quantity
    kind = "capacitor"


@dataclass(frozen=True)
class Switch(TwoTerminal):
    """Controlled switch: conducts both ways when on, with optional on resistance and drop."""

    kind = "switch"


@dataclass(frozen=True)
class Diode(TwoTerminal):
    """Conducts along its arrow only, with optional forward resistance and drop."""

    kind = "diode"


@dataclass(frozen=True)
class Transformer:
    """Ideal transformer of any number of windings, dots at each winding's first node.

    ``windings`` holds (dotted node, other node) pairs and ``turns`` as many entries, each an
    exact number or the name of a ``parameter``.  ``magnetizing`` is the inductance across the
    first winding; without it the transformer stores nothing.
    """

    name: str
    windings: tuple[tuple[str, str], ...]
    turns: tuple[Fraction | str, ...]
    magnetizing: Quantity | None = None
    place: Place | None = field(default=None, compare=False, kw_only=True)
    beside: BesideConduction = field(default=(), kw_only=True)

    kind = "transformer"

    @property
    def nodes(self) -> tuple[str, ...]:
        """Nodes it connects, winding by winding."""
        return tuple(node for winding in self.windings for node in winding)

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Every symbol this element brings into the formulas (turns are parameters)."""
        return (self.magnetizing,) if self.magnetizing is not None else ()

    @property
    def parasitics(self) -> dict[str, Quantity]:
        """None: its losses are those of elements in series."""
        return {}


Element = Source | CurrentSource | Resistor | Load | Inductor | Capacitor | Switch | Diode | Transformer
