"""Every sequence of conducting devices that holds somewhere, found without any hint.

Sample points are covered one after another: where no known sequence passes its sign checks, the
complementarity problem is solved there with a coarse time grid, the sequence it shows is solved
exactly, and kept if it passes the sign checks at that point.  The network is passive, so the
periodic state is unique: a sequence that passes is the answer there, wherever it came from.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.graph import shorts
from voltsec.steady.balance import Balance
from voltsec.steady.complementarity import PeriodicProblem, PeriodicState, grows_with_trace
from voltsec.steady.fractions import NOTHING, Fractions, NotClosed
from voltsec.steady.numeric_mode import NumericMode
from voltsec.steady.points import sample_points
from voltsec.steady.row_mode import RowMode, row_mode
from voltsec.steady.stages import Stages, stages_of
from voltsec.steady.verification import GAP, may_miss_edge, verify
from voltsec.tableau.assembly import bends_count
from voltsec.tableau.elimination import TooLarge
from voltsec.tableau.interval import Interval, Sequence

DRY_ATTEMPTS = 10
"""The search ends after so many sample points in a row that bring no new sequence."""

HOPELESS = 4
"""... or after so many without any sequence at all; ..."""

NO_STATE_ATTEMPTS = 12
"""... or so many points without a steady state; duties where one was met are tried last."""

NUMERIC_ATTEMPTS = 14
"""... or so many, where sequences without readable formulas occur, each checked from numbers."""

GRIDS = (8, 24, 64)
"""Steps in each switch interval, tried in turn."""

REJECTIONS = 3
"""A sequence to be checked from numbers is left alone after so many points where it did not hold."""

WELL_INSIDE = 1e-3
"""A sample point with so much margin may stand for its mode."""

LONG_CONDITIONS = 5000
"""Terms of all sign conditions from which they are judged in floats."""

APART = 1e-7
"""How far edges that coincide are moved towards the middle of their order to look at the point."""

FINE_ATTEMPTS = 2
"""The last grid is tried at so many points that stay open."""


@dataclass
class Found:
    """A sequence that holds at some of the sample points."""

    stages: Stages
    balance: Balance
    fractions: Fractions
    holds: np.ndarray
    """Mask over the sample points."""
    witness: dict[str, float]
    """A sample point well inside, with the fraction variables ``#1 ...``."""
    margin: np.ndarray = field(default_factory=lambda: np.zeros(0))
    """How far inside each sample point lies (0 at an edge)."""
    shares: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    """Fractions at the sample points, intervals x points."""

    @property
    def sequence(self) -> Sequence:
        """The intervals and what conducts in them."""
        return self.balance.sequence


@dataclass
class Search:
    """What was found for one order of the duty edges."""

    stages: Stages
    points: dict[str, np.ndarray]
    found: list[Found] = field(default_factory=list)
    open_points: list[int] = field(default_factory=list)
    """Sample points where no sequence could be verified."""
    no_state: list[int] = field(default_factory=list)
    """Sample points where the complementarity problem has no solution."""
    runaway: set[str] = field(default_factory=set)
    """Coils and capacitors that grow without limit at those points."""
    numeric: list[NumericMode] = field(default_factory=list)
    """Sequences whose exact formulas are too long to write, verified from numbers."""
    rows: dict[Sequence, RowMode] = field(default_factory=dict)
    """Sequences of a lossy circuit, ready to be solved in floats."""
    examples: dict[Sequence, tuple[dict[str, float], np.ndarray]] = field(default_factory=dict)
    """A point and the fractions there, for each sequence in ``numeric``."""
    shorted: bool = False
    """Switches closed together short a source in this order of the edges: nothing is looked for."""
    rejected: Counter[Sequence] = field(default_factory=Counter)
    """How often a sequence of a lossy circuit did not hold where it was met."""


def numeric_mode_of(found: Found) -> NumericMode:
    """A solved sequence as one to be solved anew from its equations."""
    balance = found.balance
    return NumericMode(balance.circuit, found.stages, balance.sequence, tuple(balance.network.references))


def find_sequences(circuit: Circuit, references: tuple[str, ...]) -> tuple[Search, ...]:
    """All sequences of ``circuit``, one search for each order of its switch edges."""
    return tuple(
        _search(circuit, references, stages)
        if not shorts(circuit, stages.closed)
        else Search(stages, sample_points(circuit, stages), shorted=True)
        for stages in stages_of(circuit)
    )


def sequence_at(circuit: Circuit, references: tuple[str, ...], point: dict[str, float]) -> NumericMode | None:
    """The sequence that holds at one point (every symbol, SI units); None where none could be verified."""
    for stages in stages_of(circuit):
        lengths = stages.fractions(point)
        if any(length < -NOTHING for length in lengths):
            continue
        if any(length <= NOTHING for length in lengths):  # edges that coincide: looked at a little apart
            inner = stages.inner_point()
            point = point | {name: point[name] + APART * (inner[name] - point[name]) for name in inner}
        search = Search(stages, {name: np.array([value]) for name, value in point.items()})
        found = _at_point(circuit, references, stages, point, search, set())
        if found is not None:
            return numeric_mode_of(found)
        if search.numeric:
            return search.numeric[0]
    return None


def _search(circuit: Circuit, references: tuple[str, ...], stages: Stages) -> Search:
    search = Search(stages, sample_points(circuit, stages))
    count = len(search.points["T"])
    covered = np.zeros(count, bool)
    tried: set[Sequence] = set()
    dry = 0
    order = np.concatenate([[0], 1 + np.random.default_rng(1).permutation(count - 1)])
    symbols = stages.symbols
    duties = np.array([search.points[name] for name in symbols]).reshape(len(symbols), count)
    without = np.zeros(count)  # how often no steady state was met at the same duties
    while not covered.all() and dry < (NUMERIC_ATTEMPTS if search.numeric else DRY_ATTEMPTS):
        place = int(min((k for k in order if not covered[k]), key=lambda k: without[k]))
        if len(search.no_state) > NO_STATE_ATTEMPTS:
            break
        failed = len(search.no_state) + len(search.open_points)
        if failed >= HOPELESS and not search.found and not search.numeric:
            break
        states = len(search.no_state)
        point = {name: float(values[place]) for name, values in search.points.items()}
        found = _at_point(circuit, references, stages, point, search, tried)
        if found is None:
            covered[place] = True
            if len(search.no_state) > states:
                without += (duties == duties[:, [place]]).all(axis=0)
            else:
                dry += 1
            continue
        mask, margin, fractions = _over_samples(found, search)
        dry = 0
        mask[place] = True
        found.holds, found.margin, found.shares = mask, margin, fractions
        best = int(np.argmax(np.where(mask, margin, -1.0)))
        if place == 0 and margin[0] > WELL_INSIDE:  # the netlist's own values, where formulas are looked at
            best = 0
        best = best if margin[best] > 0 else place
        found.witness = {n: float(v[best]) for n, v in search.points.items()}
        names = found.sequence.fractions
        found.witness |= dict(zip(names, (float(x) for x in fractions[:, best]), strict=True))
        search.found.append(found)
        covered |= mask
    return search


def _over_samples(found: Found, search: Search) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where a sequence holds among the sample points, how far inside, and its fractions.

    Conditions of very many terms are judged from the equations in floats; a point then counts as the
    further inside the longer its shortest interval.
    """
    balance = found.balance
    terms = sum(len(part) for condition in balance.sign_conditions for part in condition.ratio)
    if balance.by_itself or terms < LONG_CONDITIONS:
        return verify(balance, found.fractions, search.points)
    mode = numeric_mode_of(found)
    rows = row_mode("", mode, _constants(search), ())
    mask, shares = rows.holds(search.points, len(search.points["T"]))
    fractions = np.array([shares[name] for name in balance.sequence.fractions])
    return mask, np.where(mask, np.nan_to_num(fractions).min(axis=0), 0.0), fractions


def _at_point(circuit, references, stages, point, search, tried) -> Found | None:
    """A verified sequence at one point; notes the point in ``search`` where there is none."""
    try:
        problem = PeriodicProblem(circuit, references, stages.closed, point)
    except np.linalg.LinAlgError:
        search.open_points.append(_place(search, point))
        return None
    lengths = np.array(stages.fractions(point))
    bends = bends_count(circuit)  # formulas of lossy stages may be long: floats tell what is worth solving
    solved = False
    for steps in GRIDS:
        if steps > GRIDS[0] and len(circuit.diodes) * steps * len(lengths) > 600:
            break
        if steps == GRIDS[-1] and len(search.open_points) >= FINE_ATTEMPTS:
            break  # the finest grid has not helped in this circuit before
        state = problem.solve(lengths, steps)
        if state is None:
            continue
        solved = True
        if state.runaway:
            search.no_state.append(_place(search, point))
            search.runaway.update(state.runaway)
            return None
        for sequence, shares in candidates(circuit, stages, state):
            if sequence in tried:
                continue
            if search.rejected[sequence] >= REJECTIONS:
                continue
            known = sequence in search.rows
            held = (
                _in_floats(search, circuit, references, sequence, point, shares) if bends or known else None
            )
            if (bends or known) and held is None:
                search.rejected[sequence] += 1
                continue
            if sequence in search.examples:
                return None
            try:
                found = _exactly(circuit, references, stages, point, sequence, shares, held is not None)
            except TooLarge:
                found = None
                held = held or _in_floats(search, circuit, references, sequence, point, shares)
            if found is not None:
                tried.add(sequence)
                return _without_idle_diodes(found, references, point, shares) or found
            if held is not None:
                search.rejected[sequence] = -len(search.points["T"])  # tried wherever it is met
                search.numeric.append(NumericMode(circuit, stages, sequence, references, held))
                search.examples[sequence] = (point, np.array(held))
                return None
    one = {name: np.array([value]) for name, value in point.items()}
    for found in search.found:
        if may_miss_edge(found.balance) and verify(found.balance, found.fractions, one, slack=GAP)[0][0]:
            return None
    grows = grows_with_trace(circuit, references, stages.closed, point, lengths)
    if grows:
        search.runaway.update(grows)
        solved = False
    (search.open_points if solved else search.no_state).append(_place(search, point))
    return None


def _constants(search: Search) -> dict[str, float]:
    """Symbols that are the same at all sample points."""
    return {name: float(values[0]) for name, values in search.points.items() if np.all(values == values[0])}


def _exactly(circuit, references, stages, point, sequence, shares, holds: bool) -> Found | None:
    """The sequence solved exactly; None where it does not hold at ``point``.

    With ``holds`` it is known to hold there.  Raises TooLarge where its formulas are too long.
    """
    balance = Balance(circuit, sequence, references)
    try:
        fractions = Fractions(balance, stages, point, shares)
        mask = np.ones(1, bool)
        if not holds or balance.by_itself:
            mask, _, _ = verify(
                balance, fractions, {name: np.array([value]) for name, value in point.items()}
            )
    except NotClosed:
        return None
    return Found(stages, balance, fractions, mask, {}) if mask[0] else None


def _in_floats(
    search: Search,
    circuit: Circuit,
    references: tuple[str, ...],
    sequence: Sequence,
    point: dict[str, float],
    shares: np.ndarray,
) -> tuple[float, ...] | None:
    """Fractions of a sequence at one point, solved in floats; None where it does not hold there."""
    if sequence not in search.rows:
        mode = NumericMode(circuit, search.stages, sequence, references)
        search.rows[sequence] = row_mode("", mode, _constants(search), ())
    rows = search.rows[sequence]
    stages = np.array([interval.stage for interval in sequence.intervals])
    whole = [float(shares[stages == stage].sum()) for stage in stages]
    rows = replace(rows, start=tuple(float(shares[k] / whole[k]) for k in sequence.unknown))
    mask, fractions = rows.holds(point, 1, thorough=False)
    return tuple(float(fractions[name][0]) for name in sequence.fractions) if mask[0] else None


def _without_idle_diodes(
    found: Found, references: tuple[str, ...], point: dict[str, float], shares: np.ndarray
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
        plain = Balance(balance.circuit, sequence, references)
        fractions = Fractions(plain, found.stages, point, shares)
        mask, _, _ = verify(plain, fractions, {name: np.array([v]) for name, v in point.items()})
    except (NotClosed, TooLarge):
        return None
    open_before, open_after = (len([u for u in b.averages.free if u[0] == "V"]) for b in (balance, plain))
    if not mask[0] or open_after > open_before:
        return None
    return Found(found.stages, plain, fractions, mask, {})


def _place(search: Search, point: dict[str, float]) -> int:
    same = np.ones(len(search.points["T"]), bool)
    for name, value in point.items():
        same &= search.points[name] == value
    return int(np.flatnonzero(same)[0])


def candidates(circuit: Circuit, stages: Stages, state: PeriodicState):
    """Sequences that a numeric state may stand for, simplest first, with their fractions.

    A step in which a device changes may show a mixture; so intervals of one step inside a switch
    interval are also left out, and last of all brief ones are put in.
    """
    merged: list[list] = []
    for k in range(len(state.steps)):
        stage = int(state.stages[k])
        conducting = stages.closed[stage] | {
            diode.name for diode, on in zip(circuit.diodes, state.conducting[k], strict=True) if on
        }
        if merged and merged[-1][0] == stage and merged[-1][1] == conducting:
            merged[-1][2] += state.steps[k]
            merged[-1][3] += 1
        else:
            merged.append([stage, conducting, state.steps[k], 1])
    short = [
        k
        for k, entry in enumerate(merged)
        if entry[3] == 1 and sum(other[0] == entry[0] for other in merged) > 1
    ][:6]
    seen = set()
    options = []
    for size in range(len(short), -1, -1):
        for left_out in combinations(short, size):
            kept: list[list] = []
            spare = 0.0
            for k, entry in enumerate(merged):
                if k in left_out:
                    spare += entry[2]
                    continue
                if kept and kept[-1][:2] == entry[:2]:
                    kept[-1] = [*entry[:2], kept[-1][2] + entry[2]]
                else:
                    kept.append(list(entry[:3]))
                kept[-1][2] += spare
                spare = 0.0
            if {entry[0] for entry in kept} != {entry[0] for entry in merged}:
                continue
            kept[-1][2] += spare
            intervals = tuple(Interval(entry[0], frozenset(entry[1])) for entry in kept)
            sequence = Sequence(intervals, stages.ties)
            if sequence not in seen:
                seen.add(sequence)
                options.append((sequence, np.array([entry[2] for entry in kept])))
    options.sort(key=lambda option: len(option[0].intervals))
    return options + [v for option in options[:2] for v in _with_brief_intervals(option) if v[0] not in seen]


def _with_brief_intervals(option: tuple[Sequence, np.ndarray]) -> list[tuple[Sequence, np.ndarray]]:
    """Where several diodes seem to stop at once, one of them may go on for less than a step."""
    sequence, shares = option
    found = []
    for k in sequence.unknown:
        stops, starts = sequence.ended_by(k)
        if len(stops) < 2 or starts:
            continue
        for last in sorted(stops):
            interval = sequence.intervals[k]
            brief = Interval(interval.stage, interval.conducting - stops | {last})
            intervals = (*sequence.intervals[: k + 1], brief, *sequence.intervals[k + 1 :])
            share = 1e-3 * shares[k]
            found.append((replace(sequence, intervals=intervals), np.insert(shares, k + 1, share)))
    return found[:4]
