"""The exact small-signal response: the period map linearized around the exact periodic state.

Nothing is averaged: intervals are exponentials of the real circuit, and instants at which diodes turn move.
What is told is what a network analyser measures: a control is changed by a small sinusoid exp(j w t), and the
response is the output's component at the same frequency,

    Y = (1/T) integral over a period of y(t) exp(-j w t) dt

A source changes throughout the period.  A duty is sampled where it acts, at the instant of the switch edge
it moves (naturally sampled modulation: a comparator that holds a ramp against the duty does that), so the
edge of period n moves by T exp(j w t_n), t_n being its own instant.  Then exp(-j w t) times the change of
every state is periodic, and one linear solve a frequency closes the period.

An edge that moves by dt changes the state after it by (f_before - f_after) dt, f the rates of change; a
diode's instant moves by what brings its current or voltage back to zero.  Jumps of charge or flux move along.
(Linear periodically time-varying systems; saltation: Aizerman, Gantmakher 1958, from memory.)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Source
from voltsec.dynamics.equations import ordinary_outputs
from voltsec.periodic.stages import Stages, stages_of
from voltsec.results.measures import Terms
from voltsec.waveforms.linear import Array, course
from voltsec.waveforms.network import IntervalSystem, NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import event_device
from voltsec.waveforms.trajectory import Trajectory

GRAZING = 1e-9
"""A sign that changes with a slope below this (scaled, per period) says nothing about the instant."""
ROUNDING = 1e-14
"""A response below this share of the largest at its frequency is what sums of numbers leave."""
CHUNK = 64
"""Frequencies worked out together."""


@dataclass(frozen=True)
class Link:
    """From a control to an output; ``inverse`` where what is told is control over output."""

    kind: str
    """``duty``, ``input``, ``zout`` or ``zin``."""
    output: str
    control: str
    unit: str
    """Of what is told: ``V``, ``1``, ``ohm`` ..."""
    inverse: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Output and control."""
        return self.output, self.control


@dataclass(frozen=True)
class Piece:
    """One interval: the steady course and what a unit of each control does, in the network's coordinates."""

    system: IntervalSystem
    drives: Array
    """(m, c): what moves xi."""
    fixed: Array
    """(n, c): what controls do to the tied part of the state."""
    outputs: Array
    """(o, m): the outputs over xi."""
    direct: Array
    """(o, c): what controls do to the outputs at once, ..."""
    impulses: Array
    """(o, n): ... and jumps of the state, as charge or flux (time in the network's unit)."""


class Sampled:
    """The period map around ``trajectory`` (one point), of a circuit with all its controls.

    ``outputs`` are named sums of unknowns.  Raises :class:`NotDetermined` where the steady state does not
    determine how instants move.
    """

    def __init__(self, trajectory: Trajectory, outputs: Mapping[str, Terms] | None = None) -> None:
        self.trajectory = trajectory
        self.network = network = trajectory.network
        self.circuit: Circuit = network.circuit
        wanted = ordinary_outputs(self.circuit) if outputs is None else dict(outputs)
        self.outputs = tuple(wanted)
        self.stages = self._stages()
        self.duties = self.stages.symbols
        self.sources = tuple(e.quantity.symbol for e in self.circuit.of(Source, CurrentSource))
        self.controls = (*self.duties, *self.sources)
        self.period = float(trajectory.period[0])
        """In the network's unit of time."""
        references = network.network.references
        self.rows = np.stack(
            [
                network.row({u: float(sign) for u, sign in terms if u[0] != "v" or u[1] not in references})[0]
                for terms in wanted.values()
            ]
        )
        self.sensitive = [self._alone(symbol) for symbol in self.sources]
        self.pieces = [self._piece(k) for k in range(len(trajectory.sequence.intervals))]
        self.lasting = [k for k in range(len(self.pieces)) if k not in trajectory.instants]
        for k in self.lasting[:-1]:
            self._moved(k, 0j)  # where it is not determined no frequency has a response

    def _stages(self) -> Stages:
        """The order of the switch edges in the steady state."""
        sequence = self.trajectory.sequence
        point = {name: float(value[0]) for name, value in self.network.point.items()}
        switches = {switch.name for switch in self.circuit.switches}
        closed = {i.stage: i.conducting & switches for i in sequence.intervals}
        for stages in stages_of(self.circuit):
            if all(length >= 0 for length in stages.fractions(point)) and all(
                stages.closed[stage] == devices for stage, devices in closed.items()
            ):
                return stages
        raise NotDetermined("no order of the switch edges fits the steady state")

    def _alone(self, symbol: str) -> PeriodNetwork:
        """The circuit with one source of size one, all others and the drops at zero."""
        point = dict(self.network.point)
        for element in self.circuit.of(Source, CurrentSource):
            point[element.quantity.symbol] = np.array([float(element.quantity.symbol == symbol)])
        for device in self.circuit.devices:
            if device.drop is not None:
                point[device.drop.symbol] = np.zeros(1)
        return PeriodNetwork(self.circuit, point, self.network.scales)

    def _piece(self, k: int) -> Piece:
        conducting = self.trajectory.sequence.intervals[k].conducting
        system = self.trajectory.systems[k]
        free = system.free[0]
        m, n = free.shape
        count, edges = len(self.controls), len(self.duties)
        drives, fixed = np.zeros((m, count)), np.zeros((n, count))
        direct = np.zeros((len(self.rows), count))
        for place, network in enumerate(self.sensitive, edges):
            own = network.system(conducting)
            # the directions are the same, but they may be told in another basis
            drives[:, place] = free @ (own.free[0].T @ own.augmented[0, :-1, -1])
            fixed[:, place] = own.fixed[0]
            direct[:, place] = self.rows[:, :-1] @ own.unknowns[0, :, -1]
        return Piece(
            system,
            drives,
            fixed,
            self.rows[:, :-1] @ system.unknowns[0, :, :-1],
            direct,
            self.rows[:, :-1] @ system.impulses[0],
        )

    def _moved(self, k: int, omega: complex) -> Array:
        """(n + c,) how the end of interval ``k`` moves with the state and the controls there."""
        n, trajectory = self.network.count, self.trajectory
        found = np.zeros(n + len(self.controls), complex)
        sequence = trajectory.sequence
        following = self.lasting[(self.lasting.index(k) + 1) % len(self.lasting)]
        stage = sequence.intervals[k].stage
        if following <= k or sequence.intervals[following].stage != stage:
            for place, _ in enumerate(self.duties):
                # the edge at the stage's end: the sum of all stages so far
                moves = sum(float(length[1 + place]) for length in self.stages.lengths[: stage + 1])
                found[n + place] = moves * self.period
            return found
        name, column = event_device(self.network, sequence, k)
        row = self.network.device_values[name][column][0]
        piece = self.pieces[k]
        over = row[:-1] @ piece.system.unknowns[0]
        change = float(over @ piece.system.augmented[0] @ trajectory.ends[k][1][0])
        unit = float((self.network.scales.ampere if column else self.network.scales.volt)[0])
        if abs(change) * self.period < GRAZING * unit:
            raise NotDetermined(
                f"{name} turns where its {'current' if column else 'voltage'} only grazes zero"
            )
        found[:n] = over[:-1] @ piece.system.free[0]
        conducting = sequence.intervals[k].conducting
        for place, network in enumerate(self.sensitive, len(self.duties)):
            own = network.system(conducting)
            found[n + place] = row[:-1] @ (
                own.unknowns[0, :, -1] + 1j * omega * piece.system.impulses[0] @ own.fixed[0]
            )
        return -found / change

    def _period(self, omegas: Array) -> tuple[Array, Array]:
        """For angular frequencies (f,) in the network's unit: (f, n, n + c) state after a period over
        (state, controls) before it, and (f, o, n + c) the outputs; all times exp(-j w t)."""
        n, count, wanted = self.network.count, len(self.controls), len(self.outputs)
        total = np.broadcast_to(np.eye(n, n + count, dtype=complex), (len(omegas), n, n + count)).copy()
        outputs = np.zeros((len(omegas), wanted, n + count), complex)
        controls = np.eye(count, n + count, n)
        shift = np.zeros((len(omegas), n + count), complex)
        rate_before: Array | None = None
        value_before: Array | None = None
        for k, piece in enumerate(self.pieces):
            # what jumps on entering, and the instant at which it does
            at_instant = total if rate_before is None else total + rate_before[None, :, None] * shift[:, None]
            free = piece.system.free[0]
            inner = free @ at_instant
            after = free.T @ inner + piece.fixed @ controls
            jump = self.trajectory.ends[k][2][0]
            charge = piece.impulses @ (after - at_instant)
            charge = charge - 1j * omegas[:, None, None] * (piece.impulses @ jump)[:, None] * shift[:, None]
            outputs = outputs + charge / self.period
            if k in self.trajectory.instants:
                total = after  # at the instant itself: nothing is to be moved any more
                rate_before = np.zeros(n)
                continue
            start, end = (self.trajectory.ends[k][place][0] for place in (0, 1))
            augmented = piece.system.augmented[0]
            inner = inner - (augmented[:-1] @ start)[None, :, None] * shift[:, None]
            if value_before is not None:
                step = value_before - self._values(piece, start)
                outputs = outputs + step[None, :, None] * shift[:, None] / self.period
            inner, gathered = self._through(k, omegas, inner, controls)
            outputs = outputs + gathered
            total = free.T @ inner + piece.fixed @ controls
            rate_before = free.T @ (augmented[:-1] @ end)
            value_before = self._values(piece, end)
            if k == self.lasting[-1]:
                shift = np.zeros_like(shift)
                continue
            moved = np.stack([self._moved(k, omega) for omega in omegas])
            shift = np.einsum("fn,fnc->fc", moved[:, :n], total) + moved[:, n:] @ controls
        return total, outputs

    def _values(self, piece: Piece, at: Array) -> Array:
        """The outputs in the steady state."""
        return (
            piece.outputs @ at[:-1] + self.rows[:, :-1] @ piece.system.unknowns[0, :, -1] + self.rows[:, -1]
        )

    def _through(self, k: int, omegas: Array, inner: Array, controls: Array) -> tuple[Array, Array]:
        """xi at the end of an interval, and the outputs gathered in it, over (state, controls)."""
        piece = self.pieces[k]
        m, count, wanted = len(piece.drives), len(self.controls), len(self.outputs)
        size = m + count + wanted
        rate = np.zeros((len(omegas), size, size), complex)
        rate[:, :m, :m] = piece.system.augmented[0, :-1, :-1] - 1j * omegas[:, None, None] * np.eye(m)
        rate[:, :m, m : m + count] = piece.drives
        rate[:, m + count :, :m] = piece.outputs / self.period
        at_once = piece.direct + 1j * omegas[:, None, None] * (piece.impulses @ piece.fixed)
        rate[:, m + count :, m : m + count] = at_once / self.period
        length = np.full(len(omegas), float(self.trajectory.fractions[0, k]) * self.period)
        growth = course(rate, length).growth
        known = np.concatenate([inner, np.broadcast_to(controls, (len(omegas), *controls.shape))], axis=1)
        moved = growth[:, :, : m + count] @ known
        return inner + moved[:, :m], moved[:, m + count :]

    def at(self, hertz: Array) -> dict[tuple[str, str], Array]:
        """(output, control) -> complex responses at the frequencies (f,)."""
        second = self.network.scales.second
        hertz = np.atleast_1d(np.asarray(hertz, float))
        parts = []
        for start in range(0, len(hertz), CHUNK):
            parts.append(self._responses(2 * np.pi * hertz[start : start + CHUNK] * second))
        found = np.concatenate(parts)
        sizes = np.abs(found)
        largest = np.where(np.isfinite(sizes), sizes, 0.0).max(axis=(1, 2), keepdims=True, initial=0.0)
        found = np.where(sizes < ROUNDING * largest, 0.0, found)  # what nothing moves is told as zero
        return {
            (label, control): found[:, i, j]
            for i, label in enumerate(self.outputs)
            for j, control in enumerate(self.controls)
        }

    def _responses(self, omegas: Array) -> Array:
        n = self.network.count
        total, outputs = self._period(omegas)
        if n:
            states = np.linalg.solve(np.eye(n) - total[:, :, :n], total[:, :, n:])
            return outputs[:, :, :n] @ states + outputs[:, :, n:]
        return outputs

    @cached_property
    def multipliers(self) -> Array:
        """Eigenvalues of the period map: by these a deviation shrinks from period to period."""
        n = self.network.count
        total, _ = self._period(np.zeros(1))
        values = np.linalg.eigvals(total[0, :, :n])
        return values[np.argsort(-np.abs(values))]

    @property
    def poles(self) -> Array:
        """ln(multiplier)/T, rad/s, the slowest first; what is gone within a period is left out."""
        kept = self.multipliers[np.abs(self.multipliers) > 1e-12]
        return np.log(kept.astype(complex)) / (self.period * self.network.scales.second)
