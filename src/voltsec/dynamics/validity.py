"""What an averaged model neglects, and where it is not valid."""

from __future__ import annotations

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.dynamics.sampled import Sampled
from voltsec.steady.first_order_dry import Case


def settling_states(sampled: Sampled) -> list[str]:
    """States that settle or swing within an interval, for which averaging is not valid."""
    found: dict[str, str] = {}
    names = [state[-1] for state in list(sampled.network.place)[: sampled.network.count]]
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
    if not found:
        return []
    return [
        f"averaging is not valid here: {', '.join(found.values())}; trust the exact response, not the "
        "averaged one"
    ]


def left_out(circuit: Circuit, case: Case) -> list[str]:
    """What the formulas neglect."""
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
        text = f"averaged: the ripple of {', '.join(capacitors)} is neglected"
        if ideal:
            verb = "have" if len(ideal) > 1 else "has"
            text += (
                f"; {', '.join(ideal)} {verb} no series resistance in the netlist, so no zero comes from it"
            )
        found.append(text)
    if case.sequence.unknown:
        cores = [t.magnetizing.symbol for t in case.circuit.transformers if t.magnetizing is not None]
        if cores:
            found.append(
                f"averaged: the magnetizing current of {', '.join(cores)}, which starts anew every period, "
                "is left out"
            )
    return found
