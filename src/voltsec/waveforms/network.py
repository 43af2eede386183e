"""The circuit of one interval as a linear system in coil currents and capacitor voltages.

The network's own rows (:class:`voltsec.tableau.network.Network`) leave, once all inner unknowns are
eliminated, as many relations among coil currents and voltages, capacitor voltages and currents as
there are coils and capacitors.  Some of them may hold states alone: capacitors tied by conducting
devices, coils tied by blocking ones.  The states are written in energy coordinates, x'x/2 the energy
stored (in units of ``Scales.energy``), time in periods.  Then a passive network lets the states move
freely in a subspace, and what the interval's start forces upon them (charge passed from capacitor to
capacitor, flux of a coil that is cut off) is the orthogonal projection onto it: charges and fluxes
along the free directions are kept, which is what Kirchhoff's laws say of an impulse.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load, Resistor
from voltsec.circuit.graph import references
from voltsec.tableau.assembly import inductance_rows, parameter_names
from voltsec.tableau.network import Network, Row, coils
from voltsec.tableau.ring import Ring

Array = np.ndarray

RANK = 1e-10
"""Singular values below this share of the largest count as zero."""
INSTANT = 1e-9
"""What settles in less than this share of the period counts as tied."""
SOFTENED = 1e-5
"""A coupling of exactly 1 is taken as less by this."""


class NotDetermined(Exception):
    """The circuit's exact periodic state is not determined, or was not found; the message says why."""


@dataclass(frozen=True)
class Scales:
    """Units in which the equations are solved, SI."""

    volt: float
    ampere: float
    second: float

    @property
    def energy(self) -> float:
        """Joule."""
        return self.volt * self.ampere * self.second


@dataclass(frozen=True)
class Reading:
    """A quantity as ``states @ x + rates @ x' + constant`` (x in energy coordinates, time in periods)."""

    states: Array
    rates: Array
    constant: float


@dataclass(frozen=True)
class IntervalSystem:
    """One interval: x = free' xi + fixed, xi' = rate xi + drive; see the module."""

    free: Array
    """(m, n): orthonormal directions in which the states can move."""
    fixed: Array
    """(n,): the part of the states that is tied."""
    rate: Array
    drive: Array
    inner: dict[tuple, int]
    left: Array
    """Inner unknowns = -(left @ [states, rates, 1]), least squares."""
    open_: Array
    """Orthonormal rows: directions of the inner unknowns that stay open."""

    @property
    def augmented(self) -> Array:
        """The rate matrix of (xi, 1)."""
        size = len(self.drive)
        matrix = np.zeros((size + 1, size + 1))
        matrix[:size, :size] = self.rate
        matrix[:size, size] = self.drive
        return matrix


class PeriodNetwork:
    """The circuit at one numeric point (symbol -> SI value); gives the system of each interval."""

    def __init__(self, circuit: Circuit, point: Mapping[str, float]) -> None:
        self.circuit = circuit
        self.point = {name: float(value) for name, value in point.items()}
        self.ring = Ring(parameter_names(circuit))
        self.network = Network(circuit, self.ring, references(circuit))
        self.coils = coils(circuit)
        self.capacitors = circuit.capacitors
        self.scales = self._scales()
        unknowns = [("i", coil.name) for coil in self.coils]
        unknowns += [("V", capacitor.name) for capacitor in self.capacitors]
        self.states = {unknown: place for place, unknown in enumerate(unknowns)}
        slopes = [("u", coil.name) for coil in self.coils]
        slopes += [("i", capacitor.name) for capacitor in self.capacitors]
        self.slopes = {unknown: place for place, unknown in enumerate(slopes)}
        self.of_state, self.of_slope = self._coordinates()
        self.fixed_rows = [self._values(row) for row in self.network.rows]
        self.device_rows = {
            device.name: (
                self._values(self.network.open_(device)),
                self._values(self.network.closed(device)),
            )
            for device in circuit.devices
        }

    def _scales(self) -> Scales:
        point, circuit = self.point, self.circuit
        volt = max((abs(point[s.quantity.symbol]) for s in circuit.sources), default=1.0) or 1.0
        found = circuit.of(Load) or circuit.of(Resistor)
        resistances = [point[e.quantity.symbol] for e in found]
        currents = [abs(point[e.quantity.symbol]) for e in circuit.of(CurrentSource)]
        ampere = volt / min(resistances) if resistances else max([*currents, 1e-9])
        return Scales(volt, ampere, point["T"])

    def _coordinates(self) -> tuple[Array, Array]:
        """Matrices that give scaled currents and voltages of coils and capacitors from x and x'."""
        scales = self.scales
        stored = np.zeros((len(self.states), len(self.states)))
        rows = inductance_rows(self.circuit, self.ring)
        for i, one in enumerate(self.coils):
            for j, other in enumerate(self.coils):
                entry = rows[one.name].get(other.name)
                if entry is not None:
                    stored[i, j] = float(self.ring.value(entry, self.point))
        count = len(self.coils)
        henries = stored[:count, :count]
        diagonal = np.sqrt(np.diag(henries))
        if count:
            relative = henries / np.outer(diagonal, diagonal)
            if np.linalg.eigvalsh(relative)[0] < SOFTENED:
                relative = np.eye(count) + (relative - np.eye(count)) * (1 - SOFTENED)
                stored[:count, :count] = relative * np.outer(diagonal, diagonal)
        for place, capacitor in enumerate(self.capacitors, count):
            stored[place, place] = self.point[capacitor.quantity.symbol]
        factor = np.linalg.cholesky(stored)
        unit = np.array([scales.ampere] * count + [scales.volt] * len(self.capacitors))
        across = np.array([scales.volt] * count + [scales.ampere] * len(self.capacitors))
        root = np.sqrt(scales.energy)
        of_state = np.linalg.inv(factor).T * root / unit[:, None]
        of_slope = factor * (root / scales.second) / across[:, None]
        return of_state, of_slope

    def _values(self, row: Row) -> dict[tuple | None, float]:
        """A row's coefficients as numbers, SI."""
        return {unknown: float(self.ring.value(c, self.point)) for unknown, c in row.items()}

    def voltage(self, start: str, end: str) -> dict[tuple | None, float]:
        """The voltage from node ``start`` to ``end`` as a row."""
        row: dict[tuple | None, float] = {}
        for node, sign in ((start, 1.0), (end, -1.0)):
            if node not in self.network.references:
                row["v", node] = row.get(("v", node), 0.0) + sign
        return row

    def unit_of(self, unknown: tuple) -> float:
        """The size of an unknown's unit in SI units."""
        return self.scales.ampere if unknown[0] == "i" else self.scales.volt

    def system(self, conducting: frozenset[str]) -> IntervalSystem:
        """The interval in which exactly the devices ``conducting`` conduct.

        Raises :class:`NotDetermined` where the network has no solution or leaves a state open.
        """
        rows = list(self.fixed_rows)
        rows += [pair[name in conducting] for name, pair in self.device_rows.items()]
        inner = {u: None for row in rows for u in row if u is not None}
        places = {u: k for k, u in enumerate(u for u in inner if u not in self.states | self.slopes)}
        n = len(self.states)
        inside = np.zeros((len(rows), len(places)))
        outside = np.zeros((len(rows), 2 * n + 1))
        for number, row in enumerate(rows):
            for unknown, value in row.items():
                if unknown is None:
                    outside[number, 2 * n] += value
                elif unknown in places:
                    inside[number, places[unknown]] += value * self.unit_of(unknown)
                elif unknown in self.states:
                    own = value * self.unit_of(unknown)
                    outside[number, :n] += own * self.of_state[self.states[unknown]]
                else:
                    own = value * self.unit_of(unknown)
                    outside[number, n : 2 * n] += own * self.of_slope[self.slopes[unknown]]
        size = np.maximum(np.abs(inside).max(axis=1, initial=0), np.abs(outside).max(axis=1, initial=0))
        size[size == 0] = 1.0
        inside /= size[:, None]
        outside /= size[:, None]
        u, s, vt = np.linalg.svd(inside)
        rank = int((s > RANK * s[:1]).sum())
        left = (vt[:rank].T / s[:rank]) @ (u[:, :rank].T @ outside)
        relations = u[:, rank:].T @ outside
        free, fixed, rate, drive = _reduced(relations, n)
        return IntervalSystem(free, fixed, rate, drive, places, left, vt[rank:])

    def reading(self, system: IntervalSystem, row: Mapping[tuple | None, float]) -> Reading | None:
        """A sum of unknowns (SI coefficients) in an interval; None where the network leaves it open."""
        n = len(self.states)
        total = np.zeros(2 * n + 1)
        inside = np.zeros(len(system.inner))
        for unknown, value in row.items():
            if unknown is None:
                total[2 * n] += value
            elif unknown in self.states:
                total[:n] += value * self.unit_of(unknown) * self.of_state[self.states[unknown]]
            elif unknown in self.slopes:
                total[n : 2 * n] += value * self.unit_of(unknown) * self.of_slope[self.slopes[unknown]]
            elif unknown in system.inner:
                inside[system.inner[unknown]] += value * self.unit_of(unknown)
            else:  # a node at which every device blocks: no equation holds its potential
                return None
        size = np.abs(inside).max(initial=0.0)
        if size and np.abs(system.open_ @ inside).max(initial=0.0) > 1e-8 * size:
            return None
        total -= inside @ system.left
        return Reading(total[:n], total[n : 2 * n], float(total[2 * n]))


def _reduced(relations: Array, n: int) -> tuple[Array, Array, Array, Array]:
    """(free, fixed, rate, drive) from relations [x, x', 1]; see :class:`IntervalSystem`."""
    if n == 0:
        empty = np.zeros((0, 0))
        return empty, np.zeros(0), empty, np.zeros(0)
    u, s, vt = np.linalg.svd(relations[:, : 2 * n])
    rank = int((s > RANK * s[:1]).sum())
    constants = u.T @ relations[:, 2 * n]
    if np.abs(constants[rank:]).max(initial=0.0) > 1e-7:
        raise NotDetermined("the network of an interval contradicts itself")
    if rank != n:
        raise NotDetermined("the network of an interval leaves a current or voltage open")
    states, slopes, constant = vt[:n, :n], vt[:n, n:], constants[:n] / s[:n]
    u, s, vt = np.linalg.svd(slopes)
    moving = int((s > INSTANT).sum())
    states, constant = u.T @ states, u.T @ constant
    free, tied = vt[:moving], vt[moving:]
    fixed = np.zeros(n)
    if moving < n:
        ties = states[moving:] @ tied.T
        if np.linalg.cond(ties) > 1e8 or np.abs(states[moving:] @ free.T).max(initial=0.0) > 1e-6:
            raise NotDetermined("the network of an interval ties its states in no passive way")
        fixed = tied.T @ np.linalg.solve(ties, -constant[moving:])
    rate = -(states[:moving] @ free.T) / s[:moving, None]
    drive = -(states[:moving] @ fixed + constant[:moving]) / s[:moving]
    return free, fixed, rate, drive
