"""Why a circuit has no steady state, in circuit terms: what drives the coil or capacitor that runs away."""

from __future__ import annotations

import numpy as np
from sympy import Expr, Integer, Symbol

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import Fault
from voltsec.periodic.complementarity import (
    PeriodicProblem,
    PeriodicState,
    grows_with_trace,
    interrupted,
)
from voltsec.periodic.time_grid import uniform
from voltsec.search.search import Search
from voltsec.tableau.assembly import parameter_names
from voltsec.tableau.elimination import eliminate
from voltsec.tableau.expression import Writer
from voltsec.tableau.network import Network, Unknown, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Ring

CONSTANT = "with capacitor voltages taken as constant, "
"""What is found without looking at ripple begins so."""


def no_steady_state(circuit: Circuit, references: tuple[str, ...], searches: tuple[Search, ...]) -> Fault:
    """The fault that says which element finds no balance and what it sees in each interval."""
    if any(search.unfinished for search in searches):
        return Fault(
            "not-determined",
            "no mode could be confirmed in the time allowed",
            hint="--budget SECONDS gives the search more time; fewer parts need less",
        )
    if any(0 in search.open_points for search in searches) or not any(s.no_state for s in searches):
        return Fault(
            "not-determined",
            "no answer could be confirmed: the circuit settles into a periodic state, but which devices "
            "conduct when is not certain",
            hint="often a part settles within a small share of an interval (a snubber, a tiny coil beside a "
            "capacitor): leave it out, or give it a more usual value",
        )
    for search in searches:
        for place in search.no_state[:2]:
            point = search.point(place)
            lengths = np.array(search.stages.fractions(point))
            problem = PeriodicProblem(circuit, references, search.stages.closed, point)
            cut = interrupted(problem, lengths)
            if cut is not None:
                return _cut_off(circuit, search, *cut)
            grows = grows_with_trace(problem, lengths)
            state = problem.with_traces()[1].solve(lengths, uniform(len(lengths), 8))
            if state is not None and grows:
                return _explained(circuit, references, search, state, point, grows)
    return Fault(
        "no-steady-state",
        "there is no steady state: whichever diodes conduct, currents and voltages do not come back to where "
        "they began",
        hint="check the direction of diodes and sources, and that every coil has a way for its current",
    )


def _cut_off(circuit: Circuit, search: Search, name: str, stage: int) -> Fault:
    closed = search.stages.closed[stage]
    when = " and ".join(
        f"{switch.name} is {'closed' if switch.name in closed else 'open'}" for switch in circuit.switches
    )
    return Fault(
        "no-steady-state",
        f"there is no steady state: while {when}, the current of {name} has no path; cutting it off would "
        "take a voltage without limit",
        elements=(name,),
        hint=f"give {name} a path in that interval, usually a diode; check the direction of the diodes",
    )


def _explained(
    circuit: Circuit,
    references: tuple[str, ...],
    search: Search,
    state: PeriodicState,
    point: dict[str, float],
    grows_here: tuple[str, ...],
) -> Fault:
    name = grows_here[0]
    is_coil = name in {coil.name for coil in coils(circuit)}
    quantity = ("u", name) if is_coil else ("i", name)
    views = []
    for stage, closed in enumerate(search.stages.closed):
        steps = np.flatnonzero(state.stages == stage)
        middle = state.conducting[steps[len(steps) // 2]]
        conducting = closed | {d.name for d, on in zip(circuit.diodes, middle, strict=True) if on}
        seen = _seen(circuit, references, conducting, quantity, point)
        share = search.stages.share(stage)
        devices = ", ".join(d.name for d in circuit.devices if d.name in conducting) or "nothing"
        views.append(f"{seen} for {share} of the period ({devices} conducting)")
    law = "volt-seconds" if is_coil else "charge"
    # without ripple it is so; what only sources drive grows whatever the ripple
    assumed = CONSTANT if circuit.capacitors and any("v(" in view or "i(" in view for view in views) else ""
    grows = "current" if is_coil else "voltage"
    return Fault(
        "no-steady-state",
        f"{assumed}there is no steady state: the {law} of {name} do not balance; it sees "
        f"{' and '.join(views)}, so its {grows} grows from period to period",
        elements=grows_here,
        hint=f"give {name} a path that brings its {grows} back in every period, or change the duty",
    )


def _seen(
    circuit: Circuit,
    references: tuple[str, ...],
    conducting: frozenset[str],
    quantity: Unknown,
    point: dict[str, float],
) -> str:
    """Voltage of a coil or current of a capacitor with the given devices conducting."""
    ring = Ring(parameter_names(circuit))
    network = Network(circuit, ring, references)
    rows = [*network.rows, *network.device_rows(conducting)]
    states = [("V", c.name) for c in circuit.capacitors] + [("i", c.name) for c in coils(circuit)]
    # the states come last in the elimination, so that everything else is expressed by them
    found = eliminate(rows, ring, vanishes=None, last=frozenset(states))
    if quantity not in found.solved:
        return "an undetermined value"
    denominator, terms = found.solved[quantity]
    writer = Writer(ring, (), point)
    total: Expr = Integer(0)
    for unknown, coefficient in terms.items():
        factor = writer.ratio(Ratio(coefficient, denominator))
        if unknown is None:
            total += factor
        elif unknown[0] in ("V", "i") and len(unknown) == 2:
            total += factor * Symbol(f"{'v' if unknown[0] == 'V' else 'i'}({unknown[1]})")
        else:
            return "an undetermined value"
    return str(total)
