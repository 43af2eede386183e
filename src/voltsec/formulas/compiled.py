"""One mode made ready for many points: where it holds, its fractions, and readings, all plain data.

The same checks as :func:`voltsec.periodic.verification.verify`, with constants folded in once; what is
left is numpy on chunks of points.  A compiled mode can be sent to another process.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.folding import Array, Constants, Folded, Value, derivative, evaluate, scaled
from voltsec.periodic.fraction_roots import Branch, in_turn, newton, with_root
from voltsec.periodic.fractions import Fractions
from voltsec.periodic.reading_list import ReadingList
from voltsec.periodic.reading_sources import RatioSource
from voltsec.periodic.readings import Look, Reading
from voltsec.periodic.verification import GAP, may_miss_edge, not_negative, open_conditions, vanishes
from voltsec.tableau.interval import Sequence
from voltsec.tableau.ring import Polynomial


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

        ``slack`` as in :func:`voltsec.periodic.verification.verify`.
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
                    good &= vanishes(evaluate(judged.value, full), evaluate(judged.size, full))
                for condition in self.conditions:
                    if not good.any():
                        break
                    top, size = (evaluate(part, full) for part in (condition.top.value, condition.top.size))
                    good &= not_negative(top, size, evaluate(condition.bottom, full), slack)
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

    def _branches(self, point: Mapping[str, Value], length: int) -> list[Branch]:
        if self.coupled:
            return newton(self.coupled, partial(self._at, point, length), length)
        branches: list[Branch] = [({}, np.ones(length, bool))]
        for step in self.steps:
            extended = []
            for known, exists in branches:
                full = dict(point) | known
                parts = [_spread(evaluate(part, full), length) for part in step.coefficients]
                extended += with_root((known, exists), step.unknown, parts)
            branches = extended
        return branches

    def _at(self, point: Mapping[str, Value], length: int, unknowns: dict[str, Array]) -> tuple[Array, Array]:
        """Values and slopes of the conditions on coupled fractions."""
        full = dict(point) | unknowns
        value = np.array([_spread(evaluate(c, full), length) for c, _ in self.system])
        return value, np.array([[_spread(evaluate(d, full), length) for d in row] for _, row in self.system])


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


def _order(fractions: Fractions, constants: Constants) -> Any:
    """Conditions one unknown after another where that goes, all at once where it does not."""
    ring = fractions.ring
    names = tuple(fractions.unknown.values())
    turns = in_turn(ring, fractions.shown, set(names))
    if turns is not None:
        steps = tuple(
            Step(name, tuple(constants.fold(part) for part in ring.coefficients(condition, name)))
            for name, condition in turns[0]
        )
        return steps, (), (), tuple(_judged(condition, constants) for condition in turns[1])
    folded = [constants.fold(condition) for condition in fractions.shown]
    system = tuple((f, tuple(derivative(f, name) for name in names)) for f in folded)
    return (), names, system, ()


def _spread(value: Value, length: int) -> Array:
    return np.broadcast_to(np.asarray(value, float), (length,))
