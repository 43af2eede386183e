"""dx/dt = A x + B u, y = C x + E u of every interval of a mode, and of their mean.

x are coil currents and capacitor voltages, u sources, constant currents and drops, y the output voltage and
the current drawn from the input.  Where an interval ties states together (capacitors in a loop of conducting
devices, inductors in a cutset of blocking ones) the tie is told, and the equations are those of the states
that are left: its derivative is an equation as well, which settles how the tied states share a current or a
voltage.  The mean over the intervals holds for modes whose intervals all end with a switch.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sympy import Expr, ImmutableMatrix, Integer

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.dynamics.chosen_mode import mode_and_case
from voltsec.dynamics.equations import (
    INPUT_CURRENT,
    OUTPUT,
    Equations,
    duty_ring,
    equations,
    input_symbols,
    ordinary_outputs,
    shares_of,
    with_inputs,
)
from voltsec.formulas.first_order_dry import Case
from voltsec.results.solution import Mode, Solution
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.expression import Writer, symbol
from voltsec.tableau.network import Network, Row, Unknown, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring

LOOP = "a loop of capacitors"
CUTSET = "a cutset of inductors"


@dataclass(frozen=True)
class Law:
    """One storage element's law: ``factor`` d(``state``)/dt summed up = ``right``."""

    element: str
    left: tuple[tuple[Expr, str], ...]
    """Pairs of factor and state: ``L1·di(L1)/dt + M·di(L2)/dt``."""
    right: Expr


@dataclass(frozen=True)
class Tie:
    """A state that an interval fixes by others: ``state`` = ``value``."""

    state: str
    value: Expr
    kind: str
    """``"a loop of capacitors"`` or ``"a cutset of inductors"``."""


@dataclass(frozen=True)
class StateEquations:
    """dx/dt = A x + B u, y = C x + E u; sympy matrices, symbols named as in the netlist."""

    states: tuple[str, ...]
    """x: names of the coils and capacitors, less those that are tied."""
    inputs: tuple[str, ...]
    """u: symbols of sources, constant currents and drops."""
    outputs: tuple[str, ...]
    """y: ``v`` output voltage, ``i`` current drawn from the input."""
    A: ImmutableMatrix
    B: ImmutableMatrix
    C: ImmutableMatrix
    E: ImmutableMatrix
    laws: tuple[Law, ...] = ()
    ties: tuple[Tie, ...] = ()
    undetermined: tuple[str, ...] = ()
    """Elements of which this leaves the voltage (coils) or current (capacitors, outputs) open."""


@dataclass(frozen=True)
class IntervalEquations:
    """One interval of a mode."""

    fraction: Expr
    conducting: tuple[str, ...]
    equations: StateEquations


@dataclass(frozen=True)
class ModeEquations:
    """A mode: its intervals, and their mean where every interval ends with a switch."""

    told: Mode
    """Its intervals and name."""
    circuit: Circuit
    """The circuit of the formulas, without parts that settle at once."""
    kinds: dict[str, str]
    """Every storage element's name -> ``"i"`` for a coil, ``"v"`` for a capacitor."""
    intervals: tuple[IntervalEquations, ...]
    averaged: StateEquations | None
    why_not: str = ""
    """Why there is no mean."""

    @property
    def mode(self) -> str:
        """The mode's name."""
        return self.told.name


def mode_equations(case: Case, mode: Mode) -> ModeEquations:
    """The state equations of one mode; ``case`` holds its sequence, and a point at which it holds."""
    ring = duty_ring(case)
    network = Network(case.circuit, ring, case.references)
    writer = Writer(ring, case.stages.symbols, case.point)
    outputs = ordinary_outputs(case.circuit)
    intervals = []
    for k, interval in enumerate(mode.intervals):
        own = equations(network, case.sequence, {k: ring.one}, outputs)
        intervals.append(
            IntervalEquations(interval.fraction, interval.conducting, _solved(own, network, writer, k))
        )
    averaged, why_not = None, ""
    if case.sequence.unknown:
        why_not = (
            "an interval of this mode ends by itself, so its length follows from the states: the mean of the "
            "intervals' matrices says nothing of how they move"
        )
    else:
        own = equations(network, case.sequence, shares_of(case, ring), outputs)
        averaged = in_time(lambda: _solved(own, network, writer, None))
        if averaged is None:
            why_not = "the matrices of the mean are too long to be written"
    kinds = {coil.name: "i" for coil in coils(case.circuit)} | {c.name: "v" for c in case.circuit.capacitors}
    return ModeEquations(mode, case.circuit, kinds, tuple(intervals), averaged, why_not)


def _solved(own: Equations, network: Network, writer: Writer, k: int | None) -> StateEquations:
    """The rows solved for the derivatives; with ``k`` also the laws of that interval."""
    circuit, ring = network.circuit, network.ring
    inputs = input_symbols(circuit)
    rows = with_inputs(own.rows, network, inputs)
    last = frozenset([*(("x", s) for s in own.states), *(("s", s) for s in inputs)])
    found, tied = _derived(rows, own.states, ring, last)
    free = tuple(state for state in own.states if state not in tied)
    outputs = (OUTPUT, INPUT_CURRENT)
    open_: list[str] = []

    def entries(unknown: Unknown) -> tuple[list[Expr], list[Expr]]:
        denominator, terms = found.solved.get(unknown, (ring.one, {}))
        if unknown not in found.solved or any(u not in last for u in terms):
            open_.append(unknown[1])
            terms = {}
        of_states = [writer.ratio(Ratio(terms.get(("x", s), ring.zero), denominator)) for s in free]
        return of_states, [writer.ratio(Ratio(terms.get(("s", s), ring.zero), denominator)) for s in inputs]

    moved = [entries(("d", state)) for state in free]
    told = [entries(("y", label)) for label in outputs]
    laws = [] if k is None else [*_laws(own, network, found, last, writer)]
    return StateEquations(
        free,
        inputs,
        outputs,
        _matrix([row for row, _ in moved], len(free)),
        _matrix([row for _, row in moved], len(inputs)),
        _matrix([row for row, _ in told], len(free)),
        _matrix([row for _, row in told], len(inputs)),
        tuple(laws),
        tuple(
            Tie(
                state,
                _sum(terms, denominator, network, writer),
                CUTSET if state in _coils(network) else LOOP,
            )
            for state, (denominator, terms) in tied.items()
        ),
        tuple(open_),
    )


def _coils(network: Network) -> frozenset[str]:
    return frozenset(coil.name for coil in coils(network.circuit))


def _derived(
    rows: list[Row], states: Iterable[str], ring: Ring, last: frozenset[Unknown]
) -> tuple[Eliminated, dict[str, tuple[Polynomial, Row]]]:
    """The rows with the derivatives of what ties the states, and the ties."""
    known: dict[str, tuple[Polynomial, Row]] = {}
    while True:
        added: list[Row] = []
        for state, (denominator, terms) in known.items():
            slopes: Row = {("d", u[1]): -c for u, c in terms.items() if u[0] == "x"}
            added.append({("d", state): denominator, **slopes})
        found = eliminate([*rows, *added], ring, last=last)
        tied = {s: found.solved["x", s] for s in states if ("x", s) in found.solved}
        if len(tied) == len(known):
            return found, known
        known = tied


def _laws(
    own: Equations, network: Network, found: Eliminated, last: frozenset[Unknown], writer: Writer
) -> Iterable[Law]:
    """Every storage element's law; none for what stays open."""
    for row in own.rows:
        slopes = {u: c for u, c in row.items() if u is not None and u[0] == "d"}
        if not slopes:
            continue
        (across,) = (u for u in row if u not in slopes)  # a coil's voltage, a capacitor's current
        solved = found.solved.get(across)
        left = tuple((writer.polynomial(-c), u[1]) for u, c in slopes.items())
        if solved is not None and all(u in last for u in solved[1]):
            yield Law(across[-1][1], left, _sum(solved[1], solved[0], network, writer))


def _sum(terms: Row, denominator: Polynomial, network: Network, writer: Writer) -> Expr:
    """A sum over states and sources, as an expression in ``i(L1)``, ``v(C1)`` and the sources' symbols."""
    total: Expr = Integer(0)
    named = _coils(network)
    for unknown, coefficient in terms.items():
        name = unknown[1]
        if unknown[0] == "x":
            name = state_symbol(name, "i" if name in named else "v")
        total = total + writer.ratio(Ratio(coefficient, denominator)) * symbol(name)
    return total


def state_symbol(name: str, kind: str) -> str:
    """``i(L1)`` or ``v(C1)``: a state as it is named in laws; brackets cannot stand in a netlist's names."""
    return f"{kind}({name})"


def _matrix(rows: list[list[Expr]], columns: int) -> ImmutableMatrix:
    return ImmutableMatrix(len(rows), columns, [entry for row in rows for entry in row])


def states(answer: Solution, mode: str | None = None) -> ModeEquations:
    """The state equations of a solved circuit, of the mode at its operating point or the one called ``mode``.

    >>> import voltsec
    >>> found = voltsec.states(voltsec.solve(voltsec.load("boost")))
    >>> found.averaged.states, found.averaged.A[0, 1]
    (('L', 'Co'), -(1 - D)/L)

    Raises :class:`~voltsec.dynamics.chosen_mode.NotTold` for a mode that is not there.
    """
    chosen, case, _ = mode_and_case(answer, mode, None if answer.numbers is None else answer.numbers.point)
    return mode_equations(case, chosen)
