"""One found sequence as a mode: every formula a practitioner asks for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Diode, Load, Resistor, Source, Switch
from voltsec.steady.balance import Balance, SignCondition
from voltsec.steady.choices import Knowledge
from voltsec.steady.closed_form import ClosedForm
from voltsec.steady.extremes import Extremes
from voltsec.steady.mode_formulas import ModeFormulas
from voltsec.steady.points import as_arrays
from voltsec.steady.region_check import agrees, scatter
from voltsec.steady.regions import LONG, Region, condition_on, region, shown_facts, unsimplified
from voltsec.steady.requirements import Demands, demands
from voltsec.steady.search import Found
from voltsec.steady.signs import Facts
from voltsec.steady.solution import Mode, ModeInterval, Stress
from voltsec.steady.waveform import Waveforms
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial

SAMPLES = 40
"""Points of each kind at which candidates for a peak are compared."""

MOST_EITHER_WAY = 2
"""Sources that may give or take power, up to which the efficiency is told."""


class ToldByStates(Protocol):
    """Formulas of a mode in terms of its states (:mod:`voltsec.steady.states`)."""

    names: tuple[str, ...]

    def averages(self) -> dict[str, Any]:
        """What :meth:`ModeBuilder.averages` gives."""

    def ripple(self) -> dict[str, Expr | None]:
        """Peak-to-peak ripple of every coil and capacitor."""

    def stress(self) -> dict[str, Stress]:
        """Stress of every element."""

    def spelled(self, condition: SignCondition) -> Boolean | None:
        """A sign condition, ``None`` where the states do not determine it."""

    def used(self, expressions: Iterable[Expr | Boolean | None]) -> dict[str, Expr]:
        """Definitions of the states that ``expressions`` and they themselves need."""


class _Spelled:
    """Long sign conditions told by states, which are made when the first one comes."""

    def __init__(self, states: ToldByStates | None, speller: Callable[[], ToldByStates | None]) -> None:
        self.states = states
        self._speller = speller

    def __call__(self, condition: SignCondition) -> Boolean | None:
        if self.states is None:
            self.states = self._speller()
        return None if self.states is None else self.states.spelled(condition)


class ModeBuilder(ModeFormulas):
    """Formulas of one sequence; ``points`` are the search's sample points."""

    def __init__(self, found: Found, points: dict[str, np.ndarray]) -> None:
        self.found = found
        self.balance: Balance = found.balance
        self.circuit: Circuit = self.balance.circuit
        self.form = ClosedForm(found.balance, found.fractions, found.witness)
        self.searched = points
        self.by_states: ModeBuilder | None = None
        """The same mode told by its states, once that was asked for."""
        self.too_long = []
        inside = self._inside(points)
        self.waveforms = Waveforms(self.balance, inside)

    def _inside(self, points: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Sample points where the sequence holds, with their fractions."""
        mask = self.found.holds & (self.found.margin > 1e-6)
        if not mask.any():
            return as_arrays(self.found.witness)
        inside = {name: values[mask] for name, values in points.items()}
        for row, name in enumerate(self.balance.sequence.fractions):
            inside[name] = self.found.shares[row, mask]
        return inside

    def build(
        self,
        name: str,
        states: ToldByStates | None = None,
        speller: Callable[[], ToldByStates | None] = lambda: None,
    ) -> Mode:
        """The mode with all its formulas; stress and ripple in terms of ``states`` where given.

        ``speller`` gives states for conditions that would be long without them.
        """
        spelled = _Spelled(states, speller)
        area = self.area = self._region(spelled)
        definitions = dict(self.form.definitions)
        for key, value in area.definitions.items():
            definitions.setdefault(key, value)
        roots = self.form.roots
        condition = None
        if roots is None:
            condition = tuple(self.form.writer.polynomial(c) for c in self.form.conditions)
        averages = self.averages() if states is None else states.averages()
        ripple = self.ripple() if states is None else states.ripple()
        stress = self.stress() if states is None else states.stress()
        if states is not None:
            used: list[Any] = [area.holds_when, *ripple.values()]
            used += [value for entry in stress.values() for value in vars(entry).values()]
            used += [averages["efficiency"], *averages["capacitor_voltages"].values()]
            definitions |= states.used(used)
        elif spelled.states is not None:
            definitions |= spelled.states.used([area.holds_when])
        return Mode(
            name=name,
            intervals=self._intervals(),
            **averages,
            ripple=ripple,
            stress=stress,
            closed_form=roots is not None,
            condition=condition,
            definitions=definitions,
            holds_when=area.holds_when,
            proved=area.proved,
            boundary=area.boundary,
            states=() if spelled.states is None else spelled.states.names,
        )

    @cached_property
    def demands(self) -> Demands:
        """What the mode's sign conditions ask of the parameters."""
        return demands(self.found, LONG)

    @cached_property
    def scattered(self) -> tuple[dict[str, np.ndarray], np.ndarray, np.ndarray]:
        """Random points, where the mode holds among them, and its fractions there."""
        return scatter(self.found)

    @cached_property
    def area(self) -> Region:
        """Where the mode holds."""
        return self._region(_Spelled(None, lambda: None))

    def _region(self, spelled: _Spelled) -> Region:
        """The region, held against the mode's sign conditions.

        Where what is stated is not what they say, they are stated as they are, and a root of degree two
        that is not the right one everywhere is left to the mode's condition.
        """
        area = region(self.found, self.form, self.demands, spelled)
        if self._agrees(area, spelled.states):
            return area
        plain = unsimplified(self.found, self.form)
        if not self._agrees(plain, None) and self.form.unknown and self.form.roots is not None:
            self.form = ClosedForm(self.balance, self.found.fractions, self.found.witness, open_=True)
            plain = unsimplified(self.found, self.form)
        return plain if self._agrees(plain, None) else replace(plain, proved=False)

    def _agrees(self, area: Region, states: ToldByStates | None) -> bool:
        if area.omits:
            return True
        definitions = area.definitions | self.form.definitions
        if states is not None:
            definitions |= states.used([area.holds_when])
        points, holds, _ = self.scattered
        return agrees(self.found, self.form, area.holds_when, definitions, self.searched, points, holds)

    @cached_property
    def known(self) -> Knowledge:
        """What is so where the mode holds."""
        wanted = self.demands
        zero = [*self.found.fractions.constraints]
        if len(wanted.put_in) != 1:
            zero += self.found.fractions.conditions
        facts = Facts(wanted.known.known, zero, wanted.facts.products)
        return Knowledge(self.balance.ring, facts, wanted.put_in)

    @cached_property
    def samples(self) -> dict[str, np.ndarray]:
        """Generic points where the mode holds, fractions included."""
        points, holds, fractions = self.scattered
        inside = self.waveforms.points
        names = self.balance.sequence.fractions
        drawn = {name: values[holds] for name, values in points.items()}
        drawn |= {name: fractions[row, holds] for row, name in enumerate(names)}
        return {
            name: np.concatenate([drawn[name][:SAMPLES], values[:: len(values) // SAMPLES + 1]])
            for name, values in inside.items()
        }

    @cached_property
    def extremes(self) -> Extremes:
        """Peaks and ripples where the mode holds."""
        return Extremes(self.waveforms, self.known, self.samples, self.form.expression, self.condition)

    @cached_property
    def _shown_facts(self) -> Facts:
        return shown_facts(self.form, self.demands.known)

    def sign_shown(self, polynomial: Polynomial) -> int | None:
        """Sign of a polynomial of the presentation ring where the mode holds; None where not proved."""
        return self._shown_facts.sign(Ratio(polynomial, self.form.ring.one))

    def condition(self, ratio: Ratio) -> Boolean:
        """That a ratio is positive where the mode holds."""
        return condition_on(self.found, self.form, self.demands, ratio, self.area)

    def averages(self) -> dict[str, Any]:
        """Gain, output voltage, efficiency, and the averages of capacitors, coils and sources."""
        voltage = self.output_voltage()
        return {
            "gain": self.gain(voltage),
            "output_voltage": self._closed(voltage),
            "capacitor_voltages": {
                c.name: self._closed(self.balance.capacitor_voltage(c.name)) for c in self.circuit.capacitors
            },
            "inductor_currents": {c.name: self.mean(self._one(("i", c.name))) for c in coils(self.circuit)},
            "source_currents": {
                s.name: self.delivered(self._one(("i", s.name))) for s in self.circuit.sources
            },
            "efficiency": self.efficiency(),
        }

    @cached_property
    def length(self) -> int:
        """Terms of the longer polynomial of the output voltage."""
        voltage = self.output_voltage()
        return 0 if voltage is None else max(len(part) for part in voltage.parts)

    def _closed(self, ratio: Ratio | None) -> Expr | None:
        return None if ratio is None else self.form.expression(ratio, close=True)

    def mean(self, row: Row) -> Expr | None:
        """Average of a sum of currents."""
        return self._plain(self.waveforms.average_of_free(row))

    def delivered(self, row: Row) -> Expr | None:
        """Average of a current, counted against its arrow."""
        ratio = self.waveforms.average_of_free(row)
        return None if ratio is None else self._plain(-ratio)

    def output_voltage(self) -> Ratio | None:
        """Average output voltage over the balance's ring."""
        output = self.circuit.output
        return self.waveforms.average_of_free(self._row_of_voltage(output.start, output.end))

    def gain(self, voltage: Ratio | None) -> Expr | None:
        """Output over input voltage; None where it depends on a source or drop."""
        if voltage is None:
            return None
        ring = self.balance.ring
        source = self.circuit.input.quantity.symbol
        ratio = voltage * Ratio(ring.one, ring.symbol(source))
        shown = self.form.shown(ratio)
        drivers = {s.quantity.symbol for s in self.circuit.of(Source, CurrentSource)}
        drivers |= {d.drop.symbol for d in self.circuit.of(Switch, Diode) if d.drop is not None}
        variables = shown.variables(self.form.ring)
        if variables & drivers:
            return None
        gain = self._closed(ratio)
        assert gain is not None
        used = set(gain.free_symbols)
        for _ in self.form.definitions:  # a root may hold what the ratio itself does not show
            for name, value in self.form.definitions.items():
                if symbol(name) in used:
                    used |= value.free_symbols
        return None if used & {symbol(driver) for driver in drivers} else gain

    def _intervals(self) -> tuple[ModeInterval, ...]:
        sequence = self.balance.sequence
        found = []
        order = [device.name for device in self.circuit.devices]
        ring = self.balance.ring
        for k, interval in enumerate(sequence.intervals):
            stops, starts = sequence.ended_by(k)
            ends = "switch"
            if k in sequence.unknown:
                ends = ", ".join(name for name in order if name in (stops or starts))
            found.append(
                ModeInterval(
                    self._fraction(k, ring),
                    tuple(name for name in order if name in interval.conducting),
                    ends,
                    self._roles(k),
                )
            )
        return tuple(found)

    def _fraction(self, k: int, ring) -> Expr:
        name = self.balance.sequence.fractions[k]
        roots = self.form.roots
        if roots is not None and len(roots) == 1:
            return self.form.expression(Ratio(ring.symbol(name), ring.one))
        return self.form.share(name)

    def _roles(self, k: int) -> dict[str, str]:
        """Sign of the power into every coil and capacitor in interval ``k``."""
        roles = {}
        for coil in coils(self.circuit):
            voltage = self.balance.value(k, self._one(("u", coil.name)), "average")
            current = self.balance.value(k, self._one(("i", coil.name)), "average")
            roles[coil.name] = self._role(voltage, current)
        for capacitor in self.circuit.capacitors:
            current = self.balance.value(k, self._one(("i", capacitor.name)), "average")
            roles[capacitor.name] = self._role(self.balance.capacitor_voltage(capacitor.name), current)
        return roles

    def _role(self, voltage: Ratio | None, current: Ratio | None) -> str:
        if voltage is None or current is None:
            return "not determined"
        if self.form.divides(voltage.numerator) or self.form.divides(current.numerator):
            return "idle"
        power = np.median(np.sign(self.waveforms.numeric(voltage) * self.waveforms.numeric(current)))
        return "absorbs" if power > 0 else "supplies" if power < 0 else "idle"

    def efficiency(self) -> Expr | None:
        """Power taken by loads over power given by sources.

        A voltage or current source counts on the side where it stands: a constant current may be a
        load or feed (a solar panel), a battery may be charged.  Where that depends, it is told for both.
        """
        powers: list[Ratio] = []
        signs: list[int | None] = []
        for element in self.circuit.of(Load, CurrentSource, Source):
            power = self.power_of(element)
            if power is None:
                return None
            powers.append(power)
            signs.append(1 if isinstance(element, Load) else self.known.sign(power))
        if not self._has_losses():
            return None if all(sign in (0, 1) for sign in signs) else sympy.Integer(1)
        open_ = [place for place, sign in enumerate(signs) if sign is None]
        if len(open_) > MOST_EITHER_WAY:
            return None
        return self._efficiency(powers, signs, open_)

    def _efficiency(self, powers: list[Ratio], signs: list[int | None], open_: list[int]) -> Expr | None:
        """Efficiency where the powers have the given signs, those that are ``open_`` either one."""
        if open_:
            place, *rest = open_
            cases = []
            for sign in (1, -1):
                own: list[int | None] = [sign if k == place else s for k, s in enumerate(signs)]
                cases.append(self._efficiency(powers, own, rest))
            if cases[0] == cases[1] or None in cases:
                return cases[0] if cases[1] is None else cases[1]
            return sympy.Piecewise(
                (cases[0], self.condition(powers[place])), (cases[1], True), evaluate=False
            )
        zero = Ratio(self.balance.ring.zero, self.balance.ring.one)
        taken, given = zero, zero
        for power, side in zip(powers, signs, strict=True):
            if side == 1:
                taken = taken + power
            elif side == -1:
                given = given - power
        if given.is_zero:
            return None
        difference = taken - given
        if difference.is_zero or self.form.divides(difference.numerator):
            return sympy.Integer(1)
        return self._closed(taken / given)

    def _has_losses(self) -> bool:
        """False where no element can lose power: then Tellegen's theorem makes the efficiency 1."""
        return any(
            (element.kind == "resistor")
            or getattr(element, "resistance", None) is not None
            or getattr(element, "drop", None) is not None
            for element in self.circuit.elements
        )

    def power_of(self, element) -> Ratio | None:
        """Average power into an element; for a source, of its ideal part (its resistance loses its own)."""
        ring = self.balance.ring
        current_row = self._one(("i", element.name))
        if isinstance(element, Source):
            current = self.waveforms.average_of_free(current_row)
            return (
                None if current is None else current * Ratio(ring.symbol(element.quantity.symbol), ring.one)
            )
        if self.balance.by_itself:
            if isinstance(element, Resistor):
                square = self.waveforms.mean_square(self.waveforms.of(current_row))
                return (
                    None if square is None else square * Ratio(ring.symbol(element.quantity.symbol), ring.one)
                )
            voltage = self.waveforms.average_of_free(self._row_of_voltage(element.start, element.end))
            return (
                None if voltage is None else voltage * Ratio(ring.symbol(element.quantity.symbol), ring.one)
            )
        terms: list[Ratio | None] = []
        for k in range(self.waveforms.count):
            voltage = self.balance.value(k, self._row_of_voltage(element.start, element.end), "average")
            current_mean = self.balance.value(k, current_row, "average")
            terms.append(None if voltage is None or current_mean is None else voltage * current_mean)
        return self.waveforms.weighted(terms)
