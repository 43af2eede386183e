"""Which sequence holds at one point: numeric states on finer and finer steps, and what they stand for.

A sequence that a numeric state shows is solved exactly and kept if it passes its sign checks.  Where its
formulas may be long, floats tell first whether that is worth while.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import go_on
from voltsec.periodic.balance import Balance
from voltsec.periodic.complementarity import (
    PeriodicProblem,
    PeriodicState,
    grows_with_trace,
    interrupted,
    settles_with_ripple,
)
from voltsec.periodic.fractions import Fractions, NotClosed, OnlyAtEdge
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.points import as_arrays
from voltsec.periodic.row_mode import Effort, RowMode, row_mode
from voltsec.periodic.time_grid import graded, refined, uniform
from voltsec.periodic.verification import GAP, may_miss_edge, verify
from voltsec.search.candidates import Option, candidates
from voltsec.search.repair import corrected
from voltsec.search.search import Found, Point, Search
from voltsec.tableau.assembly import bends_count, ring_for
from voltsec.tableau.interval import Interval, Sequence
from voltsec.tableau.network import shared_flux
from voltsec.tableau.ring import TooLarge, symbols_of, value_of

COARSE = 8
"""Equal steps in each switch interval, tried where finer ones find no state."""

REFINEMENTS = 2
"""How often the time steps are made finer where devices change."""

REJECTIONS = 6
"""A sequence to be checked in floats is left alone after so many points where it did not hold."""

CORRECTIONS = 6
"""So many sequences with wrong signs are corrected at one point."""

CERTAIN = 3
"""Points without a steady state after which further ones are not looked at with capacitors that swing."""

EQUAL = 1e-9
"""Turns that differ by less are equal."""


@dataclass(frozen=True)
class Outcome:
    """What was found at one point: ``found`` new with its formulas, or what is known to hold there.

    ``numeric`` is a sequence whose formulas are too long to write, ``known`` one that is among the modes
    already, both with the ``shares`` of the period there.  With none of these nothing could be verified,
    or ``edge`` tells that a mode of continuous conduction misses its edge by little; ``no_state`` that
    there is no steady state.
    """

    found: Found | None = None
    numeric: NumericMode | None = None
    known: Sequence | None = None
    shares: tuple[float, ...] = ()
    edge: bool = False
    no_state: bool = False
    runaway: frozenset[str] = frozenset()
    cut_off: str | None = None
    """A coil whose current loses its path."""


def look(circuit: Circuit, references: tuple[str, ...], search: Search, point: Point) -> Outcome:
    """What holds at ``point``; ``search`` keeps what was solved for other points."""
    try:
        problem = PeriodicProblem(circuit, references, search.stages.closed, point)
    except np.linalg.LinAlgError:
        return Outcome()
    lengths = np.array(search.stages.fractions(point))
    trial = Trial(circuit, references, search, point)
    solved = False
    for state in _states(problem, lengths):
        solved = True
        if state.runaway:
            if trial.may_settle(problem, lengths):
                return Outcome()
            return Outcome(no_state=True, runaway=frozenset(state.runaway))
        options = list(candidates(circuit, search.stages, state))
        outcome = trial.first(options)
        if outcome is not None:
            return outcome
        if trial.near_edge():  # finer steps would find nothing either
            return Outcome(edge=True)
        outcome = trial.first_corrected(options)
        if outcome is not None:
            return outcome
    outcome = trial.at_single_duties()
    if outcome is not None:
        return outcome
    cut = interrupted(problem, lengths)
    if cut is not None:
        return Outcome(no_state=True, cut_off=cut[0])
    grows = frozenset(grows_with_trace(problem, lengths))
    if solved and not grows:
        return Outcome()
    return Outcome() if trial.may_settle(problem, lengths) else Outcome(no_state=True, runaway=grows)


def _states(problem: PeriodicProblem, lengths: np.ndarray) -> Iterator[PeriodicState]:
    """The numeric state on finer and finer time steps."""
    grid = graded(len(lengths))
    state = problem.solve(lengths, grid)
    if state is None:
        grid = uniform(len(lengths), COARSE)
        state = problem.solve(lengths, grid)
    for _ in range(REFINEMENTS):
        if state is None:
            return
        yield state
        grid = refined(grid, state.conducting)
        state = problem.solve(lengths, grid)
    if state is not None:
        yield state


class Trial:
    """Sequences tried at one point, each no more often than may help."""

    def __init__(self, circuit: Circuit, references: tuple[str, ...], search: Search, point: Point) -> None:
        self.circuit = circuit
        self.references = references
        self.search = search
        self.point = point
        self.lossy = bends_count(circuit)
        self.diodes = frozenset(diode.name for diode in circuit.diodes)
        self.failed: set[Sequence] = set()
        self.rejected: set[Sequence] = set()
        """Sequences that floats did not confirm from one start or another."""
        self.single: list[tuple[Sequence, np.ndarray]] = []
        """Sequences that hold at single duties only, this point's perhaps among them."""

    def first(self, options: Iterable[Option]) -> Outcome | None:
        """What comes of the first sequence that holds; None where none does."""
        found = (self.outcome(sequence, shares) for sequence, shares in options)
        return next((outcome for outcome in found if outcome is not None), None)

    def first_corrected(self, options: Iterable[Option]) -> Outcome | None:
        """The same with signs corrected where they are wrong, again and again, breadth first."""
        waiting = list(options)
        seen = {sequence for sequence, _ in waiting}
        for _ in range(CORRECTIONS):
            if not waiting:
                return None
            sequence, shares = waiting.pop(0)
            solved = self._started(sequence, shares).wrong_signs(self.point)
            if solved is None:
                continue
            for found, guess in corrected(sequence, *solved, self.diodes):
                if found not in seen:
                    seen.add(found)
                    outcome = self.outcome(found, guess)
                    if outcome is not None:
                        return outcome
                    waiting.append((found, guess))
        return None

    def outcome(self, sequence: Sequence, shares: np.ndarray) -> Outcome | None:
        """What comes of a sequence; None where it does not hold here."""
        go_on()
        search = self.search
        listed = search.listed(sequence)
        simple = not self.lossy and len(sequence.unknown) < 2 and not listed
        held: tuple[float, ...] | None = None
        if not simple:
            if search.rejected[sequence] >= REJECTIONS and not listed:
                return None
            held = self._in_floats(sequence, shares)
            if held is None:
                search.rejected[sequence] += sequence not in self.rejected
                self.rejected.add(sequence)
                return None
            if listed:
                return Outcome(known=sequence, shares=held)
        if sequence in self.failed:
            return None
        try:
            found = self._exactly(sequence, shares if held is None else np.array(held), held is not None)
        except OnlyAtEdge:
            self.single.append((sequence, shares))
            self.failed.add(sequence)
            return None
        except TooLarge:
            found = None
            held = held or self._in_floats(sequence, shares)
        if found is not None:
            return self._listed_already(found) or Outcome(found)
        self.failed.add(sequence)
        if held is None:
            return None
        mode = NumericMode(self.circuit, search.stages, sequence, self.references, held)
        return Outcome(numeric=mode, shares=held)

    def near_edge(self) -> bool:
        """True where a mode of continuous conduction misses its edge by little."""
        one = as_arrays(self.point)
        return any(
            may_miss_edge(found.balance)
            and bool(verify(found.balance, found.fractions, one, slack=GAP)[0][0])
            for found in self.search.found
        )

    def may_settle(self, problem: PeriodicProblem, lengths: np.ndarray) -> bool:
        """True where there is a state that constant capacitor voltages do not show.

        Not asked again once several points have been found to have none.
        """
        return len(self.search.no_state) < CERTAIN and settles_with_ripple(problem, lengths)

    def at_single_duties(self) -> Outcome | None:
        """What comes of sequences that ask something of the duties, which this point's may satisfy."""
        for sequence, shares in self.single:
            found = self._exactly(sequence, shares, False, at_edge=True)
            if found is not None:
                return Outcome(found)
        return None

    def _listed_already(self, found: Found) -> Outcome | None:
        """The same sequence, less a diode that carries nothing, may be known."""
        if not self.search.listed(found.sequence):
            return None
        _, _, shares = verify(found.balance, found.fractions, as_arrays(self.point))
        return Outcome(known=found.sequence, shares=tuple(float(share) for share in shares[:, 0]))

    def _exactly(
        self, sequence: Sequence, shares: np.ndarray, holds: bool, at_edge: bool = False
    ) -> Found | None:
        """The sequence solved exactly; None where it does not hold here.

        With ``holds`` it is known to hold; ``at_edge`` as in :class:`Fractions`.  Raises TooLarge where its
        formulas are too long, OnlyAtEdge where they ask for single duties.
        """
        search = self.search
        found = self._with_turns(sequence, shares, holds, at_edge, search.alike)
        equal = self._equal_turns()
        if found is None and equal > search.alike:
            found = self._with_turns(sequence, shares, holds, at_edge, equal)
            if found is not None:
                search.alike = equal
                for coil, first in map(symbols_of, equal):
                    search.points[coil] = search.points[first]
        if found is None:
            return None
        return _without_idle_diodes(found, self.references, self.point, shares) or found

    def _with_turns(
        self, sequence: Sequence, shares: np.ndarray, holds: bool, at_edge: bool, alike: frozenset[str]
    ) -> Found | None:
        search, point = self.search, self.point
        if (sequence, alike) not in search.balances:
            ring = ring_for(self.circuit, sequence, alike)
            search.balances[sequence, alike] = Balance(self.circuit, sequence, self.references, ring)
        balance = search.balances[sequence, alike]
        if not holds and balance.ambiguous:
            held = self._in_floats(sequence, shares)
            if held is None:
                return None
            shares = np.array(held)
        try:
            fractions = Fractions(balance, search.stages, point, shares, at_edge)
            balance = fractions.balance  # another one where a pivot vanishes
            if self._equal_turns() > alike:
                whole = dict(point) | dict(zip(sequence.fractions, shares, strict=True))
                if not balance.pivots_hold(lambda pivot: fractions.relative(pivot, whole) < EQUAL):
                    return None
            mask = np.ones(1, bool)
            if not holds or balance.by_itself:
                mask, _, _ = verify(balance, fractions, as_arrays(point))
        except OnlyAtEdge:
            raise
        except NotClosed:
            return None
        return Found(search.stages, balance, fractions, mask, {}) if mask[0] else None

    def _equal_turns(self) -> frozenset[str]:
        """Turns ratios of coils of one flux that are one here."""
        names = (name for _, name in shared_flux(self.circuit).values() if name is not None)
        return frozenset(name for name in names if abs(value_of(name, self.point) - 1) < EQUAL)

    def _in_floats(self, sequence: Sequence, shares: np.ndarray) -> tuple[float, ...] | None:
        """Fractions of a sequence here, solved in floats; None where it does not hold."""
        rows = self._started(sequence, shares)
        effort = Effort.ALL if len(sequence.unknown) == 1 else Effort.START
        mask, fractions = rows.holds(self.point, 1, effort)
        return tuple(float(fractions[name][0]) for name in sequence.fractions) if mask[0] else None

    def _started(self, sequence: Sequence, shares: np.ndarray) -> RowMode:
        """A sequence in floats that begins from a guess of its fractions."""
        rows = rows_of(self.circuit, self.references, self.search, sequence)
        stages = np.array([interval.stage for interval in sequence.intervals])
        whole = [float(shares[stages == stage].sum()) for stage in stages]
        return replace(rows, start=tuple(float(shares[k] / whole[k]) for k in sequence.unknown))


def rows_of(circuit: Circuit, references: tuple[str, ...], search: Search, sequence: Sequence) -> RowMode:
    """A sequence ready to be solved in floats at any point."""
    if sequence not in search.rows:
        mode = NumericMode(circuit, search.stages, sequence, references)
        search.rows[sequence] = row_mode("", mode, {}, ())
    return search.rows[sequence]


def _without_idle_diodes(
    found: Found, references: tuple[str, ...], point: Point, shares: np.ndarray
) -> Found | None:
    """The same sequence without diodes that carry exactly nothing, if it is solved as well so.

    At zero current and zero voltage a diode is both conducting and blocking; it is told as blocking.
    """
    balance = found.balance
    intervals = []
    for k, interval in enumerate(balance.sequence.intervals):
        idle = set()
        for diode in balance.circuit.diodes:
            row = {("i", diode.name): balance.ring.one}
            if diode.name in interval.conducting and all(
                balance.affine(k, row, part).is_zero for part in ("mean", "ramp")
            ):
                idle.add(diode.name)
        intervals.append(Interval(interval.stage, interval.conducting - idle))
    sequence = replace(balance.sequence, intervals=tuple(intervals))
    if sequence == balance.sequence or any(a == b for a, b in pairwise(intervals)):
        return None
    try:
        ring = ring_for(balance.circuit, sequence, balance.alike)
        plain = Balance(balance.circuit, sequence, references, ring)
        fractions = Fractions(plain, found.stages, point, shares)
        plain = fractions.balance
        mask, _, _ = verify(plain, fractions, as_arrays(point))
    except (NotClosed, TooLarge):
        return None
    open_before, open_after = (len([u for u in b.averages.free if u[0] == "V"]) for b in (balance, plain))
    if not mask[0] or open_after > open_before:
        return None
    return Found(found.stages, plain, fractions, mask, {})
