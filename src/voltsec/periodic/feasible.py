"""Sign conditions at many points where ideal parts leave something free: is there a share that suits all?

Fourier-Motzkin elimination as in :func:`voltsec.periodic.balance.without_free`, with numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from voltsec.periodic.batched import SAME, Judged
from voltsec.periodic.folding import Array, Value
from voltsec.periodic.verification import SIGN

MOST_PAIRS = 60
"""Eliminating a free unknown that would make more pairs of conditions is given up."""


@dataclass(frozen=True)
class Form:
    """``value`` plus the sum of slope times free unknown, which must not be negative.

    Rounding is allowed for in ``value`` already; ``size`` tells which slopes are rounding.
    """

    value: Value
    slopes: tuple[Value, ...]
    size: Value

    def cut(self, places: Array) -> Form:
        """The form at some of the points."""
        slopes = tuple(np.asarray(slope)[places] for slope in self.slopes)
        return Form(np.asarray(self.value)[places], slopes, np.asarray(self.size)[places])


def end_values(middle: Judged, ramp: Judged, zero: float) -> list[Form]:
    """Both ends of an interval, from their mean and half the rise; ``zero`` counts as nothing."""
    size = middle.size + ramp.size
    spare = SIGN * size + zero
    found = []
    for sign in (-1, 1):
        slopes = tuple(a + sign * b for a, b in zip(middle.slopes, ramp.slopes, strict=True))
        found.append(Form(middle.value + sign * ramp.value + spare, slopes, size))
    return found


def satisfied(forms: list[Form], length: int) -> Array:
    """Where some values of the free unknowns make every form non-negative.

    Points where that cannot be told count as not satisfied.
    """
    good = np.ones(length, bool)
    if not forms or not forms[0].slopes:
        for form in forms:
            good &= np.greater_equal(form.value, 0.0)  # what is no number is not satisfied
        return good
    forms = [_spread(form, length) for form in forms]
    signs = np.array(
        [[np.sign(slope) * (np.abs(slope) > SAME * form.size) for slope in form.slopes] for form in forms]
    )
    # points at which the free unknowns work alike are treated together
    kinds, group = np.unique(signs.reshape(-1, length), axis=1, return_inverse=True)
    for kind in range(kinds.shape[1]):
        places = np.flatnonzero(np.ravel(group) == kind)
        good[places] = _without_free([form.cut(places) for form in forms], places.size)
    return good


def _without_free(forms: list[Form], length: int) -> Array:
    left = set(range(len(forms[0].slopes)))
    while left:
        parted = {free: _parted(forms, free) for free in left}
        # the one that makes the fewest pairs goes first
        free = min(left, key=lambda f: parted[f].pairs)
        parts = parted[free]
        if parts.pairs > MOST_PAIRS:
            return np.zeros(length, bool)
        forms = parts.kept + [_joined(up, down, free) for up in parts.rising for down in parts.falling]
        left.remove(free)
    good = np.ones(length, bool)
    for form in forms:
        good &= np.greater_equal(form.value, 0.0)
    return good


def _spread(form: Form, length: int) -> Form:
    """Every number as one a point."""
    slopes = tuple(np.broadcast_to(slope, (length,)) for slope in form.slopes)
    return Form(np.broadcast_to(form.value, (length,)), slopes, np.broadcast_to(form.size, (length,)))


@dataclass(frozen=True)
class Parted:
    """Forms by how they change with one free unknown."""

    kept: list[Form]
    rising: list[Form]
    falling: list[Form]
    unclear: bool

    @property
    def pairs(self) -> int:
        """How many forms take the place of those that change; too many where signs differ by point."""
        return MOST_PAIRS + 1 if self.unclear else len(self.rising) * len(self.falling)


def _parted(forms: list[Form], free: int) -> Parted:
    parts = Parted([], [], [], False)
    for form in forms:
        slope, least = np.asarray(form.slopes[free]), SAME * np.asarray(form.size)
        if (np.abs(slope) <= least).all():
            parts.kept.append(form)
        elif (slope > least).all():
            parts.rising.append(form)
        elif (slope < -least).all():
            parts.falling.append(form)
        else:
            return Parted([], [], [], True)
    return parts


def _joined(up: Form, down: Form, free: int) -> Form:
    """What is left of two forms when the free unknown may take any value."""
    rise, fall = np.asarray(up.slopes[free]), -np.asarray(down.slopes[free])
    total = rise + fall
    return Form(
        (up.value * fall + down.value * rise) / total,
        tuple((u * fall + d * rise) / total for u, d in zip(up.slopes, down.slopes, strict=True)),
        (up.size * fall + down.size * rise) / total,
    )
