"""One period's equations: the mean and the ramp network of every interval, tied round the period.

Every voltage and current x is its mean over the interval plus a straight ramp; ``("m", k, x)`` is
the mean and ``("r", k, x)`` half the rise from the interval's start to its end.  Flux and
continuity tie coil currents, charge balance fixes capacitor voltages.  All rows are linear in the
unknowns once the fractions are given, and are solved as one exact system, so that loops of
capacitors and diodes and cutsets of coils come out right.

Where a resistance makes a coil's voltage change along the interval, its current is no straight line.
``bends`` adds the next Legendre polynomial, ``("b", k, x)``: with t from -1 to 1 over the interval,
x = mean + ramp*t + bend*(3*t**2 - 1)/2, so the ends are mean -+ ramp + bend.  The coil's voltage is
followed up to its ramp (Lanczos' tau method, Applied Analysis, 1956, from memory).  Then the energy
of every coil is that of its end currents, and with ramps counted as ramp**2/3 the losses sum to
input minus output power exactly; without bends they would miss a quarter of a triangular current's.
"""

from __future__ import annotations

from math import prod

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Resistor, Source
from voltsec.tableau.interval import Sequence
from voltsec.tableau.network import (
    Network,
    Row,
    Unknown,
    coils,
    fluxes,
    mutual_symbols,
    rename,
    shared_flux,
)
from voltsec.tableau.ring import Polynomial, Ring
from voltsec.tableau.tied import ring_of


def parameter_names(circuit: Circuit) -> tuple[str, ...]:
    """Names of all variables of the equations but timing: symbols, and turns of coils of one flux."""
    timing = set(circuit.timing_symbols)
    turns = [name for _, name in shared_flux(circuit).values() if name is not None]
    return tuple(dict.fromkeys([*(q.symbol for q in circuit.quantities if q.symbol not in timing), *turns]))


def ring_for(circuit: Circuit, sequence: Sequence, alike: frozenset[str] = frozenset()) -> Ring:
    """The ring of the parameters, T and the interval fractions.

    Turns ratios in ``alike`` are one, as the circuit asks of coils of one flux that are in parallel.
    """
    ring = ring_of(sequence, parameter_names(circuit))
    ring.sums |= dict.fromkeys(alike, ring.one)
    return ring


def average_rows(circuit: Circuit, sequence: Sequence, network: Network) -> list[Row]:
    """Mean networks with constant coil currents: the small-ripple equations of all averages."""
    ring = network.ring
    rows: list[Row] = []
    for k in range(len(sequence.intervals)):
        rows += _interval_rows(circuit, sequence, network, k, "m", constants=True)
    for flux in fluxes(circuit):
        voltage = ("u", flux.coil.name)
        rows.append({("m", k, voltage): ring.symbol(f) for k, f in enumerate(sequence.fractions)})
        current = flux.current(ring)
        for k in range(1, len(sequence.intervals)):
            rows.append(
                {("m", 0, u): c for u, c in current.items()} | {("m", k, u): -c for u, c in current.items()}
            )
    rows += _charge_rows(circuit, sequence, ring)
    return rows


def bends_count(circuit: Circuit) -> bool:
    """True where currents may bend: anything resistive but loads whose voltage capacitors hold constant."""
    held: dict[str, str] = {}

    def root(node: str) -> str:
        while node in held:
            node = held[node]
        return node

    for element in circuit.of(Capacitor, Source):
        start, end = root(element.start), root(element.end)
        if element.resistance is None and start != end:
            held[start] = end
    return any(
        "resistance" in element.parasitics
        or (isinstance(element, Resistor) and root(element.start) != root(element.end))
        for element in circuit.elements
    )


def period_rows(
    circuit: Circuit, sequence: Sequence, network: Network, all_events: bool = False, bends: bool = False
) -> list[Row]:
    """Mean and ramp networks of every interval, flux, continuity, charge balance, and events.

    An interval that ends by itself adds the equation of the device that ends it; where several
    devices change at once the network itself ties them, and ``all_events`` adds theirs as well.
    With ``bends`` the bend networks come in, too.
    """
    ring = network.ring
    rows: list[Row] = []
    count = len(sequence.intervals)
    parts = ("m", "r", "b") if bends else ("m", "r")
    for k in range(count):
        for part in parts:
            rows += _interval_rows(circuit, sequence, network, k, part, constants=part == "m")
        rows += flux_rows(circuit, sequence, ring, k)
        if bends:
            rows += bend_rows(circuit, sequence, ring, k)
    for flux in fluxes(circuit):
        for k in range(count):
            row: Row = {}
            for part in parts:
                ends = ((k, 1), ((k + 1) % count, 1 if part == "r" else -1))  # ramps start at -ramp
                for place, sign in ends:
                    for local, turns in flux.current(ring).items():
                        unknown = (part, place, local)
                        row[unknown] = row.get(unknown, ring.zero) + turns * sign
            rows.append({u: c for u, c in row.items() if not c.is_zero()})
    rows += _charge_rows(circuit, sequence, ring)
    for k in sequence.unknown:
        rows += _event_rows(circuit, sequence, network, k, all_events, parts)
    return [row for row in rows if row]


def loose_potentials(network: Network, rows: list[Row], parts: tuple[str, ...], count: int) -> list[Unknown]:
    """Potentials that stand in no row, of nodes at which every device is open, in ``count`` intervals."""
    fixed = {unknown for row in rows for unknown in row}
    named = ((part, k, ("v", node)) for part in parts for k in range(count) for node in network.nodes)
    return [unknown for unknown in named if unknown not in fixed]


def average_interval_rows(circuit: Circuit, sequence: Sequence, network: Network, k: int) -> list[Row]:
    """The mean network of interval ``k`` alone."""
    return _interval_rows(circuit, sequence, network, k, "m", constants=True)


def ramp_rows(circuit: Circuit, sequence: Sequence, network: Network, k: int) -> list[Row]:
    """The ramp network of interval ``k`` alone: everything in terms of the coils' ramps."""
    return _interval_rows(circuit, sequence, network, k, "r", constants=False)


def inductance_rows(circuit: Circuit, ring: Ring) -> dict[str, dict[str, Polynomial]]:
    """The inductance matrix, coil name by coil name (zero entries left out).

    Coils of one flux are told by the first of them and their turns over its own, so that the matrix is
    exactly singular.
    """
    found = coils(circuit)
    pairs = mutual_symbols(circuit)
    shared = shared_flux(circuit)
    symbols = {coil.name: coil.symbol for coil in found}
    matrix: dict[str, dict[str, Polynomial]] = {}
    for one in found:
        first, turns = shared.get(one.name, (one.name, None))
        matrix[one.name] = {}
        for other in found:
            second, more = shared.get(other.name, (other.name, None))
            symbol = symbols[first] if first == second else pairs.get((first, second))
            if symbol is not None:
                factors = [ring.symbol(name) for name in (turns, more) if name is not None]
                matrix[one.name][other.name] = prod(factors, start=ring.symbol(symbol))
    return matrix


def flux_rows(circuit: Circuit, sequence: Sequence, ring: Ring, k: int) -> list[Row]:
    """Flux linkage: twice inductance times ramp equals mean voltage times duration."""
    duration = ring.symbol(sequence.fractions[k]) * ring.symbol("T")
    rows = []
    matrix = inductance_rows(circuit, ring)
    for name in (flux.coil.name for flux in fluxes(circuit)):
        row: Row = {("r", k, ("i", other)): 2 * entry for other, entry in matrix[name].items()}
        row[("m", k, ("u", name))] = -duration
        rows.append(row)
    return rows


def bend_rows(circuit: Circuit, sequence: Sequence, ring: Ring, k: int) -> list[Row]:
    """Flux linkage to the next order: six times inductance times bend equals voltage ramp times duration."""
    duration = ring.symbol(sequence.fractions[k]) * ring.symbol("T")
    rows = []
    matrix = inductance_rows(circuit, ring)
    for name in (flux.coil.name for flux in fluxes(circuit)):
        row: Row = {("b", k, ("i", other)): 6 * entry for other, entry in matrix[name].items()}
        row[("r", k, ("u", name))] = -duration
        rows.append(row)
    return rows


def _interval_rows(
    circuit: Circuit, sequence: Sequence, network: Network, k: int, part: str, constants: bool
) -> list[Row]:
    interval = sequence.intervals[k]

    def name(unknown: Unknown) -> Unknown:
        return unknown if unknown[0] == "V" else (part, k, unknown)

    rows = [*network.rows, *network.flux_ties, *network.device_rows(interval.conducting)]
    if not constants:
        rows = [{u: c for u, c in row.items() if u is None or u[0] != "V"} for row in rows]
    return [rename(row, name, constants) for row in rows]


def _charge_rows(circuit: Circuit, sequence: Sequence, ring: Ring) -> list[Row]:
    return [
        {
            ("m", k, ("i", capacitor.name)): ring.symbol(fraction)
            for k, fraction in enumerate(sequence.fractions)
        }
        for capacitor in circuit.capacitors
    ]


def _event_rows(
    circuit: Circuit,
    sequence: Sequence,
    network: Network,
    k: int,
    all_events: bool,
    parts: tuple[str, ...],
) -> list[Row]:
    stops, starts = sequence.ended_by(k)
    rows = []
    if len(stops) == 1 or (stops and all_events):
        for name in sorted(stops):
            rows.append(_end_value({("i", name): network.ring.one}, k, parts))
    elif not stops and (len(starts) == 1 or all_events):
        for name in sorted(starts):
            device = circuit.device(name)
            row = dict(network.device_voltage(device))
            if device.drop is not None:
                row[None] = -network.ring.symbol(device.drop.symbol)
            rows.append(_end_value(row, k, parts))
    return rows


def _end_value(row: Row, k: int, parts: tuple[str, ...]) -> Row:
    """The value at the end of interval ``k``: mean plus ramp (plus bend)."""
    end: Row = {}
    for unknown, coefficient in row.items():
        if unknown is None:
            end[None] = coefficient
        else:
            for part in parts:
                end[part, k, unknown] = coefficient
    return end
