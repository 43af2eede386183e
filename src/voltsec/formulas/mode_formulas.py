"""The table of results as formulas of one mode: every measure worded once, whatever the mode is told by."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from functools import cached_property
from typing import Any, TypeVar, assert_never

import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.circuit.elements import CurrentSource, Source
from voltsec.formulas.choices import Knowledge
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.extremes import Extremes
from voltsec.formulas.root_forms import root_of_sum, size
from voltsec.periodic.balance import Balance
from voltsec.periodic.waveform import Waveform, Waveforms
from voltsec.results.measures import (
    Average,
    Core,
    Efficiency,
    FlowShare,
    Gain,
    Gate,
    Heat,
    Measure,
    OverallEfficiency,
    Peak,
    RootMeanSquare,
    Step,
    Swing,
    Terms,
    Turning,
    is_voltage,
    one,
)
from voltsec.results.solution import Stress
from voltsec.results.table import Result, lossy_elements, results_of
from voltsec.tableau import lengths
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, TooLarge

T = TypeVar("T")

MOST_EITHER_WAY = 2
"""Sources that may give or take power, up to which the efficiency is told."""
AVERAGES = (
    "gain",
    "output_voltage",
    "capacitor_voltages",
    "inductor_currents",
    "source_currents",
    "efficiency",
)
"""Groups of results without which a mode counts as unwritten."""
BESIDE = ("ripple", "stress", "losses")
"""Groups of results of which single ones may be left out, too long or out of time."""

Flow = tuple[Ratio, Ratio, Ratio]
"""Share of T, mean and ramp of a current."""


class ModeFormulas:
    """What explicit formulas and those told by states have in common: :meth:`formula` of each measure."""

    balance: Balance
    circuit: Circuit
    form: ClosedForm
    waveforms: Waveforms
    witness: dict[str, float]
    """A point where the mode holds."""
    too_long: list[str]
    """Results whose formula was too long to be written."""

    @cached_property
    def known(self) -> Knowledge:
        """What is so where the mode holds."""
        raise NotImplementedError

    @cached_property
    def extremes(self) -> Extremes:
        """Peaks and ripples where the mode holds."""
        raise NotImplementedError

    def sign_shown(self, polynomial: Polynomial) -> int | None:
        """Sign of a polynomial of the presentation ring where the mode holds; None where not proved."""
        return self.form.sign(polynomial)

    def condition(self, ratio: Ratio) -> Boolean:
        """That a ratio is positive."""
        raise NotImplementedError

    @cached_property
    def table(self) -> dict[str, Result]:
        """Every result of the circuit by name."""
        return results_of(self.circuit)

    def fields(self, groups: Iterable[str]) -> dict[str, Any]:
        """Results of some groups as :class:`~voltsec.results.solution.Mode` has them, by its field's name."""
        found: dict[str, Any] = {}
        for group in groups:
            own = [name for name in self.table if name.partition(".")[0] == group]
            may_miss = group in BESIDE or group == "efficiency"
            told = {name: self._in_time(name) if may_miss else self.told(name) for name in own}
            found[group] = told[group] if group in told else _parts(told, group)
        if "ripple" in found:  # coils first
            order = [*_parts(self.table, "inductor_currents"), *_parts(self.table, "capacitor_voltages")]
            found["ripple"] = {name: found["ripple"][name] for name in order}
        if "stress" in found:
            parts = dict.fromkeys(key.rpartition(".")[0] for key in found["stress"])
            keys = [field.name for field in fields(Stress)]
            found["stress"] = {p: Stress(*(found["stress"][f"{p}.{key}"] for key in keys)) for p in parts}
        return found

    def _in_time(self, name: str) -> Expr | None:
        """A result, nothing where the time is spent or it would be too long."""

        def noting() -> Expr | None:
            try:
                return self.told(name)
            except TooLarge:
                self.too_long.append(name)
                raise

        return in_time(noting)

    def told(self, name: str) -> Expr | None:
        """The result called ``name``, SI; None where it is not determined, KeyError where there is none."""
        return self.formula(self.table[name].measure)

    def formula(self, measure: Measure) -> Expr | None:
        """A measure as a formula, None where it is not determined; :class:`TooLarge` where too long."""
        match measure:
            case Average():
                return self._average(measure.terms)
            case RootMeanSquare():
                return self._rms(self.wave(measure.terms))
            case Peak():
                return self._peak(measure)
            case Swing():
                return self._swing(measure)
            case Gain():
                return self._gain(measure)
            case Heat():
                return self._heat(measure)
            case Efficiency():
                return self._efficiency(measure)
            case FlowShare() | Step():
                return None  # told together with the ripple of a port (:mod:`voltsec.formulas.ports`)
            case Turning() | Gate() | Core() | OverallEfficiency():
                return None  # estimated on exact waveforms alone
            case _:
                assert_never(measure)

    @cached_property
    def _waves(self) -> dict[Terms, Waveform]:
        return {}

    def wave(self, terms: Terms) -> Waveform:
        """The waveform of a quantity; a voltage's open ramps are those of a constant one."""
        if terms not in self._waves:
            self._waves[terms] = self.waveforms.of(self.balance.network.row(terms))
        return self._waves[terms]

    def average_ratio(self, terms: Terms) -> Ratio | None:
        """Average of a quantity over the balance's ring, None where it is not determined."""
        if len(terms) == 1:
            unknown, ring = terms[0][0], self.balance.ring
            if unknown[0] == "V":
                return self.balance.capacitor_voltage(unknown[1])
            if unknown in [("i", capacitor.name) for capacitor in self.circuit.capacitors]:
                return Ratio(ring.zero, ring.one)  # charge balance
        return self.waveforms.average_of_free(self.balance.network.row(terms))

    def _average(self, terms: Terms) -> Expr | None:
        ratio = self.average_ratio(terms)
        return None if ratio is None else self.form.expression(ratio, close=is_voltage(terms))

    def _peak(self, measure: Peak) -> Expr | None:
        wave = self.wave(measure.terms)
        if not is_voltage(measure.terms):
            return self.extremes.peak(wave)
        places = [
            k
            for k, interval in enumerate(self.balance.sequence.intervals)
            if measure.blocked_by not in interval.conducting
        ]
        return self.extremes.peak(self._straight(wave, places), places) if places else sympy.Integer(0)

    def _straight(self, voltage: Waveform, places: list[int]) -> Waveform:
        """A voltage whose open ramps are those of a constant one; no means where one is open."""
        if any(voltage.means[k] is None for k in places):
            return Waveform(tuple(None for _ in voltage.means), voltage.ramps)
        nothing = Ratio(self.balance.ring.zero, self.balance.ring.one)
        return Waveform(
            voltage.means,
            tuple(nothing if r is None else r for r in voltage.ramps),
            tuple(nothing if b is None else b for b in voltage.bends),
        )

    def _swing(self, measure: Swing) -> Expr | None:
        ring = self.balance.ring
        if measure.voltage is not None or (measure.charge is not None and measure.charge.resistances):
            return None  # told with where it holds (:mod:`voltsec.formulas.ports`), or by the voltage's
        if measure.charge is not None:
            flow = self.waveforms.of(measure.charge.flow(ring))
            return self.extremes.capacitor_ripple(flow, Ratio(measure.charge.farad(ring), ring.one))
        if measure.terms in [one(("i", coil)) for coil in _parts(self.table, "inductor_currents")]:
            return self.extremes.coil_ripple(self.wave(measure.terms))
        return self.extremes.swing(self.wave(measure.terms), lengths.TOLD)

    def _rms(self, current: Waveform) -> Expr | None:
        """Root of the sum of d*(mean**2 + ramp**2/3), combined into one ratio where that stays short."""
        flows = self.flows(current)
        if not flows:
            return None if flows is None else sympy.Integer(0)
        if max(ratio.longest for flow in flows for ratio in flow[1:]) <= lengths.JOINED:
            combined = self.waveforms.mean_square(current)
            assert combined is not None
            if combined.terms <= lengths.JOINED:
                return self.form.square_root(combined, self.sign_shown)
        return root_of_sum(self._squares(flows))

    def _squares(self, flows: list[Flow]) -> list[Expr]:
        """Share times mean square of the current, interval by interval."""
        terms = []
        for share, mean, ramp in flows:
            square = self.form.expression(mean) ** 2
            if not ramp.is_zero:
                square = square + self.form.expression(ramp) ** 2 / 3
            terms.append(self.form.expression(share) * square)
        return terms

    def flows(self, current: Waveform) -> list[Flow] | None:
        """(share of T, mean, ramp) of a current, intervals of equal size joined, idle ones left out."""
        flows: list[Flow] = []
        for fraction, mean, ramp in zip(self.waveforms.fractions, current.means, current.ramps, strict=True):
            if mean is None or ramp is None:
                return None
            if mean.is_zero and ramp.is_zero:
                continue
            share = Ratio(fraction, self.balance.ring.one)
            for place, (other, other_mean, other_ramp) in enumerate(flows):
                if mean in (other_mean, -other_mean) and ramp in (other_ramp, -other_ramp):
                    flows[place] = (other + share, other_mean, other_ramp)
                    break
            else:
                flows.append((share, mean, ramp))
        return flows

    def _heating(self, heat: Heat) -> list[Flow] | None:
        """The current that heats: ripple neglected in continuous conduction, unless it may be all."""
        balance = self.balance
        if balance.by_itself or heat.by_ripple:
            return self.flows(self.wave(heat.terms))
        row, places = balance.network.row(heat.terms), range(self.waveforms.count)
        nothing = Ratio(balance.ring.zero, balance.ring.one)
        means = tuple(balance.value(k, row, "average") for k in places)
        return self.flows(Waveform(means, tuple(nothing for _ in places)))

    def heat_ratio(self, heat: Heat) -> Ratio | None:
        """A loss as a ratio over the balance's ring, watt; None where it is not determined."""
        ring = self.balance.ring
        total = Ratio(ring.zero, ring.one)
        if heat.resistance is not None:
            flows = self._heating(heat)
            if flows is None:
                return None
            for share, mean, ramp in flows:
                third = ramp * ramp
                square = mean * mean + Ratio(third.numerator, third.denominator * 3)
                total = total + share * square * Ratio(ring.symbol(heat.resistance), ring.one)
        if heat.drop is not None:
            current = self.average_ratio(heat.terms)
            if current is None:
                return None
            total = total + current * Ratio(ring.symbol(heat.drop), ring.one)
        return total

    def _heat(self, heat: Heat) -> Expr | None:
        """Resistance times a sum of squares, or all in one fraction where that is shorter."""
        terms: list[Expr] = []
        longest = 0
        if heat.resistance is not None:
            flows = self._heating(heat)
            if flows is None:
                return None
            longest = max((ratio.longest for flow in flows for ratio in flow[1:]), default=0)
            terms.append(self._symbol(heat.resistance) * sympy.Add(*self._squares(flows)))
        if heat.drop is not None:
            current = self.average_ratio(heat.terms)
            if current is None:
                return None
            terms.append(self._symbol(heat.drop) * self.form.expression(current))
        written = sympy.Add(*terms)
        if longest > lengths.JOINED_LOSS or self.balance.by_itself:
            return written
        ratio = self.heat_ratio(heat)
        assert ratio is not None
        return (
            written
            if ratio.terms > lengths.FACTORED_RATIO
            else min((self.form.expression(ratio), written), key=size)
        )

    def _symbol(self, name: str) -> Expr:
        ring = self.balance.ring
        return self.form.expression(Ratio(ring.symbol(name), ring.one))

    def _gain(self, measure: Gain) -> Expr | None:
        """Output over input voltage; None where it depends on a source or drop."""
        voltage, ring = self.average_ratio(measure.terms), self.balance.ring
        if voltage is None:
            return None
        ratio = voltage / Ratio(ring.symbol(measure.source), ring.one)
        drivers = {source.quantity.symbol for source in self.circuit.of(Source, CurrentSource)}
        drivers |= {device.drop.symbol for device in self.circuit.devices if device.drop is not None}
        if self.form.shown(ratio).variables(self.form.ring) & drivers:
            return None
        gain = self.form.expression(ratio, close=True)
        used = set(gain.free_symbols)
        for _ in self.form.definitions:  # a root may hold what the ratio itself does not show
            for name, value in self.form.definitions.items():
                if symbol(name) in used:
                    used |= value.free_symbols
        return None if used & {symbol(driver) for driver in drivers} else gain

    def powers(self, measure: Efficiency) -> tuple[list[Ratio | None], list[Ratio | None]]:
        """Average powers into the loads, and into the ideal part of every source and constant current."""
        ring = self.balance.ring
        taken = [self.heat_ratio(load) for load in measure.loads]
        averages = [(name, self.average_ratio(terms)) for name, terms in measure.ports]
        return taken, [a if a is None else a * Ratio(ring.symbol(name), ring.one) for name, a in averages]

    def _efficiency(self, measure: Efficiency) -> Expr | None:
        """Power taken by loads over power given by sources.

        A voltage or current source counts on the side where it stands: a constant current may be a
        load or feed (a solar panel), a battery may be charged.  Where that depends, it is told for both.
        """
        taken, ports = self.powers(measure)
        powers = [power for power in (*taken, *ports) if power is not None]
        if len(powers) < len(taken) + len(ports):
            return None
        signs = [1 if k < len(taken) else self.known.sign(power) for k, power in enumerate(powers)]
        if not lossy_elements(self.circuit):  # Tellegen's theorem makes it 1
            return None if all(sign in (0, 1) for sign in signs) else sympy.Integer(1)
        open_ = [place for place, sign in enumerate(signs) if sign is None]
        return None if len(open_) > MOST_EITHER_WAY else self._share_taken(powers, signs, open_)

    def _share_taken(self, powers: list[Ratio], signs: list[int | None], open_: list[int]) -> Expr | None:
        """Efficiency where the powers have the given signs, those that are ``open_`` either one."""
        if open_:
            place, *rest = open_
            cases = []
            for sign in (1, -1):
                own: list[int | None] = [sign if k == place else s for k, s in enumerate(signs)]
                cases.append(self._share_taken(powers, own, rest))
            if cases[0] == cases[1] or None in cases:
                return cases[0] if cases[1] is None else cases[1]
            return sympy.Piecewise(
                (cases[0], self.condition(powers[place])), (cases[1], True), evaluate=False
            )
        taken = given = Ratio(self.balance.ring.zero, self.balance.ring.one)
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
        return self.form.expression(taken / given, close=True)


def _parts(named: dict[str, Any], group: str) -> dict[str, Any]:
    """What is called ``group.NAME``, by the rest of the name."""
    return {name.partition(".")[2]: value for name, value in named.items() if name.startswith(f"{group}.")}
