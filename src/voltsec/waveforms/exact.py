"""Exact results at many points, whichever devices conduct there.

Points for which a sequence of conducting devices is expected are solved together and kept where every
sign is right.  For what is left one point is searched from nothing, and the sequence found there tried at
the others, until none is left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Sequence as Listed
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import OutOfTime, limited
from voltsec.periodic.stages import stages_of
from voltsec.results.table import Result
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.leakage import after_leaks
from voltsec.waveforms.linear import Array
from voltsec.waveforms.march import Followed, Switching
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import Periodic, followed_state, periodic_state, without_idle
from voltsec.waveforms.shooting import found_periodic

CHUNK = 256
"""Points solved together."""
SEARCHING = 4.0
"""Seconds for a state without a guess: most take hundredths, hundreds of events a period take minutes."""
MOST_MISSED = 16
"""Points in a row at which nothing was found, after which the search from nothing is given up."""


@dataclass(frozen=True)
class Expected:
    """A sequence that may hold at some points."""

    sequence: Sequence
    fractions: Array
    """(P, intervals): a guess of all fractions at all points; nan where the sequence is not expected."""
    instants: frozenset[int] = frozenset()


@dataclass
class Exact:
    """Results at P points; nan where a result is not determined, infinite where charge or flux jumps."""

    values: dict[str, Array]
    found: Array
    """(P,): where the exact periodic state was found."""
    bounds: dict[str, Array]
    """(P,) for each result: it is an upper bound, ideal parts leave open how it is shared."""
    sequences: list[tuple[Sequence, frozenset[int]]] = field(default_factory=list)
    """Sequences met, with their intervals without length."""
    leaks: dict[str, Array] = field(default_factory=dict)
    """``V(Co)`` -> (P,): ideal parts leave it open, and any leakage, however small, decides it."""
    number: Array = field(default_factory=lambda: np.zeros(0, int))
    """(P,): which of them, -1 where none was found."""
    fractions: dict[int, Array] = field(default_factory=dict)
    """For each number the fractions at the points where it holds, (those points, intervals)."""


def exact_results(
    circuit: Circuit,
    point: Mapping[str, float | Array],
    wanted: Iterable[Result],
    expected: Listed[Expected] = (),
    patience: Callable[[], bool] = lambda: True,
) -> Exact:
    """Results ``wanted`` at ``point`` (every symbol, SI units, numbers or arrays of P numbers).

    ``expected`` are tried first.  ``patience`` is asked before each search from nothing, and ends them.
    """
    results = tuple(wanted)
    length = max(np.size(value) for value in point.values())
    exact = Exact(
        {result.name: np.full(length, np.nan) for result in results},
        np.zeros(length, bool),
        {result.name: np.zeros(length, bool) for result in results},
        number=np.full(length, -1),
    )
    whole = {name: np.broadcast_to(np.asarray(v, float), (length,)) for name, v in point.items()}
    varied = {name for name, value in point.items() if np.size(value) > 1}
    search = _Search(circuit, whole, varied, results, exact)
    for stages in stages_of(circuit):
        lengths = np.stack([np.broadcast_to(part, (length,)) for part in stages.fractions(whole)], axis=1)
        inside = (lengths >= 0).all(axis=1) & ~exact.found
        if not inside.any():
            continue
        for one in expected:
            places = np.flatnonzero(inside & ~exact.found & np.isfinite(one.fractions).all(axis=1))
            search.attempt(places, lengths, one.sequence, one.instants, one.fractions)
        search.from_nothing(inside, lengths, stages.closed, patience)
    return exact


def exact_state(
    circuit: Circuit, point: Mapping[str, float], expected: Listed[Expected] = ()
) -> Periodic | None:
    """The exact periodic state at one point (every symbol, SI units); ``None`` where none is found.

    ``expected`` are tried first, as in :func:`exact_results`.
    """
    network = PeriodNetwork(circuit, point)
    for stages in stages_of(circuit):
        lengths = np.array([float(length) for length in stages.fractions(dict(point))])
        if (lengths < 0).any():
            continue
        for one in expected:
            with suppress(NotDetermined, np.linalg.LinAlgError):
                found = periodic_state(network, one.sequence, lengths[None], one.fractions, one.instants)
                if found.good[0]:
                    return found
        searched = periodic_from_nothing(network, stages.closed, lengths)
        if searched is not None and searched.good[0]:
            return searched
    return None


@dataclass
class _Search:
    circuit: Circuit
    point: dict[str, Array]
    varied: set[str]
    results: tuple[Result, ...]
    exact: Exact

    def network(self, places: Array) -> PeriodNetwork:
        """The circuit at some of the points."""
        return PeriodNetwork(
            self.circuit,
            {n: v[places] if n in self.varied else v[:1] for n, v in self.point.items()},
        )

    def attempt(
        self,
        places: Array,
        lengths: Array,
        sequence: Sequence,
        instants: frozenset[int],
        guess: Array,
    ) -> None:
        """Try one sequence at some points and keep what holds."""
        for start in range(0, len(places), CHUNK):
            part = places[start : start + CHUNK]
            try:
                network = self.network(part)
                periodic = periodic_state(network, sequence, lengths[part], guess[part], instants)
            except (NotDetermined, np.linalg.LinAlgError):
                continue
            self._keep(part, periodic)

    def _keep(self, places: Array, periodic: Periodic) -> None:
        good = periodic.good
        if not good.any():
            return
        exact, trajectory = self.exact, periodic.trajectory
        periodic, leaks = after_leaks(without_idle(periodic))
        key = (trajectory.sequence, trajectory.instants)
        if key not in exact.sequences:
            exact.sequences.append(key)
        number = exact.sequences.index(key)
        kept = places[good]
        exact.found[kept] = True
        for (kind, name), leaky in zip(trajectory.network.states, leaks.T, strict=True):
            if leaky.any():
                label = f"{'V' if kind == 'V' else 'i'}({name})"
                exact.leaks.setdefault(label, np.zeros(len(exact.found), bool))[kept] = leaky[good]
        exact.number[kept] = number
        table = exact.fractions.setdefault(number, np.full((len(exact.found), len(key[0].intervals)), np.nan))
        table[kept] = trajectory.fractions[good]
        measures = Measures(periodic)
        with np.errstate(all="ignore"):
            for result in self.results:
                exact.values[result.name][kept] = measures.value(result.measure)[good]
                exact.bounds[result.name][kept] = measures.is_bound(result.measure)[good]

    def from_nothing(
        self,
        inside: Array,
        lengths: Array,
        closed: tuple[frozenset[str], ...],
        patience: Callable[[], bool],
    ) -> None:
        """Search one point after another; what is found there is tried at all that are left."""
        missed = 0
        tried: set[int] = set()
        while missed < MOST_MISSED and patience():
            left = np.array([k for k in np.flatnonzero(inside & ~self.exact.found) if k not in tried], int)
            if not left.size:
                return
            place = int(left[len(left) // 2])
            tried.add(place)
            one = np.array([place])
            periodic = periodic_from_nothing(self.network(one), closed, lengths[place])
            if periodic is None or not periodic.good[0]:
                missed += 1
                continue
            missed = 0
            self._keep(one, periodic)
            rest = left[left != place]
            if rest.size:
                found = periodic.trajectory
                stages = [interval.stage for interval in found.sequence.intervals]
                with np.errstate(all="ignore"):
                    guess = found.fractions[0] * np.nan_to_num(lengths[:, stages] / lengths[place, stages])
                self.attempt(rest, lengths, found.sequence, found.instants, guess)


def _polished(network: PeriodNetwork, period: Followed, lengths: Array, state: Array) -> Periodic:
    """The state of the sequence that was followed, solved once more to full accuracy where that succeeds."""
    fractions = np.array([period.fractions])
    with suppress(NotDetermined, np.linalg.LinAlgError):
        found = periodic_state(network, period.sequence, lengths[None], fractions, period.instants, state)
        if found.good[0]:
            return found
    return followed_state(network, period.sequence, fractions, period.instants, state)


def periodic_from_nothing(
    network: PeriodNetwork, closed: tuple[frozenset[str], ...], lengths: Array
) -> Periodic | None:
    """The exact periodic state of ``network`` (of one point) without a guess; ``None`` where none is found
    in the time for it.

    ``closed`` are the switches that conduct in each switch interval, ``lengths`` (stages,) its fraction.
    """
    try:
        switching = Switching(closed, tuple(float(length) for length in lengths))
        with limited(SEARCHING):
            period, state = found_periodic(network, switching)
        return without_idle(_polished(network, period, lengths, state))
    except (NotDetermined, OutOfTime, np.linalg.LinAlgError):
        return None
