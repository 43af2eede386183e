"""Sign checks at numeric points: where a sequence holds, and how far inside."""

from __future__ import annotations

import numpy as np

from voltsec.periodic.balance import Balance, SignCondition
from voltsec.periodic.folding import Value
from voltsec.periodic.fractions import Fractions, Point, Roots, value_and_size
from voltsec.tableau.assembly import bends_count
from voltsec.tableau.ring import Polynomial, definite_sign

GAP = 0.05
"""Continuous conduction of a lossy stage takes currents as straight, discontinuous conduction follows
their bend, so that their edges lie a little apart (parts in a thousand, more where R*T/L is not
small).  Where no mode holds strictly, a continuous one may miss its edge by so much."""


SIGN = 1e-8
"""A condition counts as violated beyond this share of the sizes of its terms."""
TIED = 1e-9
"""What must vanish may be so large a share of the sizes of its terms."""


def vanishes(value: Value, size: Value) -> np.ndarray:
    """Where a sum whose terms have the sizes ``size`` is zero but for rounding."""
    return np.asarray(np.abs(value) < TIED * np.asarray(size))


def not_negative(top: Value, size: Value, bottom: Value, slack: float = 0.0) -> np.ndarray:
    """Where ``top/bottom`` is not negative, rounding and ``slack`` apart; ``size`` is of the top's terms.

    Nothing at all is as good as zero.
    """
    below = -(SIGN + slack) * np.asarray(size)
    return np.asarray(~(np.sign(bottom) * np.asarray(top) < below) | ~np.isfinite(top))


def may_miss_edge(balance: Balance) -> bool:
    """True for continuous conduction of a stage whose currents may bend (see :data:`GAP`)."""
    return not balance.by_itself and bends_count(balance.circuit)


def open_conditions(balance: Balance) -> list[SignCondition]:
    """Sign conditions that do not hold by their coefficients alone."""
    return [
        condition
        for condition in balance.sign_conditions
        if not _always(condition.ratio.numerator, condition.ratio.denominator)
    ]


def _always(numerator: Polynomial, denominator: Polynomial) -> bool:
    top, bottom = definite_sign(numerator), definite_sign(denominator)
    return top == 0 or (top is not None and bottom is not None and top * bottom > 0)


def verify(
    balance: Balance,
    fractions: Fractions,
    points: Point,
    start: np.ndarray | None = None,
    slack: float = 0.0,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the sequence holds: mask, margin (0 at an edge) and fractions at every point.

    The unknown fractions are solved for at each point; a branch is right where every fraction is
    positive and every sign condition holds.  ``start`` is a guess of all fractions.  A condition may
    miss zero by ``slack`` of its terms' size.
    """
    length = max(np.size(value) for value in points.values())
    mask = np.zeros(length, bool)
    margin = np.zeros(length)
    chosen = np.full((len(balance.sequence.intervals), length), np.nan)
    guess = None if start is None else start[list(fractions.unknown)]
    for roots in fractions.roots(points, guess):
        good, edge = judged(balance, fractions, points, roots, slack)
        better = good & ~mask
        chosen[:, better] = roots.fractions[:, better]
        margin[better] = edge[better]
        mask |= good
    return mask, margin, chosen


def judged(
    balance: Balance, fractions: Fractions, points: Point, roots: Roots, slack: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Where the sequence holds with these fractions, and the margin there."""
    good = roots.exists.copy()
    edge = np.nan_to_num(roots.fractions.min(axis=0), nan=0.0)
    if not good.any():
        return good, edge
    point = dict(points) | dict(zip(balance.sequence.fractions, roots.fractions, strict=True))
    with np.errstate(all="ignore"):
        for constraint in fractions.constraints:
            value, size = value_and_size(balance.ring, constraint, point)
            good &= vanishes(value, size)
        for condition in open_conditions(balance):
            top, top_size = value_and_size(balance.ring, condition.ratio.numerator, point)
            bottom = balance.ring.value(condition.ratio.denominator, point)
            good &= not_negative(top, top_size, bottom, slack)
            edge = np.minimum(edge, np.nan_to_num(np.sign(bottom) * top / top_size, nan=0.0))
    return good, edge
