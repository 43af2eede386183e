"""A mode without written formulas over the variables of one sweep: its equations solved in floats.

The counterpart of :class:`voltsec.formulas.compiled.CompiledMode`, with the same checks: a point is
claimed only where every diode's current and reverse voltage has the right sign at both ends of every
interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.balance import Balance
from voltsec.periodic.batched import SAME, Solved, System, cut
from voltsec.periodic.core_rows import core_of
from voltsec.periodic.effective import load_symbol
from voltsec.periodic.feasible import Form, end_values, satisfied
from voltsec.periodic.folding import Array, Constants, Item, Linear, Value
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.points import base_point
from voltsec.periodic.reading_list import ReadingList
from voltsec.periodic.reading_sources import AVERAGES, FULL, RowSource
from voltsec.periodic.readings import Look, Reading
from voltsec.periodic.root_scan import starts
from voltsec.tableau.assembly import average_rows, loose_potentials, period_rows
from voltsec.tableau.interval import Sequence
from voltsec.tableau.network import Row, Unknown

NEIGHBOURS = 64
"""So many solved points at most serve as starts for the points around them."""

ROUNDS = 2
"""How often points start anew from their neighbours."""

STARTS = (0.08, 0.35, 0.75)
"""Shares of the switch interval tried for several unknown fractions where nothing better is known."""

SHORTEST = 1e-12
"""An interval lasts at least this share of the period."""

NOTHING = 1e-12
"""A current or voltage below this share of the circuit's own is zero."""


class SolvedLook(Look):
    """Values of readings at points where the systems are solved."""

    def __init__(self, point: Mapping[str, Value], systems: Mapping[str, Solved]) -> None:
        super().__init__(point)
        self.systems = systems

    def _evaluated(self, item: Item) -> Value:
        if isinstance(item, Linear):
            return self.systems[item.system].sum(item)
        return super()._evaluated(item)


@dataclass(frozen=True)
class Sign:
    """What must not be negative at either end of an interval: a current or a reverse voltage of a diode."""

    interval: int
    diode: str
    middle: Linear
    """Mean of the values at the ends."""
    ramp: Linear
    """Half the rise."""
    zero: float
    """Size of what counts as zero."""


@dataclass(frozen=True)
class Wrong:
    """A sign that does not hold: its values at the interval's start and end."""

    interval: int
    diode: str
    start: float
    end: float


class Effort(Enum):
    """From where Newton's method starts."""

    START = 1
    """The mode's own start alone."""
    NEIGHBOURS = 2
    """From points that are solved already as well."""
    ALL = 3
    """From wherever a solution may lie."""


@dataclass(frozen=True)
class RowMode:
    """A sequence ready for many points; ``exact`` is the same mode solved point by point."""

    name: str
    exact: NumericMode
    systems: tuple[tuple[str, System], ...]
    signs: tuple[Sign, ...]
    start: tuple[float, ...]
    """A guess of every unknown fraction as a share of its switch interval."""
    readings: tuple[tuple[str, Reading], ...]

    @property
    def sequence(self) -> Sequence:
        """The intervals and what conducts in them."""
        return self.exact.sequence

    def holds(
        self, point: Mapping[str, Value], length: int, effort: Effort = Effort.ALL
    ) -> tuple[Array, dict[str, Array]]:
        """Where the mode holds among ``length`` points, and its fractions there (by name)."""
        system = self._system(FULL)
        mask = np.zeros(length, bool)
        chosen = {name: np.full(length, np.nan) for name in system.fractions}
        lengths = self._stage_lengths(point, length)
        ordered = (lengths > self._least_lengths()).all(axis=0)
        stages = [self.exact.sequence.intervals[k].stage for k in system.unknown]
        whole = dict(point)
        for k, interval in enumerate(self.exact.sequence.intervals):
            whole[system.fractions[k]] = lengths[interval.stage]
        limits = lengths[stages]
        wrong = np.full((len(system.unknown), length), np.nan)
        """Roots at which signs are wrong."""

        def attempt(places: Array, start: Array) -> None:
            if not places.size:
                return
            here = cut(whole, places)
            found, solved = system.settle(here, start, wrong[:, places])
            full = system.with_fractions(here, found)
            good = solved & self._claims(full, places.size, solved)
            wrong[:, places[solved & ~good]] = found[:, solved & ~good]
            mask[places[good]] = True
            for name in system.fractions:
                chosen[name][places[good]] = np.broadcast_to(full[name], good.shape)[good]

        left = np.flatnonzero(ordered)
        if not left.size:
            return mask, chosen
        attempt(left, limits[:, left] * np.array(self.start)[:, None])
        if not system.unknown or effort is Effort.START:
            return mask, chosen
        around = self._coordinates(point, length)
        tried = np.full(length, -1)
        for _ in range(ROUNDS):
            left = np.flatnonzero(ordered & ~mask)
            solved = np.flatnonzero(mask)
            if not left.size or not solved.size:
                break
            known = solved[np.linspace(0, solved.size - 1, min(NEIGHBOURS, solved.size)).astype(int)]
            nearest = known[np.abs(around[:, left, None] - around[:, None, known]).sum(axis=0).argmin(axis=1)]
            fresh = nearest != tried[left]  # from the same neighbour it would be the same way
            left, nearest = left[fresh], nearest[fresh]
            tried[left] = nearest
            shares = np.array([chosen[system.fractions[k]][nearest] for k in system.unknown])
            attempt(left, shares / limits[:, nearest] * limits[:, left])
        if effort is Effort.NEIGHBOURS:
            return mask, chosen
        left = np.flatnonzero(ordered & ~mask)
        for some, guess in starts(system, cut(whole, left), limits[0, left]):
            open_ = ~mask[left[some]]
            attempt(left[some[open_]], guess[:, open_])
        for share in STARTS if len(system.unknown) > 1 else ():
            left = np.flatnonzero(ordered & ~mask)
            attempt(left, limits[:, left] * share)
        return mask, chosen

    def read(self, point: Mapping[str, Value], length: int) -> dict[str, Array]:
        """Every reading at ``length`` points where the mode holds; ``point`` includes the fractions."""
        look = SolvedLook(point, {name: system.solve(point, length) for name, system in self.systems})
        with np.errstate(all="ignore"):
            return {
                name: np.broadcast_to(np.asarray(reading.value(look), float), (length,))
                for name, reading in self.readings
            }

    def in_floats(self, point: Mapping[str, float]) -> dict[str, Array] | None:
        """Readings at one point; None where the sequence is not found to hold there."""
        mask, fractions = self.holds(point, 1)
        return self.read({**point, **fractions}, 1) if mask[0] else None

    def by_exact_equations(self, point: Mapping[str, float]) -> dict[str, Array] | None:
        """Readings at one point with fractions from the exact path; None where it does not hold there."""
        if any(length < -SHORTEST for length in self.exact.stages.fractions(point)):
            return None
        found = self.exact.at(point)
        if found is None:
            return None
        return self.read({name: float(value[0]) for name, value in found[1].items()}, 1)

    def _system(self, name: str) -> System:
        return dict(self.systems)[name]

    def _stage_lengths(self, point: Mapping[str, Value], length: int) -> Array:
        lengths = self.exact.stages.fractions(point)
        return np.array([np.broadcast_to(np.asarray(one, float), (length,)) for one in lengths])

    def _least_lengths(self) -> Array:
        """What each switch interval must exceed: two edges may coincide where nothing happens between."""
        sequence = self.exact.sequence
        split = {sequence.intervals[k].stage for k in sequence.unknown}
        count = len(self.exact.stages.closed)
        return np.array([[SHORTEST if stage in split else -SHORTEST] for stage in range(count)])

    def _claims(self, point: Mapping[str, Value], length: int, among: Array) -> Array:
        """Where every fraction is positive and every sign is right, of the points ``among``."""
        system = self._system(FULL)
        good = among.copy()
        with np.errstate(all="ignore"):
            for name, interval in zip(system.fractions, self.exact.sequence.intervals, strict=True):
                good &= np.greater(point[name], self._least_lengths()[interval.stage])
        places = np.flatnonzero(good)
        if not places.size:
            return good
        here = cut(point, places)
        solved = system.solve(here, places.size)
        forms: list[Form] = []
        with np.errstate(all="ignore"):
            for sign in self.signs:
                forms += self._ends(solved, sign)
            good[places] = satisfied(forms, places.size)
        return good

    @staticmethod
    def _ends(solved: Solved, sign: Sign) -> list[Form]:
        return end_values(solved.judged(sign.middle.terms), solved.judged(sign.ramp.terms), sign.zero)

    def wrong_signs(self, point: Mapping[str, float]) -> tuple[tuple[float, ...], list[Wrong]] | None:
        """The fractions at one point, whatever the signs there, and the signs that are wrong.

        None where the equations are not solved.  What stays open has no sign.
        """
        system = self._system(FULL)
        lengths = self._stage_lengths(point, 1)
        stages = [interval.stage for interval in self.exact.sequence.intervals]
        whole = dict(point) | {f: lengths[stage] for f, stage in zip(system.fractions, stages, strict=True)}
        start = lengths[[stages[k] for k in system.unknown]] * np.array(self.start)[:, None]
        found, good = system.settle(whole, start)
        if not good[0]:
            return None
        full = system.with_fractions(whole, found)
        solved = system.solve(full, 1)
        wrong = []
        for sign in self.signs:
            first, last = self._ends(solved, sign)
            if all(np.all(np.abs(slope) <= SAME * first.size) for slope in (*first.slopes, *last.slopes)):
                ends = tuple(float(np.ravel(form.value)[0]) for form in (first, last))
                if min(ends) < 0:
                    wrong.append(Wrong(sign.interval, sign.diode, *ends))
        return tuple(float(np.ravel(full[name])[0]) for name in system.fractions), wrong

    def _coordinates(self, point: Mapping[str, Value], length: int) -> Array:
        """Where the points lie to each other: every varied symbol as its rank, 0 to 1."""
        rows = []
        for value in point.values():
            if isinstance(value, np.ndarray) and value.ndim:
                values, places = np.unique(value, return_inverse=True)
                rows.append(places / max(len(values) - 1, 1))
        return np.array(rows).reshape(len(rows), length)


def row_mode(
    name: str, exact: NumericMode, constants: Mapping[str, float], wanted: tuple[str, ...]
) -> RowMode:
    """``exact`` with ``constants`` (SI units) put in and the readings called ``wanted``."""
    circuit, sequence = exact.circuit, exact.sequence
    balance = Balance(circuit, sequence, exact.references)
    typical = base_point(circuit) | dict(constants) | dict.fromkeys(sequence.fractions, 0.3)
    volt, ampere = _levels(circuit, typical)
    folding = Constants(balance.ring, constants)

    def level(unknown: Unknown) -> float:
        return ampere if unknown[-1][0] == "i" else volt

    def system(rows: list[Row], unknown: tuple[int, ...]) -> System:
        last = tuple(_last(exact, k) for k in unknown)
        parts = ("m", "r", "b") if balance.bends else ("m", "r")
        loose = loose_potentials(balance.network, rows, parts, len(sequence.intervals))
        core = core_of(rows, folding, typical, level, loose)
        return System(core, sequence.fractions, unknown, last, volt, ampere)

    for all_events in (False, True):
        rows = period_rows(circuit, sequence, balance.network, all_events, balance.bends)
        full = system(rows, sequence.unknown)
        if full.surplus(typical) >= len(sequence.unknown):
            break
    systems = [(FULL, full)]
    if not balance.by_itself:
        systems.append((AVERAGES, system(average_rows(circuit, sequence, balance.network), ())))
    source = RowSource(balance, folding)
    readings = ReadingList(source)
    return RowMode(
        name,
        exact,
        tuple(systems),
        _signs(balance, source, volt * NOTHING, ampere * NOTHING),
        _start(exact),
        tuple((quantity, readings.reading(quantity)) for quantity in wanted),
    )


@dataclass(frozen=True)
class SolvedInFloats:
    """A sequence's linear systems solved at one point."""

    balance: Balance
    point: Mapping[str, float]
    source: RowSource
    look: SolvedLook

    def value(self, k: int, row: Row, part: str) -> float:
        """The ``"average"`` or ``"ramp"`` of a sum in interval ``k``, not a number where it is left open."""
        share = self.source.average_share(k, row) if part == "average" else self.source.share(k, row)
        item = share.mean if part == "average" else share.ramp
        return float(np.ravel(self.look.ratio(item))[0])


def solved_in_floats(exact: NumericMode, point: Mapping[str, float]) -> SolvedInFloats:
    """``exact`` at a point with a value for every symbol and fraction, SI units."""
    constants = {name: float(value) for name, value in point.items() if name not in exact.sequence.fractions}
    ready = row_mode("", exact, constants, ())
    look = SolvedLook(point, {name: system.solve(point, 1) for name, system in ready.systems})
    balance = Balance(exact.circuit, exact.sequence, exact.references)
    return SolvedInFloats(balance, point, RowSource(balance, Constants(balance.ring, constants)), look)


def _levels(circuit: Circuit, typical: Mapping[str, float]) -> tuple[float, float]:
    """An ordinary voltage and current of the circuit, volt and ampere."""
    volt = max((typical[source.quantity.symbol] for source in circuit.sources), default=1.0)
    load = load_symbol(circuit)
    return volt, volt / (typical[load] if load is not None else 1.0)


def _last(exact: NumericMode, k: int) -> int:
    intervals = exact.sequence.intervals
    return max(j for j, interval in enumerate(intervals) if interval.stage == intervals[k].stage)


def _start(exact: NumericMode) -> tuple[float, ...]:
    """Unknown fractions where the sequence was met, as shares of their switch intervals."""
    if exact.witness is None:
        return (0.3,) * len(exact.sequence.unknown)
    intervals = exact.sequence.intervals
    whole: dict[int, float] = {}
    for interval, share in zip(intervals, exact.witness, strict=True):
        whole[interval.stage] = whole.get(interval.stage, 0.0) + share
    return tuple(exact.witness[k] / whole[intervals[k].stage] for k in exact.sequence.unknown)


def _signs(balance: Balance, source: RowSource, volt: float, ampere: float) -> tuple[Sign, ...]:
    """Currents of conducting diodes, reverse voltages (and drops) of blocking ones."""
    found = []
    for k, interval in enumerate(balance.sequence.intervals):
        for diode in balance.circuit.diodes:
            row: Row = {("i", diode.name): balance.ring.one}
            zero = ampere
            if diode.name not in interval.conducting:
                row = {u: -c for u, c in balance.network.voltage(diode.start, diode.end)}
                zero = volt
                if diode.drop is not None:
                    row[None] = balance.ring.symbol(diode.drop.symbol)
            mean, ramp = source.sum(k, row, "m"), source.sum(k, row, "r")
            if balance.bends:  # the mean as well: a bend that is free would suit both ends with any mean
                found.append(Sign(k, diode.name, mean, source.sum(k, {}, "r"), zero))
                mean = source.sum(k, row, "mb")
            found.append(Sign(k, diode.name, mean, ramp, zero))
    return tuple(found)
