"""What an averaged model neglects, and where it is not valid."""

from __future__ import annotations

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.dynamics.sampled import Sampled
from voltsec.dynamics.transfer import Transfer
from voltsec.formulas.first_order_dry import Case

LOWEST, HIGHEST = 1e-4, 0.1
"""Shares of the switching frequency between which averaged and exact response are compared, ..."""
COMPARED = 80
"""... at so many frequencies."""
DECIBELS, DEGREES = 1.0, 10.0
"""Differences up to these are not told."""
NOTHING = 1e-9
"""An exact response below this share of the largest of all is zero."""
JUMP = 1e-6
"""A state that jumps by less than this share of the largest is not recharged."""


def deviation(averaged: Transfer, sampled: Sampled, key: tuple[str, str]) -> list[str]:
    """A note where the averaged response is far from the exact one, with the cause where one is seen."""
    hertz = _compared(sampled)
    if averaged.zero:
        if exactly_zero(sampled, key):
            return []
        return [
            "the averaged response is zero, the exact one is not: only what averaging neglects moves the "
            f"output{_because(sampled)}"
        ]
    exact = sampled.at(hertz)[key]
    with np.errstate(all="ignore"):
        ratio = exact / averaged.at(hertz)
        level, angle = np.abs(20 * np.log10(np.abs(ratio))), np.abs(np.degrees(np.angle(ratio)))
    if not (np.isfinite(level).all() and np.isfinite(angle).all()):
        return []
    if level.max() < DECIBELS and angle.max() < DEGREES:
        return []
    return [
        "below a tenth of the switching frequency the averaged response is off by up to "
        f"{level.max():.1f} dB and {angle.max():.0f} degrees, the exact one is right{_because(sampled)}"
    ]


def exactly_zero(sampled: Sampled, key: tuple[str, str]) -> bool:
    """The exact response is zero at all frequencies that averaged and exact ones are compared at."""
    found = {name: float(np.abs(values).max()) for name, values in sampled.at(_compared(sampled)).items()}
    return found[key] <= NOTHING * max(found.values())


def _compared(sampled: Sampled) -> np.ndarray:
    switching = 1.0 / float(sampled.network.point["T"][0])
    return np.geomspace(switching * LOWEST, switching * HIGHEST, COMPARED)


def _because(sampled: Sampled) -> str:
    causes = [*settling_states(sampled), *jumping_states(sampled)]
    return f": {'; '.join(causes)}" if causes else ""


def _names(sampled: Sampled) -> list[str]:
    return [state[-1] for state in list(sampled.network.place)[: sampled.network.count]]


def settling_states(sampled: Sampled) -> list[str]:
    """States that settle or swing within an interval, for which averaging is not valid."""
    found: dict[str, str] = {}
    names = _names(sampled)
    for k in sampled.lasting:
        system = sampled.pieces[k].system
        rate = system.augmented[0, :-1, :-1]
        if not len(rate):
            continue
        length = float(sampled.trajectory.fractions[0, k]) * sampled.period
        values, vectors = np.linalg.eig(rate)
        for value, vector in zip(values, vectors.T, strict=True):
            if abs(value) * length > 1.0:
                shares = np.abs(system.free[0].T @ vector)
                name = names[int(shares.argmax())]
                what = "settles" if abs(value.real) > abs(value.imag) else "swings"
                found.setdefault(name, f"{name} {what} within interval {k + 1}")
    return list(found.values())


def jumping_states(sampled: Sampled) -> list[str]:
    """Capacitors that are recharged in no time: that acts as a resistance, which averaging has not."""
    coils = {flux.coil.name for flux in sampled.network.fluxes}
    jumps = np.max([np.abs(jump[0]) for *_, jump in sampled.trajectory.ends], axis=0, initial=0.0)
    level = float(np.abs(sampled.trajectory.start).max())
    moved = [
        name
        for name, jump in zip(_names(sampled), jumps, strict=True)
        if name not in coils and jump > JUMP * level
    ]
    if not moved:
        return []
    return [f"{', '.join(moved)} {'are' if len(moved) > 1 else 'is'} recharged in no time, which damps"]


def left_out(circuit: Circuit, case: Case, reduced: bool) -> list[str]:
    """What the formulas neglect; ``reduced`` ones take currents that start anew every period along."""
    kept = {element.name for element in case.circuit.elements}
    gone = [element.name for element in circuit.elements if element.name not in kept]
    found = []
    if gone:
        found.append(
            f"the formulas are those without {', '.join(gone)}, which settle at once at the operating point; "
            "the exact response has them"
        )
    capacitors = [capacitor.name for capacitor in case.circuit.capacitors]
    ideal = [capacitor.name for capacitor in case.circuit.capacitors if capacitor.resistance is None]
    if capacitors:
        text = f"{'reduced' if reduced else 'averaged'}: the ripple of {', '.join(capacitors)} is neglected"
        if ideal:
            verb = "have" if len(ideal) > 1 else "has"
            text += (
                f"; {', '.join(ideal)} {verb} no series resistance in the netlist, so no zero comes from it"
            )
        found.append(text)
    if case.sequence.unknown and not reduced:
        cores = [t.magnetizing.symbol for t in case.circuit.transformers if t.magnetizing is not None]
        if cores:
            found.append(
                f"averaged: the magnetizing current of {', '.join(cores)}, which starts anew every period, "
                "is left out"
            )
    return found


def first_order(circuit: Circuit, whole: bool) -> str:
    """What is left out of formulas to first order; ``whole`` where numbers and curves have it."""
    names = ", ".join(circuit.parasitics)
    text = f"≈: to first order in {names}; products of them are left out"
    return f"{text} of what would be too long to be read, not of the numbers and curves" if whole else text
