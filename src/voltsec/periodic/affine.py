"""Ratios plus multiples of unknowns that stay free, and conditions from which these are eliminated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from voltsec.tableau.network import Unknown
from voltsec.tableau.ratio import Ratio

Label = tuple[int, str, str, str]
"""Interval, device, quantity and moment of a sign condition."""


@dataclass(frozen=True)
class Affine:
    """A ratio plus ratios times unknowns that stay free."""

    constant: Ratio
    free: dict[Unknown, Ratio]

    @property
    def is_zero(self) -> bool:
        """True where nothing is left of it."""
        return self.constant.is_zero and not self.free

    def plus(self, other: Affine, factor: int) -> Affine:
        """This plus ``factor`` times ``other``."""
        free = dict(self.free)
        for unknown, ratio in other.free.items():
            scaled = ratio.times(factor)
            total = free[unknown] + scaled if unknown in free else scaled
            if total.is_zero:
                free.pop(unknown, None)
            else:
                free[unknown] = total
        return Affine(self.constant + other.constant.times(factor), free)

    def times(self, factor: Ratio) -> Affine:
        """This times a ratio."""
        return Affine(self.constant * factor, {u: r * factor for u, r in self.free.items()})


MOST_PAIRS = 60
"""Eliminating a free unknown that would make more pairs of conditions is given up."""


def without_free(forms: list[tuple[Label, Affine]]) -> tuple[list[tuple[Label, Affine]], bool]:
    """Conditions ``form >= 0`` that remain when the free unknowns may take any value.

    The second value is False where the sign of a factor could not be told and conditions had to be
    left out.
    """
    all_decided = True
    while True:
        forms = _without_implied(forms)
        counts: dict[Unknown, list[int]] = {}
        for _, form in forms:
            for unknown, ratio in form.free.items():
                sign = ratio.sign
                pair = counts.setdefault(unknown, [0, 0, 0])
                pair[2 if sign is None else 0 if sign > 0 else 1] += 1
        if not counts:
            return forms, all_decided
        unknown = min(counts, key=lambda u: (counts[u][2] > 0, counts[u][0] * counts[u][1]))
        rises, falls, unclear = counts[unknown]
        decided = not unclear and rises * falls <= MOST_PAIRS
        rising: list[Any] = []
        falling: list[Any] = []
        kept: list[Any] = []
        for label, form in forms:
            if unknown not in form.free:
                kept.append((label, form))
            elif decided:
                (rising if (form.free[unknown].sign or 0) > 0 else falling).append((label, form))
        if decided:
            seen = {_key(form) for _, form in kept}
            for label, up in rising:
                for _, down in falling:
                    rise, fall = up.free[unknown], down.free[unknown]
                    combined = up.times(-fall).plus(down.times(rise), 1)
                    if not combined.free and combined.constant.sign in (0, 1):
                        continue  # holds for all values
                    key = _key(combined)
                    if key not in seen:
                        seen.add(key)
                        kept.append((label, combined))
        all_decided = all_decided and decided
        forms = kept


def _without_implied(forms: list[tuple[Label, Affine]]) -> list[tuple[Label, Affine]]:
    """Of conditions with the same free part only those that no other implies by the signs of coefficients.

    A leg's current at the ends of many intervals is one condition then, that at its lowest.
    """
    groups: dict[tuple[Any, ...], list[Any]] = {}
    kept: list[Any] = []
    for entry in forms:
        alike = groups.setdefault(_free_key(entry[1]), []) if entry[1].free else None
        if alike is None:
            kept.append(entry)
            continue
        constant = entry[1].constant
        implied, weaker = False, []
        for other in alike:
            above = (constant - other[1].constant).sign
            implied = implied or above in (0, 1)
            if above == -1:
                weaker.append(other)
        if not implied:
            alike[:] = [other for other in alike if other not in weaker] + [entry]
    return kept + [entry for alike in groups.values() for entry in alike]


def _key(form: Affine) -> tuple[Any, ...]:
    return (str(form.constant.numerator), str(form.constant.denominator), _free_key(form))


def _free_key(form: Affine) -> tuple[Any, ...]:
    return tuple(sorted((str(u), str(r.numerator), str(r.denominator)) for u, r in form.free.items()))
