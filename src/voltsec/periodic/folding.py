"""Polynomials made ready for many points: constants folded in, the rest nested after Horner.

A folded polynomial is plain nested data (a number, or a variable with folded coefficients), so it
travels to another process as it is, and one numpy multiplication and one addition a power is all
that is left to do at each chunk of points.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.computing_time import go_on
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring, symbols_of, value_of

Array = np.ndarray
Value = float | Array
"""A number that is the same at every point, or one number a point."""

SHORT = 6
"""A polynomial of so many terms is quicker read term by term than as arrays."""


@dataclass(frozen=True)
class Nested:
    """Sum of coefficient[k] * variable**k, lowest power first; coefficients are folded themselves."""

    variable: str
    coefficients: tuple[Folded, ...]


Folded = float | Nested


@dataclass(frozen=True)
class Quotient:
    """Numerator over denominator, both folded."""

    top: Folded
    bottom: Folded


@dataclass(frozen=True)
class Linear:
    """A sum of coefficient * unknown of a linear system (``None``: the constant term)."""

    terms: tuple[tuple[object, Folded], ...]
    system: str
    """Which system the unknowns are of."""
    otherwise: Linear | None = None
    """What stands for the sum where the system leaves it open (``None``: no number)."""


Item = Quotient | Linear
"""What a reading is made of."""


class Constants:
    """Values (SI units) of some symbols, to be put into the polynomials of ``ring``."""

    def __init__(self, ring: Ring, values: Mapping[str, float]) -> None:
        self.ring = ring
        self.varying = tuple(
            name for name in ring.names if not all(part in values for part in symbols_of(name))
        )
        """Variables whose value the constants do not settle."""
        self._free = [ring.index[name] for name in self.varying]
        self._point = {**values, **dict.fromkeys(self.varying, 1.0)}
        self._bases = [float(value_of(name, self._point)) / ring.divisors.get(name, 1) for name in ring.names]

    def fold(self, polynomial: Polynomial, absolute: bool = False) -> Folded:
        """``polynomial`` with the constants put in.

        With ``absolute`` the sizes of the terms are added up instead of the terms, for judging how much
        of a value is rounding.
        """
        return nested(self.grouped(polynomial, absolute), self.varying)

    def fold_ratio(self, ratio: Ratio) -> Quotient:
        """Both parts of a ratio folded."""
        return Quotient(self.fold(ratio.numerator), self.fold(ratio.denominator))

    def grouped(self, polynomial: Polynomial, absolute: bool = False) -> dict[tuple[int, ...], float]:
        """Powers of the variables that stay -> coefficient, the constants' values multiplied in."""
        go_on()
        if polynomial.is_zero():
            return {}
        groups: dict[tuple[int, ...], list[float]] = {}
        for powers, weight in self._terms(polynomial):
            group = groups.setdefault(tuple(int(powers[place]) for place in self._free), [])
            group.append(abs(weight) if absolute else weight)
        # the same order of addition whatever the order of terms
        return {
            powers: float(np.sum(np.sort(weights))) if len(weights) > 1 else weights[0]
            for powers, weights in groups.items()
        }

    def _terms(self, polynomial: Polynomial) -> Iterator[tuple[tuple[int, ...], float]]:
        """Powers of all variables, and what the constants make of the term."""
        if len(polynomial) > SHORT:
            weights = self.ring.terms(polynomial, self._point)[:, 0]
            yield from zip(polynomial.monoms(), map(float, weights), strict=True)
            return
        for powers, coefficient in zip(polynomial.monoms(), polynomial.coeffs(), strict=True):
            weight = float(int(coefficient))
            for base, power in zip(self._bases, powers, strict=True):
                if power:
                    weight *= base ** int(power)
            yield powers, weight


def nested(terms: dict[tuple[int, ...], float], names: tuple[str, ...]) -> Folded:
    """Polynomial given by its terms (powers of ``names`` -> coefficient), nested after Horner."""
    return _nest(terms, names, 0) if terms else 0.0


def _nest(terms: dict[tuple[int, ...], float], names: tuple[str, ...], first: int) -> Folded:
    """The same of terms that agree in the powers of all names before ``first``."""
    if len(terms) == 1:
        ((powers, value),) = terms.items()
        folded: Folded = value
        for place in range(len(names) - 1, first - 1, -1):
            if powers[place]:
                folded = Nested(names[place], (0.0,) * powers[place] + (folded,))
        return folded
    place = next(k for k in range(first, len(names)) if any(powers[k] for powers in terms))
    parts: dict[int, dict[tuple[int, ...], float]] = {}
    for powers, value in terms.items():
        parts.setdefault(powers[place], {})[powers] = value
    highest = max(parts)
    return Nested(
        names[place],
        tuple(_nest(parts[k], names, place + 1) if k in parts else 0.0 for k in range(highest + 1)),
    )


def evaluate(folded: Folded, point: Mapping[str, Value]) -> Value:
    """Value at ``point`` (SI units), a number where nothing in it varies."""
    if isinstance(folded, float):
        return folded
    base = value_of(folded.variable, point)
    parts = folded.coefficients
    total: Value = evaluate(parts[-1], point)
    owned = False  # whether ``total`` is an array of our own, which may be changed in place
    for part in reversed(parts[:-1]):
        if owned and isinstance(total, np.ndarray):
            total *= base
        else:
            total = total * base
            owned = isinstance(total, np.ndarray)
        addend = evaluate(part, point)
        if isinstance(addend, float) and addend == 0.0:
            continue
        if owned and isinstance(total, np.ndarray) and np.shape(addend) in ((), total.shape):
            total += addend
        else:
            total = total + addend
            owned = isinstance(total, np.ndarray)
    return total


def evaluate_ratio(quotient: Quotient, point: Mapping[str, Value]) -> Value:
    """Value of a ratio at ``point``; infinite or undefined where its denominator vanishes."""
    top, bottom = evaluate(quotient.top, point), evaluate(quotient.bottom, point)
    with np.errstate(all="ignore"):
        return np.divide(top, bottom)


def derivative(folded: Folded, variable: str) -> Folded:
    """Derivative with respect to one variable."""
    if isinstance(folded, float):
        return 0.0
    if folded.variable != variable:
        parts = tuple(derivative(part, variable) for part in folded.coefficients)
        return Nested(folded.variable, parts) if any(part != 0.0 for part in parts) else 0.0
    parts = tuple(scaled(part, k) for k, part in enumerate(folded.coefficients))[1:]
    # a variable stands in one layer only, so the coefficients hold no more of it
    return parts[0] if len(parts) == 1 else Nested(variable, parts)


def scaled(folded: Folded, factor: float) -> Folded:
    """``folded`` times a number."""
    if isinstance(folded, float):
        return folded * factor
    return Nested(folded.variable, tuple(scaled(part, factor) for part in folded.coefficients))
