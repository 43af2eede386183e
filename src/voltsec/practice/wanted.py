"""The duty that gives a wanted output, and the largest output that can be reached.

Losses bend the gain of a step-up stage down again towards D = 1, so that most outputs belong to two
duties.  On the lower one more duty gives more output, as a controller expects, and the currents are
smaller; on the upper one a controller would run away to full duty.  The lower one is called stable.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from sympy import Expr

from voltsec.circuit.computing_time import seconds_left
from voltsec.circuit.fault import Fault, NoSteadyState
from voltsec.practice.asked import BadValues
from voltsec.practice.sweep import sweep
from voltsec.results.solution import Solution

GRID = 401
"""Duties looked at; closer to 0 and 1 they lie closer together."""

NEAREST = 1e-4
"""Duties are looked for from here to one minus this."""

SAME = 1e-9
"""Relative error of the output beyond which a crossing is a jump, not a solution."""


class Unreachable(NoSteadyState):
    """No duty gives the wanted output; the message says how far the stage goes."""


@dataclass(frozen=True)
class DutyFound:
    """One duty that gives the wanted output."""

    duty: float
    mode: str
    efficiency: float
    slope: float
    """dV/dD of the output's size, volt."""
    stable: bool
    """More duty gives more output, and no smaller duty does the same."""
    formula: Expr | None
    """The duty in closed form (``Vout`` stands for the wanted output), where it is simple."""


@dataclass(frozen=True)
class Largest:
    """The largest size of the output over all duties."""

    duty: float
    output_voltage: float
    gain: float
    efficiency: float
    mode: str
    bounded: bool
    """False where the output grows without limit towards the end of the duty's range."""


@dataclass(frozen=True)
class Wanted:
    """What a wanted output needs."""

    symbol: str
    """The duty that was looked for."""
    output_voltage: float
    """As asked for, with the stage's own sign."""
    inverted: bool
    """True where the stage inverts and the asked value was taken as a size."""
    solutions: tuple[DutyFound, ...]
    largest: Largest
    missing: tuple[str, ...] = ()
    """Symbols without a value: the mode told is taken for granted."""


def wanted_duty(
    solution: Solution,
    output_voltage: float,
    values: Mapping[str, float] | None = None,
    duty: str | None = None,
) -> Wanted:
    """Every duty at which the output is ``output_voltage`` (volt), lowest first.

    ``values`` change the netlist's values; ``duty`` names the duty symbol where there are several (the
    others stay at their values).  Raises :class:`Unreachable` where there is none and
    :class:`~voltsec.practice.sweep.BadValues` for input that makes no sense.
    """
    symbol = _duty(solution, duty)
    fixed = {name: value for name, value in dict(values or {}).items() if name != symbol}
    if not np.isfinite(output_voltage) or output_voltage == 0:
        raise BadValues(f"a wanted output is a voltage other than zero, not {output_voltage:g}")
    duties = duty_grid()
    scan = sweep(solution, {**fixed, symbol: duties})
    known = np.isfinite(scan.output_voltage)
    if not known.any() and scan.missing:
        raise BadValues(f"values are missing for {', '.join(scan.missing)}")
    if not known.any():
        raise _nowhere(solution)
    sign = float(np.sign(np.median(scan.output_voltage[known])))
    inverted = sign < 0 < output_voltage
    target = -output_voltage if inverted else output_voltage

    def output(x: float) -> float:
        return float(sweep(solution, {**fixed, symbol: x}, ("output_voltage",)).output_voltage)

    top = _largest(solution, fixed, symbol, duties, np.abs(scan.output_voltage), output)
    found = []
    for left, right in _crossings(duties, scan.output_voltage - target):
        from scipy.optimize import brentq  # slow to import, and only a wanted output needs it

        place = left if left == right else brentq(lambda x: output(x) - target, left, right, xtol=1e-14)
        if abs(output(place) - target) <= max(SAME * abs(target), 1e-9 * abs(top.output_voltage)):
            found.append(place)
    if not found:
        raise _unreachable(solution, _how_far(solution, target, top, scan.output_voltage[known], symbol))
    return Wanted(
        symbol,
        target,
        inverted,
        tuple(_found(solution, fixed, symbol, place, target, found, output) for place in found),
        top,
        scan.missing,
    )


def largest_output(
    solution: Solution, values: Mapping[str, float] | None = None, duty: str | None = None
) -> Largest:
    """The largest size of the output over all duties (one duty varied, the others at their values)."""
    symbol = _duty(solution, duty)
    fixed = {name: value for name, value in dict(values or {}).items() if name != symbol}
    duties = duty_grid()
    scan = sweep(solution, {**fixed, symbol: duties})
    if not np.isfinite(scan.output_voltage).any():
        raise _nowhere(solution)

    def output(x: float) -> float:
        return float(sweep(solution, {**fixed, symbol: x}, ("output_voltage",)).output_voltage)

    return _largest(solution, fixed, symbol, duties, np.abs(scan.output_voltage), output)


def duty_grid() -> np.ndarray:
    """Duties from NEAREST to 1 - NEAREST, denser at both ends."""
    angle = np.linspace(0, np.pi, GRID)
    return NEAREST + (1 - 2 * NEAREST) * (1 - np.cos(angle)) / 2


def _duty(solution: Solution, duty: str | None) -> str:
    symbols = solution.circuit.duty_symbols
    if duty is None:
        if not symbols:
            raise BadValues("no switch has a duty that could be looked for")
        return symbols[0]
    if duty not in symbols:
        raise BadValues(f"{duty} is no duty of this circuit; there is {', '.join(symbols)}")
    return duty


def _crossings(duties: np.ndarray, difference: np.ndarray) -> list[tuple[float, float]]:
    """Pairs of neighbouring duties between which the difference changes sign."""
    found = [(float(d), float(d)) for d, value in zip(duties, difference, strict=True) if value == 0]
    for (left, before), (right, after) in pairwise(zip(duties, difference, strict=True)):
        if before * after < 0:
            found.append((float(left), float(right)))
    return sorted(found)


def _largest(
    solution: Solution,
    fixed: dict[str, float],
    symbol: str,
    duties: np.ndarray,
    sizes: np.ndarray,
    output: Callable[[float], float],
) -> Largest:
    best = int(np.nanargmax(sizes))
    place = float(duties[best])
    edge = best in (0, len(duties) - 1)
    bounded = True
    if edge:
        # ten times nearer to the end: an output that follows is not bounded by anything in the circuit
        nearer = NEAREST / 10 if best == 0 else 1 - NEAREST / 10
        bounded = not abs(output(nearer)) > 2 * sizes[best]
    else:
        around = (float(duties[best - 1]), float(duties[best + 1]))
        from scipy.optimize import minimize_scalar

        refined = minimize_scalar(
            lambda x: -np.nan_to_num(abs(output(x)), nan=0.0),
            bounds=around,
            method="bounded",
            options={"xatol": 1e-10},
        )
        if -refined.fun >= sizes[best]:
            place = float(refined.x)
    there = sweep(solution, {**fixed, symbol: place})
    return Largest(
        place,
        float(there.output_voltage),
        float(there.gain),
        float(there.efficiency),
        str(there.mode),
        bounded,
    )


def _found(
    solution: Solution,
    fixed: dict[str, float],
    symbol: str,
    place: float,
    target: float,
    places: list[float],
    output: Callable[[float], float],
) -> DutyFound:
    from voltsec.practice.closed_duty import duty_formula

    there = sweep(solution, {**fixed, symbol: place})
    step = min(1e-6, place / 4, (1 - place) / 4)
    slope = float(np.sign(target)) * (output(place + step) - output(place - step)) / (2 * step)
    mode = str(there.mode)
    return DutyFound(
        place,
        mode,
        float(there.efficiency),
        slope,
        bool(slope > 0 and place == min(places)),
        duty_formula(solution, mode, symbol, {**fixed, symbol: place}, target),
    )


def _nowhere(solution: Solution) -> Unreachable:
    if seconds_left() > 0:
        return _unreachable(solution, "no steady state could be verified at any duty")
    reason = "no steady state could be verified at any duty in the time allowed"
    return _unreachable(solution, reason, "--budget SECONDS gives the search more time")


def _unreachable(solution: Solution, reason: str, hint: str = "") -> Unreachable:
    circuit = solution.circuit
    return Unreachable((Fault("unreachable-output", reason, hint=hint),), circuit.file, circuit.text)


def _how_far(solution: Solution, target: float, top: Largest, outputs: np.ndarray, symbol: str) -> str:
    least = float(outputs[np.argmin(np.abs(outputs))])
    reason = f"no duty gives {target:.6g} V: "
    if target * top.output_voltage < 0:
        return reason + f"the output is {'negative' if top.output_voltage < 0 else 'positive'} at every duty"
    if abs(target) > abs(top.output_voltage) and not top.bounded:
        return reason + (
            f"it would need {symbol} closer to {round(top.duty)} than {NEAREST:g}, "
            "where only the losses left out of the netlist decide"
        )
    if abs(target) > abs(top.output_voltage) and not NEAREST < top.duty < 1 - NEAREST:
        return reason + (
            f"the gain only approaches {top.gain:.3g} and the output {top.output_voltage:.4g} V "
            f"as {symbol} approaches {round(top.duty)}"
        )
    if abs(target) > abs(top.output_voltage):
        return reason + (
            f"the largest gain is {top.gain:.5g}, {top.output_voltage:.6g} V at {symbol} = {top.duty:.4f} "
            f"({f'{top.mode}, ' if top.mode else ''}efficiency {100 * top.efficiency:.1f} %)"
        )
    if abs(target) < abs(least):
        return reason + f"the output goes down to {least:.6g} V only"
    return reason + "the output jumps over it from one mode to another"
