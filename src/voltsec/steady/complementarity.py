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
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.tableau.assembly import inductance_rows, parameter_names
from voltsec.tableau.network import Network, Row, coils
from voltsec.tableau.ring import Ring

# Tiny resistance, relative to the circuit's own level, in series with every capacitor and coil and
# (as a leak) across every capacitor: it decides what ideal parts leave open (two capacitors in
# series, two paths of zero resistance) and vanishes from the sequence that is read off.
TRACE = 1e-7


NEARLY = 1e-6
"""A mean product of current and voltage pairs this small tells conducting from blocking devices."""

STARTS = (1.0, 30.0, 1e3)
"""Sizes of all currents and voltages at the start, tried in turn."""

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
    capacitor_voltages: np.ndarray
    coil_currents: np.ndarray
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
        self.point = dict(point)
        self.diodes = circuit.diodes
        self.capacitors = circuit.capacitors
        self.coils = coils(circuit)
        self.ring = Ring(parameter_names(circuit))
        self.network = Network(circuit, self.ring, references)
        self.voltage_level = max([abs(point[s.quantity.symbol]) for s in circuit.sources] or [1.0])
        resistances = [point[e.quantity.symbol] for e in circuit.elements if e.kind in ("load", "resistor")]
        currents = [abs(point[e.quantity.symbol]) for e in circuit.elements if e.kind == "current"]
        self.resistance_level = min(resistances) if resistances else 1.0
        if currents and not resistances:
            self.resistance_level = self.voltage_level / max(currents)
        self.relations = [self._relations(stage) for stage in stages]
        matrix = inductance_rows(circuit, self.ring)
        self.inductance = np.zeros((len(self.coils), len(self.coils)))
        for row, one in enumerate(self.coils):
            for column, other in enumerate(self.coils):
                entry = matrix[one.name].get(other.name)
                if entry is not None:
                    self.inductance[row, column] = self.ring.value(entry, self.point)
        self._soften_perfect_coupling()

    def _soften_perfect_coupling(self) -> None:
        """A coupling of exactly 1 has no inverse; the sequence is that of a coupling just below."""
        diagonal = np.diag(np.diag(self.inductance))
        if len(self.coils) and np.linalg.eigvalsh(self.inductance).min() < 1e-6 * diagonal.max():
            self.inductance = diagonal + (self.inductance - diagonal) * (1 - 1e-5)

    def _relations(self, stage: frozenset[str]) -> np.ndarray:
        """Relations among [i_L, u_L, V_C, i_C, p, q, 1] with the switches in ``stage`` closed."""
        rows: list[Row] = list(self.network.rows)
        for switch in self.circuit.switches:
            closed = switch.name in stage
            rows.append(self.network.closed(switch) if closed else self.network.open_(switch))
        ports: list = [("i", coil.name) for coil in self.coils]
        ports += [("u", coil.name) for coil in self.coils]
        ports += [("V", capacitor.name) for capacitor in self.capacitors]
        ports += [("i", capacitor.name) for capacitor in self.capacitors]
        ports += [("i", diode.name) for diode in self.diodes]
        ports += [("q", diode.name) for diode in self.diodes]
        ports.append(None)
        for diode in self.diodes:
            row = dict(self.network.closed(diode))
            row["q", diode.name] = self.ring.one
            rows.append(row)
        place = {unknown: number for number, unknown in enumerate(ports)}
        inner = {u: None for row in rows for u in row if u not in place}
        inner_place = {unknown: number for number, unknown in enumerate(inner)}
        outer_matrix = np.zeros((len(rows), len(ports)))
        inner_matrix = np.zeros((len(rows), len(inner)))
        for number, row in enumerate(rows):
            for unknown, coefficient in row.items():
                value = self.ring.value(coefficient, self.point)
                if unknown in place:
                    outer_matrix[number, place[unknown]] = value
                else:
                    inner_matrix[number, inner_place[unknown]] = value
        left = _left_null_space(inner_matrix)
        relation = left @ outer_matrix
        first = 2 * len(self.coils)
        last = first + len(self.capacitors)
        trace = self.trace * self.resistance_level
        relation[:, last : last + last - first] += trace * relation[:, first:last]
        # ... and the trace in series with every diode: p adds to q, as v = drop + r*p - q
        p_first = 2 * last - first
        q_first = p_first + len(self.diodes)
        relation[:, p_first:q_first] -= trace * relation[:, q_first : q_first + len(self.diodes)]
        return _fixed_rows(relation, len(self.coils) + len(self.capacitors) + len(self.diodes))

    def solve(self, fractions: np.ndarray, steps_a_stage: int) -> PeriodicState | None:
        """The periodic state with ``steps_a_stage`` steps in each switch interval; None if none is found."""
        stage_of = np.repeat(np.arange(len(fractions)), steps_a_stage)
        lengths = np.repeat(fractions / steps_a_stage, steps_a_stage)
        volt, ohm = self.voltage_level, self.resistance_level
        ampere = volt / ohm
        n_coil, n_cap, n_diode = len(self.coils), len(self.capacitors), len(self.diodes)
        relations = np.array(self.relations)[stage_of]
        i_l, u_l, v_c, i_c, p, q, one = np.split(
            relations, np.cumsum([n_coil, n_coil, n_cap, n_cap, n_diode, n_diode]), axis=2
        )
        flux = self.inductance / (lengths[:, None, None] * self.point["T"])
        blocks = np.concatenate(
            [
                (i_l + u_l @ (flux + self.trace * ohm * np.eye(n_coil))) * ampere,
                -(u_l @ flux) * ampere,
                v_c * volt,
                i_c * ampere,
                p * ampere,
                q * volt,
                -one,
            ],
            axis=2,
        )
        scale = np.abs(blocks).max(axis=2, keepdims=True)
        scale[scale == 0] = 1
        solution = InteriorPoint(blocks / scale, lengths, n_coil, n_cap, n_diode, self.trace).solve()
        if solution is None:
            return None
        voltages, coil_currents, local = solution
        p, q = local[:, n_cap : n_cap + n_diode], local[:, n_cap + n_diode :]
        runaway = [
            coil.name
            for coil, worst in zip(self.coils, np.abs(coil_currents).max(axis=0, initial=0), strict=True)
            if worst > RUNAWAY
        ] + [
            capacitor.name
            for capacitor, worst in zip(self.capacitors, np.abs(voltages), strict=True)
            if worst > RUNAWAY
        ]
        return PeriodicState(
            lengths,
            stage_of,
            p * ampere,
            q * volt,
            p > q,
            voltages * volt,
            coil_currents * ampere,
            tuple(runaway),
        )


def grows_with_trace(
    circuit: Circuit,
    references: tuple[str, ...],
    stages: tuple[frozenset[str], ...],
    point: Mapping[str, float],
    fractions: np.ndarray,
) -> tuple[str, ...]:
    """Coils and capacitors held by the trace resistances alone: they grow where the trace shrinks."""
    problems = [PeriodicProblem(circuit, references, stages, point, trace) for trace in (1e-4, 1e-6)]
    before, after = (problem.solve(fractions, 8) for problem in problems)
    if before is None or after is None:
        return ()
    volt = problems[0].voltage_level
    ampere = volt / problems[0].resistance_level
    found = []
    for names, values, grown, level in (
        ([c.name for c in coils(circuit)], before.coil_currents, after.coil_currents, ampere),
        (
            [c.name for c in circuit.capacitors],
            before.capacitor_voltages[None],
            after.capacitor_voltages[None],
            volt,
        ),
    ):
        for place, name in enumerate(names):
            size = np.abs(values[:, place]).max()
            if size > level and np.abs(grown[:, place]).max() > 3 * size:
                found.append(name)
    return tuple(found)


def interrupted(
    circuit: Circuit,
    references: tuple[str, ...],
    stages: tuple[frozenset[str], ...],
    point: Mapping[str, float],
    fractions: np.ndarray,
) -> tuple[str, int] | None:
    """A coil whose current is cut off, and the switch interval in which that happens.

    Its voltage then has no limit: it grows with the fineness of the time steps.
    """
    problem = PeriodicProblem(circuit, references, stages, point)
    worst = []
    for steps in (8, 32):
        state = problem.solve(fractions, steps)
        if state is None:
            return None
        change = state.coil_currents - np.roll(state.coil_currents, 1, axis=0)
        voltage = (change @ problem.inductance.T) / (state.steps[:, None] * point["T"])
        worst.append((np.abs(voltage).max(axis=0), np.abs(voltage).argmax(axis=0), state.stages))
    for place, coil in enumerate(problem.coils):
        coarse, fine = worst[0][0][place], worst[1][0][place]
        if fine > 2.5 * coarse and fine > 3 * problem.voltage_level:
            return coil.name, int(worst[1][2][worst[1][1][place]])
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


class InteriorPoint:
    """Predictor-corrector for the monotone problem, one block of equations a step.

    Unknowns: capacitor voltages V (common), coil currents i_k at each step's end, and local ones
    (capacitor currents, p, q).  Each step's local unknowns are eliminated by an orthogonal
    factorisation, so one iteration costs a dense solve in coils x steps + capacitors unknowns.
    After Mehrotra, SIAM Journal on Optimization 1992 (from memory).
    """

    def __init__(
        self, blocks: np.ndarray, lengths: np.ndarray, n_coil: int, n_cap: int, n_diode: int, trace: float
    ) -> None:
        cuts = np.cumsum([n_coil, n_coil, n_cap, n_cap + 2 * n_diode])
        self.own, self.before, self.common, self.local, right = np.split(blocks, cuts, axis=2)
        self.right = right[:, :, 0]
        self.trace = trace
        self.lengths = lengths
        self.sizes = (len(lengths), n_coil, n_cap, n_diode)

    def solve(self) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
        """(V, coil currents, local unknowns), or None where no solution is approached."""
        for start in STARTS:
            found = self._from(start)
            if found is not None:
                return found
        return None

    def _from(self, start: float) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
        steps, n_coil, n_cap, n_diode = self.sizes
        self.voltages = np.zeros(n_cap)
        self.coil_currents = np.zeros((steps, n_coil))
        self.unknowns = np.zeros((steps, n_cap + 2 * n_diode))
        self.unknowns[:, n_cap:] = start
        shortest = 0
        p_part = slice(n_cap, n_cap + n_diode)
        q_part = slice(n_cap + n_diode, None)
        pairs = max(steps * n_diode, 1)
        for _ in range(70):
            p, q = self.unknowns[:, p_part].copy(), self.unknowns[:, q_part].copy()
            mean = float((p * q).sum()) / pairs
            residual, charge = self._residual()
            level = max(
                np.abs(self.unknowns).max(initial=1.0),
                np.abs(self.coil_currents).max(initial=1.0),
                np.abs(self.voltages).max(initial=1.0),
            )
            worst = max(np.abs(residual).max(initial=0), np.abs(charge).max(initial=0))
            if mean < 1e-13 * max(1.0, level) and worst < 1e-9 * (1 + level):
                return self.voltages, self.coil_currents, self.unknowns
            if not np.isfinite(level) or level > 1e11:
                return None
            try:
                self._factor(p, q)
                step = self._direction(residual, charge, -p * q)
                length = _step_length(p, q, step[2][:, p_part], step[2][:, q_part])
                after = (p + length * step[2][:, p_part]) * (q + length * step[2][:, q_part])
                centering = min(max((float(after.sum()) / pairs / max(mean, 1e-300)) ** 3, 1e-6), 1.0)
                target = centering * mean - p * q - step[2][:, p_part] * step[2][:, q_part]
                step = self._direction(residual, charge, target)
            except np.linalg.LinAlgError:
                return None
            if not np.all(np.isfinite(step[2])):
                return None
            length = _step_length(p, q, step[2][:, p_part], step[2][:, q_part])
            if length < 0.1:  # blocked at the border: go back towards the middle first
                step = self._direction(residual, charge, 0.8 * mean - p * q)
                length = _step_length(p, q, step[2][:, p_part], step[2][:, q_part])
            length = 1.0 if n_diode == 0 else min(1.0, 0.995 * length)
            shortest = shortest + 1 if length < 1e-2 else 0
            if shortest > 4 or (shortest > 2 and mean < NEARLY):
                break  # stuck at the border: near enough, or a start further inside may do better
            self.voltages = self.voltages + length * step[0]
            self.coil_currents = self.coil_currents + length * step[1]
            self.unknowns = self.unknowns + length * step[2]
            self.unknowns[:, n_cap:] = np.maximum(self.unknowns[:, n_cap:], 1e-30)
        if mean < NEARLY and worst < 1e-5:
            return self.voltages, self.coil_currents, self.unknowns
        return None

    def _residual(self) -> tuple[np.ndarray, np.ndarray]:
        n_cap = self.sizes[2]
        previous = np.roll(self.coil_currents, 1, axis=0)
        value = (
            self.right
            - np.einsum("krc,kc->kr", self.own, self.coil_currents)
            - np.einsum("krc,kc->kr", self.before, previous)
            - self.common @ self.voltages
            - np.einsum("krc,kc->kr", self.local, self.unknowns)
        )
        charge = -(self.trace * self.voltages + self.lengths @ self.unknowns[:, :n_cap])
        return value, charge

    def _factor(self, p: np.ndarray, q: np.ndarray) -> None:
        """Eliminate the local unknowns of every step and invert what is left."""
        steps, n_coil, n_cap, n_diode = self.sizes
        width = n_cap + 2 * n_diode
        products = np.zeros((steps, n_diode, width))
        diagonal = np.arange(n_diode)
        products[:, diagonal, n_cap + diagonal] = q
        products[:, diagonal, n_cap + n_diode + diagonal] = p
        # scaled rows: a pair near the solution has one large and one tiny entry
        self.product_scale = np.maximum(p, q)
        products /= self.product_scale[:, :, None]
        matrix = np.concatenate([self.local, products], axis=1)
        self.rotation, upper = np.linalg.qr(matrix, mode="complete")
        upper = upper[:, :width]
        small = np.abs(np.einsum("kii->ki", upper)) < 1e-14
        if small.any():
            upper = upper + 1e-12 * (small[:, :, None] * np.eye(width))
        padding = np.zeros((steps, n_diode, 2 * n_coil + n_cap))
        coupled = np.concatenate(
            [np.concatenate([self.own, self.before, self.common], axis=2), padding], axis=1
        )
        coupled = np.swapaxes(self.rotation, 1, 2) @ coupled
        self.upper = upper
        self.response = np.linalg.solve(upper, coupled[:, :width])
        rest = coupled[:, width:]
        size = steps * n_coil + n_cap
        system = np.zeros((size, size))
        weights = self.lengths[:, None, None] * self.response[:, :n_cap]
        for k in range(steps):
            rows = slice(k * n_coil, (k + 1) * n_coil)
            before = ((k - 1) % steps) * n_coil
            system[rows, k * n_coil : (k + 1) * n_coil] += rest[k, :, :n_coil]
            system[rows, before : before + n_coil] += rest[k, :, n_coil : 2 * n_coil]
            system[rows, steps * n_coil :] = rest[k, :, 2 * n_coil :]
            system[steps * n_coil :, k * n_coil : (k + 1) * n_coil] -= weights[k, :, :n_coil]
            system[steps * n_coil :, before : before + n_coil] -= weights[k, :, n_coil : 2 * n_coil]
        system[steps * n_coil :, steps * n_coil :] += self.trace * np.eye(n_cap) - weights[
            :, :, 2 * n_coil :
        ].sum(axis=0)
        self.row_scale = np.abs(system).max(axis=1)
        self.row_scale[self.row_scale == 0] = 1
        self.inverse = np.linalg.inv(system / self.row_scale[:, None]) if size else system

    def _direction(self, residual: np.ndarray, charge: np.ndarray, target: np.ndarray):
        steps, n_coil, n_cap, n_diode = self.sizes
        width = n_cap + 2 * n_diode
        right = np.concatenate([residual, target / self.product_scale], axis=1)
        right = np.einsum("kcr,kc->kr", self.rotation, right)
        offset = np.linalg.solve(self.upper, right[:, :width, None])[:, :, 0]
        # the charge row: trace*dV + sum of h_k i_C,k with i_C = offset - response * coupled
        low = charge - self.lengths @ offset[:, :n_cap]
        whole = np.concatenate([right[:, width:].ravel(), low])
        found = self.inverse @ (whole / self.row_scale) if len(whole) else whole
        currents = found[: steps * n_coil].reshape(steps, n_coil)
        voltages = found[steps * n_coil :]
        coupled = np.concatenate(
            [currents, np.roll(currents, 1, axis=0), np.broadcast_to(voltages, (steps, n_cap))], axis=1
        )
        return voltages, currents, offset - np.einsum("krc,kc->kr", self.response, coupled)


def _step_length(p: np.ndarray, q: np.ndarray, dp: np.ndarray, dq: np.ndarray) -> float:
    values = np.concatenate([p, q], axis=None)
    changes = np.concatenate([dp, dq], axis=None)
    falling = changes < 0
    if not falling.any():
        return 1.0
    return float(min(1.0, (values[falling] / -changes[falling]).min()))
