"""Exact numbers at operating points, each with the duty that gives the wanted output there.

Nothing is asked of formulas: what conducts at one point is tried at its neighbours, and so is the duty, so
that thousands of points of a lossy stage cost no more than those of an ideal one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby
from time import monotonic

import numpy as np

from voltsec.formulas.engine import engine_of
from voltsec.periodic.stages import Stages, stages_of
from voltsec.practice.asked import known_point
from voltsec.practice.design.corners import Array
from voltsec.practice.design.points import Points, duty_line, first_crossing
from voltsec.practice.wanted import NEAREST, Unreachable, wanted_duty
from voltsec.results.solution import Solution
from voltsec.results.table import results_of
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.exact import Exact, Expected, exact_results

DUTIES = 33
"""Duties of the first look at a point that has no neighbour."""
ROUNDS = 12
"""Secants towards a duty; four or five are enough from a neighbour."""
ACCURATE = 1e-10
"""Relative error of the output at which a duty is found."""
ACCEPTED = 1e-6
"""The same at which it is kept when the steps are at their end."""
REMEMBERED = 400
"""Points of each sequence that are kept as guesses."""
PATIENCE = 10.0
"""Seconds that one batch may search for what conducts."""
SHORT = 0.01
"""Intervals of a smaller share of the period do not make another mode."""
MOST_LOOKED = 24
"""Points of a batch without a duty that are looked at one by one."""


@dataclass
class _Met:
    """A sequence that was met, and some of the points where it was."""

    sequence: Sequence
    instants: frozenset[int]
    places: Array
    """(N, axes and duty), each from 0 to 1."""
    shares: Array
    """(N, intervals): share of the stage's length."""


@dataclass(frozen=True)
class Found:
    """Numbers at P points; nan where there are none."""

    values: dict[str, Array]
    mode: Array
    """(P,) names of the modes with formulas, empty where none conducts so."""

    def __getitem__(self, name: str) -> Array:
        """(P,) numbers of one result."""
        return self.values[name]


class Evaluated:
    """A solved circuit at the points of a specification."""

    def __init__(self, solution: Solution, points: Points, formulas: bool = True) -> None:
        """``formulas`` is False where ``points`` are of another circuit of the same sequences."""
        self.solution = solution
        self.points = points
        self.formulas = formulas
        self.table = results_of(points.circuit)
        self.stages: tuple[Stages, ...] = tuple(stages_of(points.circuit))
        self.met: list[_Met] = []
        self.known_places = np.zeros((0, len(points.box.axes)))
        self.known_duties = np.zeros((0, 2))
        """Duty and slope of the output at known places."""
        engine = engine_of(solution)
        self.sequences = [(name, builder.balance.sequence) for name, builder in engine.builders]
        self.sequences += [(name, mode.sequence) for name, mode in engine.numeric]

    def with_sizes(self, sizes: dict[str, float]) -> Evaluated:
        """The same stage with other values, what is known of the neighbourhood kept as guesses."""
        if sizes == self.points.sizes:
            return self
        other = Evaluated(self.solution, replace(self.points, sizes=sizes), self.formulas)
        other.met, other.known_places, other.known_duties = self.met, self.known_places, self.known_duties
        return other

    def at(self, places: Array, names: tuple[str, ...], short: float = SHORT) -> Found:
        """Exact results ``names`` at (P, axes) places."""
        values = self.points.values(places)
        good = np.ones(len(places), bool)
        if self.points.duty is not None:
            duty = self.duties(places)
            good = np.isfinite(duty)
            values[self.points.duty] = np.where(good, duty, 0.5)
        if not good.any():
            empty = np.full(len(places), np.nan)
            return Found(dict.fromkeys(names, empty), np.full(len(places), ""))
        exact = self._exact(values, places, names)
        table = {name: np.where(good & np.isfinite(v), v, np.nan) for name, v in exact.values.items()}
        return Found(table, np.where(good, self._modes(exact, short), ""))

    def duties(self, places: Array) -> Array:
        """(P,) the duty that gives the wanted output on the stable side; nan where there is none."""
        wanted = self.points.target(places)
        assert self.points.duty is not None and wanted is not None
        values = self.points.values(places)
        found = np.full(len(places), np.nan)
        slope = np.full(len(places), np.nan)
        start, rate = self._starts(places)
        found, slope = self._secants(values, places, wanted, start, rate)
        left = np.flatnonzero(np.isnan(found))
        if left.size:
            part = places[left]
            start, rate = self._looked(part)
            again = {name: value[left] for name, value in values.items()}
            found[left], slope[left] = self._secants(again, part, wanted[left], start, rate)
            open_ = np.isnan(found) if self.formulas else np.zeros(len(found), bool)
            for k in np.flatnonzero(open_ & np.isin(np.arange(len(found)), left))[:MOST_LOOKED]:
                found[k] = self._one(places[k : k + 1])
        kept = np.isfinite(found) & np.isfinite(slope)
        self.known_places = np.concatenate([self.known_places, places[kept]])[-4 * REMEMBERED :]
        pairs = np.stack([found[kept], slope[kept]], axis=1)
        self.known_duties = np.concatenate([self.known_duties, pairs])[-4 * REMEMBERED :]
        return found

    def why_unreachable(self, place: Array) -> str:
        """What :func:`voltsec.practice.wanted.wanted_duty` says of a (1, axes) point without a duty."""
        wanted = self.points.target(place)
        assert wanted is not None
        one = {name: float(value[0]) for name, value in self.points.values(place).items()}
        try:
            wanted_duty(self.solution, float(wanted[0]), one, self.points.duty)
        except Unreachable as problem:
            return problem.faults[0].message
        return f"no duty gives {float(wanted[0]):.6g} V"

    def _output(self, values: dict[str, Array], places: Array, duty: Array) -> Array:
        name = self.points.duty
        assert name is not None
        point = {**values, name: duty}
        return self._exact(point, places, ("output_voltage",)).values["output_voltage"]

    def _starts(self, places: Array) -> tuple[Array, Array]:
        """Duty and slope of the nearest known place."""
        if not len(self.known_places):
            first = np.unique(np.linspace(0, len(places) - 1, min(len(places), 9)).astype(int))
            corners = np.concatenate([self.points.box.corners(), places[first]])[:17]
            start, rate = self._looked(corners)
            good = np.isfinite(start)
            self.known_places = corners[good]
            self.known_duties = np.stack([start[good], rate[good]], axis=1)
        if not len(self.known_places):
            return np.full(len(places), np.nan), np.full(len(places), np.nan)
        near = self._nearest(self._scaled(places), self._scaled(self.known_places))
        return self.known_duties[near, 0], self.known_duties[near, 1]

    def _looked(self, places: Array) -> tuple[Array, Array]:
        """Duty and slope from a look along all duties."""
        grid = duty_line(DUTIES)
        many = np.repeat(places, DUTIES, axis=0)
        values = self.points.values(many)
        outputs = self._output(values, many, np.tile(grid, len(places))).reshape(len(places), DUTIES).T
        wanted = self.points.target(places)
        assert wanted is not None
        return first_crossing(grid, outputs, self._signed(outputs, wanted))

    def _signed(self, outputs: Array, wanted: Array) -> Array:
        with np.errstate(all="ignore"):
            sign = np.sign(np.nansum(np.sign(outputs), axis=0))
        return np.where((sign < 0) & (wanted > 0), -wanted, wanted)

    def _secants(
        self, values: dict[str, Array], places: Array, wanted: Array, start: Array, slope: Array
    ) -> tuple[Array, Array]:
        """(P,) duty and slope, nan where the steps lead nowhere or to the side where more duty gives less."""
        found, best = np.full(len(start), np.nan), np.full(len(start), np.inf)
        rates = np.full(len(start), np.nan)
        known = np.flatnonzero(np.isfinite(start) & np.isfinite(slope) & (slope != 0))
        x, rate = start[known], slope[known]
        before: tuple[Array, Array] | None = None
        for _ in range(ROUNDS):
            if not known.size:
                break
            part = {name: value[known] for name, value in values.items()}
            output = self._output(part, places[known], x)
            target = self._signed(output[None, :], wanted[known])
            error = output - target
            share = np.abs(error / target)
            if before is not None:
                with np.errstate(all="ignore"):
                    secant = (error - before[1]) / (x - before[0])
                rate = np.where(np.isfinite(secant) & (secant * rate > 0), secant, rate)
            better = share < best[known]
            found[known[better]], best[known[better]] = x[better], share[better]
            rates[known[better]] = rate[better]
            stay = np.isfinite(error) & (share > ACCURATE)
            known, rate, before = known[stay], rate[stay], (x[stay], error[stay])
            x = np.clip(before[0] - before[1] / rate, NEAREST, 1 - NEAREST)
            # a step over most of what is left towards full duty would leave the branch
            x = np.clip(x, before[0] / 4, 1 - (1 - before[0]) / 4)
        found[best > ACCEPTED] = np.nan
        return found, rates

    def _one(self, place: Array) -> float:
        """One point at which the steps lead nowhere, looked at closely."""
        wanted = self.points.target(place)
        assert wanted is not None
        one = {name: float(value[0]) for name, value in self.points.values(place).items()}
        try:
            return wanted_duty(self.solution, float(wanted[0]), one, self.points.duty).solutions[0].duty
        except Unreachable:
            return float("nan")

    def _scaled(self, places: Array) -> Array:
        low = np.array([axis.low for axis in self.points.box.axes])
        span = np.array([axis.high - axis.low for axis in self.points.box.axes])
        return (places - low) / span if len(low) else np.zeros((len(places), 0))

    @staticmethod
    def _nearest(places: Array, known: Array) -> Array:
        """(P,) row of ``known`` that lies nearest to each place."""
        near = np.empty(len(places), int)
        for start in range(0, len(places), 512):
            part = places[start : start + 512]
            near[start : start + 512] = (
                ((part[:, None, :] - known[None, :, :]) ** 2).sum(axis=2).argmin(axis=1)
            )
        return near

    def _exact(self, values: dict[str, Array], places: Array, names: tuple[str, ...]) -> Exact:
        """Exact results, what conducts tried first as at neighbours."""
        circuit = self.points.circuit
        point, _ = known_point(circuit, values)
        length = len(places)
        whole = {name: np.broadcast_to(np.asarray(v, float), (length,)) for name, v in point.items()}
        duty = self.points.duty
        spots = self._scaled(places)
        timing = [whole[name] for name in ([duty] if duty is not None else [])]
        spots = np.concatenate([spots, *(t[:, None] for t in timing)], axis=1)
        lengths = self._lengths(whole, length)
        expected = []
        for one in self.met:
            near = self._nearest(spots, one.places)
            stages = [interval.stage for interval in one.sequence.intervals]
            guess = one.shares[near] * lengths[:, stages]
            expected.append(Expected(one.sequence, guess, one.instants))
        deadline = monotonic() + PATIENCE
        found = exact_results(
            circuit, whole, [self.table[name] for name in names], expected, lambda: monotonic() < deadline
        )
        self._remember(found, spots, lengths)
        return found

    def _lengths(self, whole: dict[str, Array], length: int) -> Array:
        """(P, stages) lengths of the stages in the order of edges that applies at each point."""
        width = max(len(one.closed) for one in self.stages)
        lengths = np.zeros((length, width))
        for one in self.stages:
            part = np.stack([np.broadcast_to(f, (length,)) for f in one.fractions(whole)], axis=1)
            inside = (part >= 0).all(axis=1)
            lengths[inside, : part.shape[1]] = part[inside]
        return lengths

    def _remember(self, found: Exact, spots: Array, lengths: Array) -> None:
        for number, (sequence, instants) in enumerate(found.sequences):
            here = np.flatnonzero(found.number == number)
            if not here.size:
                continue
            here = here[np.unique(np.linspace(0, here.size - 1, 50).astype(int))]
            stages = [interval.stage for interval in sequence.intervals]
            with np.errstate(all="ignore"):
                shares = found.fractions[number][here] / lengths[here][:, stages]
            shares = np.nan_to_num(shares)
            old = next((m for m in self.met if (m.sequence, m.instants) == (sequence, instants)), None)
            if old is None:
                self.met.append(_Met(sequence, instants, spots[here], shares))
            else:
                old.places = np.concatenate([old.places, spots[here]])[-REMEMBERED:]
                old.shares = np.concatenate([old.shares, shares])[-REMEMBERED:]

    def _modes(self, found: Exact, short: float) -> Array:
        """(P,) names of the modes that conduct as is met, but for intervals that are next to nothing."""
        names = np.full(len(found.number), "", dtype=object)
        for number, (sequence, _) in enumerate(found.sequences):
            here = np.flatnonzero(found.number == number)
            if not here.size:
                continue
            lasting = found.fractions[number][here] > short
            for pattern in np.unique(lasting, axis=0):
                shown = [one for one, on in zip(sequence.intervals, pattern, strict=True) if on]
                merged = [key for key, _ in groupby(shown)]
                name = next((n for n, s in self.sequences if list(s.intervals) == merged), "")
                names[here[(lasting == pattern).all(axis=1)]] = name
        return names
