"""What source and load see: currents that flow all the time or in pulses, and the output's ripple.

The output current is what the converter delivers into load and output capacitors together; its
ripple is what the output capacitors have to take.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from sympy import Expr

from voltsec.formulas.mode_formulas import ModeFormulas
from voltsec.periodic.points import as_arrays
from voltsec.periodic.readings import JUMP
from voltsec.periodic.waveform import Waveform
from voltsec.results.measures import Swing
from voltsec.tableau import lengths
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial


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
    """Output ripple with the capacitors' series resistances, volt peak to peak, in closed form.

    Holds where the extremes lie as said in ``highest`` and ``lowest``.
    """

    expression: Expr
    highest: str
    lowest: str


def input_current(builder: ModeFormulas, longest: int = lengths.TOLD) -> PortCurrent | None:
    """The input's current; ``None`` where the model does not determine it.

    Its ripple is written out up to ``longest`` terms.
    """
    return _port(builder, "input_ripple", longest)


def output_current(builder: ModeFormulas, longest: int = lengths.TOLD) -> PortCurrent | None:
    """The current into load and output capacitors; ``None`` where it is not determined.

    Of a load without a capacitor right across it no ripple is told: it is that of capacitors elsewhere.
    """
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
        with np.errstate(all="ignore"):  # points beyond what a float holds are left out below
            edges.append((middle - half, middle + half))
    peak = np.max(np.abs(np.array(edges)), axis=(0, 1))
    steps = False
    for k, (_, end) in enumerate(edges):
        start = edges[(k + 1) % len(edges)][0]
        with np.errstate(all="ignore"):
            jumps = np.abs(end - start) / np.maximum(peak, 1e-300)
        known = jumps[np.isfinite(jumps)]
        steps = steps or bool(known.size and np.median(known) > JUMP)
    share = builder.form.expression(Ratio(flowing, ring.one))
    ripple = builder.extremes.swing(current, longest) if measure.voltage is None else None
    return PortCurrent(not idle and not steps, share, ripple)


def output_ripple(builder: ModeFormulas, longest: int = lengths.TOLD) -> OutputRipple | None:
    """The output ripple as a formula for where its extremes lie at the mode's inner sample point.

    ``None`` where no capacitors lie in series across the output, their currents are not determined, or
    the formula would be too long to read.
    """
    ring = builder.balance.ring
    measure = builder.table["output_ripple"].measure
    assert isinstance(measure, Swing)
    charge = measure.charge
    if charge is None or not charge.capacitors:
        return None
    waves = builder.waveforms
    current, drops = waves.of(charge.flow(ring)), waves.of(charge.drops(ring))
    told = [part for wave in (current, drops) for part in (*wave.means, *wave.ramps)]
    if builder.balance.bends or any(part is None for part in told):
        return None  # currents that bend have no such formula; the numbers follow them
    if max(len(side) for part in told if part is not None for side in part.parts) > longest:
        return None
    farad = charge.farad(ring)
    candidates = _candidates(builder, current, drops, farad)
    point = as_arrays(builder.witness)
    values = []
    for _, ratio, place in candidates:
        inside = place is None or abs(_number(builder, place, point)) < 1
        values.append(_number(builder, ratio, point) if inside else np.nan)
    if not np.isfinite(values).any():
        return None
    top, bottom = int(np.nanargmax(values)), int(np.nanargmin(values))
    high, low = candidates[top], candidates[bottom]
    if not charge.resistances:  # all cases of it
        whole = (
            builder.told(f"ripple.{charge.capacitors[0][0]}")
            if len(charge.capacitors) == 1
            else builder.extremes.capacitor_ripple(current, Ratio(farad, ring.one))
        )
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
    builder: ModeFormulas, current: Waveform, drops: Waveform, farad: Polynomial
) -> list[tuple[str, Ratio, Ratio | None]]:
    """(where, voltage above that at the period's start, place in the interval if inside)."""
    ring = builder.balance.ring
    charge = Ratio(ring.zero, ring.one)
    found: list[tuple[str, Ratio, Ratio | None]] = []
    for k, fraction in enumerate(builder.waveforms.fractions):
        mean, ramp, drop, drop_ramp = current.means[k], current.ramps[k], drops.means[k], drops.ramps[k]
        assert mean is not None and ramp is not None and drop is not None and drop_ramp is not None
        length = fraction * ring.symbol("T")
        first = mean - ramp
        start = charge * Ratio(ring.one, farad) + (drop - drop_ramp)
        found.append((f"start of interval {k + 1}", start, None))
        if not ramp.is_zero:
            # current at which i/C + du/dt = 0 (u the drops), and where in the interval (-1 to 1) that is
            still = drop_ramp * Ratio(-2 * farad, length)
            place = (still - mean) / ramp
            # charge from the start: the mean of the two currents times the time between
            both = first + still
            time = (place + Ratio(ring.one, ring.one)) * Ratio(length, ring.constant(2))
            flown = (both * time) * Ratio(ring.one, ring.constant(2))
            voltage = (charge + flown) * Ratio(ring.one, farad) + (drop + drop_ramp * place)
            found.append((f"inside interval {k + 1}", voltage, place))
        charge = charge + mean * Ratio(length, ring.one)
        end = charge * Ratio(ring.one, farad) + (drop + drop_ramp)
        found.append((f"end of interval {k + 1}", end, None))
    return found
