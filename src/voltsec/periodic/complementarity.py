"""Which devices conduct, found from numbers: one complementarity problem for the whole period.

The period is cut into steps.  In each step every diode has a current p >= 0 and a reverse voltage
q >= 0 of which one is zero; Kirchhoff's laws, the coils' flux (implicit step) and the capacitors'
charge balance over the period are linear.  Because the network is passive (Tellegen's theorem,
weighted with the step lengths, in which coils and capacitors cancel round the period), the
problem is a monotone linear complementarity problem: no guess is needed, no table of sequences,
and an interior-point method finds its solution in some twenty linear solves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load, Resistor, Switch
from voltsec.periodic.interior_point import InteriorPoint
from voltsec.periodic.time_grid import Grid, sharp, uniform
from voltsec.tableau.assembly import inductance_rows, parameter_names
from voltsec.tableau.network import Network, Row, Unknown, fluxes
from voltsec.tableau.ring import Ring

# Tiny resistance, relative to the circuit's own level, in series with every capacitor, coil and diode and
# (as a leak) across every capacitor and open device: it decides what ideal parts leave open (two capacitors
# in series, two paths of zero resistance, two open devices in series) and vanishes from the sequence that is
# read off.  Equal leaks share a voltage in a way that satisfies the signs if any way does: they approach the
# solution of least norm.
TRACE = 1e-7

TOUCHING = 1e-4
"""A reverse voltage below this share of the circuit's level is next to nothing."""

IDLE = 20.0
"""A diode that carries no more than so many leaks is no conductor."""


TRACES = (1e-4, 1e-6)
"""What is held by the trace resistances alone is told by two of them."""

SWINGING, GROWS = (24, 96), 1.3
"""With capacitors that swing, a state that grows by this factor from coarse to fine steps (so many in each
switch interval), or with a smaller trace, is none: the losses of the steps or the trace alone hold it."""

RISES = 30.0
"""A voltage that rises by so much where steps become sixty times shorter, twice, has no limit."""

RUNAWAY = 1e6
"""Coil currents or capacitor voltages so far above the circuit's level are held by the trace
resistances alone: without them they would grow from period to period."""


@dataclass(frozen=True)
class PeriodicState:
    """Numeric periodic state: one row a step, one column a coil, capacitor or diode."""

    steps: np.ndarray
    """Step lengths as fractions of the period."""
    stages: np.ndarray
    """Switch interval of each step."""
    currents: np.ndarray
    """Diode currents p, ampere."""
    blocking: np.ndarray
    """Diode reverse voltages q, volt."""
    conducting: np.ndarray
    """True where the diode conducts."""
    touching: np.ndarray
    """True where it blocks next to nothing: it might conduct as well."""
    capacitor_voltages: np.ndarray
    coil_currents: np.ndarray
    peaks: dict[str, float] = field(default_factory=dict)
    """Largest coil currents and capacitor voltages, as multiples of the circuit's levels."""
    runaway: tuple[str, ...] = ()
    """Coils and capacitors whose current or voltage has no limit: there is no steady state."""


class PeriodicProblem:
    """The complementarity problem of a circuit at one numeric point."""

    def __init__(
        self,
        circuit: Circuit,
        references: tuple[str, ...],
        stages: tuple[frozenset[str], ...],
        point: Mapping[str, float],
        trace: float = TRACE,
    ) -> None:
        self.trace = trace
        self.circuit = circuit
        self.references = references
        self.stages = stages
        self.point = dict(point)
        self.diodes = circuit.diodes
        self.capacitors = circuit.capacitors
        self.fluxes = fluxes(circuit)
        self.coils = tuple(flux.coil for flux in self.fluxes)
        self.ring = Ring(parameter_names(circuit))
        self.network = Network(circuit, self.ring, references)
        self.voltage_level = max([abs(point[s.quantity.symbol]) for s in circuit.sources] or [1.0])
        loads = circuit.of(Load) or circuit.of(Resistor)
        resistances = [point[e.quantity.symbol] for e in loads]
        currents = [abs(point[e.quantity.symbol]) for e in circuit.of(CurrentSource)]
        self.resistance_level = min(resistances) if resistances else 1.0
        if any(currents) and not resistances:
            self.resistance_level = self.voltage_level / max(currents)
        self.relations = [self._relations(stage) for stage in stages]
        matrix = inductance_rows(circuit, self.ring)
        self.inductance = np.zeros((len(self.coils), len(self.coils)))
        for row, one in enumerate(self.coils):
            for column, other in enumerate(self.coils):
                entry = matrix[one.name].get(other.name)
                if entry is not None:
                    self.inductance[row, column] = self.ring.value(entry, self.point)

    def _relations(self, stage: frozenset[str]) -> np.ndarray:
        """Relations among [i_L, u_L, V_C, i_C, p, q, 1] with the switches in ``stage`` closed."""
        rows: list[Row] = [*self.network.rows, *self.network.flux_ties]
        for flux in self.fluxes:
            if flux.shared:
                rows.append({**flux.current(self.ring), ("flux", flux.coil.name): -self.ring.one})
        for diode in self.diodes:
            rows.append({**self.network.closed(diode), ("q", diode.name): self.ring.one})
        values = [{u: float(self.ring.value(c, self.point)) for u, c in row.items()} for row in rows]
        values += [self._switched(switch, switch.name in stage) for switch in self.circuit.switches]
        ports: list[Any] = [("flux" if flux.shared else "i", flux.coil.name) for flux in self.fluxes]
        ports += [("u", coil.name) for coil in self.coils]
        ports += [("V", capacitor.name) for capacitor in self.capacitors]
        ports += [("i", capacitor.name) for capacitor in self.capacitors]
        ports += [("i", diode.name) for diode in self.diodes]
        ports += [("q", diode.name) for diode in self.diodes]
        ports.append(None)
        place = {unknown: number for number, unknown in enumerate(ports)}
        inner = {u: None for row in values for u in row if u not in place}
        inner_place = {unknown: number for number, unknown in enumerate(inner)}
        outer_matrix = np.zeros((len(values), len(ports)))
        inner_matrix = np.zeros((len(values), len(inner)))
        for number, row in enumerate(values):
            for unknown, value in row.items():
                if unknown in place:
                    outer_matrix[number, place[unknown]] = value
                else:
                    inner_matrix[number, inner_place[unknown]] = value
        left = _left_null_space(inner_matrix)
        relation = left @ outer_matrix
        first = 2 * len(self.coils)
        last = first + len(self.capacitors)
        series, leak = self.trace * self.resistance_level, self.trace / self.resistance_level
        relation[:, last : last + last - first] += series * relation[:, first:last]
        # ... and for every diode v = drop + r*i + series*p - q with the current p - leak*q
        p_first = 2 * last - first
        q_first = p_first + len(self.diodes)
        currents = relation[:, p_first:q_first].copy()
        voltages = relation[:, q_first : q_first + len(self.diodes)].copy()
        relation[:, p_first:q_first] -= series * voltages
        relation[:, q_first : q_first + len(self.diodes)] -= leak * currents
        return _fixed_rows(relation, len(self.coils) + len(self.capacitors) + len(self.diodes))

    def _switched(self, switch: Switch, closed: bool) -> dict[Unknown | None, float]:
        """The equation of a switch; an open one leaks."""
        row = self.network.closed(switch) if closed else self.network.open_(switch)
        values = {u: float(self.ring.value(c, self.point)) for u, c in row.items()}
        if not closed:
            leak = self.trace / self.resistance_level
            for unknown, _ in self.network.voltage(switch.start, switch.end):
                sign = 1.0 if unknown == ("v", switch.start) else -1.0
                values[unknown] = values.get(unknown, 0.0) - sign * leak
        return values

    def solve(self, fractions: np.ndarray, grid: Grid, rippling: bool = False) -> PeriodicState | None:
        """The periodic state on ``grid``, for switch intervals of these lengths; None if none is found.

        With ``rippling`` capacitors hold their charge, not a constant voltage.
        """
        stage_of = np.repeat(np.arange(len(fractions)), [len(steps) for steps in grid])
        lengths = np.concatenate([share * steps for share, steps in zip(fractions, grid, strict=True)])
        volt, ampere = self.voltage_level, self.voltage_level / self.resistance_level
        n_coil, n_cap, n_diode = len(self.coils), len(self.capacitors), len(self.diodes)
        blocks = self._blocks(stage_of, lengths, rippling)
        sizes = (n_coil + n_cap, 0) if rippling else (n_coil, n_cap)
        solution = InteriorPoint(blocks, lengths, *sizes, n_diode, self.trace).solve()
        if solution is None:
            return None
        voltages, states, local = solution
        local = local[:, sizes[1] :]
        p, q = local[:, :n_diode], local[:, n_diode:]
        currents = states[:, :n_coil]
        voltages = states[:, n_coil:] if rippling else voltages[None]
        found = PeriodicState(
            lengths,
            stage_of,
            p * ampere,
            q * volt,
            (p > q) & (p > IDLE * self.trace),
            q < TOUCHING,
            voltages.mean(axis=0) * volt,
            currents * ampere,
        )
        peaks = {
            c.name: size for c, size in zip(self.coils, np.abs(currents).max(axis=0, initial=0), strict=True)
        }
        peaks |= {
            c.name: size
            for c, size in zip(self.capacitors, np.abs(voltages).max(axis=0, initial=0), strict=True)
        }
        runaway = tuple(name for name, size in peaks.items() if size > RUNAWAY)
        return replace(found, peaks=peaks, runaway=runaway)

    def with_traces(self) -> tuple[PeriodicProblem, PeriodicProblem]:
        """The same problem with a large and a small trace."""
        large, small = (
            PeriodicProblem(self.circuit, self.references, self.stages, self.point, trace) for trace in TRACES
        )
        return large, small

    def _blocks(self, stage_of: np.ndarray, lengths: np.ndarray, rippling: bool) -> np.ndarray:
        """Coefficients of each step's unknowns, in units of the circuit's levels, rows scaled."""
        volt, ohm = self.voltage_level, self.resistance_level
        ampere = volt / ohm
        n_coil, n_cap, n_diode = len(self.coils), len(self.capacitors), len(self.diodes)
        relations = np.array(self.relations)[stage_of]
        i_l, u_l, v_c, i_c, p, q, one = np.split(
            relations, np.cumsum([n_coil, n_coil, n_cap, n_cap, n_diode, n_diode]), axis=2
        )
        duration = lengths[:, None, None] * self.point["T"]
        flux = self.inductance / duration
        coils = (i_l + u_l @ (flux + self.trace * ohm * np.eye(n_coil))) * ampere, -(u_l @ flux) * ampere
        if rippling:
            farads = np.diag([self.point[c.quantity.symbol] for c in self.capacitors]).reshape(n_cap, n_cap)
            charge = farads / duration
            held = (v_c + i_c @ (charge + self.trace / ohm * np.eye(n_cap))) * volt, -(i_c @ charge) * volt
            parts = [coils[0], held[0], coils[1], held[1], p * ampere, q * volt, -one]
        else:
            parts = [*coils, v_c * volt, i_c * ampere, p * ampere, q * volt, -one]
        blocks = np.concatenate(parts, axis=2)
        scale = np.abs(blocks).max(axis=2, keepdims=True)
        scale[scale == 0] = 1
        return blocks / scale


def grows_with_trace(problem: PeriodicProblem, fractions: np.ndarray) -> tuple[str, ...]:
    """Coils and capacitors held by the trace resistances alone: they grow where the trace shrinks."""
    states = [other.solve(fractions, uniform(len(fractions), 8)) for other in problem.with_traces()]
    if states[0] is None or states[1] is None:
        return ()
    before, after = states[0].peaks, states[1].peaks
    return tuple(name for name in before if before[name] > 1 and after[name] > 3 * before[name])


def settles_with_ripple(problem: PeriodicProblem, fractions: np.ndarray) -> bool:
    """True where a periodic state is found once capacitors swing: nothing grows away then.

    So it was the constant capacitor voltages that contradicted each other.
    """
    large, small = problem.with_traces()
    sizes = []
    for other, steps in ((large, SWINGING[0]), (small, SWINGING[0]), (small, SWINGING[1])):
        state = other.solve(fractions, uniform(len(fractions), steps), rippling=True)
        if state is None:
            return False
        sizes.append(max(state.peaks.values(), default=0.0))
        if sizes[-1] > GROWS * sizes[0]:
            return False
    return True


def interrupted(problem: PeriodicProblem, fractions: np.ndarray) -> tuple[str, int] | None:
    """A coil whose current is cut off, and the switch interval in which that happens.

    Its voltage then has no limit: it grows with the fineness of the time steps.
    """
    peaks, where = [], None
    for grid in sharp(len(fractions)):
        state = problem.solve(fractions, grid)
        if state is None:
            return None
        change = state.coil_currents - np.roll(state.coil_currents, 1, axis=0)
        voltage = np.abs(change @ problem.inductance.T) / (state.steps[:, None] * problem.point["T"])
        peaks.append(voltage.max(axis=0, initial=0.0))
        where = state.stages[voltage.argmax(axis=0)] if voltage.size else None
    for place, coil in enumerate(problem.coils):
        coarse, fine, finest = (float(peak[place]) for peak in peaks)
        if fine > RISES / 3 * coarse and finest > RISES * fine and finest > problem.voltage_level:
            assert where is not None
            return coil.name, int(where[place])
    return None


def _fixed_rows(relation: np.ndarray, count: int) -> np.ndarray:
    """``count`` rows that span the given ones (padded with zeros where there are fewer)."""
    if len(relation) == count:
        return relation
    _, values, right = np.linalg.svd(relation, full_matrices=False)
    rows = (values[:, None] * right)[:count]
    return np.vstack([rows, np.zeros((count - len(rows), relation.shape[1]))])


def _left_null_space(matrix: np.ndarray) -> np.ndarray:
    """Orthonormal rows y with y @ matrix = 0."""
    if matrix.shape[1] == 0:
        return np.eye(matrix.shape[0])
    scale = np.abs(matrix).max(axis=0)
    scale[scale == 0] = 1
    left, values, _ = np.linalg.svd(matrix / scale, full_matrices=True)
    rank = int((values > 1e-9 * values[0]).sum())
    return left[:, rank:].T
