"""From the equations of a direct-current state to formulas, paths and loops."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Switch, Transformer
from voltsec.held.current_paths import carrying_graph, loops_through_coils, path_through_output
from voltsec.held.direct import DirectState
from voltsec.held.state import Figure, HeldState, Short
from voltsec.periodic.verification import open_conditions
from voltsec.tableau.expression import Writer
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import definite_sign, factors

OPEN = Figure(None, None)


def describe(circuit: Circuit, held: dict[str, str], states: list[DirectState]) -> HeldState:
    """The whole answer; where states differ in a figure, it is not determined."""
    answers = [Description(circuit, held, state).answer() for state in states]
    first = answers[0]

    def agreed(name: str) -> dict[str, Figure]:
        return {
            part: figure if all(getattr(other, name).get(part) == figure for other in answers) else OPEN
            for part, figure in getattr(first, name).items()
        }

    same_output = all(other.output == first.output for other in answers)
    return replace(
        first,
        output=first.output if same_output else OPEN,
        reaches=first.reaches if same_output else None,
        blocking=agreed("blocking"),
        capacitor_voltages=agreed("capacitor_voltages"),
        coil_currents=agreed("coil_currents"),
        source_currents=agreed("source_currents"),
    )


class Description:
    """Formulas and numbers of one direct-current state."""

    def __init__(self, circuit: Circuit, held: dict[str, str], state: DirectState) -> None:
        self.given = circuit
        self.held = held
        self.state = state
        self.balance = state.balance
        self.circuit = self.balance.circuit
        self.ring = self.balance.ring
        self.point = state.point | {"#1": 1.0}
        self.writer = Writer(self.ring, (), self.point)

    def answer(self) -> HeldState:
        """Everything, put together."""
        output = self.circuit.output
        voltage = self._ratio(dict(self.balance.network.voltage(output.start, output.end)))
        source = self.circuit.input.quantity.symbol
        reaches = None
        if voltage is not None:
            reaches = source in voltage.variables(self.ring)
        signs = self._signs()
        path: tuple[str, ...] = ()
        if reaches:
            graph = carrying_graph(self.circuit, self.state.conducting, signs)
            path = path_through_output(self.circuit, graph)
        order = [device.name for device in (*self.circuit.switches, *self.circuit.diodes)]
        needed = {quantity.symbol for quantity in self.given.quantities} - {"T", *self._dynamic()}
        return HeldState(
            self.given,
            self.held,
            "direct",
            conducting=tuple(name for name in order if self._conducts(name, signs)),
            reaches=reaches,
            path=path,
            output=self._figure(voltage),
            shorts=self._shorts(signs),
            runaway=self.state.running,
            blocking=self._blocking(signs),
            capacitor_voltages={
                c.name: self._figure(None if c.name in self.state.running else self._unknown("V", c.name))
                for c in self.circuit.capacitors
            },
            coil_currents={c.name: self._figure(self._unknown("i", c.name)) for c in coils(self.circuit)},
            source_currents={
                s.name: self._figure(self._unknown("i", s.name), sign=-1) for s in self.circuit.sources
            },
            holds_when=self._holds_when(),
            ordinary_values=tuple(sorted(needed - set(self.given.values))),
        )

    def _dynamic(self) -> set[str]:
        """Symbols that no direct-current value depends on."""
        found = {coil.symbol for coil in coils(self.circuit)}
        found |= {c.quantity.symbol for c in self.circuit.capacitors}
        return found | {c.symbol for c in self.circuit.couplings}

    def _ratio(self, row: Row) -> Ratio | None:
        return self.balance.value(0, row, "average")

    def _unknown(self, letter: str, name: str) -> Ratio | None:
        if letter == "V":
            return self.balance.capacitor_voltage(name)
        return self._ratio({(letter, name): self.ring.one})

    def _figure(self, ratio: Ratio | None, sign: int = 1) -> Figure:
        if ratio is None:
            return Figure(None, None)
        value = sign * self._value(ratio) + 0.0  # no minus zero
        return Figure(self._formula(ratio.times(sign)), value)

    def _formula(self, ratio: Ratio) -> Expr:
        return self.writer.ratio(ratio)

    def _value(self, ratio: Ratio) -> float:
        return float(self.ring.value(ratio.numerator, self.point)) / float(
            self.ring.value(ratio.denominator, self.point)
        )

    def _signs(self) -> dict[str, int | None]:
        """Sign of every current along its arrow, a winding's with the magnetizing current."""
        signs: dict[str, int | None] = {}
        for element in self.circuit.elements:
            if isinstance(element, Transformer):
                for number in range(len(element.windings)):
                    row: Row = {("i", element.name, number): self.ring.one}
                    if number == 0 and element.magnetizing is not None:
                        row["i", element.magnetizing.symbol] = self.ring.one
                    signs[f"{element.name}.{number + 1}"] = self._sign(row)
            else:
                signs[element.name] = self._sign({("i", element.name): self.ring.one})
        return signs

    def _sign(self, row: Row) -> int | None:
        ratio = self._ratio(row)
        return None if ratio is None else int(np.sign(self._value(ratio)))

    def _shorts(self, signs: dict[str, int | None]) -> tuple[Short, ...]:
        shorts = []
        for loop, through in loops_through_coils(self.circuit, self.state.conducting, signs):
            current = None
            if not set(through) & set(self.state.running):
                current = self._figure(self._unknown("i", loop[0]), sign=-1)
            shorts.append(Short(loop, through, current))
        return tuple(shorts)

    def _conducts(self, name: str, signs: dict[str, int | None]) -> bool:
        """A diode that was let conduct and carries nothing does not."""
        idle = signs[name] == 0 and not isinstance(self.circuit.element(name), Switch)
        return name in self.state.conducting and not idle

    def _blocking(self, signs: dict[str, int | None]) -> dict[str, Figure]:
        found = {}
        for device in (*self.circuit.switches, *self.circuit.diodes):
            if self._conducts(device.name, signs):
                continue
            sign = 1 if isinstance(device, Switch) else -1
            row = dict(self.balance.network.voltage(device.start, device.end))
            found[device.name] = self._figure(self._ratio(row), sign)
        return found

    def _holds_when(self) -> tuple[Boolean, ...]:
        """Sign conditions that coefficients alone do not prove."""
        parts: list[Boolean] = []
        for condition in open_conditions(self.balance):
            for ratio_part in condition.ratio.parts:
                for factor, power in factors(ratio_part)[1]:
                    if int(power) % 2 == 0 or definite_sign(factor) is not None:
                        continue
                    part = self._positive(factor)
                    if part not in parts:
                        parts.append(part)
        return tuple(parts)

    def _positive(self, factor: Expr) -> Boolean:
        """A factor as "this is larger than that", all its signs positive."""
        if self.writer.is_negative(factor):
            factor = -factor
        positive: dict[Any, Any] = {}
        negative: dict[Any, Any] = {}
        for powers, coefficient in factor.to_dict().items():
            (positive if coefficient > 0 else negative)[powers] = abs(coefficient)
        sides = [self.ring.context.from_dict(side) for side in (positive, negative)]
        return self.writer.polynomial(sides[0]) > self.writer.polynomial(sides[1])
