"""The reduced small-signal model of discontinuous conduction, in closed form.

Where every coil begins each period at rest its current is no state: it follows the voltages within the
period, and so does the share d2 of the interval that ends by itself.  The period's equations (means and
ramps, :mod:`voltsec.tableau.assembly`) are changed by a little around their solution, with s C v on the right
of the charge balances, and d2 follows from the current that is zero at its end.  One pole a capacitor is
left; what the coils do above some tenth of the switching frequency is lost.  (The averaged switch of
discontinuous conduction gives the same: Erickson, Maksimovic, chapter 11, from memory.)

Without losses the condition on d2 is linear in the period, so T is put in by d2 and every response is a ratio
of polynomials in the duty, d2, the parts and s.  Where resistances bend the currents the bends come in as in
the mode's own equations, and T stays a symbol beside d2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from voltsec.circuit.elements import CurrentSource, Source
from voltsec.dynamics.averaged import PROBE, S
from voltsec.dynamics.equations import ordinary_outputs, with_inputs
from voltsec.formulas.first_order_dry import Case, ideal_fractions
from voltsec.periodic.fractions import Fractions, NotClosed
from voltsec.tableau.assembly import (
    average_interval_rows,
    bends_count,
    parameter_names,
    period_rows,
)
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.network import Network, Row, Unknown, fluxes
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, TooLarge
from voltsec.tableau.tied import ring_of

MOST_STATES = 2
"""Coils and capacitors of a stage whose reduced model is told."""


class NotReduced(Exception):
    """There is no reduced model in closed form; the message says why."""


@dataclass(frozen=True)
class Reduced:
    """Responses over ``ring``, in d2 (as the mode calls it), duties, T, parts and :data:`S`."""

    ring: Ring
    fractions: Fractions
    responses: Mapping[tuple[str, str], Ratio]
    first_order: bool = False
    """To first order in the parasitics, because the whole is too long."""


def reduced_model(case: Case, fractions: Fractions | None) -> Reduced:
    """The reduced model of ``case``, a :func:`~voltsec.dynamics.averaged.probed` one.

    ``fractions`` are those of its mode, None where its formulas are not written.  Raises :class:`NotReduced`.
    """
    try:
        whole = _Solved(case, fractions)
    except TooLarge:
        return to_first_order(case, fractions)
    return Reduced(whole.ring, whole.fractions, whole.responses)


def to_first_order(case: Case, fractions: Fractions | None) -> Reduced:
    """The model from those with one parasitic at a time: to first order their changes add up."""
    try:
        ideal = _Solved(case, fractions, frozenset())
        alone = {name: _Solved(case, fractions, frozenset({name})) for name in case.circuit.parasitics}
        responses = {
            key: _together(ideal.ring, ratio, {name: one.responses[key] for name, one in alone.items()})
            for key, ratio in ideal.responses.items()
            if all(key in one.responses for one in alone.values())
        }
    except TooLarge:
        raise NotReduced("it is too long to be written") from None
    return Reduced(ideal.ring, ideal.fractions, responses, True)


def _together(ring: Ring, ideal: Ratio, alone: Mapping[str, Ratio]) -> Ratio:
    """``ideal`` with the changes of numerator and denominator that each of ``alone`` brings."""
    top, bottom = (Ratio(part, ring.one) for part in ideal.parts)
    whole = top, bottom
    for name, ratio in alone.items():
        parts = [[*ring.coefficients(part, name), ring.zero][:2] for part in ratio.parts]
        if parts[1][0].is_zero():
            raise NotReduced(f"without {name} there is none")
        # the same ratio as the ideal one where the parasitic is zero, but for a common factor
        factor = bottom / Ratio(parts[1][0], ring.one)
        moves = (Ratio(change * ring.symbol(name), ring.one) * factor for _, change in parts)
        whole = whole[0] + next(moves), whole[1] + next(moves)
    return whole[0] / whole[1]


class _Solved:
    """The responses with the parasitics in ``kept`` alone, all of them where that is None."""

    def __init__(self, case: Case, fractions: Fractions | None, kept: frozenset[str] | None = None) -> None:
        self.case = case
        self.gone = [name for name in case.circuit.parasitics if kept is not None and name not in kept]
        circuit, sequence = case.circuit, case.sequence
        if len(fluxes(circuit)) + len(circuit.capacitors) > MOST_STATES:
            raise NotReduced("its reduced model is told for stages of one coil and one capacitor")
        if len(sequence.unknown) != 1:
            raise NotReduced("more than one interval ends by itself")
        try:
            self.fractions = ideal_fractions(case) if fractions is None else fractions
        except NotClosed as problem:
            raise NotReduced("without losses the stage has no such mode") from problem
        self.bends = bends_count(circuit)
        self.own = ring_of(sequence, (*parameter_names(circuit), "T", S))
        if self.own.sums or self.own.divisors:
            raise NotReduced("its switch intervals depend on each other")
        self.network = Network(circuit, self.own, case.references)
        if not self._rests():
            raise NotReduced("a coil's current does not come to rest within the period")
        # those without losses give names to the shares, but not the condition on them
        self.period = None if self.bends or fractions is None else self._period()
        count = len(sequence.intervals)
        self.balances = {
            frozenset(("m", k, ("i", capacitor.name)) for k in range(count)): capacitor
            for capacitor in circuit.capacitors
        }
        """Charge balances by the unknowns in their rows."""
        self.steady = self._steady()
        self.ring = Ring(
            (*self.fractions.unknown.values(), *case.stages.symbols, *parameter_names(circuit), S)
        )
        self.responses = self._responses()

    def _rests(self) -> bool:
        """True where the last interval keeps every coil at zero."""
        sequence = self.case.sequence
        last = len(sequence.intervals) - 1
        found = eliminate(average_interval_rows(self.case.circuit, sequence, self.network, last), self.own)
        rests = (found.fraction(("m", last, ("i", flux.coil.name))) for flux in fluxes(self.case.circuit))
        return all(value is not None and value.is_zero for value in rests)

    def _period(self) -> Ratio | None:
        """The period by d2 and the parts, where the one condition asks for it and is linear in it."""
        ring, fractions = self.own, self.fractions
        for factors in fractions.balance.condition_factors:
            for factor in factors:
                shown = fractions.balance.ring.substitute(factor, ring, {})
                if factor in fractions.conditions and ring.degree(shown, "T") == 1:
                    constant, linear = ring.coefficients(shown, "T")
                    return lowest_terms(-constant, linear)
        return None

    def _rows(self) -> list[Row]:
        found = []
        for row in period_rows(self.case.circuit, self.case.sequence, self.network, bends=self.bends):
            left = {unknown: self._without_gone(coefficient) for unknown, coefficient in row.items()}
            found.append({unknown: c for unknown, c in left.items() if not c.is_zero()})
        return [row for row in found if row]

    def _without_gone(self, coefficient: Polynomial) -> Polynomial:
        for name in self.gone:
            coefficient = self.own.coefficients(coefficient, name)[0]
        return coefficient

    def _steady(self) -> Eliminated:
        """The steady state, in which the event tells the capacitor's voltage and d2 stands as a symbol.

        Its balance of charge, which is left out, asks something of d2: with it the rows contradict each other
        for all other values, and so may their changes.
        """
        rows = []
        for row in self._rows():
            if frozenset(row) in self.balances:
                continue
            told: Row = {}
            for unknown, coefficient in row.items():
                if unknown is None:
                    coefficient = self.own.coefficients(coefficient, PROBE)[0]
                if not coefficient.is_zero():
                    told[unknown] = coefficient
            rows.append(self._without_period(told))
        return eliminate(rows, self.own)

    def _without_period(self, row: Row) -> Row:
        """The row times the denominator of T, which is put in."""
        if self.period is None or not any(self.own.degree(c, "T") > 0 for c in row.values()):
            return row
        over = self.period.denominator
        found = {}
        for unknown, coefficient in row.items():
            parts = self.own.coefficients(coefficient, "T")
            total = parts[0] * over
            if len(parts) > 1:
                total = total + parts[1] * self.period.numerator
            found[unknown] = total
        return found

    def _value(self, unknown: Unknown) -> Ratio:
        value = self.steady.fraction(unknown)
        if value is None:
            raise NotReduced("its steady state leaves a voltage or current open")
        return value

    def _changed(self, row: Row) -> Row:
        """A row of small changes: those of the unknowns, and of the shares with the steady state's values."""
        ring, sequence = self.own, self.case.sequence
        found: Row = dict(row)
        scale = ring.one
        for k, name in enumerate(sequence.fractions):
            total = Ratio(ring.zero, ring.one)
            for unknown, coefficient in row.items():
                if unknown is None:
                    continue
                slope = coefficient.derivative(name)
                if not slope.is_zero():
                    total = _plus(total, slope, self._value(unknown))
            if not total.is_zero:
                found = {u: c * total.denominator for u, c in found.items()}
                found["f", k] = total.numerator * scale
                scale = scale * total.denominator
        return found

    def _responses(self) -> dict[tuple[str, str], Ratio]:
        case, ring = self.case, self.own
        circuit, sequence = case.circuit, case.sequence
        whole = sum((ring.symbol(name) for name in sequence.fractions), ring.zero)
        s = ring.symbol(S)
        rows: list[Row] = []
        for row in self._rows():
            changed = self._changed(row)  # T does not change with the shares: it is put in afterwards
            capacitor = self.balances.get(frozenset(row))
            if capacitor is not None:
                farads = ring.symbol(capacitor.quantity.symbol)
                changed["V", capacitor.name] = -s * farads * whole * _scale(changed, row)
            rows.append(self._without_period(changed))
        sources = tuple(e.quantity.symbol for e in circuit.of(Source, CurrentSource))
        rows = with_inputs(rows, self.network, sources)
        for stage in range(len(case.stages.lengths)):
            total: Row = {("f", k): ring.one for k, i in enumerate(sequence.intervals) if i.stage == stage}
            for place, duty in enumerate(case.stages.symbols, 1):
                factor = case.stages.lengths[stage][place]
                if factor.denominator != 1:
                    raise NotReduced("its switch intervals depend on each other")
                if factor:
                    total["s", duty] = ring.constant(-int(factor))
            rows.append(total)
        outputs = ordinary_outputs(circuit)
        for label, terms in outputs.items():
            mean: Row = {}
            for unknown, sign in terms:
                if unknown[0] == "v" and unknown[1] in self.network.references:
                    continue
                for k, name in enumerate(sequence.fractions):
                    mean["m", k, unknown] = ring.symbol(name) * sign
            changed = self._changed(mean)
            rows.append({**changed, ("y", label): -whole * _scale(changed, mean)})
        last = frozenset(u for row in rows for u in row if u is not None and u[0] == "s")
        solved = eliminate(rows, ring, wanted=[("y", label) for label in outputs], last=last)
        found = {}
        for label in outputs:
            denominator, told = solved.solved.get(("y", label), (ring.one, {("?",): ring.one}))
            if any(u not in last for u in told):
                continue
            for control in (*case.stages.symbols, *sources):
                found[label, control] = self._shown(Ratio(told.get(("s", control), ring.zero), denominator))
        return found

    def _shown(self, ratio: Ratio) -> Ratio:
        """In duties and d2."""
        try:
            top, bottom = self.fractions.shown_in(self.own, ratio.reduced().parts, self.ring)
        except TooLarge:
            raise NotReduced("it is too long to be written") from None
        return lowest_terms(top, bottom)


def _scale(changed: Row, row: Row) -> Polynomial:
    """By what a row was multiplied."""
    first = next(iter(row))
    return changed[first] // row[first]


def _plus(total: Ratio, slope: Polynomial, value: Ratio) -> Ratio:
    top, bottom = total.parts
    if bottom == value.denominator:
        return lowest_terms(top + slope * value.numerator, bottom)
    return lowest_terms(
        top * value.denominator + slope * value.numerator * bottom, bottom * value.denominator
    )
