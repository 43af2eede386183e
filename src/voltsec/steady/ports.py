"""What source and load see: currents that flow all the time or in pulses, and the output's ripple.

The output current is what the converter delivers into load and output capacitors together; its
ripple is what the output capacitors have to take.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from sympy import Expr

from voltsec.circuit.elements import Capacitor
from voltsec.results.table import Swing, output_capacitor
from voltsec.steady.mode_formulas import ModeFormulas
from voltsec.steady.points import as_arrays
from voltsec.steady.readings import JUMP
from voltsec.steady.waveform import Waveform
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Ring

LONGEST = 150
"""Terms of a ripple up to which it is written out."""


@dataclass(frozen=True)
class PortCurrent:
    """How a port's current flows."""

    continuous: bool
    """Flows during the whole period and makes no step; otherwise it is pulsating."""
    share: Expr
    """Share of the period in which it flows."""
    ripple: Expr | None
    """Peak to peak, ampere (``Max`` of candidates where it depends on the values)."""


@dataclass(frozen=True)
class OutputRipple:
    """Output ripple with the capacitor's series resistance, volt peak to peak, in closed form.

    Holds where the extremes lie as said in ``highest`` and ``lowest``.
    """

    expression: Expr
    highest: str
    lowest: str


def input_current(builder: ModeFormulas, longest: int = LONGEST) -> PortCurrent | None:
    """The input's current; ``None`` where the model does not determine it.

    Its ripple is written out up to ``longest`` terms.
    """
    return _port(builder, "input_ripple", longest)


def output_current(builder: ModeFormulas, longest: int = LONGEST) -> PortCurrent | None:
    """The current into load and output capacitors; ``None`` where it is not determined."""
    return _port(builder, "output_current_ripple", longest)


def _port(builder: ModeFormulas, name: str, longest: int) -> PortCurrent | None:
    waves = builder.waveforms
    measure = builder.table[name].measure if name in builder.table else None
    if not isinstance(measure, Swing):
        return None
    current = builder.wave(measure.terms)
    if any(part is None for part in (*current.means, *current.ramps)):
        return None
    ring = builder.balance.ring
    flowing = ring.zero
    idle = False
    edges: list[tuple[np.ndarray, np.ndarray]] = []
    for k, (fraction, ramp) in enumerate(zip(waves.fractions, current.ramps, strict=True)):
        mean = current.middle(k)
        if mean is None or ramp is None:
            return None
        if builder.form.divides(mean.numerator) and builder.form.divides(ramp.numerator):
            idle = True
        else:
            flowing = flowing + fraction
        middle, half = waves.numeric(mean), waves.numeric(ramp)
        edges.append((middle - half, middle + half))
    peak = np.max(np.abs(np.array(edges)), axis=(0, 1))
    steps = False
    for k, (_, end) in enumerate(edges):
        start = edges[(k + 1) % len(edges)][0]
        jumps = np.abs(end - start) / np.maximum(peak, 1e-300)
        known = jumps[np.isfinite(jumps)]
        steps = steps or bool(known.size and np.median(known) > JUMP)
    share = builder.form.expression(Ratio(flowing, ring.one))
    return PortCurrent(not idle and not steps, share, builder.extremes.swing(current, longest))


def output_ripple(builder: ModeFormulas, longest: int = LONGEST) -> OutputRipple | None:
    """The output ripple as a formula for where its extremes lie at the mode's inner sample point.

    ``None`` where no capacitor lies across the output, its current is not determined, or the formula
    would be too long to read.
    """
    capacitor = output_capacitor(builder.circuit)
    if capacitor is None:
        return None
    waves = builder.waveforms
    current = waves.current(("i", capacitor.name))
    if builder.balance.bends or any(part is None for part in (*current.means, *current.ramps)):
        return None  # currents that bend have no such formula; the numbers follow them
    parts = [
        len(side) for part in (*current.means, *current.ramps) if part is not None for side in part.parts
    ]
    if max(parts) > longest:
        return None
    candidates = _candidates(builder, capacitor, current)
    point = as_arrays(builder.witness)
    values = []
    for _, ratio, place in candidates:
        inside = place is None or abs(_number(builder, place, point)) < 1
        values.append(_number(builder, ratio, point) if inside else np.nan)
    if not np.isfinite(values).any():
        return None
    top, bottom = int(np.nanargmax(values)), int(np.nanargmin(values))
    high, low = candidates[top], candidates[bottom]
    if capacitor.resistance is None:  # all cases of it
        whole = builder.told(f"ripple.{capacitor.name}")
        return None if whole is None else OutputRipple(whole, high[0], low[0])
    difference = high[1] - low[1]
    if difference.terms > longest:
        return None
    return OutputRipple(builder.form.expression(difference), high[0], low[0])


def _number(builder: ModeFormulas, ratio: Ratio, point: dict[str, np.ndarray]) -> float:
    ring = builder.balance.ring
    with np.errstate(all="ignore"):
        return float(ratio.value(ring, point))


def _candidates(
    builder: ModeFormulas, capacitor: Capacitor, current: Waveform
) -> list[tuple[str, Ratio, Ratio | None]]:
    """(where, voltage above that at the period's start, place in the interval if inside)."""
    ring = builder.balance.ring
    farad = ring.symbol(capacitor.quantity.symbol)
    ohm = ring.zero if capacitor.resistance is None else ring.symbol(capacitor.resistance.symbol)
    charge = Ratio(ring.zero, ring.one)
    found: list[tuple[str, Ratio, Ratio | None]] = []
    for k, fraction in enumerate(builder.waveforms.fractions):
        mean, ramp = current.means[k], current.ramps[k]
        assert mean is not None and ramp is not None
        length = fraction * ring.symbol("T")
        first, last = mean - ramp, mean + ramp
        found.append((f"start of interval {k + 1}", _terminal(charge, first, farad, ohm, ring), None))
        if not ramp.is_zero:
            # current at which i/C + r*di/dt = 0, and where in the interval (-1 to 1) that is
            still = ramp * Ratio(-2 * ohm * farad, length)
            place = (still - mean) / ramp
            # charge from the start: the mean of the two currents times the time between
            both = first + still
            time = (place + Ratio(ring.one, ring.one)) * Ratio(length, ring.constant(2))
            flown = (both * time) * Ratio(ring.one, ring.constant(2))
            voltage = _terminal(charge + flown, still, farad, ohm, ring)
            found.append((f"inside interval {k + 1}", voltage, place))
        charge = charge + (mean * Ratio(length, ring.one))
        found.append((f"end of interval {k + 1}", _terminal(charge, last, farad, ohm, ring), None))
    return found


def _terminal(charge: Ratio, current: Ratio, farad, ohm, ring: Ring) -> Ratio:
    inner = charge * Ratio(ring.one, farad)
    return inner if ohm.is_zero() else inner + (current * Ratio(ohm, ring.one))
