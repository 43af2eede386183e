"""Where a mode holds: its sign conditions turned into a region of duty, K, and parameters.

Conditions that hold by the signs of their coefficients (all variables positive, the fractions
themselves being the variables) drop out; that is a proof for every value.  What is left is stated:
as a bound on K where the period enters linearly, on the duty where it stands alone, else as an
inequality.  In discontinuous conduction the conditions are first freed of the period by means of
the equation that fixes the unknown fraction, and that every interval lasts some time is stated, too.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from math import prod

import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.formulas.bounds import bound_condition, bound_parts
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.edges import Bound, bound_of, edge_of, strongest
from voltsec.formulas.requirements import Demands, collect, undecided, vanishes
from voltsec.periodic.balance import SignCondition
from voltsec.periodic.effective import Effective
from voltsec.periodic.signs import Facts, ordinary
from voltsec.periodic.verification import open_conditions
from voltsec.search.search import Found
from voltsec.tableau import lengths
from voltsec.tableau.assembly import bends_count
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio, insert
from voltsec.tableau.ring import Polynomial, definite_sign, product


@dataclass
class Region:
    """The region of one mode."""

    holds_when: Boolean | None
    proved: bool
    boundary: dict[str, Expr] = field(default_factory=dict)
    definitions: dict[str, Expr] = field(default_factory=dict)
    effectives: list[Effective] = field(default_factory=list)
    omits: bool = False
    """Some inequality would be too long to be written: the mode's region is smaller than stated."""


Spelled = Callable[[SignCondition], Boolean | None]
"""A sign condition told by the mode's states, ``None`` where they do not determine it."""


def region(found: Found, form: ClosedForm, wanted: Demands, spelled: Spelled) -> Region:
    """The region of a found sequence, every step of it an equivalence where it is ``proved``.

    What would be long to tell by the parameters (``wanted.long``) is ``spelled`` where possible.
    """
    edge = edge_of(found, form, wanted)
    result = Region(None, _is_certain(found, form, wanted))
    others, bounds = _bounds(found, wanted)
    parts: list[Boolean] = []
    ends: list[Bound] = []
    if edge is not None:
        ends = [end for end in (edge.bound, edge.start) if end is not None]
        if not edge.exact:  # the edge is told, but the region is stated by the fractions themselves
            bound_parts(form, wanted.facts, ends[:1], ends[:1], result)
    if edge is None or not edge.exact:
        parts += _fraction_parts(form)
        ends = []
    else:
        others += edge.leans_on
    ring = found.balance.ring
    ruled = strongest([*bounds, *ends], wanted.facts.with_more(_free_of_period(found, wanted.atoms)))
    ruled.sort(  # the one that binds first at the witness leads
        key=lambda b: (
            -float(
                ring.value(b.period.denominator, found.witness)
                / ring.value(b.period.numerator, found.witness)
            )
        )
    )
    parts = bound_parts(form, wanted.facts, ruled, ends, result) + parts
    parts += _stated(form, wanted, others, result)
    for condition in wanted.long:
        told = spelled(condition)
        if told is None:
            long = Demands(wanted.facts)
            collect(long, [undecided(condition.ratio, wanted.facts)])
            parts += _stated(form, long, long.atoms, result)
        else:
            parts.append(told)
    parts += [_equality(form, p) for p in _constraints(found, form)]
    return _finished(found, form, wanted, parts, result)


def condition_on(found: Found, form: ClosedForm, wanted: Demands, ratio: Ratio, area: Region) -> Boolean:
    """Where, among the points where the mode holds, a ratio over the balance's ring is positive."""
    facts = wanted.known
    freed = ratio
    for name, value in wanted.put_in:
        freed = insert(found.balance.ring, freed, name, value)
    groups = (
        [undecided(freed, facts)] if len(wanted.put_in) < 2 else [undecided(r, facts) for r in (ratio, freed)]
    )
    group = min(groups, key=lambda factors: (len(factors), sum(map(len, factors))))
    if len(group) == 1:
        bound = bound_of(found.balance, found, group[0], facts)
        if bound is not None:
            return bound_condition(form, facts, bound, area.effectives)
    own = Demands(facts)
    collect(own, [group])
    return sympy.And(*_stated(form, own, own.atoms, Region(None, True)))


def unsimplified(found: Found, form: ClosedForm) -> Region:
    """The region as the bare conditions: every fraction positive, every sign condition as it stands."""
    result = Region(None, _is_certain(found, form, None))
    wanted = Demands(Facts())
    parts = _fraction_parts(form)
    zero = found.fractions.conditions
    conditions = [c.ratio for c in open_conditions(found.balance) if not vanishes(c.ratio.numerator, zero)]
    collect(wanted, [undecided(ratio, wanted.facts) for ratio in conditions])
    parts += _stated(form, wanted, wanted.atoms, result)
    parts += [_equality(form, p) for p in _constraints(found, form)]
    return _finished(found, form, wanted, parts, result)


def _is_certain(found: Found, form: ClosedForm, wanted: Demands | None) -> bool:
    """Nothing that the region is made from was taken on trust.

    Currents that bend are followed by straight lines (continuous conduction) or parabolas, so that edges
    of such stages are close to the true ones, not equal to them.
    """
    lasting = wanted is not None and not wanted.depends_on_period and not found.balance.by_itself
    bends = bends_count(found.balance.circuit) and not lasting
    roots = form.roots
    return found.balance.all_decided and not bends and all(root.certain for root in roots or ())


def _bounds(found: Found, wanted: Demands) -> tuple[list[Polynomial], list[Bound]]:
    """Demands that are no bounds on the period, and those that are."""
    facts = wanted.facts.with_more(_free_of_period(found, wanted.atoms))
    others: list[Polynomial] = []
    bounds: list[Bound] = []
    for atom in wanted.atoms:
        bound = bound_of(found.balance, found, atom, facts) if len(atom) <= lengths.BOUNDED else None
        if bound is None or bound.period.terms > lengths.GLANCE:
            others.append(atom)
        else:
            bounds.append(bound)
    return others, bounds


def _free_of_period(found: Found, atoms: list[Polynomial]) -> list[Polynomial]:
    ring = found.balance.ring
    return [atom for atom in atoms if len(atom) <= lengths.BOUNDED and "T" not in ring.variables(atom)]


def _finished(
    found: Found, form: ClosedForm, wanted: Demands, parts: list[Boolean], result: Region
) -> Region:
    """The parts joined, with what the mode leans on and the order of its duties."""
    if parts or wanted.leans:
        parts += [_difference(form, fact) for fact in ordinary(found.balance)]
    parts += form.fractions.stages.conditions()
    parts = [part for number, part in enumerate(parts) if part not in parts[:number]]
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
    shown = form.shown(Ratio(fact, form.balance.ring.one)).numerator
    expression = form.writer.oriented(shown)
    left = sympy.Add(*(term for term in expression.args if not term.could_extract_minus_sign()))
    return left > left - expression


def _constraints(found: Found, form: ClosedForm) -> list[Polynomial]:
    return [form.shown(Ratio(c, found.balance.ring.one)).numerator for c in found.fractions.constraints]


def shown_facts(form: ClosedForm, facts: Facts) -> Facts:
    """What is so where the mode holds, over the presentation ring: all duties and fractions are shares."""
    ring = form.ring
    known = list(form.facts.known)
    for image in form.fractions.images.values():
        share = form.fractions.ring.substitute(image, ring, {})
        if definite_sign(share) is None and not any(share == other for other in known):
            known.append(share)
    for fact in facts.known:
        known.append(form.shown(Ratio(fact, form.balance.ring.one)).numerator)
    return Facts(known)


def _fraction_parts(form: ClosedForm) -> list[Boolean]:
    """Every unknown fraction, and what they leave of their switch intervals, is positive."""
    sequence = form.balance.sequence
    facts = form.facts
    certain = {root.name for root in form.roots or () if root.certain and root.positive}
    groups = []
    for name in sequence.fractions:
        image = form.fractions.ring.substitute(form.fractions.images[name], form.ring, {})
        variables = form.ring.variables(image) & set(form.unknown)
        if not variables or (len(image) == 1 and variables <= certain):
            continue
        shown = form.without_linear(Ratio(image, form.ring.one))
        # an unknown that is a symbol still must be said to be positive
        single = len(shown.numerator) == 1 and form.ring.variables(shown.numerator) & set(form.unknown)
        groups.append([shown.numerator] if single else undecided(shown, facts))
    found = Demands(facts)
    collect(found, groups)
    return [*(_positive(atom, form, facts) for atom in found.atoms), *_products(form, found)]


def _products(form: ClosedForm, wanted: Demands) -> list[Boolean]:
    found = []
    for group in wanted.products:
        total = sympy.Mul(*(form.writer.oriented(factor) for factor in group))
        found.append(total > 0)
    return found


def _positive(factor: Polynomial, form: ClosedForm, facts: Facts) -> Boolean:
    """``factor > 0`` solved for a duty where it is linear in one, with a slope of known sign."""
    ring = form.ring
    for edge in form.fractions.stages.symbols:
        if ring.degree(factor, edge) == 1 and not ring.variables(factor) & set(form.unknown):
            constant, linear = ring.coefficients(factor, edge)
            slope = facts.sign(Ratio(linear, ring.one))
            if slope:
                limit = form.writer.ratio(Ratio(-constant, linear))
                return symbol(edge) < limit if slope < 0 else symbol(edge) > limit
    if len(factor) == 1:  # unknown fractions by themselves: their formulas may be negative elsewhere
        unknown = [name for name in form.unknown if name in ring.variables(factor)]
        return sympy.And(*(sympy.Symbol(name, real=True) > 0 for name in unknown))
    coefficients = [int(c) for c in factor.coeffs()]
    if sorted(coefficients) == [-1, 1] and factor.total_degree() == 1 and all(map(sum, factor.monoms())):
        return _difference_of_two(form, factor)
    written = form.writer.oriented(factor)
    # to look for the sign of a long sum takes seconds, and is in vain
    return sympy.Gt(written, 0, evaluate=False) if len(factor) > lengths.JOINED else written > 0


def _difference_of_two(form: ClosedForm, factor: Polynomial) -> Boolean:
    """``a - b > 0`` as ``a > b``."""
    larger, smaller = form.writer.oriented(factor).as_two_terms()
    if larger.could_extract_minus_sign():
        larger, smaller = smaller, larger
    return larger > -smaller


def _stated(form: ClosedForm, wanted: Demands, atoms: list[Polynomial], result: Region) -> list[Boolean]:
    """Demands as inequalities in duties and unknown fractions."""
    ring = form.ring
    facts = shown_facts(form, wanted.facts)
    one = form.balance.ring.one
    groups = []
    for group in [*((atom,) for atom in atoms), *wanted.products]:
        if prod(map(len, group)) > lengths.MULTIPLIED:
            result.proved, result.omits = False, True
            continue
        groups.append(undecided(form.shown(Ratio(product(group), one)), facts))
    found = Demands(facts)
    collect(found, groups)
    parts: list[Boolean] = []
    for atom in found.atoms:
        variables = ring.variables(atom)
        if len(atom) > lengths.WRITTEN:
            result.proved, result.omits = False, True
        elif len(variables) == 1 and variables <= set(form.fractions.stages.symbols):
            parts.append(_duty_range(form, atom, next(iter(variables))))
        else:
            parts.append(_positive(atom, form, facts))
    return parts + _products(form, found)


def _duty_range(form: ClosedForm, factor: Polynomial, name: str) -> Boolean:
    """Where between 0 and 1 a polynomial of the duty alone is positive."""
    duty = symbol(name)
    polynomial = sympy.Poly(form.writer.oriented(factor), duty)
    roots = [root for root in sorted(set(polynomial.real_roots()), key=float) if 0 < root < 1]
    pieces: list[Boolean] = []
    for below, above in itertools.pairwise([None, *roots, None]):
        middle = (sympy.Integer(0) if below is None else below) + (1 if above is None else above)
        if polynomial.eval(sympy.Rational(str(float(middle) / 2))) > 0:
            inside = ([] if below is None else [duty > below]) + ([] if above is None else [duty < above])
            pieces.append(sympy.And(*inside))
    return sympy.Or(*pieces)
