"""Sequences that a numeric state may stand for, and which devices conduct in each of their intervals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.complementarity import PeriodicState
from voltsec.periodic.stages import Stages
from voltsec.tableau.interval import Interval, Sequence

Option = tuple[Sequence, np.ndarray]
"""A sequence and a guess of its fractions."""

MOST_SHORT = 6
"""So many intervals of one step at most are tried without, in every combination."""


def candidates(circuit: Circuit, stages: Stages, state: PeriodicState) -> Iterator[Option]:
    """Sequences that a numeric state may stand for, simplest first, with their fractions.

    A step in which a device changes may show a mixture; so intervals of one step inside a switch
    interval are also left out, and after these brief ones are put in.  Last of all come sequences in
    which a diode that neither carries nor blocks anything counts as conducting: ideal diodes that share
    a current leave open which of them carries how much, and the state shows one share of many.
    """
    seen: set[Sequence] = set()
    for conducting in (state.conducting, state.conducting | state.touching):
        options = [o for o in _read(circuit, stages, state, conducting) if o[0] not in seen]
        options += [o for option in options[:2] for o in _with_brief_intervals(option)]
        for option in options:
            if option[0] not in seen:
                seen.add(option[0])
                yield option


def _read(circuit: Circuit, stages: Stages, state: PeriodicState, conducting: np.ndarray) -> list[Option]:
    """Sequences of the steps with their conducting diodes, with and without intervals of one step."""
    merged: list[list[Any]] = []
    diodes = [diode.name for diode in circuit.diodes]
    for k in range(len(state.steps)):
        stage = int(state.stages[k])
        devices = stages.closed[stage] | {name for name, on in zip(diodes, conducting[k], strict=True) if on}
        if merged and merged[-1][0] == stage and merged[-1][1] == devices:
            merged[-1][2] += state.steps[k]
            merged[-1][3] += 1
        else:
            merged.append([stage, devices, state.steps[k], 1])
    short = [
        k
        for k, entry in enumerate(merged)
        if entry[3] == 1 and sum(other[0] == entry[0] for other in merged) > 1
    ][:MOST_SHORT]
    options: dict[Sequence, np.ndarray] = {}
    for size in range(len(short), -1, -1):
        for left_out in combinations(short, size):
            kept: list[list[Any]] = []
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
            options.setdefault(sequence, np.array([entry[2] for entry in kept]))
    return sorted(options.items(), key=lambda option: len(option[0].intervals))


def _with_brief_intervals(option: Option) -> list[Option]:
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
