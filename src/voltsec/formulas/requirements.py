"""What a mode demands of its parameters: products of polynomials that must be positive.

A sign condition is a ratio that must not be negative.  Its factors whose signs are proved drop out;
where one is left, it must be positive (:attr:`Demands.atoms`).  Where several are left it is their
product that must be positive: none of them is said to be so by itself, unless another condition
says it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import prod

from voltsec.periodic.balance import Balance, SignCondition
from voltsec.periodic.effective import passive
from voltsec.periodic.signs import Facts, ordinary
from voltsec.periodic.verification import open_conditions
from voltsec.search.search import Found
from voltsec.tableau import lengths
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial, definite_sign, factors, product


@dataclass
class Demands:
    """What must be positive where the mode holds, over the balance's ring."""

    facts: Facts
    """What is so at every point that comes into question."""
    solved_by: list[Polynomial] = field(default_factory=list)
    """Those of the facts that are so because the mode's equations have a solution."""
    atoms: list[Polynomial] = field(default_factory=list)
    """Each of these must be positive."""
    products: list[tuple[Polynomial, ...]] = field(default_factory=list)
    """The product of each group must be positive."""
    leans: bool = False
    """Some condition was settled by what is so in every ordinary stage only."""
    depends_on_period: bool = False
    """Some condition that is not settled holds the period."""
    put_in: list[tuple[str, Ratio]] = field(default_factory=list)
    """Parameters as the mode's equations give them: the period, else a coil or load."""
    long: list[SignCondition] = field(default_factory=list)
    """Conditions too long to be told by the parameters."""

    @property
    def known(self) -> Facts:
        """What is so where the mode holds."""
        return self.facts.with_more(self.atoms)


def demands(found: Found, longest: int | None = None) -> Demands:
    """The demands of the mode's sign conditions, freed of the period where its equations allow it.

    Conditions that would have a factor of more than ``longest`` terms are left to ``Demands.long``.
    """
    balance = found.balance
    ring = balance.ring
    usual = ordinary(balance)
    conditions = [c for c in open_conditions(balance) if not c.ratio.is_zero]
    given, products = passive(balance.circuit, ring), []
    solved_by: list[Polynomial] = []
    put_in: list[tuple[str, Ratio]] = []
    freed = [condition.ratio for condition in conditions]
    for polynomial in found.fractions.conditions:
        solved = _solve_parameter(balance, polynomial)
        if solved is None:
            continue  # the conditions then stay as they are, in terms of the unknown fractions
        name, value = solved
        put_in.append(solved)
        left = undecided(value, Facts(given + usual))
        if len(left) == 1:  # a parameter is positive
            solved_by += left
        elif left:
            products.append(product(left))
        freed = [insert(ring, ratio, name, value) for ratio in freed]
    result = Demands(Facts(given + solved_by + usual, found.fractions.constraints, products), solved_by)
    result.put_in = put_in
    result.depends_on_period = any("T" in ring.variables(part) for c in conditions for part in c.ratio.parts)
    one_by_one = len(found.fractions.conditions) > 1
    groups = []
    for condition, ratio in zip(conditions, freed, strict=True):
        if ratio.is_zero or vanishes(condition.ratio.numerator, found.fractions.conditions):
            continue  # a current that the mode's equations say to end here
        group = undecided(ratio, result.facts)
        other = undecided(condition.ratio, result.facts) if one_by_one and group else group
        group = min(group, other, key=lambda factors: (len(factors), sum(map(len, factors))))
        if longest is not None and any(len(factor) > longest for factor in group):
            result.long.append(condition)
        else:
            groups.append(group)
    if usual:
        bare = Facts(given + solved_by, found.fractions.constraints, products)
        result.leans = any(
            undecided(ratio, result.facts) != undecided(ratio, bare) for ratio in freed if not ratio.is_zero
        )
    collect(result, groups)
    return result


def collect(result: Demands, groups: Iterable[list[Polynomial]]) -> None:
    """Sort groups of undecided factors into atoms and products; what is an atom decides in products."""
    waiting = [group for group in groups if group]
    while True:
        single = [group[0] for group in waiting if len(group) == 1]
        for atom in single:
            if not any(atom == other for other in result.atoms):
                result.atoms.append(atom)
        several = [group for group in waiting if len(group) > 1]
        known = result.known
        again = [undecided_factors(group, known, group[0] - group[0] + 1) for group in several]
        waiting = [group for group in again if group]
        if waiting == several or not waiting:
            break
    for group in waiting:
        if len(group) > 1 and not any(tuple(group) == other for other in result.products):
            result.products.append(tuple(group))


def undecided(ratio: Ratio, facts: Facts) -> list[Polynomial]:
    """Factors of odd power whose sign is not proved, turned so that their product must be positive."""
    sign = 1
    odd: list[Polynomial] = []
    for part in ratio.parts:
        proved = definite_sign(part)
        if proved is not None:
            sign *= proved or 1
            continue
        content, pairs = factors(part) if len(part) <= lengths.SIGN_FACTORED else (1, [(part, 1)])
        sign *= 1 if content > 0 else -1
        odd += [factor for factor, power in pairs if power % 2]
    return undecided_factors(odd, facts, ratio.numerator - ratio.numerator + 1, sign < 0)


def undecided_factors(
    odd: list[Polynomial], facts: Facts, one: Polynomial, negative: bool = False
) -> list[Polynomial]:
    """The same of irreducible factors; ``negative`` where minus their product must be positive."""
    left: list[Polynomial] = []
    for factor in odd:
        proved = definite_sign(factor)
        if proved is None:
            proved = facts.sign_of_factor(factor)
        if proved is not None:
            negative ^= proved < 0
        elif any(factor == other for other in left):
            left = [other for other in left if other != factor]  # once above and once below
        else:
            left.append(factor)
    for fact in facts.products:
        if len(left) < 2 or prod(map(len, left)) > lengths.MULTIPLIED:
            break
        whole = product(left)
        rest = whole // fact
        if rest * fact == whole:
            content, pairs = factors(rest)
            negative ^= content < 0
            left = [factor for factor, power in pairs if power % 2]
    if negative:
        # the first takes the sign; where nothing is left the condition never holds
        left = [-left[0], *left[1:]] if left else [-one]
    return left


def vanishes(polynomial: Polynomial, zero: Iterable[Polynomial]) -> bool:
    """True where a polynomial is a multiple of one that vanishes."""
    return polynomial.is_zero() or any((polynomial // factor) * factor == polynomial for factor in zero)


def _solve_parameter(balance: Balance, polynomial: Polynomial) -> tuple[str, Ratio] | None:
    """A parameter in which the condition is linear, and its value: the period, else a coil or load."""
    ring = balance.ring
    candidates = ["T", *(coil.symbol for coil in coils(balance.circuit))]
    candidates += [load.quantity.symbol for load in balance.circuit.loads]
    candidates += [p.symbol for p in balance.circuit.parameters]
    for name in candidates:
        if ring.degree(polynomial, name) == 1:
            constant, linear = ring.coefficients(polynomial, name)
            return name, lowest_terms(-constant, linear)
    return None
