"""Many short polynomials in the same variables at many points: their monomials once, then one product."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from voltsec.periodic.folding import Array, Value
from voltsec.tableau.ring import value_of

Powers = tuple[int, ...]
Terms = dict[Powers, float]
"""A polynomial: powers of the variables -> coefficient."""


class Coefficients:
    """``polynomials`` in ``variables``, made ready to be evaluated together.

    ``changing`` variables take many values at the same point: all else is put in once by :meth:`at_points`.
    """

    def __init__(
        self, variables: tuple[str, ...], polynomials: Sequence[Terms], changing: Sequence[str] = ()
    ) -> None:
        self.count = len(polynomials)
        places = {variables.index(name) for name in changing if name in variables}
        self.outer = Monomials(variables)
        self.inner = Monomials(variables)
        entries = []
        for number, terms in enumerate(polynomials):
            for powers, coefficient in terms.items():
                apart = self.inner.place(tuple(p if k in places else 0 for k, p in enumerate(powers)))
                rest = self.outer.place(tuple(0 if k in places else p for k, p in enumerate(powers)))
                entries.append((number, apart, rest, coefficient))
        entries.sort()
        # a coefficient for each polynomial and power of what changes, the polynomials one after another
        rows, self.firsts = np.unique(np.array([e[:2] for e in entries], int), axis=0, return_index=True)
        self.rest = np.array([rest for *_, rest, _ in entries], int)
        self.factors = np.array([[factor] for *_, factor in entries], float)
        self.powers = rows[:, 1] if entries else np.zeros(0, int)
        self.owners, self.starts = np.unique(rows[:, 0] if entries else self.powers, return_index=True)

    def at_points(self, point: Mapping[str, Value], count: int) -> PutIn:
        """All but what changes put in at ``count`` points (SI units)."""
        if not self.rest.size:
            return PutIn(self, np.zeros((0, count)))
        with np.errstate(all="ignore"):
            terms = self.factors * self.outer.at(point, count)[self.rest]
            return PutIn(self, np.add.reduceat(terms, self.firsts, axis=0))

    def at(self, point: Mapping[str, Value], count: int) -> Array:
        """Values at ``count`` points (SI units): polynomials x points."""
        return self.at_points(point, count).at(point)


@dataclass(frozen=True)
class PutIn:
    """Polynomials of which only the changing variables are left."""

    polynomials: Coefficients
    values: Array
    """A coefficient for each polynomial and power of what changes, x points."""

    def cut(self, part: slice | Array) -> PutIn:
        """The same at some of the points."""
        return PutIn(self.polynomials, self.values[:, part])

    def at(self, point: Mapping[str, Value]) -> Array:
        """Values with the changing variables of ``point`` put in: polynomials x points."""
        own = self.polynomials
        found = np.zeros((own.count, self.values.shape[1]))
        if own.owners.size:
            with np.errstate(all="ignore"):
                terms = self.values * own.inner.at(point, self.values.shape[1])[own.powers]
                found[own.owners] = np.add.reduceat(terms, own.starts, axis=0)
        return found


class Monomials:
    """Products of powers of ``variables``, each made from one of a lower degree."""

    def __init__(self, variables: tuple[str, ...]) -> None:
        self.variables = variables
        self.steps: list[tuple[int, int]] = []
        """For each the place of the one it is a multiple of, and the variable it has more."""
        self._places: dict[Powers, int] = {}

    def place(self, powers: Powers) -> int:
        """Where the product with these powers stands."""
        if powers not in self._places:
            variable = next((k for k, power in enumerate(powers) if power), -1)
            before = -1
            if variable >= 0:
                before = self.place((*powers[:variable], powers[variable] - 1, *powers[variable + 1 :]))
            self._places[powers] = len(self.steps)
            self.steps.append((before, variable))
        return self._places[powers]

    def at(self, point: Mapping[str, Value], count: int) -> Array:
        """Values at ``count`` points: products x points."""
        used = {variable for _, variable in self.steps if variable >= 0}
        bases = {variable: value_of(self.variables[variable], point) for variable in used}
        found = np.ones((len(self.steps), count))
        for number, (before, variable) in enumerate(self.steps):
            if variable >= 0:
                np.multiply(found[before], bases[variable], out=found[number])
        return found


def slope(terms: Terms, place: int) -> Terms:
    """Derivative with respect to the variable at ``place``."""
    return {
        (*powers[:place], powers[place] - 1, *powers[place + 1 :]): c * powers[place]
        for powers, c in terms.items()
        if powers[place]
    }
