"""The circuit of one interval as a linear system in its states, at one point or at many together.

States are the currents of the inductances (of coils that share one flux, their common ampere-turns seen from
the first) and the voltages of the capacitors.  The network's own rows
(:class:`voltsec.tableau.network.Network`) leave, once all inner unknowns are eliminated, as many
relations among states and their conjugates (voltages of inductances, currents of capacitors) as there
are states.  Some of them may hold states alone: capacitors tied by conducting devices, inductors tied
by blocking ones.  The states are written in energy coordinates, x'x/2 the energy stored (in units of
``Scales.energy``).  Then a passive network lets the states move freely in a subspace, and what the
interval's start forces upon them (charge passed from capacitor to capacitor, flux of an inductor that is
cut off) is the orthogonal projection onto it: charges and fluxes along the free directions are kept,
which is what Kirchhoff's laws say of an impulse.

What ideal devices leave open, how blocking ones in series share a voltage or conducting ones in parallel a
current, is told as if all had the same tiny leak or resistance.  In that limit the signs of the devices
are right wherever some share makes them right.

Every array has the points first; an axis of length 1 stands for "the same at all points".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load, Resistor
from voltsec.tableau.network import Row, Unknown, coils
from voltsec.waveforms.structure import structure_of

Array = np.ndarray

RANK = 1e-10
"""A pivot or singular value below this share of the largest counts as zero."""
ROUNDING = 1e-11
"""What is left of a row that cancels to less than this share of its terms is nothing."""
EPSILON = 1e-14
"""The same as a share of the largest term of all rows."""
INSTANT = 1e-9
"""What settles in less than this share of the period counts as tied."""
SOFTENED = 1e-5
"""A coupling of exactly 1 is taken as less by this."""


class NotDetermined(Exception):
    """The circuit's exact periodic state is not determined, or was not found; the message says why."""


@dataclass(frozen=True)
class Scales:
    """Units in which the equations are solved, SI, one a point."""

    volt: Array
    ampere: Array
    second: float

    @property
    def energy(self) -> Array:
        """Joule."""
        return self.volt * self.ampere * self.second


@dataclass(frozen=True)
class IntervalSystem:
    """One interval at P points: x = free' xi + fixed, (xi, 1)' = augmented (xi, 1); see the module.

    ``n`` states, ``m`` of them free to move, ``u`` unknowns; time in units of ``Scales.second``.
    """

    free: Array
    """(P, m, n): orthonormal directions in which the states can move."""
    fixed: Array
    """(P, n): the part of the states that is tied."""
    augmented: Array
    """(P, m + 1, m + 1): the rate matrix of (xi, 1)."""
    unknowns: Array
    """(P, u, m + 1): every unknown of the network in terms of (xi, 1), SI."""
    impulses: Array
    """(P, u, n): the charge or flux of every unknown for a jump of x (SI, time in ``Scales.second``)."""
    loose: Array
    """(P, u, f): directions in which ideal parts leave the unknowns open."""
    usable: Array
    """(P,) False where the network is of another rank than at the first point."""

    @property
    def entrance(self) -> Array:
        """(P, m + 1, n + 1): (x, 1) before -> (xi, 1) after, charges and fluxes kept where they can be."""
        points, m, n = self.free.shape
        matrix = np.zeros((points, m + 1, n + 1))
        matrix[:, :m, :n] = self.free
        matrix[:, m, n] = 1.0
        return matrix

    @property
    def outlet(self) -> Array:
        """(P, n + 1, m + 1): (xi, 1) -> (x, 1)."""
        points, m, n = self.free.shape
        matrix = np.zeros((points, n + 1, m + 1))
        matrix[:, :n, :m] = np.swapaxes(self.free, 1, 2)
        matrix[:, :n, m] = self.fixed
        matrix[:, n, m] = 1.0
        return matrix


class PeriodNetwork:
    """The circuit at numeric points; gives the system of each interval.

    ``point`` has a value for every symbol (SI units), a number or an array of P numbers.  ``scales`` are
    those of another network of the same circuit, so that its states are told in the same coordinates.
    """

    def __init__(
        self, circuit: Circuit, point: Mapping[str, float | Array], scales: Scales | None = None
    ) -> None:
        self.circuit = circuit
        self.point = {name: np.atleast_1d(np.asarray(value, float)) for name, value in point.items()}
        self.structure = structure_of(circuit)
        self.ring = self.structure.ring
        self.network = self.structure.network
        own = [self.point[name] for name in self.ring.names if name in self.point and name != "T"]
        self.points = max((values.size for values in own), default=1)
        """P: 1 where the points differ in duties and the period only."""
        self.fluxes = self.structure.fluxes
        self.states = self.structure.states
        self.count = len(self.states)
        self.place = self.structure.place
        """Columns of every unknown: states, their conjugates, then the inner ones."""
        self.scales = self._scales() if scales is None else scales
        self.units = np.stack(
            [self.scales.ampere if u[0] in ("i", "flux") else self.scales.volt for u in self.place], axis=1
        )
        """(P, u): size of every unknown's unit, SI."""
        self.known: dict[frozenset[str], IntervalSystem] = {}

    def _scales(self) -> Scales:
        point, circuit = self.point, self.circuit
        none = np.zeros(1)
        volt = _highest([np.abs(point[s.quantity.symbol]) for s in circuit.sources] or [none + 1])
        volt = np.where(volt > 0, volt, 1.0)
        second = float(point["T"][0])
        taken = [np.abs(point[e.quantity.symbol]) for e in circuit.of(CurrentSource)]
        ampere = _highest([none, *taken, *(volt / point[e.quantity.symbol] for e in circuit.of(Load))])
        if not np.all(ampere > 0):  # a resistor may be next to nothing in a current's way
            ampere = _highest([none, *(volt / point[e.quantity.symbol] for e in circuit.of(Resistor))])
        if not np.all(ampere > 0):
            henries = [point[coil.symbol] for coil in coils(circuit)]
            ampere = volt * second / _highest(henries) if henries else volt
        shape = (self.points,)
        return Scales(np.broadcast_to(volt, shape), np.broadcast_to(ampere, shape), second)

    @cached_property
    def coordinates(self) -> tuple[Array, Array]:
        """Matrices that give the scaled states and conjugates from x and x'."""
        scales, count = self.scales, len(self.fluxes)
        stored = np.zeros((self.points, self.count, self.count))
        for (i, j), entry in self.structure.inductances.items():
            stored[:, i, j] = self.ring.value(entry, self.point)
        if count:
            henries = stored[:, :count, :count]
            diagonal = np.sqrt(np.einsum("pii->pi", henries))
            outer = diagonal[:, :, None] * diagonal[:, None, :]
            relative = henries / outer
            tight = np.linalg.eigvalsh(relative)[:, 0] < SOFTENED
            softer = np.eye(count) + (relative - np.eye(count)) * (1 - SOFTENED)
            stored[:, :count, :count] = np.where(tight[:, None, None], softer, relative) * outer
        for place, capacitor in enumerate(self.circuit.capacitors, count):
            stored[:, place, place] = self.point[capacitor.quantity.symbol]
        factor = np.linalg.cholesky(stored)
        states, conjugates = self.units[:, : self.count], self.units[:, self.count : 2 * self.count]
        root = np.sqrt(scales.energy)[:, None, None]
        of_state = np.swapaxes(np.linalg.inv(factor), 1, 2) * root / states[:, :, None]
        of_slope = factor * (root / scales.second) / conjugates[:, :, None]
        return of_state, of_slope

    def row(self, terms: Row | Mapping[Unknown | None, float]) -> Array:
        """A sum of unknowns as coefficients (P, u + 1), SI, the constant last."""
        found = np.zeros((self.points, len(self.place) + 1))
        for unknown, value in terms.items():
            number = value if isinstance(value, float | int) else self.ring.value(value, self.point)
            found[:, -1 if unknown is None else self.place[unknown]] += number
        return found

    @cached_property
    def _fixed(self) -> Array:
        """Rows of all elements but devices, (P, rows, u + 1), in units of the scales."""
        return self._scaled([self.row(row) for row in self.structure.fixed_rows])

    @cached_property
    def _devices(self) -> dict[str, tuple[Array, Array]]:
        return {
            name: (self._scaled([self.row(open_)]), self._scaled([self.row(closed)]))
            for name, (open_, closed) in self.structure.device_rows.items()
        }

    @cached_property
    def device_values(self) -> dict[str, tuple[Array, Array]]:
        """Every device's voltage beyond its drop, and its current, as rows (P, u + 1)."""
        found = {}
        for device in self.circuit.devices:
            voltage = self.row(self.structure.device_voltages[device.name])
            if device.drop is not None:
                voltage[:, -1] -= self.point[device.drop.symbol]
            found[device.name] = (voltage, self.row({("i", device.name): 1.0}))
        return found

    def _scaled(self, rows: list[Array]) -> Array:
        """Rows with unknowns in units of the scales, each divided by its largest coefficient."""
        table = np.stack(rows, axis=1)
        table[:, :, :-1] *= self.units[:, None, :]
        size = np.abs(table).max(axis=2, keepdims=True)
        return table / np.where(size > 0, size, 1.0)

    def system(self, conducting: frozenset[str]) -> IntervalSystem:
        """The interval in which exactly the devices ``conducting`` conduct.

        Raises :class:`NotDetermined` where the network contradicts itself at the first point.
        """
        if conducting not in self.known:
            self.known[conducting] = self._system(conducting)
        return self.known[conducting]

    def _system(self, conducting: frozenset[str]) -> IntervalSystem:
        rows = [self._fixed] + [pair[name in conducting] for name, pair in self._devices.items()]
        table = np.concatenate(rows, axis=1)
        n = self.count
        of_state, of_slope = self.coordinates
        outside = np.concatenate(
            [table[:, :, :n] @ of_state, table[:, :, n : 2 * n] @ of_slope, table[:, :, -1:]], axis=2
        )
        inside = table[:, :, 2 * n : -1]
        picked, columns = pivots(inside[0])
        others = [k for k in range(table.shape[1]) if k not in picked]
        spare = [k for k in range(inside.shape[2]) if k not in columns]
        block = inside[:, picked][:, :, columns]
        right = np.concatenate([inside[:, picked][:, :, spare], outside[:, picked]], axis=2)
        try:
            solved = np.linalg.solve(block, right)
        except np.linalg.LinAlgError:
            raise NotDetermined("the network of an interval is singular at some point") from None
        weights = inside[:, others][:, :, columns]
        rest = np.concatenate([inside[:, others][:, :, spare], outside[:, others]], axis=2)
        size = np.abs(rest) + np.abs(weights) @ np.abs(solved)
        rest = rest - weights @ solved
        own = ROUNDING * size.max(axis=2, keepdims=True, initial=0.0)
        # a row of zeros is left with the rounding of the others
        of_all = EPSILON * np.abs(weights).max(axis=2, keepdims=True, initial=0.0)
        of_all = of_all * np.abs(solved).max(axis=(1, 2), keepdims=True, initial=0.0)
        rest = np.where(np.abs(rest) < np.maximum(own, of_all), 0.0, rest)
        usable = (np.abs(rest[:, :, : len(spare)]).max(axis=(1, 2), initial=0.0) < 1e-8) | (not spare)
        free, following, fixed, rate, drive, same = _reduced(rest[:, :, len(spare) :], n)
        left = np.zeros((self.points, inside.shape[2], 2 * n + 1))
        left[:, columns] = -solved[:, :, len(spare) :]
        loose = np.zeros((self.points, len(self.place), len(spare)))
        if spare:
            loose[:, [2 * n + c for c in columns]] = -solved[:, :, : len(spare)]
            loose[:, [2 * n + c for c in spare], range(len(spare))] = 1.0
            left = left + loose[:, 2 * n :] @ self._shared(left, loose, conducting)
        unknowns, impulses = self._unknowns(following, fixed, rate, drive, left)
        points, m = len(free), free.shape[1]
        augmented = np.zeros((points, m + 1, m + 1))
        augmented[:, :m, :m] = rate
        augmented[:, :m, m] = drive
        loose = loose * self.units[:, :, None]
        return IntervalSystem(free, fixed, augmented, unknowns, impulses, loose, usable & same)

    def _shared(self, left: Array, loose: Array, conducting: frozenset[str]) -> Array:
        """How far to go along each open direction, over [x, x', 1], so that all devices share alike."""
        rows = []
        for name, (voltage, current) in self.device_values.items():
            on = name in conducting
            unit = self.scales.ampere if on else self.scales.volt
            rows.append((current if on else voltage)[:, :-1] * self.units / unit[:, None])
        table = np.stack(rows, axis=1)
        n = self.count
        of_state, of_slope = self.coordinates
        nothing = np.zeros((*table.shape[:2], 1))
        known = np.concatenate(
            [table[:, :, :n] @ of_state, table[:, :, n : 2 * n] @ of_slope, nothing], axis=2
        )
        inner = table[:, :, 2 * n :]
        known = known + inner @ left
        return -np.linalg.pinv(inner @ loose[:, 2 * n :], rcond=1e-9) @ known

    def _unknowns(
        self, following: Array, fixed: Array, rate: Array, drive: Array, left: Array
    ) -> tuple[Array, Array]:
        """All unknowns over (xi, 1) and over jumps of x, SI."""
        n = self.count
        of_state, of_slope = self.coordinates
        moving = _over_moving(following, fixed, rate, drive)
        values = np.concatenate(
            [of_state @ moving[:, :n], of_slope @ moving[:, n : 2 * n], left @ moving], axis=1
        )
        points = len(values)
        nothing = np.zeros((points, n, n))
        jumps = np.concatenate(
            [nothing, np.broadcast_to(of_slope, nothing.shape), left[:, :, n : 2 * n]], axis=1
        )
        return values * self.units[:, :, None], jumps * self.units[:, :, None]


def _over_moving(following: Array, fixed: Array, rate: Array, drive: Array) -> Array:
    """[x, x', 1] over (xi, 1): (P, 2 n + 1, m + 1); x is ``following`` (P, n, m) times xi, and ``fixed``."""
    x = np.concatenate([following, fixed[:, :, None]], axis=2)
    slope = np.concatenate([following @ rate, following @ drive[:, :, None]], axis=2)
    last = np.zeros((len(following), 1, x.shape[2]))
    last[:, 0, -1] = 1.0
    return np.concatenate([x, slope, last], axis=1)


def pivots(matrix: Array) -> tuple[list[int], list[int]]:
    """Rows and columns of a regular part of ``matrix``, as large as there is, by complete pivoting."""
    left = matrix.copy()
    rows: list[int] = []
    columns: list[int] = []
    for _ in range(min(matrix.shape)):
        row, column = divmod(int(np.abs(left).argmax()), left.shape[1])
        if not abs(left[row, column]) > RANK:
            break
        rows.append(row)
        columns.append(column)
        left = left - np.outer(left[:, column] / left[row, column], left[row])
        left[row], left[:, column] = 0.0, 0.0
    return rows, columns


def _reduced(relations: Array, n: int) -> tuple[Array, Array, Array, Array, Array, Array]:
    """(free, following, fixed, rate, drive, usable) from relations [x, x', 1]; see :class:`IntervalSystem`.

    ``following`` (P, n, m) is how the state goes with xi: as free' does, and what is tied to it by next to
    nothing besides (a current that a leak decides).
    """
    points = len(relations)
    if n == 0:
        empty = np.zeros((points, 0, 0))
        return empty, empty, np.zeros((points, 0)), empty, np.zeros((points, 0)), np.ones(points, bool)
    size = np.linalg.norm(relations, axis=2, keepdims=True)
    u, s, vt = np.linalg.svd(relations[:, :, : 2 * n] / np.where(size > 0, size, 1.0))
    scaled = relations[:, :, 2 * n] / np.where(size > 0, size, 1.0)[:, :, 0]
    constants = (np.swapaxes(u, 1, 2) @ scaled[:, :, None])[:, :, 0]
    ranks = (s > RANK * s[:, :1]).sum(axis=1)
    if np.abs(constants[0, ranks[0] :]).max(initial=0.0) > 1e-7:
        raise NotDetermined("the network of an interval contradicts itself")
    if ranks[0] != n:
        raise NotDetermined("the network of an interval leaves a current or voltage open")
    usable = ranks == n
    constant = constants[:, :n] / s[:, :n]
    states, slopes = vt[:, :n, :n], vt[:, :n, n:]
    u, s, vt = np.linalg.svd(slopes)
    moves = (s > INSTANT).sum(axis=1)
    moving = int(moves[0])
    usable &= moves == moving
    turned = np.swapaxes(u, 1, 2)
    states, constant = turned @ states, (turned @ constant[:, :, None])[:, :, 0]
    free, tied = vt[:, :moving], vt[:, moving:]
    fixed = np.zeros((points, n))
    following = np.swapaxes(free, 1, 2)
    if moving < n:
        ties = states[:, moving:] @ np.swapaxes(tied, 1, 2)
        across = states[:, moving:] @ following
        good = (np.linalg.cond(ties) < 1e8) & (np.abs(across).max(axis=(1, 2), initial=0.0) < 1e-6)
        if not good[0]:
            raise NotDetermined("the network of an interval ties its states in no passive way")
        usable &= good
        ties = np.where(good[:, None, None], ties, np.eye(n - moving))
        held = np.linalg.solve(ties, -constant[:, moving:, None])
        fixed = (np.swapaxes(tied, 1, 2) @ held)[:, :, 0]
        following = following - np.swapaxes(tied, 1, 2) @ np.linalg.solve(ties, across)
    rates = s[:, :moving, None]
    rate = -(states[:, :moving] @ np.swapaxes(free, 1, 2)) / rates
    drive = -((states[:, :moving] @ fixed[:, :, None])[:, :, 0] + constant[:, :moving]) / rates[:, :, 0]
    return free, following, fixed, rate, drive, usable


def _highest(values: list[Array]) -> Array:
    top = values[0]
    for value in values[1:]:
        top = np.maximum(top, value)
    return top
