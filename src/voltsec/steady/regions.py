"""Where a mode holds: its sign conditions turned into a region of duty, K, and parameters.

Conditions that hold by the signs of their coefficients (all variables positive, the fractions
themselves being the variables) drop out; that is a proof for every value.  What is left is stated:
as a bound on K where the period enters linearly, on the duty where it stands alone, else as an
inequality.  In discontinuous conduction the conditions are first freed of the period by means of
the equation that fixes the unknown fraction.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.steady.balance import Balance, Ratio, insert, ratio_sign, reduced
from voltsec.steady.closed_form import ClosedForm
from voltsec.steady.effective import Effective, effective_inductance, passive
from voltsec.steady.search import Found
from voltsec.steady.signs import LONGEST_FACTORED, ordinary, sign_given
from voltsec.steady.verification import open_conditions
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import coils
from voltsec.tableau.ring import Polynomial, definite_sign, factors

LONGEST_ATOM = 300
"""Conditions of more terms are not looked at: nothing they might become could be read."""

LONG = 60
"""Inequalities of more terms are not written out."""


@dataclass
class Region:
    """The region of one mode."""

    holds_when: Boolean | None
    proved: bool
    boundary: dict[str, Expr] = field(default_factory=dict)
    definitions: dict[str, Expr] = field(default_factory=dict)
    bounds: list[Bound] = field(default_factory=list)


@dataclass(frozen=True)
class Bound:
    """The period is at most (``upper``) or at least ``period``, a ratio over the balance's ring."""

    period: Ratio
    upper: bool


def region(found: Found, form: ClosedForm, points: dict[str, np.ndarray]) -> Region:
    """The region of a found sequence; ``points`` are the sample points where it was seen to hold."""
    balance = found.balance
    atoms, given = _atoms(balance, found)
    usual = ordinary(balance)
    given += passive(balance.circuit, balance.ring) + usual
    bounds: list[Bound] = []
    others: list[Polynomial] = []
    known = given + [
        atom for atom in atoms if len(atom) <= LONGEST_ATOM and "T" not in balance.ring.variables(atom)
    ]
    readable = [atom for atom in atoms if len(atom) <= LONGEST_ATOM]
    for atom in readable:
        bound = _bound(balance, found, atom, known)
        if bound is not None:
            bounds.append(bound)
        else:
            others.append(atom)
    result = Region(None, balance.all_decided and len(readable) == len(atoms))
    parts: list[Boolean] = []
    edge = _edge_bound(found, form, given)
    if edge is not None:
        bound, monotone = edge
        bounds.append(bound)
        result.proved = result.proved and monotone
    elif form.unknown:
        parts += _fraction_parts(form)
    others = [a for a in others if len(a) > LONG or sign_given((a, balance.ring.one), given) != 1]
    short = [bound for bound in bounds if sum(map(len, bound.period)) <= LONG]
    if len(short) < len(bounds):  # nobody could read them: the mode is checked, not proved
        result.proved = False
    bounds = _strongest(balance, short, known)
    ring = balance.ring
    bounds.sort(  # the one that binds first at the witness leads
        key=lambda b: -float(ring.value(b.period[1], found.witness) / ring.value(b.period[0], found.witness))
    )
    parts = _bound_parts(form, bounds, edge[0] if edge is not None else None, result) + parts
    parts += _other_parts(form, others, result)
    parts += [_equality(form, p) for p in _constraints(found, form)]
    if parts:
        parts += [_difference(form, fact) for fact in usual]
    parts += form.fractions.stages.conditions()
    result.bounds = bounds
    if parts:
        result.holds_when = sympy.And(*parts) if len(parts) > 1 else parts[0]
    return result


def _equality(form: ClosedForm, polynomial: Polynomial) -> Boolean:
    """``polynomial = 0``, with the negative terms on the other side (L1 = L2)."""
    left, right = form.ring.zero, form.ring.zero
    for powers, coefficient in polynomial.to_dict().items():
        term = form.ring.context.from_dict({powers: abs(int(coefficient))})
        if coefficient > 0:
            left += term
        else:
            right += term
    return sympy.Eq(form.writer.oriented(left), form.writer.oriented(right), evaluate=False)


def _difference(form: ClosedForm, fact: Polynomial) -> Boolean:
    """A fact ``a - b - c > 0`` as ``a > b + c``."""
    shown = form.shown((fact, form.balance.ring.one))[0]
    expression = form.writer.oriented(shown)
    left = sympy.Add(*(term for term in expression.args if not term.could_extract_minus_sign()))
    return left > left - expression


def _constraints(found: Found, form: ClosedForm) -> list[Polynomial]:
    return [form.shown((c, found.balance.ring.one))[0] for c in found.fractions.constraints]


def _atoms(balance: Balance, found: Found) -> tuple[list[Polynomial], list[Polynomial]]:
    """Polynomials that must be positive (turned so), and what is given.

    Known positive are the variables themselves and, in discontinuous conduction, the factors by
    which the period is expressed; where there is one such factor, its sign is given.
    """
    ring = balance.ring
    conditions = [c.ratio for c in open_conditions(balance)]
    known: list[Polynomial] = []
    for polynomial in found.fractions.conditions:
        solved = _solve_parameter(balance, polynomial)
        if solved is None:
            continue  # the conditions then stay as they are, in terms of the unknown fractions
        name, value = solved
        known += [f for part in value for f, _ in factors(part)[1] if definite_sign(f) is None]
        conditions = [insert(balance.ring, ratio, name, value) for ratio in conditions]
    given = [f if ring.value(f, found.witness) > 0 else -f for f in known] if len(known) == 1 else []
    atoms: list[Polynomial] = []
    for ratio in conditions:
        if ratio[0].is_zero() or (ratio_sign(ratio) or 0) > 0:
            continue
        for part in ratio:
            if len(part) > LONGEST_ATOM:
                if definite_sign(part) is None:
                    atoms.append(part)  # it is not looked at any further
                continue
            # the factors of what is too long to be stated would not be stated either
            pairs = factors(part)[1] if len(part) <= LONGEST_FACTORED else [(part, 1)]
            for factor, power in pairs:
                if definite_sign(factor) is not None or int(power) % 2 == 0:
                    continue
                oriented = factor if ring.value(factor, found.witness) >= 0 else -factor
                if any(oriented == other for other in atoms):
                    continue
                if any(factor == other or -factor == other for other in known):
                    continue
                atoms.append(oriented)
    return atoms, given


def _solve_parameter(balance: Balance, polynomial: Polynomial) -> tuple[str, Ratio] | None:
    """A parameter in which the condition is linear, and its value: the period, else a coil or load."""
    ring = balance.ring
    candidates = ["T", *(coil.symbol for coil in coils(balance.circuit))]
    candidates += [load.quantity.symbol for load in balance.circuit.loads]
    candidates += [p.symbol for p in balance.circuit.parameters]
    for name in candidates:
        if ring.degree(polynomial, name) == 1:
            constant, linear = ring.coefficients(polynomial, name)
            return name, reduced((-constant, linear))
    return None


def _bound(balance: Balance, found: Found, atom: Polynomial, known: list[Polynomial]) -> Bound | None:
    """``atom > 0`` as a bound on the period, where the part without the period has a definite sign.

    Then A + B*T > 0 is a bound on 1/T, and so on K, whatever the sign of B.
    """
    ring = balance.ring
    if ring.degree(atom, "T") != 1 or any("T" in ring.variables(c) for c in found.fractions.conditions):
        return None
    constant, linear = ring.coefficients(atom, "T")
    sign = sign_given((constant, ring.one), known)
    if sign == 1:
        return Bound(reduced((constant, -linear)), upper=True)
    if sign == -1:
        return Bound(reduced((-constant, linear)), upper=False)
    return None


def _edge_bound(found: Found, form: ClosedForm, known: list[Polynomial]) -> tuple[Bound, bool] | None:
    """The bound at which the last interval of a discontinuous mode vanishes, and if it is proved."""
    balance = found.balance
    if len(form.unknown) != 1 or len(found.fractions.conditions) != 1:
        return None
    ring = balance.ring
    condition = found.fractions.conditions[0]
    if ring.degree(condition, "T") != 1:
        return None
    k = next(iter(found.fractions.unknown))
    own, last = balance.sequence.fractions[k], balance.sequence.fractions[k + 1]
    if own in ring.sums or last in ring.sums:
        return None  # an interval that others tie down vanishes with them
    constant, linear = ring.coefficients(condition, "T")
    period = (-constant, linear)
    # d(period)/d(own) while own + last stays: positive or negative throughout?
    own_index, last_index = ring.index[own], ring.index[last]

    def slope(p: Polynomial) -> Polynomial:
        return p.derivative(own_index) - p.derivative(last_index)

    change = slope(period[0]) * period[1] - period[0] * slope(period[1])
    at_edge = tuple(ring.substitute(part, ring, {last: ring.zero}) for part in period)
    if at_edge[1].is_zero() or at_edge[0].is_zero():
        return None
    monotone = sign_given((change, ring.one), known) is not None
    direction = 1 if ring.value(change, found.witness) > 0 else -1
    bound = Bound(reduced((at_edge[0], at_edge[1])), upper=direction > 0)
    value = ring.value(bound.period[0], found.witness) / ring.value(bound.period[1], found.witness)
    if value <= 0:
        return None
    return bound, monotone


def _strongest(balance: Balance, bounds: list[Bound], known: list[Polynomial]) -> list[Bound]:
    """Bounds without those that another one implies for all values."""
    kept: list[Bound] = []
    for number, bound in enumerate(bounds):
        implied = False
        for place, other in enumerate(bounds):
            if place == number or other.upper != bound.upper:
                continue
            # compared as bounds on 1/T, which stay bounds where they are negative
            difference = reduced(
                (
                    bound.period[1] * other.period[0] - other.period[1] * bound.period[0],
                    bound.period[0] * other.period[0],
                )
            )
            sign = sign_given(difference, known)
            if sign is None:
                continue
            weaker = sign < 0 if bound.upper else sign > 0
            if weaker or (sign == 0 and place < number):
                implied = True
        if not implied:
            kept.append(bound)
    return kept


def _bound_parts(
    form: ClosedForm,
    bounds: list[Bound],
    edge: Bound | None,
    result: Region,
) -> list[Boolean]:
    """Bounds as conditions on K (or on T without a load resistance), with boundary and definitions."""
    parts: list[Boolean] = []
    effectives: list[Effective] = []
    coupled = passive(form.circuit, form.balance.ring)
    for bound in bounds:
        own_edge = edge is not None and bound is edge
        top, bottom = form.edge_period if own_edge else form.without_linear(form.shown(bound.period))
        name = form.k_name if not effectives else f"{form.k_name}{len(effectives) + 1}"
        while name != form.k_name and name in form.ring.names:
            name += "_"
        effective = effective_inductance(form.circuit, form.ring, (top, bottom), name)
        if effective is None:
            positive = sign_given((bound.period[0] * bound.period[1], form.balance.ring.one), coupled) == 1
            limit = form.writer.ratio(top, bottom)
            if positive or own_edge:
                parts.append(symbol("T") <= limit if bound.upper else symbol("T") >= limit)
            else:  # as a bound on 1/T, which says nothing where it is negative
                share = symbol("T") * form.writer.ratio(bottom, top)
                parts.append(share <= 1 if bound.upper else share >= 1)
            if form.ring.value(top, form.point) * form.ring.value(bottom, form.point) > 0:
                result.boundary.setdefault("T", limit)
            continue
        same = next(
            (
                e
                for e in effectives
                if e.numerator == effective.numerator and e.denominator == effective.denominator
            ),
            None,
        )
        if same is None:
            effectives.append(effective)
        else:
            effective = same
        load = form.ring.symbol(effective.load)
        critical = form.writer.ratio(
            *reduced((2 * effective.numerator * bottom, effective.denominator * load * top))
        )
        inductance = form.writer.ratio(effective.numerator, effective.denominator)
        result.definitions[effective.name] = 2 * inductance / (symbol(effective.load) * symbol("T"))
        own = symbol(effective.name)
        if own_edge and sign_given((bound.period[0], form.balance.ring.one), coupled) is None:
            # the edge exists for some parameters only: said without dividing by what may vanish
            parts.append(_undivided(form, critical, own, result.definitions[effective.name]))
        elif own_edge:
            parts.append(own < critical if bound.upper is False else own > critical)
        else:
            parts.append(own >= critical if bound.upper else own <= critical)
        result.boundary.setdefault(effective.name, critical)
        _solve_for_parts(form, (top, bottom), effective, result)
    return parts


def _undivided(form: ClosedForm, critical: Expr, own: Expr, meaning: Expr) -> Boolean:
    """``own`` on the witness's side of ``critical``, multiplied by the denominator."""
    numerator, denominator = sympy.fraction(critical)
    numbers = {symbol(name): value for name, value in form.point.items() if not name.startswith("#")}
    numbers[own] = meaning.subs(numbers)
    difference = numerator - own * denominator
    return (difference if difference.subs(numbers) > 0 else -difference) > 0


def _solve_for_parts(form: ClosedForm, period: Ratio, effective: Effective, result: Region) -> None:
    """The boundary as a critical load resistance and as least inductances."""
    ring = form.ring
    equation = period[0] - ring.symbol("T") * period[1]
    names = [effective.load, *(coil.symbol for coil in coils(form.circuit))]
    for name in names:
        if ring.degree(equation, name) != 1 or name in result.boundary:
            continue
        constant, linear = ring.coefficients(equation, name)
        if constant.is_zero() or ring.value(constant, form.point) * ring.value(linear, form.point) >= 0:
            continue  # no positive value of this part reaches the boundary
        result.boundary[name] = form.writer.ratio(*reduced((-constant, linear)))


def _fraction_parts(form: ClosedForm) -> list[Boolean]:
    """Every unknown fraction, and what they leave of their switch intervals, is positive."""
    parts: list[Boolean] = []
    sequence = form.balance.sequence
    for k in range(len(sequence.intervals)):
        image = form.fractions.images[sequence.fractions[k]]
        in_ring = form.fractions.ring.substitute(image, form.ring, {})
        if definite_sign(in_ring) == 1 or not form.ring.variables(in_ring) & set(form.unknown):
            continue
        expression = form.share(sequence.fractions[k])
        roots = form.roots
        if roots is not None and all(form.ring.degree(r.polynomial, r.name) == 1 for r in roots):
            for root in reversed(roots):
                expression = expression.subs(symbol(root.name), root.expression)
            expression = sympy.factor(sympy.together(expression))
        for root in roots or ():  # an unknown that equals another one is told by that
            if root.expression.is_Symbol:
                expression = expression.subs(symbol(root.name), root.expression)
        part = _inequality(expression, form)
        if part is not sympy.true and part not in parts:
            parts.append(part)
    return parts


def _inequality(expression: Expr, form: ClosedForm) -> Boolean:
    """``expression > 0`` solved for a duty where it is linear in one."""
    numerator, denominator = sympy.fraction(sympy.together(expression))
    if denominator.subs({symbol(n): v for n, v in form.point.items()}) < 0:
        numerator = -numerator
    for edge in form.fractions.stages.symbols:
        duty = symbol(edge)
        unknown = {symbol(name) for name in form.unknown}
        if duty in numerator.free_symbols and not numerator.free_symbols & unknown:
            polynomial = sympy.Poly(numerator, duty)
            if polynomial.degree() == 1:
                slope, constant = polynomial.all_coeffs()
                limit = sympy.factor(-constant / slope)
                value = slope.subs({symbol(n): v for n, v in form.point.items()})
                return duty < limit if value < 0 else duty > limit
    return expression > 0


def _positive(factor: Polynomial, form: ClosedForm) -> Boolean:
    """``factor > 0`` solved for a duty where it is linear in one."""
    ring = form.ring
    for edge in form.fractions.stages.symbols:
        if ring.degree(factor, edge) == 1 and not ring.variables(factor) & set(form.unknown):
            constant, linear = ring.coefficients(factor, edge)
            limit = form.writer.ratio(*reduced((-constant, linear)))
            falling = ring.value(linear, form.point) < 0
            return symbol(edge) < limit if falling else symbol(edge) > limit
    return form.writer.oriented(factor) > 0


def _other_parts(form: ClosedForm, atoms: list[Polynomial], result: Region) -> list[Boolean]:
    parts: list[Boolean] = []
    ring = form.ring
    for atom in atoms:
        shown = form.shown((atom, form.balance.ring.one))[0]
        for factor, power in factors(shown)[1] if len(shown) <= LONGEST_FACTORED else [(shown, 1)]:
            if int(power) % 2 == 0:
                continue
            if form.writer.is_negative(factor):
                factor = -factor
            if definite_sign(factor) == 1:
                continue
            if len(factor) > LONG:
                result.proved = False
                continue
            variables = ring.variables(factor)
            if len(variables) == 1 and variables <= set(form.fractions.stages.symbols):
                parts += _duty_range(form, factor, next(iter(variables)))
                continue
            parts.append(_positive(factor, form))
    return [part for number, part in enumerate(parts) if part not in parts[:number]]


def _duty_range(form: ClosedForm, factor: Polynomial, name: str) -> list[Boolean]:
    """The part of 0 < D < 1 around the witness where a polynomial of the duty alone is positive."""
    duty = symbol(name)
    polynomial = sympy.Poly(form.writer.oriented(factor), duty)
    value = form.point[name]
    below, above = None, None
    for root in sorted(set(polynomial.real_roots()), key=float):
        if 0 < root < 1:
            if float(root) < value:
                below = root
            elif above is None:
                above = root
    parts: list[Boolean] = []
    if below is not None:
        parts.append(duty > below)
    if above is not None:
        parts.append(duty < above)
    return parts
