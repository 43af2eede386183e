"""One found sequence as a mode: every formula a practitioner asks for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.formulas.choices import Knowledge
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.extremes import Extremes
from voltsec.formulas.mode_formulas import AVERAGES, BESIDE, ModeFormulas
from voltsec.formulas.region_check import agrees, scatter
from voltsec.formulas.regions import Region, condition_on, region, shown_facts, unsimplified
from voltsec.formulas.requirements import Demands, demands
from voltsec.periodic.balance import Balance, SignCondition
from voltsec.periodic.points import as_arrays
from voltsec.periodic.signs import Facts
from voltsec.periodic.waveform import Waveforms
from voltsec.results.measures import Average
from voltsec.results.solution import Mode, ModeInterval
from voltsec.search.search import Found
from voltsec.tableau import lengths
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring

SAMPLES = 40
"""Points of each kind at which candidates for a peak are compared."""


class ToldByStates(Protocol):
    """Formulas of a mode in terms of its states (:mod:`voltsec.formulas.states`)."""

    names: tuple[str, ...]

    def fields(self, groups: Iterable[str]) -> dict[str, Any]:
        """What :meth:`ModeFormulas.fields` gives."""

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
        self.witness = found.witness
        self.searched = points
        self.by_states: ModeFormulas | None = None
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
        """The mode with all its formulas, in terms of ``states`` where given.

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
        told = (self if states is None else states).fields((*AVERAGES, *BESIDE))
        if states is not None:
            used: list[Any] = [area.holds_when, *told["ripple"].values()]
            used += [value for entry in told["stress"].values() for value in vars(entry).values()]
            used += [told["efficiency"], *told["capacitor_voltages"].values(), *told["losses"].values()]
            definitions |= states.used(used)
        elif spelled.states is not None:
            definitions |= spelled.states.used([area.holds_when])
        return Mode(
            name=name,
            intervals=self._intervals(),
            **told,
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
        return demands(self.found, lengths.GLANCE)

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

    @cached_property
    def length(self) -> int:
        """Terms of the longer polynomial of the output voltage."""
        voltage = self.output_voltage()
        return 0 if voltage is None else voltage.longest

    def output_voltage(self) -> Ratio | None:
        """Average output voltage over the balance's ring."""
        measure = self.table["output_voltage"].measure
        assert isinstance(measure, Average)
        return self.average_ratio(measure.terms)

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

    def _fraction(self, k: int, ring: Ring) -> Expr:
        name = self.balance.sequence.fractions[k]
        roots = self.form.roots
        if roots is not None and len(roots) == 1:
            return self.form.expression(Ratio(ring.symbol(name), ring.one))
        return self.form.share(name)

    def _roles(self, k: int) -> dict[str, str]:
        """Sign of the power into every coil and capacitor in interval ``k``."""
        one = self.balance.ring.one
        roles = {}
        for coil in coils(self.circuit):
            voltage = self.balance.value(k, {("u", coil.name): one}, "average")
            current = self.balance.value(k, {("i", coil.name): one}, "average")
            roles[coil.name] = self._role(voltage, current)
        for capacitor in self.circuit.capacitors:
            current = self.balance.value(k, {("i", capacitor.name): one}, "average")
            roles[capacitor.name] = self._role(self.balance.capacitor_voltage(capacitor.name), current)
        return roles

    def _role(self, voltage: Ratio | None, current: Ratio | None) -> str:
        if voltage is None or current is None:
            return "not determined"
        if self.form.divides(voltage.numerator) or self.form.divides(current.numerator):
            return "idle"
        power = np.median(np.sign(self.waveforms.numeric(voltage) * self.waveforms.numeric(current)))
        return "absorbs" if power > 0 else "supplies" if power < 0 else "idle"
