"""How far the formulas' numbers are from the exact periodic state, ripple included.

What counts as a difference: one per cent of the output voltage, of a coil's mean current or of a
capacitor's mean voltage (of values near zero: of what is usual in the circuit), or a tenth of the
losses if that is half a per cent of the input, or a capacitor's ripple of a fifth of its voltage, which
peak values neglect (the limits are this project's own).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.steady.numbers import holds_at
from voltsec.steady.solution import Numbers, Solution
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.conduction import settled_state
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import PeriodicState

SHARE = 0.01
"""Difference of an average that counts, of its own size."""
NEAR_ZERO = 0.1
"""An average below this share of the circuit's largest, or of its own ripple, is held against that."""
OF_LOSSES = 0.1
OF_INPUT = 0.005
LARGE_RIPPLE = 0.2
"""Share of its voltage from which a capacitor's ripple counts even where all averages hold."""


@dataclass(frozen=True)
class Difference:
    """A number of the formulas that ripple changes; SI units."""

    kind: str
    """output, capacitor, coil, efficiency, or ripple (of a capacitor, peak to peak)."""
    name: str
    """The part, empty for the whole stage."""
    formula: float
    exact: float


@dataclass(frozen=True)
class Swing:
    """The ripple that is largest beside its mean."""

    name: str
    unit: str
    size: float
    """Peak to peak, SI."""
    share: float | None
    """Of the mean; None where that is next to nothing."""


@dataclass(frozen=True)
class RippleCheck:
    """Formulas and exact periodic state side by side at the operating point."""

    exact: PeriodicState | None
    """None where it was not found or is not determined."""
    differences: tuple[Difference, ...]
    """Those that count, the output first, then coils and capacitors, largest first, efficiency, ripple."""
    largest: Swing | None
    other_devices: bool
    """Other devices conduct, or in another order, than the formulas assume."""


def ripple_check(solution: Solution) -> RippleCheck | None:
    """Compare at the operating point; None where the solution has no numbers."""
    numbers = solution.numbers
    if numbers is None or solution.engine is None:
        return None
    assumed = _assumed(solution, numbers)
    if assumed is None:
        return None
    sequence, lengths, fractions = assumed
    try:
        with np.errstate(all="ignore"):
            network = PeriodNetwork(solution.circuit, numbers.point)
            exact = settled_state(network, sequence, lengths, fractions)
    except (NotDetermined, np.linalg.LinAlgError, OverflowError):
        return RippleCheck(None, (), _largest(numbers.ripple, numbers), False)
    differences = tuple(_differences(numbers, exact))
    return RippleCheck(exact, differences, _largest(exact.ripple, numbers), exact.sequence != sequence)


def _assumed(solution: Solution, numbers: Numbers) -> tuple[Sequence, list[float], list[float]] | None:
    """The formulas' sequence at the operating point, the lengths of its stages, its fractions."""
    builder = dict(solution.engine.builders).get(numbers.mode)
    if builder is not None:
        arrays = {name: np.array([value]) for name, value in numbers.point.items()}
        mask, shares = holds_at(builder, arrays)
        if not mask[0]:
            return None
        stages, sequence = builder.found.stages, builder.balance.sequence
        return sequence, stages.fractions(numbers.point), [float(share) for share in shares[:, 0]]
    mode = dict(solution.engine.numeric).get(numbers.mode)
    found = None if mode is None else mode.at(numbers.point)
    if mode is None or found is None:
        return None
    known = [float(found[1][name][0]) for name in mode.sequence.fractions]
    return mode.sequence, mode.stages.fractions(numbers.point), known


def _differences(numbers: Numbers, exact: PeriodicState) -> list[Difference]:
    found = []
    output = numbers.output_voltage
    volts = {"": output} | numbers.capacitor_voltages
    if output is not None and exact.output_voltage is not None:
        level = max(abs(output), NEAR_ZERO * _most(volts))
        if abs(exact.output_voltage - output) > SHARE * level:
            found.append(Difference("output", "", output, exact.output_voltage))
    parts = []
    for kind, own, other in (
        ("coil", numbers.inductor_currents, exact.inductor_currents),
        ("capacitor", numbers.capacitor_voltages, exact.capacitor_voltages),
    ):
        for name, value in own.items():
            true = other.get(name)
            if value is None or true is None:
                continue
            swing = exact.ripple.get(name, 0.0)
            level = max(abs(value), NEAR_ZERO * _most(own), NEAR_ZERO * swing)
            if abs(true - value) > SHARE * level:
                parts.append((abs(true - value) / level, Difference(kind, name, value, true)))
    found += [difference for _, difference in sorted(parts, key=lambda part: -part[0])]
    if numbers.efficiency is not None and exact.efficiency is not None:
        change = abs(exact.efficiency - numbers.efficiency)
        if change > OF_INPUT and change > OF_LOSSES * (1 - numbers.efficiency):
            found.append(Difference("efficiency", "", numbers.efficiency, exact.efficiency))
    swings = []
    for name, mean in numbers.capacitor_voltages.items():
        formula = numbers.ripple.get(name)
        if mean is None or formula is None or abs(mean) < NEAR_ZERO * _most(volts):
            continue
        share = exact.ripple[name] / abs(mean) if mean else 0.0
        if share > LARGE_RIPPLE:
            swings.append((share, Difference("ripple", name, formula, exact.ripple[name])))
    return found + [difference for _, difference in sorted(swings, key=lambda swing: -swing[0])]


def _most(group: Mapping[str, float | None]) -> float:
    return max((abs(value) for value in group.values() if value is not None), default=0.0)


def _largest(ripple: Mapping[str, float | None], numbers: Numbers) -> Swing | None:
    """The capacitor whose ripple is largest beside its voltage; a coil where there is no capacitor."""
    for means, unit in ((numbers.capacitor_voltages, "V"), (numbers.inductor_currents, "A")):
        swings = []
        for name, mean in means.items():
            size = ripple.get(name)
            if mean is None or size is None:
                continue
            level = max(abs(mean), NEAR_ZERO * _most(means))
            share = size / abs(mean) if abs(mean) == level and level else None
            swings.append((size / level if level else 0.0, Swing(name, unit, size, share)))
        if swings:
            return max(swings, key=lambda swing: swing[0])[1]
    return None
