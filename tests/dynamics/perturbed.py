"""Responses by brute force: the duty is changed period by period, and the output's component read off.

The circuit is followed event by event (``waveforms/march.py``) with the duty D + e cos(w t) sampled at the
instant of the edge it moves, over a window of whole periods of both.  No derivative enters.
"""

from __future__ import annotations

from math import cos, pi

import numpy as np

from voltsec.periodic.stages import Stages
from voltsec.results.measures import Terms
from voltsec.waveforms.linear import course
from voltsec.waveforms.march import Switching, follow
from voltsec.waveforms.trajectory import Trajectory


def edges(stages: Stages, point: dict[str, float], duty: str, change: float) -> list[float]:
    """Shares of the switch intervals where every edge that ``duty`` moves is moved by its own change."""
    places = [0.0]
    for stage in range(len(stages.closed) - 1):
        moves = sum(float(length[1 + stages.symbols.index(duty)]) for length in stages.lengths[: stage + 1])
        before = sum(float(share) for share in stages.fractions(point)[: stage + 1])
        places.append(before + moves * change)
    return [*np.diff([*places, 1.0])]


def response(
    trajectory: Trajectory,
    stages: Stages,
    duty: str,
    output: Terms,
    cycles: int,
    periods: int,
    settle: int,
    size: float = 1e-5,
) -> complex:
    """The response of the output's component at ``cycles`` oscillations in ``periods`` periods.

    The duty swings for ``settle`` periods (a multiple of ``periods``) before the window is read.
    """
    network = trajectory.network
    point = {name: float(value[0]) for name, value in network.point.items()}
    turn = 2 * pi * cycles / periods  # of the phase in a period
    # the edge that the duty moves first; all its edges lie there where it moves one only
    instant = sum(float(s) for s in stages.fractions(point)[:1])
    state = trajectory.start[0]
    references = network.network.references
    row = network.row({u: float(s) for u, s in output if u[0] != "v" or u[1] not in references})
    guess = trajectory.sequence.intervals[-1].conducting
    total = 0j
    for n in range(settle + periods):
        change = size * cos(turn * (n + instant))
        followed = follow(
            network, Switching(stages.closed, tuple(edges(stages, point, duty, change))), state, guess
        )
        if n >= settle:
            walked = Trajectory(
                network, followed.sequence, followed.instants, np.array([followed.fractions]), state[None]
            )
            total += _component(walked, row, turn, n)
        state, guess = followed.end, followed.last
    return 2 * total / periods / size


def _component(walked: Trajectory, row: np.ndarray, turn: float, n: int) -> complex:
    """Integral of the output times exp(-j w t) over one period, as a share of the period."""
    total = 0j
    begun = 0.0
    for k, system in enumerate(walked.systems):
        share = float(walked.fractions[0, k])
        if k in walked.instants:
            continue
        size = system.augmented.shape[1]
        turned = np.zeros((1, size + 1, size + 1), complex)
        turned[0, :size, :size] = system.augmented[0] - 1j * turn / walked.period[0] * np.eye(size)
        turned[0, size, :size] = walked.functional(k, row)[0]
        length = np.array([share * walked.period[0]])
        gathered = course(turned, length).growth[0, size, :size] @ walked.ends[k][0][0]
        total += gathered / walked.period[0] * np.exp(-1j * turn * (n + begun))
        begun += share
    return total
