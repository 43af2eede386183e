"""A stated region held against the sign conditions themselves, at points near and far from the witness.

The region is evaluated as a reader would: its inequalities as they are written, with the definitions
that go with them.  A region that was made by equivalences alone passes; the check is there for what
was overlooked in making it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.pointwise import worked_out
from voltsec.periodic.points import base_point, random_timings
from voltsec.periodic.signs import ordinary
from voltsec.periodic.stages import Stages
from voltsec.periodic.verification import verify
from voltsec.search.search import Found
from voltsec.tableau import lengths

Array = np.ndarray
Points = dict[str, Array]

COUNT = 128
"""Random points at which the region is checked."""

PAIRS = 16
"""So many ways from a point inside to one outside are followed to the edge, ..."""

STEPS = 8
"""... in so many steps, ..."""

ROUNDS = 2
"""... and so often once more between the last two."""

DECADES = 1.2
"""Spread of every value to both sides of the netlist's own ..."""

PERIOD_DECADES = 2.5
"""... and of the period."""

NEAR = 1e-6
"""Points whose least condition is closer to zero (as a share of its terms) are on the edge."""


def agrees(
    found: Found,
    form: ClosedForm,
    holds_when: Boolean | None,
    definitions: Mapping[str, Expr],
    points: Points,
    scattered: Points,
    holds: Array,
) -> bool:
    """True where the stated region is that of the sign conditions at all points tried.

    ``points`` are the search's, where the answer is known; so it is at ``scattered`` ones (``holds``).
    """
    stated = _Stated(found, form, holds_when, definitions)
    try:
        return _agrees(stated, points, scattered, holds)
    except KeyError:  # it names a current that ideal parts leave open
        return False


def _agrees(stated: _Stated, points: Points, scattered: Points, holds: Array) -> bool:
    found, form = stated.found, stated.form
    if len(form.unknown) > 1 and form.roots is None:
        # stated as it is checked, in the unknown fractions; to solve for them takes long
        return stated.true_inside(points)
    if not stated.right(points, found.holds):
        return False
    if not len(holds):
        return True
    if not stated.right(scattered, holds):
        return False
    if form.unknown and form.roots is None:
        return True  # stated as it is checked: in the unknown fractions
    inside, outside = _ends(found, points, scattered, holds)
    return inside is None or outside is None or _right_at_edges(stated, inside, outside)


class _Stated:
    """The region as it is stated, and as the sign conditions have it."""

    def __init__(
        self, found: Found, form: ClosedForm, holds_when: Boolean | None, definitions: Mapping[str, Expr]
    ) -> None:
        self.found = found
        self.form = form
        self.holds_when = holds_when
        self.definitions = definitions
        self.facts = ordinary(found.balance)

    def right(self, points: Points, holds: Array) -> bool:
        """True where both say the same at all points, those on an edge left out."""
        said = self.says(points)
        wrong = np.flatnonzero((said != holds) & self._ordinary(points))
        if not wrong.size:
            return True
        cut = {name: np.asarray(values)[wrong] for name, values in points.items()}
        wide, narrow = self.holds(cut, NEAR), self.holds(cut, -NEAR)
        return bool((wide != narrow).all())

    def true_inside(self, points: Points) -> bool:
        """True where the region holds at the search's own points, its fractions given."""
        clear = self.found.holds & (self.found.margin > NEAR)
        inside = {name: values[clear] for name, values in points.items()}
        inside |= {name: self.found.shares[k, clear] for k, name in self.form.fractions.unknown.items()}
        return bool((self._true(inside, int(clear.sum())) | ~self._ordinary(inside)).all())

    def holds(self, points: Points, slack: float = 0.0) -> Array:
        """Where the sign conditions hold; a condition may miss zero by ``slack``."""
        mask, _, _ = verify(self.found.balance, self.found.fractions, points, slack=slack)
        for length in self.form.fractions.stages.fractions(points):
            mask = mask & (length > 0)
        return mask

    def says(self, points: Points) -> Array:
        """Where the written region is true."""
        length = len(points["T"])
        if self.holds_when is None:
            return np.ones(length, bool)
        unknown = self.form.fractions.unknown
        if not self.form.unknown or self.form.roots is not None:
            return self._true(dict(points), length)
        mask = np.zeros(length, bool)
        for roots in self.found.fractions.roots(points):
            full = points | {name: roots.fractions[k] for k, name in unknown.items()}
            mask |= self._true(full, length) & roots.exists
        return mask

    def _true(self, point: Points, length: int) -> Array:
        if self.holds_when is None:
            return np.ones(length, bool)
        with np.errstate(all="ignore"):
            truth = worked_out(self.holds_when, self.definitions, point)
            return np.broadcast_to(np.asarray(truth, bool), (length,))

    def _ordinary(self, points: Points) -> Array:
        mask = np.ones(len(points["T"]), bool)
        for fact in self.facts:
            mask &= self.found.balance.ring.value(fact, points) > 0
        return mask


def scatter(found: Found) -> tuple[Points, Array, Array]:
    """Random points, where the mode holds among them, and its fractions; none where that takes long."""
    terms = sum(len(part) for condition in found.balance.sign_conditions for part in condition.ratio.parts)
    count = COUNT if terms <= lengths.MULTIPLIED and not found.fractions.coupled else 0
    points = random_points(found.balance.circuit, found.stages, count)
    if not count:
        return points, np.zeros(0, bool), np.zeros((len(found.sequence.intervals), 0))
    mask, _, fractions = verify(found.balance, found.fractions, points)
    return points, mask, fractions


def random_points(circuit: Circuit, stages: Stages, count: int, seed: int = 5) -> Points:
    """Timings in the order of ``stages``, all values over decades, couplings from loose to close."""
    generator = np.random.default_rng(seed)
    base = base_point(circuit)
    points: Points = {}
    for name, value in base.items():
        decades = PERIOD_DECADES if name == "T" else DECADES
        points[name] = value * 10 ** generator.uniform(-decades, decades, count)
    points |= random_timings(stages, count, generator)
    for coupling in circuit.couplings:
        one, other = (circuit.symbol_of(n) for n in (coupling.first, coupling.second))
        points[coupling.symbol] = generator.uniform(0.02, 0.98, count) * np.sqrt(points[one] * points[other])
    return points


def _ends(
    found: Found, points: Points, scattered: Points, holds: Array
) -> tuple[Points | None, Points | None]:
    """Points inside and outside in pairs."""
    clear = found.holds & (found.margin > NEAR)
    inside = {name: np.concatenate([scattered[name][holds], points[name][clear]])[:PAIRS] for name in points}
    outside = {name: scattered[name][~holds] for name in points}
    count = min(PAIRS, len(inside["T"]))
    if not count or not len(outside["T"]):
        return None, None
    turn = np.arange(count) % len(outside["T"])
    return {n: v[:count] for n, v in inside.items()}, {n: v[turn] for n, v in outside.items()}


def _right_at_edges(stated: _Stated, inside: Points, outside: Points) -> bool:
    """Follow each way to where the mode ends; the region must end there, too."""
    count = len(inside["T"])
    low, high = np.zeros(count), np.ones(count)
    for _ in range(ROUNDS):
        places = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, STEPS + 2)[None, 1:-1]
        points = {name: _between(inside[name], outside[name], places).ravel() for name in inside}
        holds = stated.holds(points)
        if not stated.right(points, holds):
            return False
        left = ~holds.reshape(count, STEPS)
        first = np.where(left.any(axis=1), left.argmax(axis=1), STEPS)
        padded = np.concatenate([low[:, None], places, high[:, None]], axis=1)
        rows = np.arange(count)
        low, high = padded[rows, first], padded[rows, first + 1]
    return True


def _between(one: Array, other: Array, places: Array) -> Array:
    """Values on the way from one to the other (both positive), each in proportion."""
    return np.exp(np.log(one)[:, None] * (1 - places) + np.log(other)[:, None] * places)
