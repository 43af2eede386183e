"""The numbers of the tableau: integer polynomials in the circuit's parameters.

Polynomial arithmetic, greatest common divisors and factors come from python-flint; this module
gives them names and the few questions the other rooms ask (a sign, a value, a substitution).
Every variable stands for a positive quantity, the interval fractions ``#1 ... #n`` included.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache, reduce
from itertools import chain
from operator import mul
from typing import Any

import flint
import numpy as np

from voltsec.circuit.computing_time import LeftOut

Polynomial = flint.fmpz_mpoly

REMEMBERED = 4096
"""Polynomials whose factors are kept: the same ones come back in many results of a mode."""

LARGEST = 900
"""Bits of the largest coefficient that is evaluated as it is: a float holds numbers below 2**1024."""


class TooLarge(LeftOut):
    """The exact answer has more terms than anybody could read."""


def root_name(coil: str, first: str | None = None) -> str:
    """Name of the variable that stands for the root of one inductance (over another).

    Of two coils of one flux that is the ratio of turns; brackets cannot stand in a netlist's names.
    """
    return f"sqrt({coil})" if first is None else f"sqrt({coil}/{first})"


def is_turns(name: str) -> bool:
    """True for the root of one inductance over another."""
    return name.startswith("sqrt(") and "/" in name


def symbols_of(name: str) -> tuple[str, ...]:
    """The symbols a variable's value depends on: itself, or the inductances under a root."""
    return tuple(name[5:-1].split("/")) if name.startswith("sqrt(") else (name,)


def value_of(name: str, point: Mapping[str, Any]) -> Any:
    """A variable's value (number or array) at ``point``, which gives one for every symbol."""
    if name in point:
        return point[name]
    coil, *first = symbols_of(name)
    return np.sqrt(np.divide(point[coil], point[first[0]]) if first else point[coil])


class Hashed:
    """A polynomial as a key: equal ones of one ring are the same key."""

    __slots__ = ("_hash", "polynomial")

    def __init__(self, polynomial: Polynomial) -> None:
        self.polynomial = polynomial
        # a few cheap properties part nearly all polynomials; the text of a long one takes longer than its use
        parts = len(polynomial), tuple(polynomial.degrees())
        self._hash = hash(parts if polynomial.is_zero() else (*parts, int(polynomial.leading_coefficient())))

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Hashed) or self._hash != other._hash:
            return False
        one, two = self.polynomial, other.polynomial
        return one.context() is two.context() and bool(one == two)


class Ring:
    """Integer polynomials in the variables ``names``."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = tuple(names)
        self.context = flint.fmpz_mpoly_ctx.get(self.names, flint.Ordering.lex)
        generators = self.context.gens()
        self.generators = dict(zip(self.names, generators, strict=True))
        self.index = {name: place for place, name in enumerate(self.names)}
        self.zero = self.context.constant(0)
        self.one = self.context.constant(1)
        self.sums: dict[str, Polynomial] = {}
        """Quantities that are no variables but sums of some (see :mod:`voltsec.tableau.tied`)."""
        self.divisors: dict[str, int] = {}
        """Variables that stand for a part only of the quantity of their name, and for which."""
        self.unpacked: dict[Hashed, tuple[Any, ...]] = {}
        """Polynomials made ready for numeric evaluation."""

    def constant(self, value: int) -> Polynomial:
        """The integer ``value`` as a polynomial."""
        return self.context.constant(value)

    def symbol(self, name: str) -> Polynomial:
        """The quantity called ``name``: a variable, a multiple of one, or a sum of some."""
        if name in self.sums:
            return self.sums[name]
        variable = self.generators[name]
        return variable * self.divisors[name] if name in self.divisors else variable

    def degree(self, polynomial: Polynomial, name: str) -> int:
        """Degree in one variable (-1 for the zero polynomial)."""
        return int(polynomial.degrees()[self.index[name]]) if not polynomial.is_zero() else -1

    def variables(self, polynomial: Polynomial) -> frozenset[str]:
        """Names that occur in ``polynomial``."""
        if polynomial.is_zero():
            return frozenset()
        return frozenset(
            name for name, degree in zip(self.names, polynomial.degrees(), strict=True) if degree
        )

    def coefficients(self, polynomial: Polynomial, name: str) -> list[Polynomial]:
        """Coefficients of the powers of ``name``, lowest first."""
        place = self.index[name]
        parts: list[dict[Any, Any]] = [{} for _ in range(max(self.degree(polynomial, name), 0) + 1)]
        for powers, coefficient in polynomial.to_dict().items():
            power = int(powers[place])
            parts[power][(*powers[:place], 0, *powers[place + 1 :])] = coefficient
        return [self.context.from_dict(part) for part in parts]

    def by_powers(self, polynomial: Polynomial, names: Iterable[str]) -> dict[tuple[int, ...], Polynomial]:
        """Parts of a polynomial by the powers of ``names`` in their terms."""
        places = [self.index[name] for name in names]
        parts: dict[tuple[int, ...], dict[Any, Any]] = {}
        for powers, coefficient in polynomial.to_dict().items():
            parts.setdefault(tuple(int(powers[place]) for place in places), {})[powers] = coefficient
        return {key: self.context.from_dict(part) for key, part in parts.items()}

    def by_degree(self, polynomial: Polynomial, names: Iterable[str]) -> dict[int, Polynomial]:
        """Parts of a polynomial by their total degree in ``names``."""
        parts: dict[int, Polynomial] = {}
        for powers, part in self.by_powers(polynomial, names).items():
            parts[sum(powers)] = parts.get(sum(powers), self.zero) + part
        return parts

    def substitute(
        self, polynomial: Polynomial, target: Ring, images: Mapping[str, Polynomial]
    ) -> Polynomial:
        """``polynomial`` in ``target``: variables in ``images`` replaced, the others kept by name."""
        unused = [
            images[name] if name in images else target.generators.get(name, target.zero)
            for name in self.names
        ]
        return polynomial.compose(*unused, ctx=target.context)

    def terms(self, polynomial: Polynomial, point: Mapping[str, float | np.ndarray]) -> np.ndarray:
        """Values of all terms at ``point`` (numbers or arrays that broadcast): terms x points."""
        if polynomial.is_zero():
            return np.zeros((1, 1))
        values, columns = self._unpacked(polynomial)
        for place, column in columns:
            name = self.names[place]
            base = np.atleast_1d(np.asarray(value_of(name, point), float)) / self.divisors.get(name, 1)
            table = np.ones((int(column.max()) + 1, base.size))
            for power in range(1, len(table)):
                table[power] = table[power - 1] * base
            values = values * table[column]
        return values

    def _unpacked(self, polynomial: Polynomial) -> Any:
        """Coefficients, and the powers of each variable that occurs."""
        key = Hashed(polynomial)
        found = self.unpacked.get(key)
        if found is None:
            each = chain.from_iterable(polynomial.monoms())
            powers = np.fromiter(each, np.int64, len(polynomial) * len(self.names)).reshape(
                -1, len(self.names)
            )
            try:
                coefficients = np.array([float(int(c)) for c in polynomial.coeffs()])[:, None]
            except OverflowError:
                held = within_floats(polynomial).to_dict()
                coefficients = np.array([[float(int(held.get(m, 0)))] for m in polynomial.monoms()])
            places = np.flatnonzero(powers.any(axis=0))
            found = (coefficients, [(int(p), powers[:, p]) for p in places])
            self.unpacked[key] = found
        return found

    def value(self, polynomial: Polynomial, point: Mapping[str, float | np.ndarray]) -> np.ndarray:
        """Float values at ``point`` (SI units), one entry a point; a single number as shape ()."""
        if polynomial.is_one():  # as most entries of a network's rows are
            return ONE
        total = self.terms(polynomial, point).sum(axis=0)
        return total[0] if total.size == 1 else total


ONE = np.array(1.0)


def within_floats(polynomial: Polynomial) -> Polynomial:
    """``polynomial`` itself, or a rounded fraction of it where coefficients exceed what a float holds.

    That happens where values stand for parameters (:mod:`voltsec.tableau.scaled_ring`); signs, roots and
    shares of terms stay what they are.
    """
    excess = max((int(c).bit_length() for c in polynomial.coeffs()), default=0) - LARGEST
    if excess <= 0:
        return polynomial
    half = 1 << (excess - 1)
    context = polynomial.context()
    shifted = {powers: (int(c) + half) >> excess for powers, c in polynomial.to_dict().items()}
    return context.from_dict({powers: c for powers, c in shifted.items() if c})


def definite_sign(polynomial: Polynomial) -> int | None:
    """1, -1 or 0 where coefficients alone prove the sign for all positive variables, else None."""
    if polynomial.is_zero():
        return 0
    coefficients = polynomial.coeffs()
    if all(c > 0 for c in coefficients):
        return 1
    if all(c < 0 for c in coefficients):
        return -1
    return None


def product(group: Iterable[Polynomial]) -> Polynomial:
    """Product of one polynomial or more."""
    return reduce(mul, group)


def factors(polynomial: Polynomial) -> tuple[int, list[tuple[Polynomial, int]]]:
    """Integer content and irreducible factors with their powers.

    Where the library cannot order factors with very large coefficients, the variables that divide
    everything are split off and the rest stays one factor.
    """
    content, pairs = _factors(Hashed(polynomial))
    return content, list(pairs)


@lru_cache(REMEMBERED)
def _factors(key: Hashed) -> tuple[int, tuple[tuple[Polynomial, int], ...]]:
    polynomial = key.polynomial
    try:
        number, pairs = polynomial.factor()
        return int(number), tuple((factor, int(power)) for factor, power in pairs)
    except OverflowError:
        common = polynomial.term_content()
        content = int(common.leading_coefficient())
        found = [(polynomial // common, 1)]
        generators = polynomial.context().gens()
        for generator, power in zip(generators, common.degrees(), strict=True):
            if power:
                found.append((generator, int(power)))
        return content, tuple(found)
