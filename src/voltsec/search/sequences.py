"""Every sequence of conducting devices that holds somewhere, found without any hint.

Sample points are covered one after another: where no known sequence passes its sign checks, the
complementarity problem is solved there, the sequence it shows is solved exactly, and kept if it passes
the sign checks at that point (:mod:`voltsec.search.one_point`).  The network is passive, so the periodic
state is unique: a sequence that passes is the answer there, wherever it came from, and no other is asked
for.  Last, points on the lines between neighbours of different modes are looked at, where modes that hold
in a narrow part only show (:mod:`voltsec.search.frontier`).
"""

from __future__ import annotations

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import OutOfTime, limited, seconds_left
from voltsec.circuit.graph import shorts
from voltsec.periodic.fractions import NOTHING, Roots
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.points import as_arrays, sample_points
from voltsec.periodic.row_mode import Effort
from voltsec.periodic.stages import Stages, stages_of
from voltsec.periodic.verification import judged, verify
from voltsec.search.frontier import Points, between
from voltsec.search.one_point import Outcome, look, rows_of
from voltsec.search.search import Found, Point, Search, numeric_mode_of
from voltsec.tableau import lengths
from voltsec.tableau.network import coils

DRY_ATTEMPTS = 14
"""The search ends after so many sample points in a row that bring no new sequence."""

HOPELESS = 4
"""... or after so many without any sequence at all; ..."""

NO_STATE_ATTEMPTS = 12
"""... or so many points without a steady state; duties where one was met are tried last."""

FRONTIER_ATTEMPTS = 5
"""Points between known modes are looked at until so many in a row bring nothing new."""

WELL_INSIDE = 1e-3
"""A sample point with so much margin may stand for its mode."""

APART = 1e-7
"""How far edges that coincide are moved towards the middle of their order to look at the point."""


def find_sequences(circuit: Circuit, references: tuple[str, ...]) -> tuple[Search, ...]:
    """All sequences of ``circuit``, one search for each order of its switch edges."""
    orders = stages_of(circuit)
    found = []
    for place, stages in enumerate(orders):
        if shorts(circuit, stages.closed):
            found.append(Search(stages, sample_points(circuit, stages), shorted=True))
        else:
            with limited(seconds_left() / (len(orders) - place)):
                found.append(_Searching(circuit, references, stages).search)
    return tuple(found)


def sequence_at(circuit: Circuit, references: tuple[str, ...], point: Point) -> NumericMode | None:
    """The sequence that holds at one point (every symbol, SI units); None where none could be verified."""
    for stages in stages_of(circuit):
        lengths = stages.fractions(point)
        if any(length < -NOTHING for length in lengths):
            continue
        if any(length <= NOTHING for length in lengths):  # edges that coincide: looked at a little apart
            inner = stages.inner_point()
            point = point | {name: point[name] + APART * (inner[name] - point[name]) for name in inner}
        search = Search(stages, as_arrays(point))
        outcome = look(circuit, references, search, point)
        if outcome.found is not None:
            return numeric_mode_of(outcome.found)
        if outcome.numeric is not None:
            return outcome.numeric
    return None


class _Searching:
    """One search on its way; :attr:`search` is the result."""

    def __init__(self, circuit: Circuit, references: tuple[str, ...], stages: Stages) -> None:
        self.circuit = circuit
        self.references = references
        self.search = Search(stages, sample_points(circuit, stages))
        self.covered = np.zeros(self.search.count, bool)
        self.asked: set[int] = set()
        """Numbers of the modes that were asked last where they hold."""
        try:
            self._search()
        except OutOfTime:
            self.search.unfinished = True

    def _search(self) -> None:
        self._cover()
        several = (
            len(self.circuit.diodes) > 1 or len(coils(self.circuit)) > 1
        )  # else nothing lies between two modes
        if several and len(self.search.found) + len(self.search.numeric) > 1:
            self._look_between()

    def _cover(self) -> None:
        """Look at sample points until every one has its mode or nothing new comes."""
        search, count = self.search, self.search.count
        order = np.concatenate([[0], 1 + np.random.default_rng(1).permutation(count - 1)])
        symbols = search.stages.symbols
        duties = np.array([search.points[name] for name in symbols]).reshape(len(symbols), count)
        without = np.zeros(count)  # how often no steady state was met at the same duties
        dry = 0
        while not self.covered.all() and dry < DRY_ATTEMPTS:
            place = int(min((k for k in order if not self.covered[k]), key=lambda k: without[k]))
            if len(search.no_state) > NO_STATE_ATTEMPTS:
                break
            failed = len(search.no_state) + len(search.open_points)
            if failed >= HOPELESS and not search.found and not search.numeric:
                break
            states = len(search.no_state)
            new = self._look(place)
            if len(search.no_state) > states:
                without += (duties == duties[:, [place]]).all(axis=0)
            else:
                dry = 0 if new else dry + 1

    def _look_between(self) -> None:
        """Look for modes that hold in a narrow part, between sample points of others."""
        search = self.search
        points = {name: values.copy() for name, values in search.points.items()}
        dry = 0
        for unknown in between(search.stages, points, search.labels, self._labels_of):
            first = search.count
            self._extend(unknown)
            for place in range(first, search.count):
                if dry >= FRONTIER_ATTEMPTS:
                    return
                if not self.covered[place]:
                    dry = 0 if self._look(place) else dry + 1

    def _extend(self, points: Points) -> None:
        """More sample points, at which no known mode holds."""
        search, more = self.search, len(points["T"])
        search.points = {n: np.concatenate([values, points[n]]) for n, values in search.points.items()}
        self.covered = np.concatenate([self.covered, np.zeros(more, bool)])
        search.numeric_holds = [np.concatenate([h, np.zeros(more, bool)]) for h in search.numeric_holds]
        for found in search.found:
            found.holds = np.concatenate([found.holds, np.zeros(more, bool)])
            found.margin = np.concatenate([found.margin, np.zeros(more)])
            found.shares = np.concatenate([found.shares, np.full((len(found.shares), more), np.nan)], axis=1)

    def _look(self, place: int) -> bool:
        """Look at one sample point; True where that brought a new mode."""
        search = self.search
        outcome = look(self.circuit, self.references, search, search.point(place))
        new = True
        if outcome.found is not None:
            self._add(outcome.found, place)
        elif outcome.numeric is not None:
            self._add_numeric(outcome.numeric, outcome, place)
        else:
            new = False
            self._note(outcome, place)
        self.covered[place] = True
        return new

    def _note(self, outcome: Outcome, place: int) -> None:
        """Keep what was found out about a point without a new mode."""
        search = self.search
        if outcome.known is not None:
            for found in search.found:
                if found.sequence == outcome.known:
                    found.holds[place] = True
                    found.shares[:, place] = outcome.shares
            for mode, holds in zip(search.numeric, search.numeric_holds, strict=True):
                holds[place] |= mode.sequence == outcome.known
        elif outcome.no_state:
            search.no_state.append(place)
            search.runaway |= outcome.runaway
            if outcome.cut_off is not None:
                search.cut_off.add(outcome.cut_off)
        elif not outcome.edge:
            search.open_points.append(place)

    def _add(self, found: Found, place: int) -> None:
        """A new mode, with the sample points where it holds and one that stands for it."""
        search = self.search
        left = ~self.covered
        left[place] = True
        where = np.flatnonzero(left)
        found.holds = np.zeros(search.count, bool)
        found.margin = np.zeros(search.count)
        found.shares = np.full((len(found.sequence.intervals), search.count), np.nan)
        points = {name: values[where] for name, values in search.points.items()}
        mask, found.margin[where], found.shares[:, where] = self._judged(found, points)
        found.holds[where] = mask
        found.holds[place] = True
        best = int(np.argmax(np.where(found.holds, found.margin, -1.0)))
        if place == 0 and found.margin[0] > WELL_INSIDE:  # the netlist's own values
            best = 0
        best = best if found.margin[best] > 0 else place
        names = found.sequence.fractions
        shares = (float(share) for share in found.shares[:, best])
        found.witness = search.point(best) | dict(zip(names, shares, strict=True))
        search.found.append(found)
        self.covered |= found.holds

    def _add_numeric(self, mode: NumericMode, outcome: Outcome, place: int) -> None:
        """A new mode without written formulas."""
        search = self.search
        left = ~self.covered
        left[place] = False
        where = np.flatnonzero(left)
        holds = np.zeros(search.count, bool)
        holds[place] = True
        if where.size:
            rows = rows_of(self.circuit, self.references, search, mode.sequence)
            points = {name: values[where] for name, values in search.points.items()}
            holds[where] = rows.holds(points, where.size, Effort.NEIGHBOURS)[0]
        search.numeric.append(mode)
        search.numeric_holds.append(holds)
        search.examples[mode.sequence] = (search.point(place), np.array(outcome.shares))
        self.covered |= holds

    def _judged(self, found: Found, points: Points) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where a sequence holds among ``points``, how far inside, and its fractions.

        Fractions that only all conditions together fix, and conditions of very many terms, are judged from
        the equations in floats; a point then counts as the further inside the longer its shortest interval.
        """
        balance = found.balance
        if not found.fractions.coupled and found.terms <= lengths.JUDGED_EXACTLY:
            return verify(balance, found.fractions, points)
        rows = rows_of(self.circuit, self.references, self.search, balance.sequence)
        mask, shares = rows.holds(points, len(points["T"]))
        fractions = np.array([shares[name] for name in balance.sequence.fractions])
        if found.terms <= lengths.JUDGED_EXACTLY:
            _, margin = judged(balance, found.fractions, points, Roots(fractions, mask))
        else:
            margin = np.where(mask, np.nan_to_num(fractions).min(axis=0), 0.0)
        return mask, margin, fractions

    def _labels_of(self, points: Points, guesses: tuple[np.ndarray, ...] | None) -> np.ndarray:
        """The mode that holds at each of ``points``, as :attr:`Search.labels` counts them.

        No two hold at one point, so the mode that each of ``guesses`` has for a point is asked first, and
        every mode with little effort before one is asked with more.  Without guesses only modes are asked
        that came since the last call.
        """
        search = self.search
        label = np.full(len(points["T"]), -1)
        modes: dict[int, Found | NumericMode] = {2 * k: one for k, one in enumerate(search.found)}
        sizes = {2 * k: int(one.holds.sum()) for k, one in enumerate(search.found)}
        modes |= {2 * k + 1: one for k, one in enumerate(search.numeric)}
        sizes |= {2 * k + 1: int(holds.sum()) for k, holds in enumerate(search.numeric_holds)}
        order = sorted(modes, key=lambda k: -sizes[k])
        if guesses is None:
            order = [number for number in order if number not in self.asked]
        self.asked = set(modes)
        for effort in (Effort.NEIGHBOURS, Effort.ALL):
            tried = {number: np.zeros(len(label), bool) for number in order}
            for guess in (*(guesses or ()), None):
                for number in order:
                    left = (label < 0) & ~tried[number]
                    left &= True if guess is None else guess == number
                    mode = modes[number]
                    if not left.any() or (isinstance(mode, Found) and effort is Effort.ALL):
                        continue
                    tried[number] |= left
                    some = {name: values[left] for name, values in points.items()}
                    if isinstance(mode, Found):
                        mask = self._judged(mode, some)[0]
                    else:
                        rows = rows_of(self.circuit, self.references, search, mode.sequence)
                        mask = rows.holds(some, int(left.sum()), effort)[0]
                    label[np.flatnonzero(left)[mask]] = number
        return label
