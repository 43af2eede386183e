"""Losses to first order where intervals end by themselves (discontinuous conduction).

The exact condition on the unknown fractions grows beyond reading with every resistance; its slope at
vanishing losses does not.  The period's equations are ``(A + sum of s*A_s) x = b``, with a small symbol
``s`` for every resistance and drop.  To first order the ideal solution x0 can stand beside every ``s``:

    A x = b - sum of s*A_s x0

so the ideal system is solved once more with a right-hand side linear in the small symbols (a regular
perturbation; currents are followed to their bend, which is of first order).  What comes out are the
conditions ``g(d, s) = 0`` and the output voltage ``V(d, s)``, and by implicit differentiation

    dV/ds = V_s - V_d * g_s / g_d        at s = 0, with the ideal fractions d.

The efficiency follows from the losses with ideal currents: resistance times mean square, drop times
average.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Element, Source, Transformer
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.first_order import FirstOrder, loses_nothing_ideally
from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.balance import Balance
from voltsec.periodic.fractions import Fractions, NotClosed, degree_in, value_and_size, with_images
from voltsec.periodic.points import as_arrays
from voltsec.periodic.stages import Stages
from voltsec.periodic.waveform import Waveforms
from voltsec.results.table import heats
from voltsec.tableau import lengths
from voltsec.tableau.assembly import period_rows
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.expression import symbol
from voltsec.tableau.interval import Sequence
from voltsec.tableau.network import Row
from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, TooLarge

CLOSE = 1e-7
"""Relative size up to which a condition counts as met at the ideal fractions."""


@dataclass(frozen=True)
class Case:
    """A sequence at a point where it holds, to be told to first order."""

    circuit: Circuit
    stages: Stages
    sequence: Sequence
    references: tuple[str, ...]
    point: Mapping[str, float]
    """Every symbol, SI units."""
    shares: np.ndarray
    """Fractions of the intervals there."""


def case_of(builder: ModeBuilder) -> Case:
    """A mode with written formulas, at its witness."""
    names = builder.balance.sequence.fractions
    witness = builder.found.witness
    point = {name: value for name, value in witness.items() if name not in names}
    shares = np.array([witness[name] for name in names])
    network = builder.balance.network
    return Case(
        builder.circuit,
        builder.found.stages,
        builder.balance.sequence,
        tuple(network.references),
        point,
        shares,
    )


class _Ideal:
    """The sequence solved without losses, with the fractions it then has."""

    def __init__(self, case: Case) -> None:
        circuit = replace(case.circuit, elements=tuple(_stripped(e) for e in case.circuit.elements))
        balance = Balance(circuit, case.sequence, case.references)
        known = {quantity.symbol for quantity in circuit.quantities}
        point = {name: value for name, value in case.point.items() if name in known}
        self.fractions = Fractions(balance, case.stages, point, case.shares)
        self.balance = self.fractions.balance
        arrays = as_arrays(point)
        self.unknown = self.fractions.unknown
        near = [
            roots.fractions[:, 0]
            for roots in self.fractions.roots(arrays, case.shares[list(self.unknown)])
            if roots.exists[0]
        ]
        if not near:
            raise NotClosed("no fractions without the losses")
        self.shares = min(near, key=lambda shares: float(np.abs(shares - case.shares).sum()))
        names = case.sequence.fractions
        self.witness = point | dict(zip(names, (float(s) for s in self.shares), strict=True))
        self.form = ClosedForm(self.balance, self.fractions, self.witness)
        self.waves = _waves(self.balance, self.witness)


def ideal_fractions(case: Case) -> Fractions:
    """The fractions of the sequence without losses; raises ``NotClosed`` where it has none then."""
    return _Ideal(case).fractions


def _stripped(element: Element) -> Element:
    if isinstance(element, Transformer):
        return element
    gone: dict[str, Any] = {"resistance": None, "drop": None}
    return replace(element, **gone)


def _waves(balance: Balance, witness: Mapping[str, float]) -> Waveforms:
    return Waveforms(balance, as_arrays(witness))


def _output(waves: Waveforms) -> Ratio | None:
    balance = waves.balance
    output = balance.circuit.output
    return waves.average_of_free(dict(balance.network.voltage(output.start, output.end)))


def first_order_dry(case: Case) -> FirstOrder | None:
    """The leading order of a mode with intervals that end by themselves.

    ``None`` where the ideal stage does not have this sequence, or where vanishing resistances decide
    something (how two paths share a current).
    """
    try:
        ideal = _Ideal(case)
        voltage = _output(ideal.waves)
        if voltage is None or voltage.is_zero:
            return None
        terms = _gain_terms(case, ideal)
    except (NotClosed, TooLarge, np.linalg.LinAlgError):
        return None
    if terms is None:
        return None
    form, ring = ideal.form, ideal.balance.ring
    gain = form.shown(voltage * Ratio(ring.one, ring.symbol(case.circuit.input.quantity.symbol)))
    drivers = {source.quantity.symbol for source in case.circuit.of(Source, CurrentSource)}
    if (gain.variables(form.ring)) & drivers:
        return None
    shares = _power_shares(case, ideal) if loses_nothing_ideally(case.circuit) else None
    if shares is None and loses_nothing_ideally(case.circuit):
        return None
    return FirstOrder(form.written(gain, True), terms, shares, form.definitions)


def _gain_terms(case: Case, ideal: _Ideal) -> dict[str, Expr] | None:
    """Small symbol -> share of the ideal gain that it takes."""
    perturbed = _perturbed(case, ideal)
    if perturbed is None:
        return None
    found, balance = perturbed
    ring, target, form = balance.ring, ideal.form.ring, ideal.form
    small = case.circuit.parasitics
    images = form.fractions.images_in(target, ring)
    over = form.fractions.over
    places = [ring.index[name] for name in small]

    def part(polynomial: Polynomial, name: str | None) -> Polynomial:
        """What stands beside ``name`` (or without any small symbol), in duties and unknowns."""
        kept = {}
        for powers, coefficient in polynomial.to_dict().items():
            present = [place for place in places if powers[place]]
            if present == ([] if name is None else [ring.index[name]]):
                kept[tuple(0 if p in present else int(e) for p, e in enumerate(powers))] = coefficient
        degree = degree_in(ring, polynomial, images) if over > 1 else None
        return with_images(ring, [ring.context.from_dict(kept)], target, images, over, degree)[0]

    conditions = _independent([part(c, None) for c in found.conditions], ideal)
    voltage = _output(_waves(balance, ideal.witness | dict.fromkeys(small, 0.0)))
    if conditions is None or voltage is None:
        return None
    top, bottom = (part(p, None) for p in voltage.parts)
    if bottom.is_zero() or top.is_zero():
        return None
    wanted = [target.index[name] for name in ideal.unknown.values()]
    one = target.one
    jacobian = [
        [Ratio(part(found.conditions[c], None).derivative(u), one) for u in wanted] for c in conditions
    ]
    along = [
        lowest_terms(top.derivative(u) * bottom - top * bottom.derivative(u), top * bottom) for u in wanted
    ]
    terms = {}
    for name in small:
        moves = _solve(target, jacobian, [Ratio(part(found.conditions[c], name), one) for c in conditions])
        if moves is None:
            return None
        upper, lower = (part(p, name) for p in voltage.parts)
        total = lowest_terms(upper * bottom - top * lower, top * bottom)
        for slope, move in zip(along, moves, strict=True):
            more = slope * (-move)
            if total.terms + more.terms > lengths.LEADING_SUM:
                raise TooLarge(f"a sum of more than {lengths.LEADING_SUM} terms")
            total = total + more
        if not form.vanishes(Ratio(total.numerator, one)):
            terms[name] = form.written(_shortest(form, -total)) * symbol(name)
    return terms


def _shortest(form: ClosedForm, ratio: Ratio) -> Ratio:
    """The ratio with the period as it is, or put in by the ideal condition."""
    if (
        form.period_value is None
        or form.ring.degree(ratio.numerator, "T") + form.ring.degree(ratio.denominator, "T") <= 0
    ):
        return ratio
    return min((insert(form.ring, ratio, "T", form.period_value), ratio), key=form.weight)


def _perturbed(case: Case, ideal: _Ideal) -> tuple[Eliminated, Balance] | None:
    """The period's equations to first order, solved; the balance's ring has all small symbols."""
    balance = Balance(case.circuit, case.sequence, case.references)
    ring = balance.ring
    small = case.circuit.parasitics
    places = {ring.index[name] for name in small}
    known = {
        unknown: (ideal.balance.ring.substitute(bottom, ring, {}), terms)
        for unknown, (bottom, terms) in ideal.balance.full.solved.items()
    }
    output = case.circuit.output
    wanted = {
        ("m", k, unknown)
        for k in range(len(case.sequence.intervals))
        for unknown, _ in balance.network.voltage(output.start, output.end)
    }
    for all_events in (False, True):
        rows = []
        for row in period_rows(case.circuit, case.sequence, balance.network, all_events, bends=True):
            told = _told(row, known, ideal.balance.ring, ring, places)
            if told is None:
                return None
            rows.append(told)
        found = eliminate(rows, ring, wanted, fractions_unknown=True, limited=False)
        if len(found.conditions) >= len(case.sequence.unknown):
            break
    return found, _Perturbed(balance, found)


class _Perturbed(Balance):
    """A balance whose solution is that to first order."""

    def __init__(self, plain: Balance, found: Eliminated) -> None:
        super().__init__(plain.circuit, plain.sequence, tuple(plain.network.references), plain.ring)
        self._found = found

    @cached_property
    def full(self) -> Eliminated:
        """The solution to first order."""
        return self._found

    @cached_property
    def averages(self) -> Eliminated:
        """The same: intervals end by themselves."""
        return self._found


def _told(row: Row, known: dict[Any, Any], ideal: Ring, ring: Ring, places: set[int]) -> Row | None:
    """A row with the ideal solution beside every small symbol."""
    plain: Row = {}
    beside: list[Ratio] = []
    for unknown, coefficient in row.items():
        parts: tuple[dict[Any, Any], dict[Any, Any]] = ({}, {})
        for powers, number in coefficient.to_dict().items():
            parts[any(powers[p] for p in places)][powers] = number
        rest, tiny = (ring.context.from_dict(part) for part in parts)
        if unknown is None:
            rest, tiny = rest + tiny, ring.zero
        if not rest.is_zero():
            plain[unknown] = rest
        if tiny.is_zero():
            continue
        if unknown not in known:
            if unknown[0] == "b":
                continue  # bends vanish without losses
            return None
        bottom, terms = known[unknown]
        if any(free is not None for free in terms):
            return None
        top = ideal.substitute(terms.get(None, ideal.zero), ring, {})
        beside.append(lowest_terms(tiny * top, bottom))
    total = Ratio(ring.zero, ring.one)
    for share in beside:
        total = total + share
    if total.is_zero:
        return plain
    plain = {unknown: coefficient * total.denominator for unknown, coefficient in plain.items()}
    plain[None] = plain.get(None, ring.zero) + total.numerator
    return plain


def _independent(conditions: list[Polynomial], ideal: _Ideal) -> list[int] | None:
    """Places of conditions that fix the fractions: zero at the ideal ones, with independent slopes."""
    ring, point = ideal.form.ring, ideal.form.point
    wanted = [ring.index[name] for name in ideal.unknown.values()]
    rows: list[np.ndarray] = []
    chosen: list[int] = []
    for place in sorted(range(len(conditions)), key=lambda c: len(conditions[c])):
        condition = conditions[place]
        if condition.is_zero():
            continue
        value, size = value_and_size(ring, condition, point)
        if abs(value) > CLOSE * size:
            continue
        slope = np.array([float(ring.value(condition.derivative(u), point)) for u in wanted])
        slope = slope / size
        if np.linalg.matrix_rank(np.array([*rows, slope]), tol=1e-6) > len(rows):
            rows.append(slope)
            chosen.append(place)
    return chosen if len(chosen) == len(wanted) else None


def _solve(ring: Ring, matrix: list[list[Ratio]], right: list[Ratio]) -> list[Ratio] | None:
    """Solution of a small square system of ratios by elimination; ``None`` where it is singular."""
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    size = len(rows)
    if any(len(row) != size + 1 for row in rows):
        return None
    for place in range(size):
        pivot = next((r for r in range(place, size) if not rows[r][place].is_zero), None)
        if pivot is None:
            return None
        rows[place], rows[pivot] = rows[pivot], rows[place]
        lead = rows[place][place]
        rows[place] = [entry / lead for entry in rows[place]]
        for other in range(size):
            factor = rows[other][place]
            if other != place and not factor.is_zero:
                rows[other] = [
                    entry + (head * (-factor)) for entry, head in zip(rows[other], rows[place], strict=True)
                ]
    return [row[size] for row in rows]


def _power_shares(case: Case, ideal: _Ideal) -> dict[str, Expr] | None:
    """Loss of each part with ideal currents over the ideal input power."""
    balance, ring, form = ideal.balance, ideal.balance.ring, ideal.form
    drawn = Ratio(ring.zero, ring.one)
    for source in balance.circuit.of(Source):
        current = ideal.waves.average_of_free({("i", source.name): ring.one})
        if current is None:
            return None
        drawn = drawn + (current * Ratio(-ring.symbol(source.quantity.symbol), ring.one))
    if drawn.is_zero:
        return None
    found: dict[str, Expr] = {}
    small = case.circuit.parasitics
    for heat in heats(case.circuit).values():
        row = balance.network.row(heat.terms)
        flows = (
            (heat.resistance, ideal.waves.mean_square(ideal.waves.of(row)) if heat.resistance else None),
            (heat.drop, ideal.waves.average_of_free(row) if heat.drop else None),
        )
        for name, flow in flows:
            if name is None or name not in small:
                continue
            if flow is None:
                return None
            if flow.is_zero or form.divides(flow.numerator):
                continue
            share = flow / drawn
            found[name] = form.written(_shortest(form, form.shown(share))) * symbol(name)
    return found
