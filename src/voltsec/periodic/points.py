"""Sample points of the parameters: where the search for sequences looks.

Some lie around the netlist's own values (an element without one gets an ordinary one), at other duties
and periods.  The others do not depend on what the netlist says: which modes a circuit has is no matter of
the values in a file.  They spread over what decides which devices conduct: the duties, K = 2*L/(R*T) of
every coil from deep discontinuous to deep continuous conduction, ratios of coils, loads, sources and turns,
losses that are small beside the load, and resistors of any size.  Only capacitances do not matter.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

import numpy as np

from voltsec.circuit.circuit import Circuit, Coupling
from voltsec.circuit.elements import Capacitor, CurrentSource, Load, Resistor
from voltsec.circuit.perfect_coupling import is_perfect
from voltsec.periodic.stages import Stages
from voltsec.tableau.network import coils

DUTIES = (0.497, 0.303, 0.697, 0.151, 0.853, 0.403, 0.601, 0.053, 0.947)
PERIODS = (-2.0, -0.7, 0.0, 0.7, 2.0)
"""Powers of ten by which the netlist's period is changed."""

LEVELS = (1.5, 1.0, 0.5, 0.1, -0.3, -0.7, -1.1, -1.6, -2.2, -2.9, -3.6)
"""Powers of ten of K = 2*L/(R*T), for coils that are equal."""

SLIGHT = 0.5
"""Small resistances stay below this share of L/T."""

SPREAD = 40
"""Points in which everything differs, for each symbol that may differ and each diode and coupling, ..."""

MOST_DIODES = 3
"""... of these up to so many, ..."""

FEW = 6
"""... for each small resistance or drop, ..."""

MOST_SPREAD = 320
"""... and at most in all."""
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
        if isinstance(element, Resistor):
            point.setdefault(element.quantity.symbol, ohms)
        elif isinstance(element, CurrentSource):
            point.setdefault(element.quantity.symbol, volts / ohms)
        elif isinstance(element, Capacitor):
            point.setdefault(element.quantity.symbol, 1e-4)
        for word, quantity in element.parasitics.items():
            point.setdefault(quantity.symbol, 0.01 * ohms if word == "resistance" else 0.02 * volts)
    for place, parameter in enumerate(circuit.parameters):
        point.setdefault(parameter.symbol, TURNS[place % len(TURNS)])
    inductances = [known[c.symbol] for c in coils(circuit) if c.symbol in known]
    period = known.get("T", (max(inductances) / ohms) if inductances else 1e-5)
    point.setdefault("T", period)
    for coil in coils(circuit):
        point.setdefault(coil.symbol, max(inductances) if inductances else ohms * period)
    for coupling in circuit.couplings:
        pair = [point[circuit.symbol_of(n)] for n in (coupling.first, coupling.second)]
        coefficient = float(coupling.coefficient) if coupling.coefficient is not None else 0.5
        point.setdefault(coupling.symbol, coefficient * float(np.sqrt(pair[0] * pair[1])))
    for place, duty in enumerate(circuit.duty_symbols):
        point.setdefault(duty, (place + 1) / (len(circuit.duty_symbols) + 1) if place else 0.4)
    for place, phase in enumerate(circuit.phase_symbols):
        point.setdefault(phase, (place + 1) / (len(circuit.phase_symbols) + 1))
    return point


def as_arrays(point: Mapping[str, float]) -> dict[str, np.ndarray]:
    """One point as what is worked out at many: arrays of one number."""
    return {name: np.array([value]) for name, value in point.items()}


def operating_point(circuit: Circuit) -> dict[str, float] | None:
    """The point of `operate`, None where the netlist does not give every value it needs."""
    values = {symbol: float(value) for symbol, value in circuit.values.items()}
    return values if all(q.symbol in values for q in circuit.quantities) else None


def sample_points(circuit: Circuit, stages: Stages) -> dict[str, np.ndarray]:
    """Arrays of equal length, one entry a point; the edges come in the order of ``stages``.

    The base point comes first where its edges are in that order.
    """
    base = base_point(circuit)
    timings = [dict(zip(stages.symbols, timing, strict=True)) for timing in _in_order(stages, DUTIES)]
    rows: list[dict[str, float]] = []
    if all(length > 0 for length in stages.fractions(base)):
        rows.append(dict(base))
    rows += [base | timing | {"T": base["T"] * 10**power} for power, timing in product(PERIODS, timings)]
    ordinary = _Ordinary(circuit, base)
    middle = np.full(len(ordinary.symbols), 0.5)
    rows += [ordinary.point(level, middle) | timing for level, timing in product(LEVELS, timings)]
    large = len(ordinary.symbols) - len(ordinary.small)
    each = SPREAD * min(len(circuit.diodes) + len(circuit.couplings), MOST_DIODES)
    count = min(each * large + FEW * len(ordinary.small), MOST_SPREAD)
    for number, place in enumerate(_scattered(count, len(ordinary.symbols) + 1)):
        level = LEVELS[-1] + (LEVELS[0] - LEVELS[-1]) * place[0]
        rows.append(ordinary.point(level, place[1:]) | timings[number % len(timings)])
    return {name: np.array([row[name] for row in rows]) for name in base}


class _Ordinary:
    """Points that depend on the circuit's parts, not on their values but for the units of the three scales.

    Voltages, resistances and times are told in the netlist's first source, load and period: changing one of
    them changes no mode.
    """

    def __init__(self, circuit: Circuit, base: dict[str, float]) -> None:
        self.circuit = circuit
        self.base = base
        self.volt = abs(base[circuit.input.quantity.symbol]) or 1.0
        currents = [abs(base[e.quantity.symbol]) for e in circuit.of(CurrentSource)]
        ohms = [base[e.quantity.symbol] for e in circuit.of(Load)]
        ohms += [self.volt / current for current in currents if current]
        ohms += [base[e.quantity.symbol] for e in circuit.of(Resistor)]  # may be next to nothing
        self.ohm = next(iter(ohms), 10.0)
        self.levels = dict(self._levels())
        named = [(word, q.symbol) for e in circuit.elements for word, q in e.parasitics.items()]
        self.resistances = [symbol for word, symbol in named if word == "resistance"]
        self.small = [*self.resistances, *(symbol for word, symbol in named if word == "drop")]
        self.coils = [coil.symbol for coil in coils(circuit)]
        loose = [c for c in circuit.couplings if not is_perfect(circuit, c)]
        self.symbols = (*self.levels, *self.coils[1:], *(c.symbol for c in loose[:1]))
        """What varies besides K and the duties."""

    def _levels(self) -> Iterator[tuple[str, tuple[float, float, float]]]:
        """Symbols with their middle, and the powers of ten they reach to either side of it."""
        circuit, volt, ohm = self.circuit, self.volt, self.ohm
        for source in circuit.sources:
            if source is not circuit.input:
                yield source.quantity.symbol, (self._signed(source.quantity.symbol, volt), 0.7, 0.7)
        loads = [e for e in circuit.elements if isinstance(e, Resistor)]
        loads.sort(key=lambda e: not isinstance(e, Load))
        for number, load in enumerate(loads):
            if number:
                reach = 1.2 if isinstance(load, Load) else 2.0
                yield load.quantity.symbol, (ohm, reach, reach)
        for number, current in enumerate(circuit.of(CurrentSource)):
            if number or loads:
                yield current.quantity.symbol, (self._signed(current.quantity.symbol, volt / ohm), 0.8, 0.8)
        for element in circuit.elements:
            for word, quantity in element.parasitics.items():
                ordinary = (3e-3 * ohm, 1.0, 1.0) if word == "resistance" else (0.02 * volt, 0.8, 0.7)
                yield quantity.symbol, ordinary
        for place, parameter in enumerate(circuit.parameters):
            yield parameter.symbol, (TURNS[place % len(TURNS)], 0.6, 0.6)

    def _signed(self, symbol: str, size: float) -> float:
        return -size if self.base[symbol] < 0 else size

    def point(self, level: float, place: np.ndarray) -> dict[str, float]:
        """Values for K = 10**level and a place in the unit cube, one coordinate for each of ``symbols``."""
        found = dict(self.base)
        drawn = dict(zip(self.symbols, place, strict=True))
        for symbol, (middle, down, up) in self.levels.items():
            power = 2 * drawn[symbol] - 1
            found[symbol] = middle * 10 ** (power * (up if power > 0 else down))
        first = 10**level * self.ohm * self.base["T"] / 2
        for symbol in self.coils:
            power = 2 * drawn.get(symbol, 0.5) - 1  # most coils are of one order of magnitude
            found[symbol] = first * 10 ** (2.2 * power * abs(power))
        # a resistance that counts as small does not bend a coil's current beyond recognition
        most = SLIGHT * min((found[symbol] for symbol in self.coils), default=np.inf) / self.base["T"]
        for symbol in self.resistances:
            found[symbol] = min(found[symbol], most * 10 ** (2 * drawn[symbol] - 2))
        for coupling in self.circuit.couplings:
            pair = [self.circuit.element(n).quantities[0].symbol for n in (coupling.first, coupling.second)]
            strength = self._strength(coupling, pair, drawn)
            found[coupling.symbol] = strength * float(np.sqrt(found[pair[0]] * found[pair[1]]))
        return found

    def _strength(self, coupling: Coupling, pair: list[str], drawn: dict[str, float]) -> float:
        """The coefficient of a coupling: any for a pair of coils, that of the netlist or less in a group."""
        if is_perfect(self.circuit, coupling):
            return 1.0
        power = 2 * next(drawn[c.symbol] for c in self.circuit.couplings if c.symbol in drawn) - 1
        named = [name for c in self.circuit.couplings for name in (c.first, c.second)]
        if all(named.count(name) == 1 for name in (coupling.first, coupling.second)):
            return 1 - 0.2 * 0.025**power if power > 0 else 0.8 * 0.06**-power
        own = self.base[coupling.symbol] / float(np.sqrt(self.base[pair[0]] * self.base[pair[1]]))
        return own * (1 - 0.9 * max(power, 0.0) ** 2)  # all weaker together: what was passive stays so


def _scattered(count: int, dimensions: int) -> np.ndarray:
    """Points of the unit cube, evenly scattered: multiples of powers of a generalized golden ratio.

    After Roberts, The unreasonable effectiveness of quasirandom sequences, 2018 (from memory).
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1 + ratio) ** (1 / (dimensions + 1))
    steps = ratio ** -np.arange(1, dimensions + 1)
    return (0.5 + np.arange(1, count + 1)[:, None] * steps) % 1.0


def _in_order(stages: Stages, values: tuple[float, ...]) -> list[tuple[float, ...]]:
    """Values of duties and starts that put the edges in the order of ``stages``."""
    if stages.plain:
        return _ordered(len(stages.symbols), values)
    every = list(product(values, repeat=len(stages.symbols)))
    some = [every[k] for k in np.unique(np.linspace(0, len(every) - 1, MOST_TIMINGS).astype(int))]
    return [_drawn_in(stages, point) for point in some]


def random_timings(stages: Stages, count: int, generator: np.random.Generator) -> dict[str, np.ndarray]:
    """``count`` random values of duties and starts that put the edges in the order of ``stages``."""
    drawn = generator.uniform(0.01, 0.99, (count, len(stages.symbols)))
    if stages.plain:
        drawn = np.sort(drawn, axis=1)
    else:
        drawn = np.array([_drawn_in(stages, tuple(point)) for point in drawn]).reshape(drawn.shape)
    return dict(zip(stages.symbols, drawn.T, strict=True))


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
