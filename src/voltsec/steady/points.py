"""Sample points of the parameters: where the search for sequences looks.

Values come from the netlist where it gives them; an element without a value gets an ordinary one.
The points spread over the duties, the period (which moves every coil between continuous and
discontinuous conduction), and the ratios of coils, loads and turns.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.steady.stages import Stages
from voltsec.tableau.network import coils

DUTIES = (0.497, 0.303, 0.697, 0.151, 0.853, 0.403, 0.601, 0.053, 0.947)
PERIODS = (-4.0, -2.0, -1.3, -0.7, -0.3, 0.0, 0.3, 0.7, 1.3, 2.0, 3.0)
FEW_DUTIES = (0.497, 0.303, 0.697)
FEW_PERIODS = (-2.0, -0.7, 0.0, 0.7, 2.0)
MOST_TIMINGS = 40
TURNS = (1.5, 0.7, 1.2, 0.9, 2.0)


def base_point(circuit: Circuit) -> dict[str, float]:
    """A number for every symbol: the netlist's value, else an ordinary one (SI units)."""
    known = {symbol: float(value) for symbol, value in circuit.values.items()}
    point = dict(known)
    volts = max([abs(known.get(s.quantity.symbol, 12.0)) for s in circuit.sources] or [12.0])
    loads = [
        known[e.quantity.symbol] for e in circuit.loads if e.kind == "load" and e.quantity.symbol in known
    ]
    ohms = min(loads) if loads else 10.0
    for source in circuit.sources:
        point.setdefault(source.quantity.symbol, volts)
    for element in circuit.elements:
        if element.kind in ("load", "resistor"):
            point.setdefault(element.quantity.symbol, ohms)
        elif element.kind == "current":
            point.setdefault(element.quantity.symbol, volts / ohms)
        elif element.kind == "capacitor":
            point.setdefault(element.quantity.symbol, 1e-4)
        if getattr(element, "resistance", None) is not None:
            point.setdefault(element.resistance.symbol, 0.01 * ohms)
        if getattr(element, "drop", None) is not None:
            point.setdefault(element.drop.symbol, 0.02 * volts)
    for place, parameter in enumerate(circuit.parameters):
        point.setdefault(parameter.symbol, TURNS[place % len(TURNS)])
    inductances = [known[c.symbol] for c in coils(circuit) if c.symbol in known]
    period = known.get("T", (max(inductances) / ohms) if inductances else 1e-5)
    point.setdefault("T", period)
    for coil in coils(circuit):
        point.setdefault(coil.symbol, max(inductances) if inductances else ohms * period)
    for coupling in circuit.couplings:
        pair = [point[circuit.element(n).quantity.symbol] for n in (coupling.first, coupling.second)]
        coefficient = float(coupling.coefficient) if coupling.coefficient is not None else 0.5
        point.setdefault(coupling.symbol, coefficient * float(np.sqrt(pair[0] * pair[1])))
    for place, duty in enumerate(circuit.duty_symbols):
        point.setdefault(duty, (place + 1) / (len(circuit.duty_symbols) + 1) if place else 0.4)
    for place, phase in enumerate(circuit.phase_symbols):
        point.setdefault(phase, (place + 1) / (len(circuit.phase_symbols) + 1))
    return point


def operating_point(circuit: Circuit) -> dict[str, float] | None:
    """The point of `operate`, None where the netlist does not give every value it needs."""
    values = {symbol: float(value) for symbol, value in circuit.values.items()}
    return values if all(q.symbol in values for q in circuit.quantities) else None


def sample_points(circuit: Circuit, stages: Stages) -> dict[str, np.ndarray]:
    """Arrays of equal length, one entry a point; the edges come in the order of ``stages``.

    The base point comes first where its edges are in that order.
    """
    base = base_point(circuit)
    rows: list[dict[str, float]] = []
    if all(length > 0 for length in stages.fractions(base)):
        rows.append(dict(base))
    rows += [
        base | dict(zip(stages.symbols, timing, strict=True)) | {"T": base["T"] * 10**power}
        for power, timing in product(PERIODS, _in_order(stages, DUTIES))
    ]
    for change in _variations(circuit, base):
        rows += [
            base | dict(zip(stages.symbols, timing, strict=True)) | {"T": base["T"] * 10**power} | change
            for power, timing in product(FEW_PERIODS, _in_order(stages, FEW_DUTIES))
        ]
    return {name: np.array([row[name] for row in rows]) for name in base}


def _in_order(stages: Stages, values: tuple[float, ...]) -> list[tuple[float, ...]]:
    """Values of duties and starts that put the edges in the order of ``stages``."""
    if stages.plain:
        return _ordered(len(stages.symbols), values)
    every = list(product(values, repeat=len(stages.symbols)))
    some = [every[k] for k in np.unique(np.linspace(0, len(every) - 1, MOST_TIMINGS).astype(int))]
    return [_drawn_in(stages, point) for point in some]


def _drawn_in(stages: Stages, point: tuple[float, ...]) -> tuple[float, ...]:
    """A point of the unit cube drawn towards the middle of the order's region.

    On every ray from the middle the cube's border becomes the region's, so that all of it is covered.
    """
    middle = stages.inner_point()
    centre = np.array([middle[name] for name in stages.symbols])
    ray = np.array(point) - centre
    factors = np.array([[float(part) for part in length[1:]] for length in stages.lengths])
    slopes = factors @ ray
    lengths = np.array(stages.fractions(middle))
    room = [length / -slope for length, slope in zip(lengths, slopes, strict=True) if slope < 0]
    cube = [(c if r < 0 else 1 - c) / abs(r) for c, r in zip(centre, ray, strict=True) if r]
    if not room or not cube:
        return tuple(float(value) for value in centre)
    return tuple(float(value) for value in centre + ray * (min(*room, *cube) / min(cube)))


def _ordered(count: int, values: tuple[float, ...]) -> list[tuple[float, ...]]:
    """Increasing tuples of duties."""
    if count == 0:
        return [()]
    if count == 1:
        return [(value,) for value in values]
    ordered = sorted(values)
    return [choice for choice in product(ordered, repeat=count) if all(np.diff(choice) > 0)][:40]


def _variations(circuit: Circuit, base: dict[str, float]) -> list[dict[str, float]]:
    found: list[dict[str, float]] = []
    inductances = [coil.symbol for coil in coils(circuit)]
    if len(inductances) > 1:
        for symbol, factor in product(inductances, (0.1, 10.0)):
            change = {symbol: base[symbol] * factor}
            for coupling in circuit.couplings:
                names = {circuit.element(n).quantity.symbol for n in (coupling.first, coupling.second)}
                if symbol in names:
                    change[coupling.symbol] = base[coupling.symbol] * np.sqrt(factor)
            found.append(change)
    loads = [load.quantity.symbol for load in circuit.loads]
    if len(loads) > 1:
        found += [{symbol: base[symbol] * f} for symbol, f in product(loads, (0.2, 5.0))]
    found += [{p.symbol: base[p.symbol] * f} for p, f in product(circuit.parameters, (0.4, 2.5))]
    return found
