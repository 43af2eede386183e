"""The averaged small-signal model of continuous conduction.

The balances over the period (:mod:`voltsec.dynamics.equations`) with s times the states on their right, and
small changes of everything around the steady state: the shares change with the duty, so every balance is
pushed by the differences of its voltages or currents between the intervals,

    sum f_k u^_k + d^ sum f_k' U_k = s L i^

One elimination gives every response, as ratios of polynomials in s and the circuit's symbols, or of
polynomials in s with exact whole numbers where the ring holds numbers for the symbols
(:mod:`voltsec.dynamics.number_ring`).  An interval that ends by itself (a core that resets) has a share that
is not known here: a response in which it occurs is not told.  (Middlebrook, Cuk, PESC 1976, from memory;
solved here as one tableau, so that loops of capacitors and cutsets of inductors come out right.)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Quantity, Source
from voltsec.dynamics.equations import (
    equations,
    ordinary_outputs,
    own_shares,
    share_change,
    shares_of,
    with_inputs,
)
from voltsec.formulas.first_order_dry import Case
from voltsec.results.measures import Terms
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.network import Network, Row, Unknown
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Ring

S = "s#"
"""The ring's variable of the Laplace transform; ``#`` cannot stand in a netlist's names."""
PROBE = "#probe"
"""A current that is fed into the output, by its first node: name and symbol."""


@dataclass(frozen=True)
class SmallSignal:
    """Responses of means over the period, over ``ring``."""

    ring: Ring
    controls: tuple[str, ...]
    """Duties, symbols of sources, and :data:`PROBE`."""
    outputs: tuple[str, ...]
    responses: Mapping[tuple[str, str], Ratio]
    """(output, control) -> ratio of polynomials in :data:`S`; what is not determined is missing."""


def with_probe(circuit: Circuit) -> Circuit:
    """The circuit with a current of no size into its output."""
    output = circuit.output
    probe = CurrentSource(PROBE, output.end, output.start, Quantity(PROBE, "A"))
    return replace(circuit, elements=(*circuit.elements, probe), output_choice=output)


def probed(case: Case) -> Case:
    """``case`` for the circuit with a probe."""
    circuit = with_probe(case.circuit)
    return replace(case, circuit=circuit, point={**case.point, PROBE: 0.0})


def small_signal(case: Case, ring: Ring, outputs: Mapping[str, Terms] | None = None) -> SmallSignal:
    """The model of ``case``, a :func:`probed` one, over ``ring``, which has :data:`S`."""
    circuit, stages = case.circuit, case.stages
    wanted = ordinary_outputs(circuit) if outputs is None else dict(outputs)
    network = Network(circuit, ring, case.references)
    shares = shares_of(case, ring)
    sources = tuple(e.quantity.symbol for e in circuit.of(Source, CurrentSource))
    own = equations(network, case.sequence, shares, wanted, push=True)
    changes: dict[tuple[Unknown, str], Row] = {}
    for duty in stages.symbols:
        for unknown in own.sums:
            factors = {("m", k, unknown): share_change(case, k, duty) for k in shares}
            changes[unknown, duty] = {u: ring.constant(factor) for u, factor in factors.items() if factor}
    steady = _steady(own.rows, ring, changes)
    moved = _moved(with_inputs(own.rows, network, sources), ring, [*wanted])
    responses: dict[tuple[str, str], Ratio] = {}
    unknown_shares = frozenset(own_shares(case))
    for label in wanted:
        solved = moved.solved.get(("y", label))
        if solved is None or any(u[0] not in ("w", "s") for u in solved[1]):
            continue
        denominator, terms = solved
        for symbol in sources:
            responses[label, symbol] = lowest_terms(terms.get(("s", symbol), ring.zero), denominator)
        for duty in stages.symbols:
            pushed = _pushed(terms, duty, steady, ring)
            if pushed is not None:
                responses[label, duty] = pushed * Ratio(ring.one, denominator)
    kept = {key: ratio for key, ratio in responses.items() if not unknown_shares & (ratio.variables(ring))}
    return SmallSignal(ring, (*stages.symbols, *sources), tuple(wanted), kept)


def _steady(
    rows: tuple[Row, ...], ring: Ring, changes: Mapping[tuple[Unknown, str], Row]
) -> dict[tuple[Unknown, str], Ratio]:
    """How every sum changes with the shares alone, in the steady state."""
    found: list[Row] = []
    for row in rows:
        kept = {u: c for u, c in row.items() if u is None or u[0] not in ("d", "w")}
        if None in kept:
            kept[None] = ring.coefficients(kept[None], PROBE)[0]
            if kept[None].is_zero():
                del kept[None]
        found.append(kept)
    asked = {key: ("q", *key) for key in changes}
    for key, row in changes.items():
        found.append({**row, asked[key]: -ring.one})
    solved = eliminate(found, ring, wanted=asked.values())
    fractions = {key: solved.fraction(unknown) for key, unknown in asked.items()}
    return {key: ratio for key, ratio in fractions.items() if ratio is not None}


def _moved(rows: list[Row], ring: Ring, labels: list[str]) -> Eliminated:
    """The rows with s times the states for their derivatives, solved for the outputs."""
    s = ring.symbol(S)
    found = []
    last: set[Unknown] = set()
    for row in rows:
        told: Row = {}
        for unknown, coefficient in row.items():
            if unknown[0] == "d":
                unknown, coefficient = ("x", unknown[1]), coefficient * s
            told[unknown] = told[unknown] + coefficient if unknown in told else coefficient
            if unknown[0] in ("w", "s"):
                last.add(unknown)
        found.append(told)
    outputs = [("y", label) for label in labels]
    return eliminate(found, ring, wanted=outputs, last=frozenset(last))


def _pushed(terms: Row, duty: str, steady: Mapping[tuple[Unknown, str], Ratio], ring: Ring) -> Ratio | None:
    """The pushes of one duty weighted with ``terms``; None where one of them is not determined."""
    weighted: dict[str, Ratio] = {}
    for unknown, coefficient in terms.items():
        if unknown[0] != "w":
            continue
        push = steady.get((unknown[1], duty))
        if push is None:
            return None
        # most pushes have the same denominator: those are added up before anything is reduced
        key = str(push.denominator)
        before = weighted[key].numerator if key in weighted else ring.zero
        weighted[key] = Ratio(before + push.numerator * coefficient, push.denominator)
    total = Ratio(ring.zero, ring.one)
    for part in weighted.values():
        total = total + part
    return total
