"""Port currents and output ripple at one point, straight from means and ramps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from voltsec.steady.ports import JUMP, input_row, output_capacitor, output_row
from voltsec.steady.solution import PortNumbers

if TYPE_CHECKING:
    from voltsec.steady.numbers import Evaluation
    from voltsec.tableau.network import Row

Array = np.ndarray


def input_numbers(values: Evaluation) -> PortNumbers | None:
    """How the input's current flows; None where the model leaves it open."""
    return _port(values, input_row(values.circuit, values.balance.ring))


def output_numbers(values: Evaluation) -> PortNumbers | None:
    """How the current into load and output capacitors flows."""
    return _port(values, output_row(values.circuit, values.balance))


def _course(values: Evaluation, row: Row) -> tuple[Array, Array, Array] | None:
    """Fraction, mean and ramp (ampere) of a current in every interval."""
    current = values.waves.of(row)
    if any(part is None for part in (*current.means, *current.ramps)):
        return None
    rows = [
        [float(values.waves.numeric(part)[0]) * values.ampere for part in parts if part is not None]
        for parts in (current.means, current.ramps)
    ]
    points = values.waves.points
    shares = [float(points[name][0]) for name in values.balance.sequence.fractions]
    return np.array(shares), np.array(rows[0]), np.array(rows[1])


def _port(values: Evaluation, row: Row) -> PortNumbers | None:
    found = _course(values, row) if row else None
    if found is None:
        return None
    shares, means, ramps = found
    starts, ends = means - ramps, means + ramps
    sizes = np.maximum(np.abs(starts), np.abs(ends))
    peak = float(sizes.max())
    if not np.isfinite(peak):
        return None
    flows = sizes > JUMP * peak
    steps = np.abs(np.roll(starts, -1) - ends).max() > JUMP * peak
    ripple = float(np.maximum(starts, ends).max() - np.minimum(starts, ends).min())
    return PortNumbers(bool(flows.all() and not steps), float(shares[flows].sum()), ripple)


def output_ripple_number(values: Evaluation) -> float | None:
    """Peak to peak of the output, volt: charge and series resistance of the capacitor together.

    Extremes lie at ends of intervals or where i/C + r di/dt vanishes.
    """
    capacitor = output_capacitor(values.circuit)
    found = None if capacitor is None else _course(values, {("i", capacitor.name): values.balance.ring.one})
    if capacitor is None or found is None:
        return None
    points = values.waves.points
    farad = float(points[capacitor.quantity.symbol][0])
    ohm = 0.0 if capacitor.resistance is None else float(points[capacitor.resistance.symbol][0])
    period = float(points["T"][0])
    charge = 0.0
    reached: list[float] = []
    for share, mean, ramp in zip(*found, strict=True):
        length = share * period
        places = [-1.0, 1.0]
        if ramp and length:
            places.append(-(mean + 2 * ohm * farad * ramp / length) / ramp)
        for place in places:
            if abs(place) <= 1:
                flown = length / 2 * (mean * (place + 1) + ramp * (place * place - 1) / 2)
                reached.append((charge + flown) / farad + ohm * (mean + ramp * place))
        charge += mean * length
    swing = max(reached) - min(reached)
    return float(swing) if np.isfinite(swing) else None
