"""Signs of polynomials in positive variables, proved from coefficients, given facts, and squares."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from voltsec.circuit.computing_time import go_on
from voltsec.circuit.elements import Load
from voltsec.periodic.balance import Balance
from voltsec.tableau import lengths
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Hashed, Polynomial, definite_sign, factors

LONGEST = 24
"""Terms of a polynomial up to which squares are completed; ..."""

LONGEST_REST = 120
"""... and of what is then left to be proved positive."""

MOST_SQUARES = 4
"""So many squares are completed one after another."""


MOST_TRIED = 150
"""Polynomials looked at for one sign."""

LONGEST_CANCELLED = 40
"""Terms of a polynomial, and of a fact, up to which negative terms are cancelled by facts; ..."""

MOST_CANCELLED = 40
"""... so many sums are looked at for one sign, ..."""

DEEPEST = 6
"""... each of so many facts at most."""


def ordinary(balance: Balance) -> list[Polynomial]:
    """What is so in every ordinary stage, as positive polynomials; modes state them with their regions.

    The input voltage exceeds the drops of all devices together, and the load's resistance all series
    resistances together.
    """
    ring, circuit = balance.ring, balance.circuit
    found = []
    drops = [device.drop.symbol for device in circuit.devices if device.drop is not None]
    if drops:
        found.append(_above(ring.symbol(circuit.input.quantity.symbol), drops, balance))
    series = [e.parasitics["resistance"].symbol for e in circuit.elements if "resistance" in e.parasitics]
    loads = circuit.of(Load)
    if series and loads:
        load = next((one for one in loads if one.name == circuit.output.element), loads[0])
        found.append(_above(ring.symbol(load.quantity.symbol), series, balance))
    return found


def _above(larger: Polynomial, names: list[str], balance: Balance) -> Polynomial:
    for name in names:
        larger = larger - balance.ring.symbol(name)
    return larger


class Facts:
    """Polynomials known to be positive (``known``) or to vanish (``zero``), and the signs that follow.

    ``products`` are facts as well: polynomials of several factors, none of which has a known sign by itself.
    A sign that follows from facts that may be zero is one that the ratio never has the other way.
    """

    def __init__(
        self,
        known: Iterable[Polynomial] = (),
        zero: Iterable[Polynomial] = (),
        products: Iterable[Polynomial] = (),
    ) -> None:
        self.known = list(known)
        self.zero = list(zero)
        self.products = list(products)
        self._terms = [_terms(fact) for fact in self.known if 1 < len(fact) <= LONGEST_CANCELLED]
        for fact in self.zero:
            if len(fact) <= LONGEST_CANCELLED:
                self._terms += [_terms(fact), _terms(-fact)]
        self._signs: dict[Hashed, int | None] = {}

    def with_more(self, known: Iterable[Polynomial]) -> Facts:
        """The same with further polynomials known to be positive."""
        return Facts([*self.known, *known], self.zero, self.products)

    def sign(self, ratio: Ratio) -> int | None:
        """Sign of a ratio where the facts hold; 0 for zero, ``None`` where it is not proved."""
        if ratio.is_zero:
            return 0
        total = 1
        for part in ratio.parts:
            sign = definite_sign(part)
            if sign is None:
                sign = self._sign(part)
            if sign is None:
                return None
            total *= sign
        return total

    def _sign(self, polynomial: Polynomial) -> int | None:
        content, pairs = (
            factors(polynomial) if len(polynomial) <= lengths.SIGN_FACTORED else (1, [(polynomial, 1)])
        )
        total = 1 if content > 0 else -1
        for factor, power in pairs:
            sign = definite_sign(factor)
            if sign is None and power % 2 == 0:
                continue
            if sign is None:
                sign = self.sign_of_factor(factor)
            if sign is None:
                return None
            total *= sign if power % 2 else 1
        return total

    def sign_of_factor(self, factor: Polynomial) -> int | None:
        """Sign of an irreducible polynomial."""
        sign = next((1 if factor == k else -1 for k in self.known if factor == k or -factor == k), None)
        if sign is not None or len(factor) > lengths.SIGN_FACTORED:
            return sign
        key = Hashed(factor)
        if key not in self._signs:
            self._signs[key] = self._searched(factor)
        return self._signs[key]

    def _searched(self, factor: Polynomial) -> int | None:
        sign = _sign_by_difference(factor, self.known)
        if sign is None and len(factor) <= LONGEST_CANCELLED and self._terms:
            for turned in (1, -1):
                if _cancelled(_terms(factor * turned), self._terms):
                    return turned
        if sign is None and len(factor) <= LONGEST:
            sign = _sign_by_squares(factor)
        return sign


def _terms(polynomial: Polynomial) -> dict[tuple[int, ...], int]:
    return {
        tuple(int(p) for p in powers): int(coefficient)
        for powers, coefficient in zip(polynomial.monoms(), polynomial.coeffs(), strict=True)
    }


def _cancelled(terms: dict[tuple[int, ...], int], facts: list[dict[tuple[int, ...], int]]) -> bool:
    """True where facts, each times a positive term, can be taken away so that no negative term is left.

    Then the polynomial is a sum of products of what is not negative.
    """
    open_ = [(terms, 0)]
    looked_at = 0
    while open_ and looked_at < MOST_CANCELLED:
        go_on()
        left, depth = open_.pop()
        looked_at += 1
        negative = [powers for powers, coefficient in left.items() if coefficient < 0]
        if not negative:
            return True
        if depth == DEEPEST:
            continue
        options = []
        for fact in facts:
            for powers, coefficient in fact.items():
                if coefficient < 0:
                    options += [
                        after
                        for place in negative
                        if (after := _without(left, place, fact, powers)) is not None
                        and len(after) <= 2 * LONGEST_CANCELLED
                    ]
        options.sort(key=lambda after: sum(c < 0 for c in after.values()), reverse=True)
        few = [after for after in options if sum(c < 0 for c in after.values()) <= len(negative)]
        open_ += [(after, depth + 1) for after in few[-4:]]  # the one with the fewest negative terms first
    return False


def _without(
    terms: dict[tuple[int, ...], int],
    place: tuple[int, ...],
    fact: dict[tuple[int, ...], int],
    powers: tuple[int, ...],
) -> dict[tuple[int, ...], int] | None:
    """A positive multiple of ``terms`` less a multiple of ``fact`` that cancels the term ``place``.

    ``powers`` is the fact's term that meets it; ``None`` where that does not divide it.
    """
    factor = tuple(a - b for a, b in zip(place, powers, strict=True))
    if min(factor) < 0:
        return None
    scale, multiple = -fact[powers], -terms[place]
    after = {key: coefficient * scale for key, coefficient in terms.items()}
    for key, coefficient in fact.items():
        shifted = tuple(a + b for a, b in zip(key, factor, strict=True))
        total = after.get(shifted, 0) - multiple * coefficient
        if total:
            after[shifted] = total
        else:
            after.pop(shifted, None)
    return after


def _sign_by_difference(polynomial: Polynomial, known: list[Polynomial]) -> int | None:
    """Sign where known positive polynomials make it definite.

    A known difference a - b - c of variables lets a be put as a + b + c; any other fact (or the
    polynomial itself) may be taken from the polynomial: what is left must have one sign.
    """
    context = polynomial.context()
    generators = list(context.gens())
    images = list(generators)
    others = []
    used: set[int] = set()  # each variable stands in one difference: a > b and b > c are not put in together
    for fact in known:
        difference = _difference_of_variables(fact)
        if difference is None or used & {difference[0], *difference[1]}:
            others.append(fact)
            continue
        larger, smaller = difference
        used |= {larger, *smaller}
        images[larger] = sum((generators[k] for k in smaller), generators[larger])
    for taken in (polynomial - polynomial, *others):
        for sign in (1, -1):
            left = (polynomial * sign - taken).compose(*images, ctx=context)
            if not left.is_zero() and definite_sign(left) == 1:
                return sign
    return None


def _difference_of_variables(fact: Polynomial) -> tuple[int, list[int]] | None:
    """``a`` and the others of a fact a - b - c of single variables, by place; ``None`` for any other."""
    larger: list[int] = []
    smaller: list[int] = []
    for powers, coefficient in zip(fact.monoms(), fact.coeffs(), strict=True):
        if sum(powers) != 1 or coefficient not in (1, -1):
            return None
        (larger if coefficient == 1 else smaller).append(next(k for k, power in enumerate(powers) if power))
    return (larger[0], smaller) if len(larger) == 1 else None


def _sign_by_squares(
    polynomial: Polynomial, depth: int = MOST_SQUARES, tried: list[Polynomial] | None = None
) -> int | None:
    """Sign of ``a*x**2 + b*x + c`` where a and c have one and ``4*a*c - b**2`` is positive.

    Then b*x cannot outweigh the rest.  A polynomial all of whose coefficients in some variable have one
    sign has that sign, too.  ``tried`` collects what was looked at, to end a search that leads nowhere.
    """
    tried = [] if tried is None else tried
    tried.append(polynomial)
    sign = definite_sign(polynomial)
    if sign is not None or len(polynomial) > LONGEST_REST or depth == 0 or len(tried) > MOST_TRIED:
        return sign
    for place, degree in enumerate(polynomial.degrees()):
        if not degree:
            continue
        parts = _coefficients(polynomial, place)
        if degree == 2 and len(parts) == 3:
            c, b, a = (parts[power] for power in (0, 1, 2))
            sign = definite_sign(a)
            if sign is not None and definite_sign(c) == sign:
                content, pairs = factors(4 * a * c - b * b)
                left = [factor for factor, power in pairs if power % 2]
                if content > 0 and all(_sign_by_squares(f, depth - 1, tried) == 1 for f in left):
                    return sign
        if len(parts) > 1:
            open_ = [part for part in parts.values() if definite_sign(part) is None]
            if len(open_) == 1:
                signs = {definite_sign(part) for part in parts.values()} - {None}
                if len(signs) == 1 and _sign_by_squares(open_[0], depth - 1, tried) in signs:
                    return next(iter(signs))
    return None


def _coefficients(polynomial: Polynomial, place: int) -> dict[int, Polynomial]:
    """Coefficients of the powers of one variable; powers that do not occur are left out."""
    parts: dict[int, dict[Any, Any]] = {}
    for powers, coefficient in polynomial.to_dict().items():
        parts.setdefault(int(powers[place]), {})[(*powers[:place], 0, *powers[place + 1 :])] = coefficient
    context = polynomial.context()
    return {power: context.from_dict(part) for power, part in parts.items()}
