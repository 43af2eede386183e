"""Every quantity of a solved circuit by name: what may stand in a formula, and its value in each mode."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sympy import Expr, Symbol

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.formulas.engine import engine_of
from voltsec.results.solution import Mode, Solution
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio

PLAIN = {
    "gain": "gain",
    "M": "gain",
    "Vout": "Vout",
    "Vo": "Vout",
    "V": "Vout",
    "efficiency": "efficiency",
    "eta": "efficiency",
    "η": "efficiency",
    "Iin": "Iin",
    "Iout": "Iout",
    "Io": "Iout",
    "Kcrit": "Kcrit",
    "Rcrit": "Rcrit",
    "Tcrit": "Tcrit",
    "Le": "Le",
}
"""Names of quantities of the stage as a whole, where the netlist does not use them as symbols -> quantity."""

OF_PARTS = {
    "v": "the average voltage of a part, or its voltage in an interval",
    "i": "the average current of a part, or its current in an interval",
    "ripple": "the peak-to-peak ripple of a coil's current or a capacitor's voltage",
    "vpeak": "the largest voltage across a part",
    "ipeak": "the largest current of a part",
    "iavg": "the average current of a part",
    "irms": "the root of the mean square of a part's current",
    "Lcrit": "the least inductance for continuous conduction",
}
"""Quantities of one part: ``v(C1)``, ``ripple(L1)`` ..."""

IN_INTERVALS = ("v", "i")
STRESS = {"vpeak": "voltage_peak", "ipeak": "current_peak", "iavg": "current_average", "irms": "current_rms"}
FUNCTIONS = ("sqrt", "max", "min")


@dataclass(frozen=True)
class Quantity:
    """One quantity: a name of :data:`PLAIN`, a function of :data:`OF_PARTS` with its part, a share of the
    period (``share``, with its interval) or a named abbreviation (``defined``) such as K or d2.
    """

    kind: str
    part: str = ""
    interval: int | None = None

    @property
    def text(self) -> str:
        """As it is written in a formula."""
        if self.kind == "defined":
            return self.part
        if self.kind == "share":
            return f"d({self.interval})"
        if self.interval is not None:
            return f"{self.kind}({self.part}, {self.interval})"
        return f"{self.kind}({self.part})" if self.part else self.kind

    @cached_property
    def placeholder(self) -> Symbol:
        """The symbol that stands for the quantity until its value is put in."""
        name = f"[{self.text}]"
        # no assumption for the others: the root of a square must not become an absolute value
        return Symbol(name, positive=True) if self.kind in ("defined", "share") else Symbol(name)


def parts_of(circuit: Circuit) -> dict[str, str]:
    """Names that functions take -> kind of part; magnetizing inductances by their symbol."""
    found = {element.name: element.kind for element in circuit.elements if element.kind != "transformer"}
    for coil in coils(circuit):
        found.setdefault(coil.name, "inductor")
    return found


def takes(kind: str, part_kind: str) -> bool:
    """True where the quantity ``kind`` exists for parts of a kind."""
    if kind == "ripple":
        return part_kind in ("inductor", "capacitor")
    return kind != "Lcrit" or part_kind == "inductor"


class ModeValues:
    """The values of quantities in one mode, in the netlist's symbols and the mode's abbreviations."""

    def __init__(self, solution: Solution, mode: Mode) -> None:
        self.circuit = solution.circuit
        self.mode = mode
        self.builder: Any = engine_of(solution).builder(mode.name)
        """What the mode was made by; ``None`` for a mode whose formulas are too long to be written."""
        self.known: dict[Quantity, Expr | None] = {}

    @cached_property
    def abbreviations(self) -> frozenset[str]:
        """K, d2 and whatever else the mode's formulas are written in."""
        shares = {str(s) for interval in self.mode.intervals for s in interval.fraction.free_symbols}
        plain = {quantity.symbol for quantity in self.circuit.quantities}
        unknown = () if self.builder is None else self.builder.form.unknown
        return frozenset({*self.mode.definitions, *(shares - plain), *unknown})

    def applies(self, quantity: Quantity) -> bool:
        """True where the mode has such a quantity: as many intervals, such an abbreviation or edge."""
        if quantity.interval is not None and quantity.interval > len(self.mode.intervals):
            return False
        if quantity.kind == "defined":
            return quantity.part in self.abbreviations
        if quantity.kind == "Le":
            return "K" in self.mode.definitions
        return not quantity.kind.endswith("crit") or self._edge(quantity) in self.mode.boundary

    def value(self, quantity: Quantity) -> Expr | None:
        """The value; ``None`` where the model does not determine it."""
        if quantity not in self.known:
            self.known[quantity] = self._value(quantity)
        return self.known[quantity]

    def _value(self, quantity: Quantity) -> Expr | None:
        if self.builder is None:
            return None
        mode, kind, part = self.mode, quantity.kind, quantity.part
        if kind == "gain":
            if mode.gain is None and mode.output_voltage is not None:
                return mode.output_voltage / symbol(self.circuit.input.quantity.symbol)
            return mode.gain
        if kind == "Vout":
            return mode.output_voltage
        if kind == "efficiency":
            return mode.efficiency
        if kind == "Iin":
            return mode.source_currents[self.circuit.input.name]
        if kind == "Iout":
            output = self.circuit.output.element
            return None if output is None else self._average(("i", output))
        if kind == "Le":
            return mode.definitions["K"] * symbol(self.load) * symbol("T") / 2
        if kind == "defined":
            return mode.definitions.get(part, symbol(part))
        if kind == "share":
            assert quantity.interval is not None
            return mode.intervals[quantity.interval - 1].fraction
        if kind.endswith("crit"):
            return mode.boundary[self._edge(quantity)]
        if kind == "ripple":
            return mode.ripple.get(part)
        if kind in STRESS:
            found: Expr | None = getattr(mode.stress.get(part), STRESS[kind], None)
            return found
        if quantity.interval is not None:
            return self._in_interval(kind, part, quantity.interval - 1)
        if kind == "v" and part in mode.capacitor_voltages:
            return mode.capacitor_voltages[part]
        if kind == "i" and part in mode.inductor_currents:
            return mode.inductor_currents[part]
        return self._average((kind, part))

    @property
    def load(self) -> str:
        """Symbol of the load resistance that K refers to."""
        effective = self.builder.form.effective
        if effective is not None:
            return str(effective.load)
        others = (str(s) for s in self.mode.definitions["K"].free_symbols)
        loads = {load.quantity.symbol for load in self.circuit.loads}
        return next(name for name in others if name in loads)

    def _edge(self, quantity: Quantity) -> str:
        """The key of ``mode.boundary`` for a critical value."""
        if quantity.kind == "Lcrit":
            return next(coil.symbol for coil in coils(self.circuit) if coil.name == quantity.part)
        letter = quantity.kind.removesuffix("crit")
        if letter == "R":
            loads = [load.quantity.symbol for load in self.circuit.loads]
            return next((name for name in loads if name in self.mode.boundary), "R")
        return letter

    def _row(self, kind: str, part: str) -> dict[Any, Any]:
        balance = self.builder.balance
        if kind == "i":
            return {("i", part): balance.ring.one}
        for coil in coils(self.circuit):
            if coil.name == part:
                return dict(balance.network.voltage(coil.start, coil.end))
        element = self.circuit.element(part)
        return dict(balance.network.voltage(*element.nodes))

    def _average(self, wanted: tuple[str, str]) -> Expr | None:
        ratio = self.builder.waveforms.average_of_free(self._row(*wanted))
        return None if ratio is None else self._closed(ratio)

    def _in_interval(self, kind: str, part: str, k: int) -> Expr | None:
        ratio = self.builder.balance.value(k, self._row(kind, part), "average")
        return None if ratio is None else self._closed(ratio)

    def _closed(self, ratio: Ratio) -> Expr | None:
        return in_time(lambda: self.builder.form.expression(ratio, close=True))
