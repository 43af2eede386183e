"""Curves of responses over frequency: magnitude in dB, unwrapped phase in degrees, up to half of fs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from voltsec.dynamics.model import Model, Response
from voltsec.dynamics.sampled import Link
from voltsec.waveforms.linear import Array

DECADES = 5.0
"""The lowest frequency is this many decades below the switching frequency at most, ..."""
LEAST = 2.3
"""... and this many at least."""
BELOW = 0.1
"""It lies below the slowest pole or zero by this factor."""
NARROWEST = 1e-5
"""Half width of a resonance that nothing damps, as a share of its frequency."""
RESONANCE = np.array([-8.0, -4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0])
"""Half widths from a resonance at which it is drawn."""
FINE = 240
"""Frequencies at least along which a phase is unwrapped."""


@dataclass(frozen=True)
class Curve:
    """One response over frequency."""

    response: Response
    exact: bool
    hertz: Array
    """(f,)"""
    values: Array
    """(f,) complex, SI."""
    decibels: Array
    """(f,)"""
    degrees: Array
    """(f,) unwrapped along the frequencies."""

    @property
    def link(self) -> Link:
        """From what to what."""
        return self.response.link


def frequencies(model: Model, points: int) -> Array:
    """(points,) spaced evenly on a logarithmic axis, the last one half the switching frequency."""
    assert model.frequency is not None
    slow = [
        abs(root) / (2 * np.pi)
        for one in model.responses
        if one.transfer is not None
        for root in (*one.transfer.poles, *one.transfer.zeros)
        if root
    ]
    lowest = BELOW * min(slow, default=model.frequency)
    lowest = min(max(lowest, model.frequency * 10**-DECADES), model.frequency * 10**-LEAST)
    return np.geomspace(lowest, model.frequency / 2, points)


def with_resonances(model: Model, hertz: Array) -> Array:
    """``hertz`` and what a curve needs to reach the top of every resonance between them."""
    near = []
    for one in model.responses:
        for root in () if one.transfer is None else (*one.transfer.poles, *one.transfer.zeros):
            if root.imag > 0:
                width = max(abs(root.real), NARROWEST * abs(root)) / (2 * np.pi)
                near.append(root.imag / (2 * np.pi) + width * RESONANCE)
    if not near:
        return hertz
    more = np.concatenate(near)
    return np.union1d(hertz, more[(more > hertz[0]) & (more < hertz[-1])])


def curves(model: Model, hertz: Array) -> list[Curve]:
    """Every response at frequencies (f,), averaged and exact."""
    fine = with_resonances(model, np.union1d(np.geomspace(hertz[0], hertz[-1], FINE), hertz))
    places = np.searchsorted(fine, hertz)
    found = []
    for response in model.responses:
        averaged = None if response.averaged is None else response.averaged.at(fine)
        for exact, values in ((False, averaged), (True, model.exact(response.link, fine))):
            if values is None:
                continue
            with np.errstate(all="ignore"):
                level = 20 * np.log10(np.abs(values))
            phase = np.degrees(np.unwrap(np.nan_to_num(np.angle(values))))
            found.append(Curve(response, exact, hertz, values[places], level[places], phase[places]))
    return found
