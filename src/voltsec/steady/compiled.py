"""One mode made ready for many points: where it holds, its fractions, and readings, all plain data.

The same checks as :func:`voltsec.steady.verification.verify`, with constants folded in once; what is
left is numpy on chunks of points.  A compiled mode can be sent to another process.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.steady.folding import Array, Constants, Folded, Value, derivative, evaluate, scaled
from voltsec.steady.fractions import Fractions, _newton_step
from voltsec.steady.modes import ModeBuilder
from voltsec.steady.reading_list import ReadingList
from voltsec.steady.reading_sources import RatioSource
from voltsec.steady.readings import Look, Reading
from voltsec.steady.verification import GAP, may_miss_edge, open_conditions
from voltsec.tableau.interval import Sequence
from voltsec.tableau.ring import Polynomial

NEWTON_STEPS = 40
NEWTON_STARTS = 6


@dataclass(frozen=True)
class Judged:
    """A polynomial and the sum of the sizes of its terms."""

    value: Folded
    size: Folded


@dataclass(frozen=True)
class Condition:
    """A ratio that must not be negative."""

    top: Judged
    bottom: Folded


@dataclass(frozen=True)
class Step:
    """A polynomial for one unknown fraction, by powers, once the earlier unknowns are known."""

    unknown: str
    coefficients: tuple[Folded, ...]


@dataclass(frozen=True)
class CompiledMode:
    """A mode over the variables of one sweep."""

    name: str
    sequence: Sequence
    steps: tuple[Step, ...]
    coupled: tuple[str, ...]
    """Unknown fractions that only all conditions together fix."""
    system: tuple[tuple[Folded, tuple[Folded, ...]], ...]
    """For those: each condition with its derivatives."""
    extra: tuple[Judged, ...]
    """Conditions of which every unknown is already known."""
    images: tuple[tuple[str, Folded, float], ...]
    """Every interval's fraction in duties and unknowns, and what it must exceed."""
    constraints: tuple[Judged, ...]
    conditions: tuple[Condition, ...]
    readings: tuple[tuple[str, Reading], ...]
    slack: float = 0.0
    """By how much of its terms' size a condition may miss zero where no mode holds strictly."""

    def holds(
        self, point: Mapping[str, Value], length: int, slack: float = 0.0
    ) -> tuple[Array, dict[str, Array]]:
        """Where the mode holds among ``length`` points, and its fractions there (by name).

        ``slack`` as in :func:`voltsec.steady.verification.verify`.
        """
        mask = np.zeros(length, bool)
        chosen = {name: np.full(length, np.nan) for name, _, _ in self.images}
        for unknowns, exists in self._branches(point, length):
            full = dict(point) | unknowns
            good = exists.copy()
            with np.errstate(all="ignore"):
                for judged in self.extra:
                    good &= np.abs(evaluate(judged.value, full)) < 1e-7 * np.asarray(
                        evaluate(judged.size, full)
                    )
                for name, image, least in self.images:
                    full[name] = evaluate(image, full)
                    good &= np.greater(full[name], least)
                for judged in self.constraints:
                    good &= np.abs(evaluate(judged.value, full)) < 1e-9 * np.asarray(
                        evaluate(judged.size, full)
                    )
                for condition in self.conditions:
                    if not good.any():
                        break
                    top = evaluate(condition.top.value, full)
                    sign = np.sign(evaluate(condition.bottom, full))
                    # nothing at all is as good as zero
                    below = -(1e-8 + slack) * np.asarray(evaluate(condition.top.size, full))
                    good &= ~(sign * np.asarray(top) < below) | ~np.isfinite(top)
            better = good & ~mask
            for name, _, _ in self.images:
                np.copyto(chosen[name], full[name], where=better)
            mask |= good
        return mask, chosen

    def read(self, point: Mapping[str, Value], length: int) -> dict[str, Array]:
        """Every reading at ``length`` points where the mode holds; ``point`` includes the fractions."""
        look = Look(point)
        with np.errstate(all="ignore"):
            return {
                name: np.broadcast_to(np.asarray(reading.value(look), float), (length,))
                for name, reading in self.readings
            }

    def _branches(self, point: Mapping[str, Value], length: int) -> list[tuple[dict[str, Value], Array]]:
        branches: list[tuple[dict[str, Value], Array]] = [({}, np.ones(length, bool))]
        for step in self.steps:
            branches = [
                after for known, exists in branches for after in _solve(step, known, exists, point, length)
            ]
        if self.coupled:
            return self._iterate(point, length)
        return branches

    def _iterate(self, point: Mapping[str, Value], length: int) -> list[tuple[dict[str, Value], Array]]:
        """Newton's method on all conditions at once, from several starts."""
        names = self.coupled
        generator = np.random.default_rng(0)
        found: list[tuple[dict[str, Value], Array]] = []
        for first in generator.uniform(0.05, 0.5, (NEWTON_STARTS, len(names))):
            x = np.repeat(first[:, None], length, axis=1)
            step = np.full_like(x, np.nan)
            with np.errstate(all="ignore"):
                for _ in range(NEWTON_STEPS):
                    full = dict(point) | dict(zip(names, x, strict=True))
                    value = np.array([_spread(evaluate(c, full), length) for c, _ in self.system])
                    slope = np.array(
                        [[_spread(evaluate(d, full), length) for d in row] for _, row in self.system]
                    )
                    step = _newton_step(slope, value)
                    x = x - np.clip(step, -0.25, 0.25)
                    if np.nanmax(np.abs(step), initial=0) < 1e-13:
                        break
                good = np.isfinite(x).all(axis=0) & (np.nan_to_num(np.abs(step), nan=1).max(axis=0) < 1e-9)
                good &= (x > 0).all(axis=0) & (x < 1).all(axis=0)
            if good.any():
                found.append((dict(zip(names, x, strict=True)), good))
            if good.all():
                break
        return found


def compile_mode(
    name: str, builder: ModeBuilder, constants: Mapping[str, float], wanted: tuple[str, ...]
) -> CompiledMode:
    """``builder``'s mode with ``constants`` (SI units) folded in and the readings called ``wanted``."""
    balance, fractions = builder.balance, builder.found.fractions
    folding, within = Constants(balance.ring, constants), Constants(fractions.ring, constants)
    steps, coupled, system, extra = _order(fractions, within)
    readings = ReadingList(RatioSource(builder.waveforms, folding))
    return CompiledMode(
        name=name,
        sequence=balance.sequence,
        steps=steps,
        coupled=coupled,
        system=system,
        extra=extra,
        images=tuple(
            (
                fraction,
                scaled(within.fold(fractions.images[fraction]), 1 / fractions.over),
                fractions.least(fraction),
            )
            for fraction in balance.sequence.fractions
        ),
        constraints=tuple(_judged(polynomial, folding) for polynomial in fractions.constraints),
        conditions=tuple(
            Condition(
                _judged(condition.ratio.numerator, folding),
                folding.fold(condition.ratio.denominator),
            )
            for condition in open_conditions(balance)
        ),
        readings=tuple((quantity, readings.reading(quantity)) for quantity in wanted),
        slack=GAP if may_miss_edge(balance) else 0.0,
    )


def _judged(polynomial: Polynomial, constants: Constants) -> Judged:
    return Judged(constants.fold(polynomial), constants.fold(polynomial, absolute=True))


def _order(fractions: Fractions, constants: Constants):
    """Conditions one unknown after another where that goes, all at once where it does not."""
    ring = fractions.ring
    names = tuple(fractions.unknown.values())
    known: set[str] = set()
    steps: list[Step] = []
    waiting = list(fractions.shown)
    while waiting:
        for condition in waiting:
            missing = (ring.variables(condition) & set(names)) - known
            if len(missing) == 1:
                break
        else:
            break
        waiting.remove(condition)
        (unknown,) = missing
        parts = tuple(constants.fold(part) for part in ring.coefficients(condition, unknown))
        steps.append(Step(unknown, parts))
        known.add(unknown)
    if all(not (ring.variables(condition) & set(names)) - known for condition in waiting):
        extra = tuple(_judged(condition, constants) for condition in waiting)
        return tuple(steps), (), (), extra
    folded = [constants.fold(condition) for condition in fractions.shown]
    system = tuple((f, tuple(derivative(f, name) for name in names)) for f in folded)
    return (), names, system, ()


def _solve(
    step: Step, known: dict[str, Value], exists: Array, point: Mapping[str, Value], length: int
) -> list[tuple[dict[str, Value], Array]]:
    full = dict(point) | known
    parts = [_spread(evaluate(part, full), length) for part in step.coefficients]
    with np.errstate(all="ignore"):
        if len(parts) == 2:
            candidates = [-parts[0] / parts[1]]
        elif len(parts) == 3:
            c, b, a = parts
            root = np.sqrt(b * b - 4 * a * c)
            q = -0.5 * (b + np.where(b >= 0, root, -root))  # the pair without cancellation
            candidates = [q / a, c / q]
        else:
            candidates = _real_roots(parts, exists)
        branches = []
        for candidate in candidates:
            good = exists & (candidate > 0) & (candidate < 1)
            if good.any():
                branches.append((known | {step.unknown: candidate}, good))
    return branches


def _real_roots(parts: list[Array], exists: Array) -> list[Array]:
    """Real roots between 0 and 1 at every point, by companion matrices; nan where there are fewer."""
    degree = len(parts) - 1
    table = np.array(parts)
    good = exists & np.isfinite(table).all(axis=0) & (table[-1] != 0)
    found = np.full((degree, len(exists)), np.nan)
    if good.any():
        companion = np.zeros((int(good.sum()), degree, degree))
        companion[:, 1:, :-1] = np.eye(degree - 1)
        companion[:, :, -1] = -(table[:-1, good] / table[-1, good]).T
        roots = np.linalg.eigvals(companion)
        real = np.abs(roots.imag) < 1e-9 * (1 + np.abs(roots))
        values = np.where(real & (roots.real > 0) & (roots.real < 1), roots.real, np.nan)
        found[:, good] = np.sort(values, axis=1).T
    return list(found)


def _spread(value: Value, length: int) -> Array:
    return np.broadcast_to(np.asarray(value, float), (length,))
