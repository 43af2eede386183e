"""Bounds on the period: where a current runs dry, and where the last interval of a mode vanishes.

``A + B*T > 0`` is a bound on 1/T, and so on K, whatever the sign of B.  In discontinuous conduction
the mode's one condition gives the period as a function of the unknown fraction; where that is
monotonous, the fraction lies in its switch interval exactly for the periods on one side of the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.requirements import Demands
from voltsec.periodic.balance import Balance
from voltsec.periodic.signs import Facts
from voltsec.search.search import Found
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, definite_sign


@dataclass(frozen=True)
class Bound:
    """The period is at most (``upper``) or at least ``period``, a ratio over the balance's ring.

    Meant as a bound on 1/T: one that is negative says nothing.
    """

    period: Ratio
    upper: bool


@dataclass(frozen=True)
class Edge:
    """The periods for which the unknown fraction of a mode lies in its switch interval."""

    bound: Bound | None
    """Where the mode's last interval vanishes; ``None`` where that is so for no period."""
    start: Bound | None
    """Where the interval of the unknown fraction itself vanishes, likewise."""
    exact: bool
    """The fraction lies in its switch interval exactly within the bounds: that is proved ..."""
    leans_on: tuple[Polynomial, ...] = ()
    """... where these are positive, too."""


def bound_of(balance: Balance, found: Found, atom: Polynomial, facts: Facts) -> Bound | None:
    """``atom > 0`` as a bound on the period, where the part without the period has a definite sign."""
    ring = balance.ring
    if ring.degree(atom, "T") != 1 or any("T" in ring.variables(c) for c in found.fractions.conditions):
        return None
    constant, linear = ring.coefficients(atom, "T")
    sign = facts.sign(Ratio(constant, ring.one))
    if sign == 1:
        return Bound(lowest_terms(constant, -linear), upper=True)
    if sign == -1:
        return Bound(lowest_terms(-constant, linear), upper=False)
    return None


def edge_of(found: Found, form: ClosedForm, wanted: Demands) -> Edge | None:
    """The edge of a mode with one unknown fraction whose condition is linear in the period."""
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
    frequency = Ratio(linear, -constant)  # 1/T
    change = _slope(balance, frequency, own, last)
    at_end, at_start = _at(balance, frequency, last), _at(balance, frequency, own)
    if at_end.denominator.is_zero() or all(part.is_zero() for part in at_start.parts):
        return None
    # what is so for every value of the fraction, not only at the solution
    fixed = [f for f in wanted.facts.known if _slope(balance, Ratio(f, ring.one), own, last).is_zero()]
    leaning = [f for f in wanted.solved_by if any(f == other for other in fixed)]
    direction, leans_on = None, leaning
    for more in ([], leaning):
        facts = Facts(f for f in fixed if any(f == m for m in more) or not any(f == m for m in leaning))
        if facts.sign(Ratio(frequency.denominator, ring.one)) is not None:
            direction = facts.sign(Ratio(change, ring.one))
        if direction:
            leans_on = more
            break
    for fact in () if direction else wanted.solved_by:
        # where 1/T begins with zero at a later place of the fraction: there, and not before, it is positive
        rest = frequency.numerator // fact
        rises = _slope(balance, Ratio(fact, ring.one), own, last)
        if rest * fact == frequency.numerator and Facts(fixed).sign(Ratio(rises, ring.one)) == 1:
            facts = Facts([*fixed, fact])
            if (
                facts.sign(Ratio(frequency.denominator, ring.one)) is not None
                and facts.sign(Ratio(change, ring.one)) == 1
            ):
                direction, at_start = 1, Ratio(ring.zero, ring.one)
                leans_on = [ring.substitute(fact, ring, {last: ring.zero})]
                break
    rising = direction == 1 if direction else bool(ring.value(change, found.witness) > 0)
    end = _bound(found, at_end, not rising)
    if end is None and not at_end.is_zero:
        return None  # it is an edge for other values only
    exact = bool(direction)
    start = _bound(found, at_start, rising)
    if start is None and not any(part.is_zero() for part in at_start.parts):
        exact = exact and rising and facts.sign(at_start) == -1
    if exact and end is not None:
        leans_on = [f for f in leans_on if definite_sign(f) != 1 and not _implied(end, f, fixed)]
    return Edge(end, start, exact, tuple(leans_on))


def _bound(found: Found, frequency: Ratio, upper: bool) -> Bound | None:
    """``None`` for a period of zero, without end, or negative at the witness."""
    ring = found.balance.ring
    if any(part.is_zero() for part in frequency.parts):
        return None
    period = lowest_terms(frequency.denominator, frequency.numerator)
    positive = bool(period.value(ring, found.witness) > 0)
    return Bound(period, upper) if positive else None


def _implied(bound: Bound, fact: Polynomial, facts: list[Polynomial]) -> bool:
    """True where a bound from below on the period cannot be met unless ``fact`` is positive."""
    without = Facts([*(other for other in facts if other != fact), -fact])
    return not bound.upper and without.sign(bound.period) == -1


def _slope(balance: Balance, ratio: Ratio, own: str, last: str) -> Polynomial:
    """Numerator of the derivative by ``own`` while ``own`` and ``last`` together stay the same."""
    ring = balance.ring
    own_index, last_index = ring.index[own], ring.index[last]
    rise, fall = (p.derivative(own_index) - p.derivative(last_index) for p in ratio.parts)
    return rise * ratio.denominator - ratio.numerator * fall


def _at(balance: Balance, ratio: Ratio, name: str) -> Ratio:
    ring = balance.ring
    return ratio.mapped(lambda part: ring.substitute(part, ring, {name: ring.zero}))


def strongest(bounds: list[Bound], facts: Facts) -> list[Bound]:
    """Bounds without those that another one implies for all values."""
    kept: list[Bound] = []
    for number, bound in enumerate(bounds):
        implied = False
        for place, other in enumerate(bounds):
            if place == number or other.upper != bound.upper:
                continue
            # compared as bounds on 1/T, which stay bounds where they are negative
            difference = lowest_terms(
                bound.period.denominator * other.period.numerator
                - other.period.denominator * bound.period.numerator,
                bound.period.numerator * other.period.numerator,
            )
            sign = facts.sign(difference)
            if sign is None:
                continue
            weaker = sign < 0 if bound.upper else sign > 0
            if weaker or (sign == 0 and place < number):
                implied = True
        if not implied:
            kept.append(bound)
    return kept
