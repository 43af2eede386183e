"""From interval fractions to what a reader sees: duties, and unknown fractions d2, d3, ...

A switch edge fixes the sum of the fractions of its switch interval; every interval that ends by
itself adds one unknown and one polynomial.  This module names the unknowns, picks from each
condition the factor that vanishes in this circuit, and finds the roots at numeric points.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from math import gcd, lcm
from typing import Any

import numpy as np

from voltsec.periodic.balance import Balance
from voltsec.periodic.fraction_roots import Branch, in_turn, newton, with_root
from voltsec.periodic.stages import Stages
from voltsec.tableau.assembly import parameter_names
from voltsec.tableau.ring import Polynomial, Ring, within_floats

Point = Mapping[str, float | np.ndarray]

NOTHING = 1e-12
"""An interval shorter than this share of the period is none."""


@dataclass(frozen=True)
class Roots:
    """One branch of roots at many points: fractions (intervals x points) and where they exist."""

    fractions: np.ndarray
    exists: np.ndarray


class NotClosed(Exception):
    """The conditions of a sequence do not fix its fractions."""


class OnlyAtEdge(NotClosed):
    """The sequence asks something of the duties alone: it holds at single duties, not over a range."""


class Fractions:
    """Fractions of one sequence in terms of duties and unknowns.

    ``hint`` is a numeric point with the fractions found there, used only to tell which factor of a
    condition is the one that vanishes; where a pivot vanishes there, :attr:`balance` is solved anew.  With
    ``at_edge`` a condition on the duties alone may be met by the
    point's own (interleaved legs at D = 1/2, say); otherwise :class:`OnlyAtEdge` is raised.
    """

    def __init__(
        self,
        balance: Balance,
        stages: Stages,
        hint: Point,
        hint_fractions: np.ndarray,
        at_edge: bool = False,
    ) -> None:
        self.at_edge = at_edge
        self.balance = balance
        self.stages = stages
        sequence = balance.sequence
        taken = set(parameter_names(balance.circuit)) | set(stages.symbols)
        self.unknown: dict[int, str] = {}
        for number, k in enumerate(sequence.unknown):
            name = (
                f"d{number + 2}"
                if sequence.intervals[0].stage != sequence.intervals[k].stage
                else f"d{number + 1}"
            )
            while name in taken:
                name += "_"
            taken.add(name)
            self.unknown[k] = name
        self.ring = Ring((*self.unknown.values(), *stages.symbols, *parameter_names(balance.circuit)))
        self.over = stages.over * lcm(1, *balance.ring.divisors.values())
        """What :attr:`images` are to be divided by; one where no edge has a constant."""
        self.images = self._images()
        """Each fraction in duties, starts and unknowns, times :attr:`over`."""
        self.constraints: tuple[Polynomial, ...] = ()
        """Polynomials in the parameters and duties that must vanish besides (equal coils, say)."""
        self.conditions = self._choose(hint, hint_fractions)
        self.shown = tuple(self.show(condition) for condition in self.conditions)
        again = self._solved_again(hint, hint_fractions) if self.unknown else None
        if again is not None:
            self.balance = again
            self.conditions = self._choose(hint, hint_fractions)
            self.shown = tuple(self.show(condition) for condition in self.conditions)

    @property
    def coupled(self) -> bool:
        """True where only several conditions together fix some fraction."""
        return in_turn(self.ring, self.shown, set(self.unknown.values())) is None

    def _solved_again(self, hint: Point, hint_fractions: np.ndarray) -> Balance | None:
        """The balance solved again where it divided by something that is zero at the root found."""
        if not self.balance.full.assumed:
            return None
        one = {name: np.array([float(value)]) for name, value in hint.items()}
        branches = self.roots(one, hint_fractions[list(self.unknown)])
        near = [roots.fractions[:, 0] for roots in branches if roots.exists[0]]
        if not near:
            return None
        best = min(near, key=lambda shares: float(np.abs(shares - hint_fractions).sum()))
        exact = dict(hint) | dict(zip(self.balance.sequence.fractions, best, strict=True))
        return self.balance.solved_again(lambda polynomial: self.relative(polynomial, exact) < 1e-7)

    @cached_property
    def lengths(self) -> tuple[Polynomial, ...]:
        """Share of the period of each switch interval, times :attr:`over`."""
        found = []
        for constant, *factors in self.stages.lengths:
            length = self.ring.constant(int(constant * self.over))
            for factor, name in zip(factors, self.stages.symbols, strict=True):
                length = length + self.ring.symbol(name) * int(factor * self.over)
            found.append(length)
        return tuple(found)

    def _images(self) -> dict[str, Polynomial]:
        """Each fraction as a polynomial in duties, starts and unknowns, times ``over``."""
        ring, sequence = self.ring, self.balance.sequence
        images: dict[str, Polynomial] = {}
        for stage, left in enumerate(self.lengths):
            members = [k for k, i in enumerate(sequence.intervals) if i.stage == stage]
            for k in members[:-1]:
                symbol = ring.symbol(self.unknown[k]) * self.over
                images[sequence.fractions[k]] = symbol
                left = left - symbol
            images[sequence.fractions[members[-1]]] = left
        return images

    def show(self, polynomial: Polynomial) -> Polynomial:
        """A polynomial of the balance's ring in duties and unknowns, times a positive number."""
        (shown,) = self.shown_in(self.balance.ring, (polynomial,), self.ring)
        content = gcd(*(int(c) for c in shown.coeffs())) if self.over > 1 else 1
        return shown // content if content > 1 else shown

    def shown_in(self, ring: Ring, parts: Iterable[Polynomial], target: Ring) -> tuple[Polynomial, ...]:
        """Polynomials of ``ring``, a ring of the fractions, in ``target``, all times one positive number."""
        return with_images(ring, parts, target, self.images_in(target, ring), self.over)

    def images_in(self, target: Ring, ring: Ring) -> dict[str, Polynomial]:
        """What the fraction variables of ``ring`` are in ``target``, times :attr:`over`."""
        return {  # a variable of the ring may be a part of the fraction only
            name: self.ring.substitute(image, target, {}) // ring.divisors.get(name, 1)
            for name, image in self.images.items()
            if name in ring.index
        }

    def value(self, name: str, point: Point) -> Any:
        """A fraction at ``point``, which holds duties, starts and unknowns."""
        return self.ring.value(self.images[name], point) / self.over

    def least(self, name: str) -> float:
        """What a fraction must exceed: between two edges that coincide there may be nothing."""
        return NOTHING if self.depends(name) else -NOTHING

    def depends(self, name: str) -> bool:
        """True for a fraction that is not set by switch edges alone."""
        return bool(self.ring.variables(self.images[name]) & set(self.unknown.values()))

    def _choose(self, hint: Point, hint_fractions: np.ndarray) -> tuple[Polynomial, ...]:
        names = self.balance.sequence.fractions
        point = dict(hint) | dict(zip(names, hint_fractions, strict=True))
        free_of_unknown = {name for name in names if not self.depends(name)}
        chosen: list[Polynomial] = []
        constraints: list[Polynomial] = []
        for factors in self.balance.condition_factors:
            usable = [f for f in factors if self.balance.ring.variables(f) & (set(names) - free_of_unknown)]
            # a condition on the duties alone holds at an edge only, never over a range
            fixed = [f for f in factors if not self.balance.ring.variables(f) & set(names)]
            met = [f for f in fixed if self.relative(f, point) < 1e-9]
            met += [f for f in factors if f not in fixed and self._vanishes_everywhere(f, point)]
            if not met and not usable and factors:
                met = [f for f in factors if f not in fixed and self.relative(f, point) < 1e-9]
                if met and not self.at_edge:
                    raise OnlyAtEdge("this sequence holds at single duties only")
            if met:
                constraints.append(met[0])
                continue
            if not usable:
                raise NotClosed("a condition of this sequence cannot be met")
            best = min(usable, key=lambda factor: self.relative(factor, point))
            if not any(best == other or best == -other for other in chosen):
                chosen.append(best)
        if len(chosen) < len(self.unknown):
            raise NotClosed("the fractions of this sequence are not determined")
        self.constraints = (*self.balance.ties, *constraints)
        return tuple(within_floats(condition) for condition in chosen)

    def _vanishes_everywhere(self, polynomial: Polynomial, point: Point) -> bool:
        """True where the parameters' values alone (two equal branches, say) make it zero."""
        generator = np.random.default_rng(2)
        names = self.balance.sequence.fractions
        return all(
            self.relative(polynomial, dict(point) | dict(zip(names, shares, strict=True))) < 1e-9
            for shares in generator.uniform(0.1, 0.9, (3, len(names)))
        )

    def relative(self, polynomial: Polynomial, point: Point) -> float:
        """Size of a polynomial at ``point`` as a share of the sizes of its terms."""
        value, size = value_and_size(self.balance.ring, polynomial, point)
        return float(abs(value) / size) if size else 0.0

    def roots(self, point: Point, start: np.ndarray | None = None) -> list[Roots]:
        """Every real branch of the fractions at the points (arrays of equal length).

        ``start`` (one value an unknown) begins the iteration where the conditions cannot be solved
        one after another.
        """
        length = max((np.size(v) for v in point.values()), default=1)
        whole = {name: np.broadcast_to(np.asarray(v, float), (length,)) for name, v in point.items()}
        branches: list[Branch] = [({}, np.ones(length, bool))]
        turns = in_turn(self.ring, self.shown, set(self.unknown.values()))
        if turns is None:
            branches = newton(tuple(self.unknown.values()), partial(self._at, whole, length), length, start)
        else:
            for name, condition in turns[0]:
                parts = self.ring.coefficients(condition, name)
                branches = [
                    after
                    for known, exists in branches
                    for after in with_root(
                        (known, exists), name, [self._spread(part, whole | known, length) for part in parts]
                    )
                ]
            branches = [self._kept(branch, turns[1], whole) for branch in branches]
        found = []
        for values, exists in branches:
            if len(values) < len(self.unknown):  # the conditions leave a fraction open
                continue
            full = whole | values
            fractions = np.array(
                [np.broadcast_to(self.value(f, full), (length,)) for f in self.balance.sequence.fractions]
            )
            least = np.array([[self.least(f)] for f in self.balance.sequence.fractions])
            with np.errstate(invalid="ignore"):
                found.append(Roots(fractions, exists & (fractions > least).all(axis=0)))
        return found

    def _kept(self, branch: Branch, conditions: list[Polynomial], whole: dict[str, np.ndarray]) -> Branch:
        values, exists = branch
        for condition in conditions:
            value, size = value_and_size(self.ring, condition, whole | values)
            with np.errstate(invalid="ignore"):
                exists = exists & (np.abs(value) < 1e-7 * size)
        return values, exists

    def _spread(self, polynomial: Polynomial, point: Point, length: int) -> np.ndarray:
        return np.broadcast_to(np.asarray(self.ring.value(polynomial, point), float), (length,))

    @cached_property
    def _slopes(self) -> list[list[Polynomial]]:
        """Derivatives of the conditions by the unknowns."""
        names = self.unknown.values()
        return [[c.derivative(self.ring.index[name]) for name in names] for c in self.shown]

    def _at(
        self, whole: dict[str, np.ndarray], length: int, unknowns: dict[str, np.ndarray]
    ) -> tuple[np.ndarray, np.ndarray]:
        """Values and slopes of the conditions."""
        full = whole | unknowns
        value = np.array([self._spread(c, full, length) for c in self.shown])
        return value, np.array([[self._spread(d, full, length) for d in row] for row in self._slopes])


def with_images(
    ring: Ring,
    parts: Iterable[Polynomial],
    target: Ring,
    images: Mapping[str, Polynomial],
    over: int,
    degree: int | None = None,
) -> tuple[Polynomial, ...]:
    """Polynomials in ``target`` with variables replaced by ``images`` over a whole number.

    All are multiplied by the same power of it (their highest degree, or ``degree``), so that they stay
    whole and their ratios what they are.
    """
    listed = list(parts)
    if over == 1:
        return tuple(ring.substitute(part, target, images) for part in listed)
    highest = max(degree_in(ring, part, images) for part in listed) if degree is None else degree
    places = [ring.index[name] for name in images]
    whole = (
        {p: c * over ** (highest - sum(int(p[k]) for k in places)) for p, c in part.to_dict().items()}
        for part in listed
    )
    return tuple(ring.substitute(ring.context.from_dict(part), target, images) for part in whole)


def degree_in(ring: Ring, polynomial: Polynomial, names: Iterable[str]) -> int:
    """Highest degree of a polynomial in some variables together."""
    places = [ring.index[name] for name in names]
    return max((sum(int(powers[k]) for k in places) for powers in polynomial.monoms()), default=0)


def value_and_size(ring: Ring, polynomial: Polynomial, point: Point) -> tuple[np.ndarray, np.ndarray]:
    """Value of a polynomial and the sum of the sizes of its terms (for judging a zero)."""
    terms = ring.terms(polynomial, point)
    value, size = terms.sum(axis=0), np.abs(terms).sum(axis=0)
    return (value[0], size[0]) if value.size == 1 else (value, size)
