"""Many short polynomials in the same variables at many points: their monomials once, then one product."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from voltsec.periodic.folding import Array, Value
from voltsec.tableau.ring import value_of

Powers = tuple[int, ...]
Terms = dict[Powers, float]
"""A polynomial: powers of the variables -> coefficient."""


class Coefficients:
    """``polynomials`` in ``variables``, made ready to be evaluated together."""

    def __init__(self, variables: tuple[str, ...], polynomials: Sequence[Terms]) -> None:
        self.variables = variables
        self.steps: list[tuple[int, int]] = []
        """For each monomial the place of the one it is a multiple of, and the variable it has more."""
        places: dict[Powers, int] = {}

        def place(powers: Powers) -> int:
            if powers not in places:
                variable = next((k for k, power in enumerate(powers) if power), -1)
                before = -1
                if variable >= 0:
                    before = place((*powers[:variable], powers[variable] - 1, *powers[variable + 1 :]))
                places[powers] = len(self.steps)
                self.steps.append((before, variable))
            return places[powers]

        entries = [(n, place(p), c) for n, terms in enumerate(polynomials) for p, c in terms.items()]
        self.weights = np.zeros((len(polynomials), len(self.steps)))
        for number, column, coefficient in entries:
            self.weights[number, column] = coefficient

    def at(self, point: Mapping[str, Value], count: int) -> Array:
        """Values at ``count`` points (SI units): polynomials x points."""
        used = {variable for _, variable in self.steps if variable >= 0}
        bases = {variable: value_of(self.variables[variable], point) for variable in used}
        monomials = np.ones((len(self.steps), count))
        with np.errstate(all="ignore"):
            for number, (before, variable) in enumerate(self.steps):
                if variable >= 0:
                    np.multiply(monomials[before], bases[variable], out=monomials[number])
            found: Array = self.weights @ monomials
        return found


def slope(terms: Terms, place: int) -> Terms:
    """Derivative with respect to the variable at ``place``."""
    return {
        (*powers[:place], powers[place] - 1, *powers[place + 1 :]): c * powers[place]
        for powers, c in terms.items()
        if powers[place]
    }
