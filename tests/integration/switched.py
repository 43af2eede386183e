"""Periodic steady state of a switched circuit by integration in time: a check of the solver.

The closed-form solver assumes constant capacitor voltages and straight current ramps and works out
which devices conduct.  This module assumes neither.  It integrates the network with its real
capacitors and lets every diode decide by itself, so that an agreement of the two means something.

How it works:

* Every ideal part gets a small or large resistance (a closed device and a capacitor a few millionths
  of the load, an open device and a coil's shunt some millions of it), so that the resistive network
  has one solution for any coil currents and capacitor voltages: capacitor-diode loops, coil cutsets
  and ideal transformers need no case of their own.
* A diode is a piecewise-linear resistor, continuous at its corner.  The state's rate of change is
  then continuous too, an event needs no jump of the state, and the product of the transition
  matrices along a period is the exact derivative of the period map.
* Within one device state the network is linear: steps are exact (matrix exponentials for 2, 4, 8 ...
  time units, kept for each device state).  A step that would carry a diode past its corner is halved
  down to one unit, which locates the event; after an event steps grow again from tiny ones, which
  follows the fast exponentials of small resistances.
* The periodic state solves P(x) = x.  In the energy norm P never expands a distance (all parts are
  passive), so implicit steps of many periods at once, with the exact derivative, converge from rest.

Inside, all numbers are scaled: time by the period, resistance by the load, voltage by the sources.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.linalg import expm

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Inductor,
    Load,
    Resistor,
    Source,
    Switch,
    Transformer,
)

UNITS = 2**36
"""Time units a period is cut into; instants are whole numbers of them."""
LARGEST_LEVEL = 30
"""Steps are at most 2**30 units, a 64th of the period."""
RINGING = 0.25
"""Steps are at most this part of a radian of the fastest oscillation, so that no swing is stepped over."""
DECAYED = 25.0
"""An oscillation that decays by more than this exponent within a radian is none."""
FIRST_LEVEL = 1
"""Steps after an event begin with 2**1 units, 3e-11 of the period; an event is located no finer than that."""
TOLERANCE = 1e-10
"""Scaled current or voltage by which a diode may miss its corner before that counts."""
SETTLING = 1e-5
"""Fraction of the period after an event in which peaks are not taken: spikes of the added resistances."""
GOLDEN = (5**0.5 - 1) / 2
PERFECT = 1e-9
"""Coupled coils whose inductance matrix has a smaller eigenvalue (coils scaled to 1) share one flux."""


class NotPeriodic(Exception):
    """No periodic state was found."""


@dataclass(frozen=True)
class DeviceInterval:
    """A stretch of the period with one set of conducting devices, in netlist order."""

    fraction: float
    conducting: tuple[str, ...]
    currents: dict[str, float]
    """Average current of each switch and diode in this interval."""


@dataclass(frozen=True)
class Conduction:
    """A stretch of the period in which the same devices carry current."""

    fraction: float
    carrying: frozenset[str]
    closed: frozenset[str]
    """Those that carry, and those that are closed without current."""

    def __str__(self) -> str:
        return f"{'+'.join(sorted(self.carrying)) or 'none'} {self.fraction:.4f}"


@dataclass(frozen=True)
class Averages:
    """One period of the steady state, SI units, signs by the arrows of the netlist.

    Coils and capacitors are keyed by element name, a magnetizing inductance by its symbol, the windings
    of a transformer T by T.1, T.2 and so on (the first one's current includes the magnetizing current).
    """

    output_voltage: float
    gain: float
    capacitor_voltages: dict[str, float]
    inductor_currents: dict[str, float]
    average_currents: dict[str, float]
    average_voltages: dict[str, float]
    rms_currents: dict[str, float]
    peak_currents: dict[str, float]
    """Largest magnitude, outside the settling time after each event."""
    peak_voltages: dict[str, float]
    """Largest magnitude, outside the settling time after each event."""
    ripple: dict[str, float]
    """Peak to peak: current of a coil, voltage of a capacitor without its series resistance."""
    current_swings: dict[str, float]
    voltage_swings: dict[str, float]
    """Peak to peak of any element, outside the settling time after each event."""
    highest_currents: dict[str, float]
    highest_voltages: dict[str, float]
    """Largest magnitudes at any instant, spikes included: where resistances alone limit them, as well."""
    highest_swings: dict[str, float]
    highest_current_swings: dict[str, float]
    """Peak to peak of the voltages and currents, spikes included."""
    powers: dict[str, float]
    """Average power into each element."""
    intervals: tuple[DeviceInterval, ...]
    iterations: int
    """Periods integrated until the periodic state was found."""

    @property
    def efficiency(self) -> float:
        """Power taken by loads and by sources' ideal parts over power that sources' ideal parts give.

        A source's own resistance counts among the losses, a constant current as a load or as a source.
        """
        return self._useful / self._delivered if self._delivered else float("nan")

    @property
    def delivered_power(self) -> float:
        """Power that the ideal parts of sources (and constant currents) give, watt."""
        return self._delivered

    _useful: float = field(default=0.0, repr=False)
    _delivered: float = field(default=0.0, repr=False)

    def sequence(self, least: float = 1e-3, negligible: float = 1e-4) -> tuple[Conduction, ...]:
        """Every interval longer than ``least`` of the period, neighbours joined that carry the same.

        A device carries where its current exceeds ``negligible`` of the largest device current: at zero
        current and zero voltage a diode is both open and closed.
        """
        largest = max((abs(i) for interval in self.intervals for i in interval.currents.values()), default=0)
        found: list[Conduction] = []
        for interval in self.intervals:
            if interval.fraction < least:
                continue
            closed = frozenset(interval.conducting)
            carrying = frozenset(n for n in closed if abs(interval.currents[n]) > negligible * largest)
            if found and found[-1].carrying == carrying:
                before = found.pop()
                closed |= before.closed
                found.append(Conduction(before.fraction + interval.fraction, carrying, closed))
            else:
                found.append(Conduction(interval.fraction, carrying, closed))
        return tuple(found)


@dataclass(frozen=True)
class _Branch:
    """One branch of the network; ``kind`` chooses its equation, ``resistance`` and ``drop`` fill it."""

    name: str
    start: str
    end: str
    kind: str
    value: float = 0.0
    resistance: float = 0.0
    drop: float = 0.0
    leak: float = 0.0
    """Conductance of an open device, or of the shunt across a coil."""


@dataclass
class _DeviceState:
    """The linear network of one device state, z = (scaled state, 1): z' = rate z, y = output z."""

    output: np.ndarray
    sign: np.ndarray
    """Rows times z: one a diode, negative where the diode contradicts its state."""
    rate: np.ndarray
    growth: list[np.ndarray]
    """Transition matrix minus identity for 2**level units: what is left of 1 is kept to full accuracy."""
    integral: list[np.ndarray]
    """Integral of the transition matrix over 2**level units, in periods."""
    largest_level: int
    """Longer steps than 2**level units would pass over swings."""

    def tolerance(self, z: np.ndarray) -> np.ndarray:
        """By how much each diode may contradict its state; small resistances amplify rounding."""
        return TOLERANCE + 1e-14 * (np.abs(self.sign) @ np.abs(z))


@dataclass(frozen=True)
class _Step:
    """One accepted step of the recorded period."""

    key: tuple[bool, ...]
    duration: float
    since_event: float
    start: np.ndarray
    middle: np.ndarray
    end: np.ndarray
    integral: np.ndarray


def with_small_ripple(
    circuit: Circuit, values: Mapping[str, float], multiple: float = 1e4
) -> dict[str, float]:
    """``values`` with every capacitance set to ``multiple`` times T/R, where the ripple is next to nothing.

    The voltage ripple of such a capacitor is about V/multiple times the square of the gain or its
    inverse: far below one per cent, so that formulas that neglect it can be held to a fine tolerance.
    """
    known = _merged(circuit, values)
    scale = known["T"] / _load_scale(circuit, known)
    return {**values, **{c.quantity.symbol: multiple * scale for c in circuit.capacitors}}


def periodic_averages(
    circuit: Circuit,
    values: Mapping[str, float],
    *,
    closed: float = 2e-6,
    open_: float = 2e6,
    uneven: float = 1.0,
    start: Mapping[str, float] | None = None,
) -> Averages:
    """Integrate ``circuit`` to its periodic state and average over one period.

    Args:
        circuit: any circuit; what it leaves symbolic must be in ``values``.
        values: SI values by symbol, taking precedence over the netlist's own: elements, parameters,
            parasitics, mutual inductances, duties and ``T``.
        closed: resistance of ideal closed devices and capacitors, as a fraction of the load.
        open_: resistance of open devices, and of the shunt across each coil, as a multiple of the load.
        uneven: these resistances differ from part to part by up to this factor, so that what only they
            decide (the shares of open devices in series, say) comes out otherwise than with equal ones.
        start: first guess of capacitor voltages and coil currents by name; zero where absent.

    Raises:
        NotPeriodic: the iteration found no periodic state.
    """
    known = _merged(circuit, values)
    network = _Network(circuit, known, closed, open_, uneven)
    first = network.initial(start or {})
    try:
        state, periods = network.periodic_state(first)
    except NotPeriodic:
        # Diodes that share a current by millivolts make the map too crooked for long steps; with larger
        # resistances it is smooth, and the state moves almost in proportion to them.
        steps = round(np.log(5e-2 / closed) / np.log(3.0)) + 1
        track: list[tuple[float, np.ndarray]] = []
        for resistance in np.geomspace(5e-2, closed, steps):
            network = _Network(circuit, known, float(resistance), open_, uneven)
            guess = track[-1][1] if track else first
            if len(track) > 1:
                (before, earlier), (last, later) = track[-2:]
                guess = later + (later - earlier) * (resistance - last) / (last - before)
            state, periods = network.periodic_state(guess)
            track.append((float(resistance), state))
    return network.averages(state, periods)


def states_after(
    circuit: Circuit,
    periods: int,
    start: Mapping[str, float] | None = None,
    *,
    closed: float = 2e-6,
    open_: float = 2e6,
) -> dict[str, float]:
    """Coil currents and capacitor voltages by name after so many periods from ``start`` (rest), SI units."""
    network = _Network(circuit, _merged(circuit, {}), closed, open_, 1.0)
    z = network.initial(start or {})
    for _ in range(periods):
        z = network.integrate(z)[0]
    currents = network.currents_of_state @ z[: network.fluxes] * network.ampere
    voltages = network.voltages_of_state @ z[network.fluxes : -1] * network.volt
    names = [network.names[index] for index in network.of_kind["capacitor"]]
    return dict(zip([*network.inductance_names, *names], map(float, [*currents, *voltages]), strict=True))


def _merged(circuit: Circuit, values: Mapping[str, float]) -> dict[str, float]:
    """Netlist values overridden by ``values``; mutual inductances follow from k where only k is given."""
    known = {symbol: float(value) for symbol, value in circuit.values.items()}
    known.update({symbol: float(value) for symbol, value in values.items()})
    for coupling in circuit.couplings:
        if coupling.symbol not in values and coupling.coefficient is not None:
            first, second = (
                known[circuit.element(name).quantity.symbol] for name in (coupling.first, coupling.second)
            )
            known[coupling.symbol] = float(coupling.coefficient) * (first * second) ** 0.5
    return known


def _load_scale(circuit: Circuit, known: Mapping[str, float]) -> float:
    """A resistance that tells large from small in this circuit: the load's."""
    loads = circuit.of(Load)
    if loads:
        return known[loads[0].quantity.symbol]
    currents = [abs(known[c.quantity.symbol]) for c in circuit.of(CurrentSource)]
    if any(currents):
        return _voltage_scale(circuit, known) / max(currents)
    # without a load: what coils and capacitors make of a period
    sizes = [known[c.quantity.symbol] / known["T"] for c in circuit.inductors]
    sizes += [known["T"] / known[c.quantity.symbol] for c in circuit.capacitors]
    return float(np.exp(np.mean(np.log(sizes)))) if sizes else 1.0


def _voltage_scale(circuit: Circuit, known: Mapping[str, float]) -> float:
    """The largest source voltage (1 V where there is none)."""
    return max((abs(known[s.quantity.symbol]) for s in circuit.sources), default=1.0) or 1.0


class _Network:
    """The scaled network, its device states (kept once built) and its period map."""

    def __init__(
        self, circuit: Circuit, known: Mapping[str, float], closed: float, open_: float, uneven: float
    ) -> None:
        self.circuit = circuit
        self.period = known["T"]
        self.ohm = _load_scale(circuit, known)
        self.volt = _voltage_scale(circuit, known)
        self.ampere = self.volt / self.ohm
        self.input_voltage = known[circuit.input.quantity.symbol] if circuit.sources else float("nan")
        self.branches: list[_Branch] = []
        self.inductance_names: list[str] = []
        inductances: list[float] = []
        self.windings: list[tuple[list[int], list[float]]] = []
        self.magnetized: list[tuple[int, int]] = []

        def scaled(quantity, unit: float, otherwise: float = 0.0) -> float:
            return otherwise if quantity is None else known[quantity.symbol] / unit

        def factor() -> float:
            # multiples of the golden ratio never come near each other
            return uneven ** (len(self.branches) * GOLDEN % 1.0)

        def add(*arguments, **properties) -> int:
            leak = 1 / (open_ * factor())
            self.branches.append(_Branch(*arguments, leak=leak, **properties))
            return len(self.branches) - 1

        henry, farad = self.ohm * self.period, self.period / self.ohm
        for element in circuit.elements:
            if isinstance(element, Transformer):
                turns = [known[n] if isinstance(n, str) else float(n) for n in element.turns]
                members = [
                    add(f"{element.name}.{count}", *winding, "winding", resistance=closed * 1e-2 * factor())
                    for count, winding in enumerate(element.windings, 1)
                ]
                self.windings.append((members, turns))
                if element.magnetizing is not None:
                    inductance = add(element.magnetizing.symbol, *element.windings[0], "inductor")
                    self.magnetized.append((members[0], inductance))
                    self.inductance_names.append(element.magnetizing.symbol)
                    inductances.append(scaled(element.magnetizing, henry))
                continue
            ends = (element.name, element.start, element.end)
            match element:
                case Source():
                    resistance = scaled(element.resistance, self.ohm)
                    add(*ends, "resistive", drop=scaled(element.quantity, self.volt), resistance=resistance)
                case CurrentSource():
                    add(*ends, "current", value=scaled(element.quantity, self.ampere))
                case Resistor():
                    add(*ends, "resistive", resistance=scaled(element.quantity, self.ohm))
                case Inductor():
                    add(*ends, "inductor", resistance=scaled(element.resistance, self.ohm))
                    self.inductance_names.append(element.name)
                    inductances.append(scaled(element.quantity, henry))
                case Capacitor():
                    capacitance = scaled(element.quantity, farad)
                    resistance = scaled(element.resistance, self.ohm, closed * factor())
                    add(*ends, "capacitor", value=capacitance, resistance=resistance)
                case Switch() | Diode():
                    kind = "switch" if isinstance(element, Switch) else "diode"
                    resistance = scaled(element.resistance, self.ohm, closed * factor())
                    add(*ends, kind, resistance=resistance, drop=scaled(element.drop, self.volt))

        self.names = [branch.name for branch in self.branches]
        self.of_kind = {
            kind: [index for index, branch in enumerate(self.branches) if branch.kind == kind]
            for kind in ("inductor", "capacitor", "switch", "diode")
        }
        self.winding_tiny = closed * 1e-2 * uneven ** (np.arange(len(inductances)) * GOLDEN % 1.0)
        self._state_scaling(known, inductances, henry)
        self._node_numbers()
        self._phases(known)
        self.device_states: dict[tuple[bool, ...], _DeviceState] = {}

    def _state_scaling(self, known: Mapping[str, float], inductances: list[float], henry: float) -> None:
        """State = square roots of energies, so that a passive network cannot stretch its length."""
        matrix = np.diag(np.array(inductances))
        self.inductances = np.array(inductances) / max([*inductances, 1e-30])
        place = {name: index for index, name in enumerate(self.inductance_names)}
        for coupling in self.circuit.couplings:
            first, second = place[coupling.first], place[coupling.second]
            matrix[first, second] = matrix[second, first] = known[coupling.symbol] / henry
        self.fluxless = np.zeros((len(inductances), 0))
        if inductances:
            # Currents are those of independent fluxes, and any that make no flux: of perfectly coupled coils.
            root = np.sqrt(np.diag(matrix))
            shares, vectors = np.linalg.eigh(matrix / np.outer(root, root))
            kept = shares > PERFECT
            self.currents_of_state = vectors[:, kept] / np.sqrt(shares[kept]) / root[:, None]
            self.fluxless = vectors[:, ~kept] / root[:, None]
        else:
            self.currents_of_state = np.zeros((0, 0))
        capacitances = [self.branches[index].value for index in self.of_kind["capacitor"]]
        self.voltages_of_state = np.diag(1 / np.sqrt(np.array(capacitances, dtype=float)))
        self.fluxes = self.currents_of_state.shape[1]
        self.size = self.fluxes + len(capacitances)

    def _node_numbers(self) -> None:
        """Number the nodes; one node of every connected part is the reference (number -1)."""
        parts: dict[str, str] = {}

        def root(node: str) -> str:
            parts.setdefault(node, node)
            while parts[node] != node:
                node = parts[node]
            return node

        for branch in self.branches:
            parts[root(branch.start)] = root(branch.end)
        references: dict[str, str] = {}
        for node in [*self.circuit.grounds, *parts]:
            if node in parts:
                references.setdefault(root(node), node)
        free = [node for node in parts if node not in set(references.values())]
        self.node = {node: -1 for node in references.values()}
        self.node.update({node: number for number, node in enumerate(free)})
        self.node_count = len(free)

    def _phases(self, known: Mapping[str, float]) -> None:
        """Stretches between switch edges: (units, switch states)."""
        schedules = [self.circuit.schedule(self.names[index]) for index in self.of_kind["switch"]]

        def span(schedule) -> tuple[int, int]:
            start = known[schedule.start] if isinstance(schedule.start, str) else float(schedule.start)
            begin = round(start % 1 * UNITS)
            return begin, begin + round(known[schedule.duty] * UNITS)

        spans = [None if schedule.duty is None else span(schedule) for schedule in schedules]
        instants = sorted({0, UNITS, *(edge % UNITS for pair in spans if pair for edge in pair)})
        self.phases: list[tuple[int, tuple[bool, ...]]] = []
        for begin, finish in pairwise(instants):
            states = tuple(
                # an on-time that runs over the period's end covers the beginning of the next one too
                s.first == (pair is None or pair[0] <= begin < pair[1] or begin + UNITS < pair[1])
                for s, pair in zip(schedules, spans, strict=True)
            )
            self.phases.append((finish - begin, states))

    def initial(self, start: Mapping[str, float]) -> np.ndarray:
        """The scaled state, with a one at its end, for coil currents and capacitor voltages by name."""
        currents = np.array([start.get(name, 0.0) / self.ampere for name in self.inductance_names])
        names = [self.names[index] for index in self.of_kind["capacitor"]]
        voltages = np.array([start.get(name, 0.0) / self.volt for name in names])
        fluxes = np.linalg.pinv(self.currents_of_state) @ currents
        return np.concatenate([fluxes, voltages / np.diag(self.voltages_of_state), [1.0]])

    def device_state(self, key: tuple[bool, ...]) -> _DeviceState:
        """The linear network where the switches, then the diodes, conduct as ``key`` says."""
        if key not in self.device_states:
            self.device_states[key] = self._build(key)
        return self.device_states[key]

    def _build(self, key: tuple[bool, ...]) -> _DeviceState:
        count, nodes = len(self.branches), self.node_count
        # Unknowns: node potentials, branch currents, one voltage per turn for each transformer, and the
        # currents of perfectly coupled coils that make no flux.
        fluxless = nodes + count + len(self.windings)
        total = fluxless + self.fluxless.shape[1]
        matrix = np.zeros((total, total))
        right = np.zeros((total, self.size + 1))
        voltage = np.zeros((count, total))
        conducting = dict(zip(self.of_kind["switch"] + self.of_kind["diode"], key, strict=True))
        coils, capacitors = self.of_kind["inductor"], self.of_kind["capacitor"]
        for index, branch in enumerate(self.branches):
            current = nodes + index
            for node, direction in ((branch.start, 1.0), (branch.end, -1.0)):
                number = self.node[node]
                if number >= 0:
                    matrix[number, current] += direction
                    voltage[index, number] += direction
            row = current
            match branch.kind:
                case "current":
                    matrix[row, current] = 1.0
                    right[row, -1] = branch.value
                case "inductor":
                    # The shunt carries what a cutset of coils cannot agree on.
                    matrix[row] = -voltage[index] * branch.leak
                    matrix[row, current] += 1.0 + branch.resistance * branch.leak
                    place = coils.index(index)
                    matrix[row, fluxless:] -= self.fluxless[place]
                    right[row, : self.fluxes] = self.currents_of_state[place]
                    # A combination of coils without flux induces no voltage (but for a tiny resistance).
                    matrix[fluxless:] += np.outer(self.fluxless[place], voltage[index])
                    matrix[fluxless:, current] -= self.fluxless[place] * (
                        branch.resistance + self.winding_tiny[place] * self.inductances[place]
                    )
                case "capacitor":
                    matrix[row] = voltage[index]
                    matrix[row, current] -= branch.resistance
                    place = capacitors.index(index)
                    right[row, self.fluxes : -1] = self.voltages_of_state[place]
                case "switch" | "diode" if not conducting[index]:
                    matrix[row] = -voltage[index] * branch.leak
                    matrix[row, current] += 1.0
                case "winding":
                    pass
                case _:
                    matrix[row] = voltage[index]
                    matrix[row, current] -= branch.resistance
                    right[row, -1] = branch.drop
                    if branch.kind == "diode":
                        # Continuous with the open diode's line at the corner v = drop.
                        right[row, -1] -= branch.resistance * branch.drop * branch.leak
        for number, (members, turns) in enumerate(self.windings):
            flux = nodes + count + number
            for member, turn in zip(members, turns, strict=True):
                row = nodes + member
                matrix[row] = voltage[member]
                matrix[row, row] -= self.branches[member].resistance * turn**2
                matrix[row, flux] = -turn
                matrix[flux, row] = turn
        solution = np.linalg.solve(matrix, right)
        voltages, currents = voltage @ solution, solution[nodes : nodes + count]

        windings = np.array([self.branches[index].resistance for index in coils])[:, None]
        induced = voltages[coils] - windings * currents[coils]
        rate = np.zeros((self.size + 1, self.size + 1))
        rate[: self.fluxes] = self.currents_of_state.T @ induced
        rate[self.fluxes : -1] = self.voltages_of_state @ currents[capacitors]

        sign = np.zeros((len(self.of_kind["diode"]), self.size + 1))
        for row, index in enumerate(self.of_kind["diode"]):
            drop, leak = self.branches[index].drop, self.branches[index].leak
            if conducting[index]:
                sign[row] = currents[index]
                sign[row, -1] -= drop * leak
            else:
                sign[row] = -voltages[index]
                sign[row, -1] += drop
        for winding, inductance in self.magnetized:
            # What flows in at the terminals of the winding includes the magnetizing current.
            currents[winding] += currents[inductance]
        return _DeviceState(np.vstack([voltages, currents]), sign, rate, *_ladder(rate), _largest_level(rate))

    def consistent(
        self, switches: tuple[bool, ...], diodes: tuple[bool, ...], z: np.ndarray
    ) -> tuple[bool, ...]:
        """The device state that holds at ``z``; the diodes' piecewise-linear problem has one solution.

        All contradicting diodes are turned at once at first, which is quick; then one at a time,
        the last first, which cannot cycle (Murty's rule, for matrices with positive principal minors).
        """
        for attempt in range(4 + 2 ** (len(diodes) + 1)):
            linear = self.device_state(switches + diodes)
            wrong = np.flatnonzero(linear.sign @ z < -linear.tolerance(z))
            if not len(wrong):
                return switches + diodes
            turned = set(wrong.tolist()) if attempt < 4 else {int(wrong[-1])}
            diodes = tuple(state != (index in turned) for index, state in enumerate(diodes))
        raise NotPeriodic("no consistent set of conducting diodes was found")

    def integrate(
        self, z: np.ndarray, record: list[_Step] | None = None, most_steps: int = 20000
    ) -> tuple[np.ndarray, np.ndarray]:
        """One period from ``z``: its end and the derivative of the end by the start."""
        derivative = np.eye(self.size + 1)
        diodes = (False,) * len(self.of_kind["diode"])
        steps = 0
        for units, switches in self.phases:
            key = self.consistent(switches, diodes, z)
            linear = self.device_state(key)
            margin, tolerance = 1.0, linear.tolerance(z)
            remaining, level, since = units, FIRST_LEVEL, 0
            accepted = (
                2  # since the step was last halved: the event lies in the second step, or there is none
            )
            while remaining:
                steps += 1
                if steps > most_steps:
                    raise NotPeriodic("the diodes chatter")
                level = min(level, remaining.bit_length() - 1, linear.largest_level)
                growth = linear.growth[level]
                ahead = z + growth @ z
                wrong = bool((linear.sign @ ahead < -tolerance).any())
                if wrong:
                    tolerance = margin * linear.tolerance(ahead)
                    wrong = bool((linear.sign @ ahead < -tolerance).any())
                if wrong and level > FIRST_LEVEL:
                    level, accepted = level - 1, 0
                    continue
                if record is not None:
                    middle = z + linear.growth[level - 1] @ z if level else (z + ahead) / 2
                    duration = 2.0**level / UNITS
                    integral = linear.integral[level] @ z
                    record.append(_Step(key, duration, since / UNITS, z, middle, ahead, integral))
                z = ahead
                derivative = derivative + growth @ derivative
                remaining -= 2**level
                since += 2**level
                if wrong:
                    before, key = key, self.consistent(switches, key[len(switches) :], z)
                    linear = self.device_state(key)
                    # A diode that grazes its corner would be halted there again and again by rounding.
                    margin = margin * 4 if key == before else 1.0
                    tolerance = margin * linear.tolerance(z)
                    level, accepted, since = FIRST_LEVEL, 2, 0
                else:
                    accepted += 1
                    if accepted >= 2:
                        level = min(level + 1, LARGEST_LEVEL)
            diodes = key[len(switches) :]
        return z, derivative

    def periodic_state(self, z: np.ndarray, most: int = 400) -> tuple[np.ndarray, int]:
        """The fixed point of the period map P, and how many periods were integrated to find it.

        Outer steps are implicit ones over ``span`` periods, x - anchor = span (P(x) - x): P never
        expands a distance, so each has one solution and their sequence converges.  Inner steps are
        Newton's, shortened where the residual would grow; a period integrated after each lets fast
        parts settle.  Where Newton's steps get short, the span is too long for it and shrinks.
        """
        identity = np.eye(self.size)
        span, count = 16.0, 0
        z = self.integrate(z)[0]
        while count < most:
            anchor = z[:-1]
            end, derivative = self.integrate(z)
            count += 1
            change = (end - z)[:-1]
            noise = 1e-14 * float(np.linalg.norm(z))
            goal = max(0.3 * float(np.linalg.norm(change)), noise)
            length, factor = np.inf, 1.0
            for _ in range(6):
                residual = change - (z[:-1] - anchor) / span
                length = float(np.linalg.norm(residual))
                step = np.linalg.solve((1 + 1 / span) * identity - derivative[:-1, :-1], residual)
                if span > 1e7 and np.linalg.norm(step) < 1e-8 * (1e-3 + np.linalg.norm(z[:-1])):
                    return z, count
                for factor in (1.0, 1 / 3, 1 / 9, 0.0):
                    trial = z.copy()
                    trial[:-1] += factor * step
                    trial = self.integrate(trial)[0]
                    end, derivative = self.integrate(trial)
                    count += 2
                    change = (end - trial)[:-1]
                    new = float(np.linalg.norm(change - (trial[:-1] - anchor) / span))
                    if new < (1 - factor / 10) * length:
                        break
                z, length = trial, new
                if length < goal or factor == 0.0:
                    break
            span = min(span * 8, 1e11) if length < goal else max(span / 30, 2.0)
        if np.linalg.norm(change) < 10 * noise:
            # What still moves does so by leaks alone, too slowly to be told from rounding.
            return z, count
        raise NotPeriodic(f"no periodic state in {count} periods; last change {np.linalg.norm(change):.3g}")

    def averages(self, z: np.ndarray, periods: int) -> Averages:
        """Record the period that starts at ``z`` and take its averages, peaks and intervals."""
        steps: list[_Step] = []
        self.integrate(z, steps)
        count = len(self.branches)
        mean, square = np.zeros(2 * count), np.zeros(2 * count)
        power = np.zeros(count)
        highest, lowest = np.full(2 * count, -np.inf), np.full(2 * count, np.inf)
        for key in dict.fromkeys(step.key for step in steps):
            chosen = [step for step in steps if step.key == key]
            output = self.device_state(key).output
            duration = np.array([step.duration for step in chosen])
            mean += output @ np.sum([step.integral for step in chosen], axis=0)
            begin, middle, end = (
                output @ np.array([getattr(step, which) for step in chosen]).T
                for which in ("start", "middle", "end")
            )
            for weight, sample in ((1 / 6, begin), (4 / 6, middle), (1 / 6, end)):
                square += weight * (sample**2 @ duration)
                power += weight * ((sample[:count] * sample[count:]) @ duration)
            whole = np.array([step.since_event + step.duration > SETTLING for step in chosen])
            half = np.array([step.since_event + step.duration / 2 > SETTLING for step in chosen])
            settled = np.hstack([end[:, whole], middle[:, half]])
            if settled.shape[1]:
                highest = np.maximum(highest, settled.max(axis=1))
                lowest = np.minimum(lowest, settled.min(axis=1))

        unit = np.concatenate([np.full(count, self.volt), np.full(count, self.ampere)])
        mean, root, highest, lowest = (x * unit for x in (mean, np.sqrt(square), highest, lowest))
        power = power * self.volt * self.ampere
        starts = np.array([self.device_state(one.key).output @ one.start for one in steps])
        extreme, swings = unit * np.abs(starts).max(axis=0), unit * np.ptp(starts, axis=0)
        peak = np.maximum(np.abs(highest), np.abs(lowest))
        # small resistances amplify rounding in integrals; no mean is above the root of the mean square
        mean = np.clip(mean, -root, root)

        def table(numbers: np.ndarray, indices: list[int] | None = None) -> dict[str, float]:
            chosen = range(count) if indices is None else indices
            return {self.names[index]: float(numbers[index]) for index in chosen}

        swing = highest - lowest
        charged = (
            self.volt
            * self.voltages_of_state
            @ np.ptp([step.end[self.fluxes : -1] for step in steps], axis=0)
        )
        capacitors = [self.names[index] for index in self.of_kind["capacitor"]]
        ripple = table(swing[count:], self.of_kind["inductor"])
        ripple |= dict(zip(capacitors, map(float, charged), strict=True))
        output_voltage = self._output(mean[:count])
        of_ports = [float(power[self.names.index(load.name)]) for load in self.circuit.loads]
        for source in self.circuit.sources:
            place = self.names.index(source.name)
            of_ports.append(float(self.branches[place].drop * self.volt * mean[count + place]))
        return Averages(
            output_voltage=output_voltage,
            gain=output_voltage / self.input_voltage,
            capacitor_voltages=table(mean, self.of_kind["capacitor"]),
            inductor_currents=table(mean[count:], self.of_kind["inductor"]),
            average_currents=table(mean[count:]),
            average_voltages=table(mean),
            rms_currents=table(root[count:]),
            peak_currents=table(peak[count:]),
            peak_voltages=table(peak),
            ripple=ripple,
            current_swings=table(swing[count:]),
            voltage_swings=table(swing),
            highest_currents=table(extreme[count:]),
            highest_voltages=table(extreme),
            highest_swings=table(swings),
            highest_current_swings=table(swings[count:]),
            powers=table(power),
            intervals=self._intervals(steps),
            iterations=periods,
            _useful=sum(p for p in of_ports if p > 0),
            _delivered=-sum(p for p in of_ports if p < 0),
        )

    def _output(self, voltages: np.ndarray) -> float:
        """Output voltage: potentials follow from average branch voltages, which hold like any voltages."""
        output = self.circuit.output
        if output.element is not None and output.element in self.names:
            return float(voltages[self.names.index(output.element)])
        rows = np.zeros((len(self.branches), self.node_count + 1))
        for index, branch in enumerate(self.branches):
            rows[index, self.node[branch.start]] += 1.0
            rows[index, self.node[branch.end]] -= 1.0
        rows[:, -1] = 0.0
        potentials = np.linalg.lstsq(rows, voltages, rcond=None)[0]
        potentials[-1] = 0.0
        return float(potentials[self.node[output.start]] - potentials[self.node[output.end]])

    def _intervals(self, steps: list[_Step]) -> tuple[DeviceInterval, ...]:
        """Consecutive steps of one device state joined."""
        devices = self.of_kind["switch"] + self.of_kind["diode"]
        groups: list[list[_Step]] = []
        for step in steps:
            if not groups or groups[-1][0].key != step.key:
                groups.append([])
            groups[-1].append(step)
        found = []
        for group in groups:
            key, fraction = group[0].key, sum(step.duration for step in group)
            output = self.device_state(key).output[len(self.branches) :] * self.ampere
            currents = output @ np.sum([step.integral for step in group], axis=0) / fraction
            closed = sorted(index for index, on in zip(devices, key, strict=True) if on)
            found.append(
                DeviceInterval(
                    fraction,
                    tuple(self.names[index] for index in closed),
                    {self.names[index]: float(currents[index]) for index in devices},
                )
            )
        return tuple(found)


def _largest_level(rate: np.ndarray) -> int:
    """The level of steps that follow the fastest oscillation of the network."""
    values = np.linalg.eigvals(rate)
    swinging = np.abs(values.imag)[-values.real < DECAYED * np.abs(values.imag)]
    fastest = float(swinging.max(initial=0.0))
    if fastest * 2.0**LARGEST_LEVEL / UNITS <= RINGING:
        return LARGEST_LEVEL
    return max(int(np.log2(RINGING / fastest * UNITS)), FIRST_LEVEL + 1)


def _ladder(rate: np.ndarray) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """(exp(A h) - 1, integral of exp(A t) to h) for h = 1, 2, 4 ... time units."""
    size, unit = len(rate), 1.0 / UNITS
    block = np.zeros((2 * size, 2 * size))
    block[:size, :size] = rate * unit
    block[:size, size:] = np.eye(size) * unit
    integral = expm(block)[:size, size:]
    growth = rate @ integral
    growths, integrals = [growth], [integral]
    for _ in range(LARGEST_LEVEL):
        # Doubling in terms of exp - 1 keeps slow modes exact while fast ones die out.
        integral = 2 * integral + integral @ growth
        growth = 2 * growth + growth @ growth
        growths.append(growth)
        integrals.append(integral)
    return growths, integrals
