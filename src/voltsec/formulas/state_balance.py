"""The intervals of a solved mode with its states (coil currents, capacitor voltages, ripples) as sources."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np

from voltsec.circuit.elements import Transformer
from voltsec.periodic.affine import Affine
from voltsec.periodic.balance import Balance
from voltsec.periodic.waveform import Waveforms
from voltsec.tableau import lengths
from voltsec.tableau.assembly import average_interval_rows, flux_rows, parameter_names, ramp_rows
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.tied import ring_of

OPEN = ("not told",)
"""Stands for what is better taken from the explicit solution."""


class StateBalance(Balance):
    """The intervals of a solved balance, each with the states as its sources."""

    def __init__(
        self,
        solved: Balance,
        points: dict[str, np.ndarray],
        sign: Callable[[Ratio], int | None],
    ) -> None:
        circuit = solved.circuit
        taken = {*parameter_names(circuit), *circuit.timing_symbols}
        self.currents = {c.name: _free_name(f"I_{c.name}", taken) for c in coils(circuit)}
        self.rises = {c.name: _free_name(f"dI_{c.name}", taken) for c in coils(circuit)}
        self.voltages = {c.name: _free_name(f"V_{c.name}", taken) for c in circuit.capacitors}
        self.names = (*self.currents.values(), *self.voltages.values(), *self.rises.values())
        ring = ring_of(solved.sequence, (*parameter_names(circuit), *self.names))
        super().__init__(circuit, solved.sequence, tuple(solved.network.references), ring)
        self.solved = solved
        self.small = circuit.parasitics
        self.certain: set[str] = set()
        """Coils whose currents rise and fall in the same intervals for all values: that is proved."""
        self.rising = self._rising(Waveforms(solved, points), sign)

    def _rising(self, waves: Waveforms, sign_of: Callable[[Ratio], int | None]) -> dict[tuple[int, str], int]:
        """1 or -1 for each interval and coil: its current rises or falls there."""
        found = {}
        for coil in coils(self.circuit):
            proved = []
            for k in range(len(self.sequence.intervals)):
                ramp = self.solved.ramp(k, ("i", coil.name))
                sign = None if ramp is None else sign_of(ramp)
                proved.append(sign)
                middle = 0.0 if ramp is None else float(np.nanmedian(waves.numeric(ramp)))
                found[k, coil.name] = sign or (-1 if middle < 0 else 1)
            # over two intervals what rises in one falls in the other
            if any(sign is not None for sign in proved):
                self.certain.add(coil.name)
        return found

    @cached_property
    def _locals(self) -> list[tuple[Eliminated, Eliminated]]:
        """Mean and ramp network of every interval in terms of the states."""
        found = []
        for k in range(len(self.sequence.intervals)):
            means = self._means(k)
            ramps = ramp_rows(self.circuit, self.sequence, self.network, k)
            for coil in coils(self.circuit):
                rise = self.ring.symbol(self.rises[coil.name]) * self.rising[k, coil.name]
                ramps.append({("r", k, ("i", coil.name)): self.ring.constant(2), None: -rise})
            found.append((means, eliminate(ramps, self.ring)))
        return found

    def _means(self, k: int) -> Eliminated:
        """The mean network of interval ``k``.

        Where it leaves a current open or divides by small resistances (a capacitor charged from another),
        charge balance tells it: then it is proportional to a state by a factor of few terms.
        """
        rows = average_interval_rows(self.circuit, self.sequence, self.network, k) + self._states(k)
        found = eliminate(rows, self.ring)
        more: list[Row] = []
        for element in self.circuit.elements:
            unknown = ("m", k, ("i", element.name))
            value = found.fraction(unknown)
            if isinstance(element, Transformer) or (value is not None and not self.divides(value)):
                continue
            share = self._proportional(
                self.solved.value(k, {("i", element.name): self.solved.ring.one}, "average")
            )
            if share is not None:
                more.append({unknown: share.denominator, None: -share.numerator})
        return eliminate([*more, *rows], self.ring) if more else found

    def divides(self, ratio: Ratio) -> bool:
        """True for what would grow without limit as the losses vanish."""
        top, bottom = (self.ring.by_degree(part, self.small) for part in ratio.parts)
        return bool(top) and min(bottom) > min(top)

    def _proportional(self, value: Ratio | None) -> Ratio | None:
        """A solved current as a short factor times a state, ``None`` where there is no such factor."""
        if value is None:
            return None
        if value.is_zero:
            return Ratio(self.ring.zero, self.ring.one)
        best: tuple[int, Ratio] | None = None
        for name, state in self._solved_states:
            factor = value / state
            length = factor.terms
            if length <= lengths.DIVIDED_OUT and (best is None or length < best[0]):
                shown = factor.mapped(lambda part: self.solved.ring.substitute(part, self.ring, {}))
                best = length, shown.times(self.ring.symbol(name))
        return None if best is None else best[1]

    @cached_property
    def _solved_states(self) -> list[tuple[str, Ratio]]:
        one = self.solved.ring.one
        found = [
            (state, self.solved.value(0, {("i", name): one}, "average"))
            for name, state in self.currents.items()
        ]
        found += [(state, self.solved.capacitor_voltage(name)) for name, state in self.voltages.items()]
        return [(name, value) for name, value in found if value is not None and not value.is_zero]

    def _states(self, k: int) -> list[Row]:
        one, ring = self.ring.one, self.ring
        rows: list[Row] = [
            {("m", k, ("i", name)): one, None: -ring.symbol(state)} for name, state in self.currents.items()
        ]
        return rows + [{("V", name): one, None: -ring.symbol(state)} for name, state in self.voltages.items()]

    def _source(self, k: int, part: str) -> tuple[Eliminated, str]:
        means, ramps = self._locals[k]
        return (ramps, "r") if part == "ramp" else (means, "m")

    def capacitor_voltage(self, name: str) -> Ratio | None:
        """The state itself."""
        return Ratio(self.ring.symbol(self.voltages[name]), self.ring.one)

    def ripple(self, name: str) -> Ratio | None:
        """Peak to peak of a coil current in terms of the other states; the shortest interval's."""
        options = []
        for k in range(len(self.sequence.intervals)):
            rows = self._flux_by_states(k)
            if rows is None:
                continue
            found = eliminate(rows, self.ring, wanted=[("r", k, ("i", name))])
            ratio = found.fraction(("r", k, ("i", name)))
            if ratio is not None and not self.divides(ratio):
                options.append(ratio.times(2 * self.rising[k, name]))
        return min(options, key=lambda ratio: ratio.terms, default=None)

    def voltage_by_currents(self, name: str) -> Ratio | None:
        """A capacitor's voltage in terms of the coil currents, from the coils' volt-second balance."""
        found = self._voltages.fraction(("V", name))
        return None if found is None or self.divides(found) else found

    @cached_property
    def _voltages(self) -> Eliminated:
        rows: list[Row] = []
        for k in range(len(self.sequence.intervals)):
            rows += average_interval_rows(self.circuit, self.sequence, self.network, k)
            rows += [row for row in self._states(k) if ("V",) not in {u[:1] for u in row if u}]
        for coil in coils(self.circuit):
            rows.append(
                {
                    ("m", k, ("u", coil.name)): self.ring.symbol(fraction)
                    for k, fraction in enumerate(self.sequence.fractions)
                }
            )
        return eliminate(rows, self.ring, wanted=[("V", name) for name in self.voltages])

    def _flux_by_states(self, k: int) -> list[Row] | None:
        """The flux rows of interval ``k`` with every coil's voltage put in."""
        rows = []
        for row in flux_rows(self.circuit, self.sequence, self.ring, k):
            told: Row = {}
            for unknown, coefficient in row.items():
                if unknown[0] != "m":
                    told[unknown] = coefficient
                    continue
                voltage = self._locals[k][0].fraction(unknown)
                if voltage is None:
                    return None
                told = {u: c * voltage.denominator for u, c in told.items()}
                told[None] = coefficient * voltage.numerator
            rows.append(told)
        return rows


class StrictBalance(Balance):
    """The same states, where what divides by small resistances counts as open."""

    def __init__(self, states: StateBalance) -> None:
        super().__init__(states.circuit, states.sequence, tuple(states.network.references), states.ring)
        self.states = states

    def affine(self, k: int, row: Row, part: str) -> Affine:
        """As the states', open where it would grow without limit as the losses vanish."""
        found = self.states.affine(k, row, part)
        return (
            Affine(found.constant, {OPEN: found.constant}) if self.states.divides(found.constant) else found
        )

    def capacitor_voltage(self, name: str) -> Ratio | None:
        """The state itself."""
        return self.states.capacitor_voltage(name)


def _free_name(name: str, taken: set[str]) -> str:
    while name in taken:
        name += "_"
    taken.add(name)
    return name
