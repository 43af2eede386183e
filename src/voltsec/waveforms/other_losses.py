"""Losses beside conduction, estimated from exact waveforms: at the turns of devices, and in cores."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from voltsec.results.measures import Core, Terms, Turning
from voltsec.waveforms.linear import Array
from voltsec.waveforms.network import PeriodNetwork
from voltsec.waveforms.trajectory import Trajectory

JUMP = 1e-6
"""A current, or a step of one, below this share of its peak is rounding."""


class Waves(Protocol):
    """What the estimates look at: one periodic trajectory at P points."""

    trajectory: Trajectory
    network: PeriodNetwork
    lasting: list[int]

    def waves(self, terms: Terms) -> list[tuple[Array, Array]]:
        """Values (P, s) at the samples of every interval that lasts, and slopes."""

    def moves(self, terms: Terms) -> Array:
        """(P, lasting intervals): how far a quantity moves where ideal parts leave a state open."""


def turning(measures: Waves, measure: Turning) -> Array:
    """Watt (P,) lost at the turns of a device, nan where voltage or current is open there."""
    intervals, lasting = measures.trajectory.sequence.intervals, measures.lasting
    volts = [values for values, _ in measures.waves(measure.voltage)]
    amperes = [values for values, _ in measures.waves(measure.current)]
    least = JUMP * np.max([np.abs(values).max(axis=1) for values in amperes], axis=0)
    open_volt, open_ampere = (measures.moves(terms) != 0 for terms in (measure.voltage, measure.current))
    energy = np.zeros(len(least))
    for after, k in enumerate(lasting):
        before = after - 1  # of the first the last, one period earlier
        conducts = measure.device in intervals[k].conducting
        if conducts == (measure.device in intervals[lasting[before]].conducting):
            continue
        if conducts != measure.closing:
            continue
        blocks, flows = (before, after) if measure.closing else (after, before)
        last, first = (-1, 0) if measure.closing else (0, -1)
        volt = np.where(open_volt[:, blocks], np.nan, volts[blocks][:, last])
        ampere = amperes[flows][:, first]
        ampere = np.where(open_ampere[:, flows], np.nan, np.where(np.abs(ampere) < least, 0.0, ampere))
        if measure.overlap:
            energy = energy + measure.overlap / 2 * np.maximum(volt * ampere, 0.0)
        if measure.capacitance:
            energy = energy + measure.capacitance / 2 * volt**2
        if measure.charge:
            energy = energy + measure.charge * np.abs(volt) * np.abs(np.sign(ampere))
    return energy / measures.network.point["T"]


def core(measures: Waves, measure: Core) -> Array:
    """Watt (P,) lost in a core, from the swing of its flux linkage."""
    point = measures.network.point
    parts = []
    for terms, symbol in measure.linkage:
        inductance = np.reshape(point[symbol], (-1, 1))
        parts.append([inductance * values for values, _ in measures.waves(terms)])
    linkages = [np.sum(part, axis=0) for part in zip(*parts, strict=True)]
    high = np.max([linkage.max(axis=1) for linkage in linkages], axis=0)
    low = np.min([linkage.min(axis=1) for linkage in linkages], axis=0)
    density = (high - low) / (2 * measure.turns * measure.area)
    return measure.volume * measure.k * point["T"] ** -measure.alpha * density**measure.beta
