"""One interval, or the mean over a period's intervals, with the derivatives of its states in it.

The rows are the mean networks of :mod:`voltsec.tableau.assembly`, one an interval, with the coil currents
and capacitor voltages the same in all of them.  Where the steady state asks that voltages of coils and
currents of capacitors sum to zero over the period, their sums are here what makes the states move: with f_k
the shares of the period,

    sum f_k u_k = L di/dt,   sum f_k i_Ck = C dv/dt

One interval alone is the same with one share, the whole period.

Unknowns beside those of the mean networks: ``("x", name)`` a state, ``("d", name)`` its derivative (names of
coils and capacitors), ``("y", label)`` an output's mean over the intervals.  With ``push`` every sum has an
unknown ``("w", unknown)`` more, by which it is pushed: that is how a change of the shares comes in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Source
from voltsec.formulas.first_order_dry import Case
from voltsec.results.measures import Terms
from voltsec.results.table import voltage
from voltsec.tableau.assembly import average_interval_rows, inductance_rows, parameter_names
from voltsec.tableau.interval import Sequence as Intervals
from voltsec.tableau.network import Network, Row, Unknown, fluxes
from voltsec.tableau.ring import Polynomial, Ring

OUTPUT = "v"
INPUT_CURRENT = "i"


@dataclass(frozen=True)
class Equations:
    """Linear rows in derivatives, states, inner unknowns and constants."""

    rows: tuple[Row, ...]
    states: tuple[str, ...]
    """Coils (of several with one flux the first), then capacitors."""
    sums: tuple[Unknown, ...]
    """Unknowns of an interval whose mean over the intervals stands in some row, see ``push``."""


def state_names(circuit: Circuit) -> tuple[str, ...]:
    """Coils (of several with one flux the first), then capacitors."""
    return (*(flux.coil.name for flux in fluxes(circuit)), *(c.name for c in circuit.capacitors))


def input_symbols(circuit: Circuit) -> tuple[str, ...]:
    """Symbols of sources, constant currents and the drops of devices, in this order."""
    sources = [element.quantity.symbol for element in circuit.of(Source, CurrentSource)]
    drops = [device.drop.symbol for device in circuit.devices if device.drop is not None]
    return tuple(dict.fromkeys([*sources, *drops]))


def duty_ring(case: Case, more: tuple[str, ...] = ()) -> Ring:
    """The ring of duties, starts of on-times, shares that end by themselves, and parameters."""
    return Ring((*more, *case.stages.symbols, *own_shares(case), *parameter_names(case.circuit)))


def own_shares(case: Case) -> tuple[str, ...]:
    """Variables for the shares of intervals that end by themselves."""
    return tuple(case.sequence.fractions[k] for k in case.sequence.unknown)


def shares_of(case: Case, ring: Ring) -> dict[int, Polynomial]:
    """Every interval's share of the period, times one whole number."""
    over, sequence = case.stages.over, case.sequence
    found = {}
    for stage, length in enumerate(case.stages.lengths):
        constant, *factors = (int(part * over) for part in length)
        left = ring.constant(constant)
        for name, factor in zip(case.stages.symbols, factors, strict=True):
            left = left + ring.symbol(name) * factor
        members = [k for k, interval in enumerate(sequence.intervals) if interval.stage == stage]
        for k in members[:-1]:
            found[k] = ring.symbol(sequence.fractions[k]) * over
            left = left - found[k]
        if members:
            found[members[-1]] = left
    return dict(sorted(found.items()))


def share_change(case: Case, k: int, symbol: str) -> int:
    """By how much :func:`shares_of` interval ``k`` changes with a duty or the start of an on-time.

    Of a switch interval it is the last share that changes.
    """
    intervals = case.sequence.intervals
    if k + 1 < len(intervals) and intervals[k + 1].stage == intervals[k].stage:
        return 0
    place = 1 + case.stages.symbols.index(symbol)
    return int(case.stages.lengths[intervals[k].stage][place] * case.stages.over)


def ordinary_outputs(circuit: Circuit) -> dict[str, Terms]:
    """The output voltage and the current drawn from the input."""
    return {
        OUTPUT: voltage(circuit.output.start, circuit.output.end),
        INPUT_CURRENT: ((("i", circuit.input.name), -1),),
    }


def equations(
    network: Network,
    sequence: Intervals,
    shares: Mapping[int, Polynomial],
    outputs: Mapping[str, Terms],
    push: bool = False,
) -> Equations:
    """Rows of the intervals in ``shares`` (place in ``sequence`` -> share of the time), taken together."""
    circuit, ring = network.circuit, network.ring
    rows: list[Row] = []
    coils = {flux.coil.name: flux for flux in fluxes(circuit)}
    single = {name for name, flux in coils.items() if not flux.shared}

    def name(unknown: Unknown) -> Unknown:
        if unknown[0] == "V":
            return ("x", unknown[1])
        if unknown[0] == "m" and unknown[2][0] == "i" and len(unknown[2]) == 2 and unknown[2][1] in single:
            return ("x", unknown[2][1])
        return unknown

    for k in shares:
        for row in average_interval_rows(circuit, sequence, network, k):
            rows.append({(None if u is None else name(u)): c for u, c in row.items()})
        for coil, flux in coils.items():
            if flux.shared:
                own: Row = {("m", k, u): c for u, c in flux.current(ring).items()}
                rows.append({**own, ("x", coil): -ring.one})
    whole = sum(shares.values(), ring.zero)
    sums: list[Unknown] = []

    def mean(unknown: Unknown) -> Row:
        state = name(("m", 0, unknown) if unknown[0] != "V" else unknown)
        if state[0] == "x":  # the same in all intervals
            return {state: whole}
        if push:
            sums.append(unknown)
        found: Row = {name(("m", k, unknown)): share for k, share in shares.items()}
        return {**found, ("w", unknown): ring.one} if push else found

    matrix = inductance_rows(circuit, ring)
    for coil in coils:
        slopes: Row = {
            ("d", other): -entry * whole for other, entry in matrix[coil].items() if other in coils
        }
        rows.append({**mean(("u", coil)), **slopes})
    for capacitor in circuit.capacitors:
        farads = ring.symbol(capacitor.quantity.symbol)
        rows.append({**mean(("i", capacitor.name)), ("d", capacitor.name): -farads * whole})
    for label, terms in outputs.items():
        told: Row = {("y", label): -whole}
        for unknown, sign in terms:
            if unknown[0] == "v" and unknown[1] in network.references:
                continue
            _add(told, mean(unknown), sign)
        rows.append(told)
    return Equations(tuple(rows), state_names(circuit), tuple(dict.fromkeys(sums)))


def _add(row: Row, terms: Row, sign: int) -> None:
    for unknown, coefficient in terms.items():
        total = coefficient * sign
        row[unknown] = row[unknown] + total if unknown in row else total


def with_inputs(rows: Iterable[Row], network: Network, inputs: Sequence[str]) -> list[Row]:
    """The rows with an unknown ``("s", symbol)`` for every source and drop in place of constants."""
    ring = network.ring
    found = []
    for row in rows:
        told = {unknown: c for unknown, c in row.items() if unknown is not None}
        constant = row.get(None)
        if constant is not None:
            for symbol in inputs:
                factors = ring.coefficients(constant, symbol)
                if len(factors) > 1 and not factors[1].is_zero():
                    told["s", symbol] = factors[1]
        found.append(told)
    return found
