"""Formulas of a lossy mode in terms of its own coil currents, capacitor voltages and ripples.

With resistances in every part the explicit formula of a peak current is a ratio of two long
polynomials.  A person writes ``I_L1 + I_L2 + (dI_L1 + dI_L2)/2`` and says once what these are.  So
each interval's network is solved with the states as if they were sources:

* ``I_L`` mean coil current, ``V_C`` capacitor voltage (sign by the arrows of the netlist);
* ``dI_L`` ripple of a coil current, peak to peak, itself from the states:
  ``(Vg - (R_L + R_S)*I_L)*D*T/L``.

This serves modes of continuous conduction with two intervals or fewer, whose coil currents have one
mean.  What an interval leaves open (how diodes in a loop of capacitors share a current), or would
divide by a small resistance, is taken from the explicit solution.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property, partial

import numpy as np
import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.computing_time import in_time
from voltsec.formulas.choices import Knowledge, bars
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.extremes import Extremes
from voltsec.formulas.mode_formulas import AVERAGES, ModeFormulas
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.root_forms import root_of_sum
from voltsec.formulas.state_balance import StateBalance, StrictBalance
from voltsec.periodic.affine import Affine
from voltsec.periodic.balance import Balance, SignCondition
from voltsec.periodic.effective import passive
from voltsec.periodic.points import as_arrays
from voltsec.periodic.signs import Facts, ordinary
from voltsec.periodic.verification import open_conditions
from voltsec.periodic.waveform import Waveform, Waveforms
from voltsec.tableau import lengths
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio, insert
from voltsec.tableau.ring import definite_sign


class StateFormulas(ModeFormulas):
    """Formulas over a balance of states."""

    def __init__(
        self,
        explicit: ModeBuilder,
        states: StateBalance,
        balance: Balance,
        form: ClosedForm,
        points: dict[str, np.ndarray],
    ) -> None:
        self.explicit = explicit
        self.states = states
        self.names = states.names
        self.circuit = explicit.circuit
        self.too_long = explicit.too_long
        self.balance = balance
        self.form = form
        self.witness = form.witness
        self.waveforms = Waveforms(balance, points)

    @cached_property
    def samples(self) -> dict[str, np.ndarray]:
        """Generic points where the mode holds, with the states' values there."""
        raise NotImplementedError

    @cached_property
    def extremes(self) -> Extremes:
        """Peaks and ripples in terms of the states."""
        return Extremes(self.waveforms, self.known, self.samples, self._apart, self.condition)

    def condition(self, ratio: Ratio) -> Boolean:
        """That a ratio is positive."""
        return sympy.Gt(self._apart(ratio).xreplace(self._unsigned), 0, evaluate=False)

    @cached_property
    def _unsigned(self) -> dict[Expr, Expr]:
        """The states as plain symbols: formulas may assume them positive, conditions ask whether they are."""
        return {symbol(name): sympy.Symbol(name, real=True) for name in self.names}

    def _apart(self, ratio: Ratio) -> Expr:
        """Means first, then half of what the ripples add."""
        rises = tuple(self.states.rises.values())
        parts = self.balance.ring.by_degree(ratio.numerator, rises)
        if set(parts) != {0, 1}:
            return self.form.expression(ratio)
        mean = self.form.expression(Ratio(parts[0], ratio.denominator))
        return mean + self.form.expression(Ratio(2 * parts[1], ratio.denominator)) / 2

    def _rms(self, current: Waveform) -> Expr | None:
        """Root of the sum of d*(mean**2 + rise**2/12), left as a sum of squares."""
        terms = []
        for share, mean, ramp in self.flows(current) or ():
            square = self.form.expression(mean) ** 2 + self.form.expression(ramp.times(2)) ** 2 / 12
            terms.append(self.form.expression(share) * square)
        if not terms:
            return None if self.flows(current) is None else sympy.Integer(0)
        return root_of_sum(terms)


class _Loosely(StateFormulas):
    """The same where small resistances alone decide (how two paths share a current)."""

    def __init__(self, strictly: StateBuilder) -> None:
        points = strictly.waveforms.points
        super().__init__(strictly.explicit, strictly.states, strictly.states, strictly.form, points)
        self.strictly = strictly

    @cached_property
    def samples(self) -> dict[str, np.ndarray]:
        """Generic points where the mode holds, with the states' values there."""
        return self.strictly.samples

    @cached_property
    def known(self) -> Knowledge:
        """What is so where the mode holds."""
        return self.strictly.known


class StateBuilder(StateFormulas):
    """Formulas of ``explicit``'s mode in terms of its states; explicit where these leave something open."""

    def __init__(self, explicit: ModeBuilder) -> None:
        points = explicit.waveforms.points
        states = StateBalance(explicit.balance, points, explicit.known.sign)
        values = _state_values(states, explicit.waveforms)
        there = _state_values(states, Waveforms(explicit.balance, as_arrays(explicit.witness)))
        witness = explicit.witness | {name: float(value[0]) for name, value in there.items()}
        strict = StrictBalance(states)
        form = ClosedForm(strict, explicit.found.fractions, witness, states.names)
        super().__init__(explicit, states, strict, form, points | values)

    @cached_property
    def samples(self) -> dict[str, np.ndarray]:
        """Generic points where the mode holds, with the states' values there."""
        there = self.explicit.samples
        return there | _state_values(self.states, Waveforms(self.explicit.balance, there))

    @cached_property
    def _loosely(self) -> StateFormulas:
        return _Loosely(self)

    def told(self, name: str) -> Expr | None:
        """As the explicit ones; what is longest told by the states.  What was told is kept."""
        if self._told.get(name) is None:
            self._told[name] = self._anew(name)
        return self._told[name]

    @cached_property
    def _told(self) -> dict[str, Expr | None]:
        return {}

    def _anew(self, name: str) -> Expr | None:
        group, _, part = name.partition(".")
        if group in ("gain", "output_voltage", "source_currents"):
            return self.explicit.told(name)
        if group == "capacitor_voltages":
            return self._voltage(part)
        if group == "inductor_currents":
            return self.definitions.get(self.states.currents[part])
        if group == "ripple" and part in self.states.rises:
            rise = self.definitions.get(self.states.rises[part])
            return rise if rise is None or part in self.states.certain else bars(rise)
        found = super().told(name) if group in AVERAGES else in_time(partial(super().told, name))
        if found is None and group in ("ripple", "stress"):
            found = in_time(partial(self._loosely.told, name))
            return self.explicit.told(name) if found is None else found
        return found

    @cached_property
    def known(self) -> Knowledge:
        """What is so where the mode holds, told by the states."""
        plain, ring = self.explicit, self.states.ring
        signs: dict[str, int | None] = {}
        for name, state in self.states.currents.items():
            current = plain.waveforms.average_of_free({("i", name): plain.balance.ring.one})
            signs[state] = None if current is None else plain.known.sign(current)
        for name, state in self.states.voltages.items():
            voltage = plain.balance.capacitor_voltage(name)
            signs[state] = None if voltage is None else plain.known.sign(voltage)
        for name, state in self.states.rises.items():
            signs[state] = 1 if name in self.states.certain else None
        signs = {state: sign or None for state, sign in signs.items() if sign != 1}
        bare = Knowledge(ring, Facts(), (), signs)
        facts = [
            plain.balance.ring.substitute(fact, ring, {})
            for fact in (*passive(self.circuit, plain.balance.ring), *ordinary(plain.balance))
        ]
        for condition in open_conditions(plain.balance):
            mean, ramp = self._by_states(condition)
            if mean.free or ramp.free:
                continue
            for sign in (1, -1):
                total = mean.plus(ramp, sign).constant
                turned = bare.turned(total)
                if turned is not None and definite_sign(turned.denominator):
                    facts.append(turned.numerator * (definite_sign(turned.denominator) or 1))
        return Knowledge(ring, Facts(facts), (), signs, self._sign_explicitly)

    def _sign_explicitly(self, ratio: Ratio) -> int | None:
        """Sign of a ratio with the states told by the parameters, where that does not grow too long."""
        ring, values = self.states.ring, self._explicit_values
        used = sorted((ratio.variables(ring)) & set(self.names))
        if any(name not in values or values[name].terms > lengths.GLANCE for name in used):
            return None
        for name in used:
            ratio = insert(ring, ratio, name, values[name])
        top, bottom = (ring.substitute(part, self.explicit.balance.ring, {}) for part in ratio.parts)
        return self.explicit.known.sign(Ratio(top, bottom))

    @cached_property
    def _explicit_values(self) -> dict[str, Ratio]:
        """The states by the parameters, over the ring of the states."""
        solved, states = self.explicit.balance, self.states
        found: dict[str, Ratio | None] = {}
        for name, state in states.currents.items():
            found[state] = self.explicit.waveforms.average_of_free({("i", name): solved.ring.one})
        for name, state in states.voltages.items():
            found[state] = solved.capacitor_voltage(name)
        for name, state in states.rises.items():
            ramp = solved.ramp(0, ("i", name))
            found[state] = None if ramp is None else ramp.times(2 * states.rising[0, name])
        return {
            state: value.mapped(lambda part: solved.ring.substitute(part, states.ring, {}))
            for state, value in found.items()
            if value is not None
        }

    @cached_property
    def definitions(self) -> dict[str, Expr]:
        """What each state stands for; ripples in terms of the other states where that is possible."""
        plain = self.explicit
        found: dict[str, Expr | None] = {}
        for coil in coils(self.circuit):
            found[self.states.currents[coil.name]] = plain.told(f"inductor_currents.{coil.name}")
        for name, state in self.states.voltages.items():
            found[state] = self._voltage(name)
        for name, state in self.states.rises.items():
            rise = self.states.ripple(name)
            if rise is not None:
                found[state] = self.form.expression(rise)
                continue
            ramp = plain.balance.ramp(0, ("i", name))
            if ramp is not None:
                sign = 2 * self.states.rising[0, name]
                found[state] = plain.form.expression(ramp.times(sign))
        return {name: value for name, value in found.items() if value is not None}

    def voltage_by_currents(self, name: str) -> Expr | None:
        """A capacitor's voltage in terms of coil currents: ``(Vg - I_L*R_L - ...)/(1 - D)``."""
        ratio = self.states.voltage_by_currents(name)
        return None if ratio is None else self.form.expression(ratio)

    def _voltage(self, name: str) -> Expr | None:
        ratio = self.explicit.balance.capacitor_voltage(name)
        if ratio is None:
            return None
        if ratio.terms > lengths.TOLD:
            shorter = self.voltage_by_currents(name)
            if shorter is not None:
                return shorter
        return self.explicit.form.expression(ratio)

    def spelled(self, condition: SignCondition) -> Boolean | None:
        """A sign condition at both ends of its interval: the mean is at least half the rise."""
        mean, ramp = self._by_states(condition)
        if mean.free or ramp.free:
            return None
        half = self.form.expression(ramp.constant)
        sign = definite_sign(ramp.constant.numerator)
        if sign is None or not self._rises_certain(ramp.constant):
            half = bars(half)
        elif sign * (definite_sign(ramp.constant.denominator) or 1) < 0:
            half = -half
        middle = self.form.expression(mean.constant)
        return sympy.Ge(middle.xreplace(self._unsigned), half.xreplace(self._unsigned), evaluate=False)

    def _by_states(self, condition: SignCondition) -> tuple[Affine, Affine]:
        """Mean and ramp of what a sign condition is about."""
        device = self.circuit.device(condition.device)
        row: Row = {("i", device.name): self.states.ring.one}
        if condition.quantity == "voltage":
            row = {u: -c for u, c in self.states.network.voltage(device.start, device.end)}
            if device.drop is not None:
                row[None] = self.states.ring.symbol(device.drop.symbol)
        mean, ramp = (self.balance.affine(condition.interval, row, part) for part in ("mean", "ramp"))
        return mean, ramp

    def _rises_certain(self, ramp: Ratio) -> bool:
        used = self.states.ring.variables(ramp.numerator)
        return all(name in self.states.certain for name, rise in self.states.rises.items() if rise in used)

    def used(self, expressions: Iterable[Expr | Boolean | None]) -> dict[str, Expr]:
        """The definitions that ``expressions`` and they themselves need."""
        open_names = {str(s) for e in expressions if e is not None for s in e.free_symbols}
        found: dict[str, Expr] = {}
        while open_names & (set(self.definitions) - set(found)):
            for name in sorted(open_names & (set(self.definitions) - set(found))):
                found[name] = self.definitions[name]
                open_names |= {str(s) for s in found[name].free_symbols}
        return {name: value for name, value in self.definitions.items() if name in found}


def _state_values(states: StateBalance, waves: Waveforms) -> dict[str, np.ndarray]:
    """Values of the states at the sample points."""
    solved = waves.balance
    found = {}
    for coil in coils(solved.circuit):
        row = {("i", coil.name): solved.ring.one}
        mean, ramp = waves.average_of_free(row), solved.ramp(0, ("i", coil.name))
        found[states.currents[coil.name]] = _numbers(waves, mean)
        found[states.rises[coil.name]] = 2 * states.rising[0, coil.name] * _numbers(waves, ramp)
    for capacitor in solved.circuit.capacitors:
        voltage = solved.capacitor_voltage(capacitor.name)
        found[states.voltages[capacitor.name]] = _numbers(waves, voltage)
    return found


def _numbers(waves: Waveforms, ratio: Ratio | None) -> np.ndarray:
    return np.full(len(waves.points["T"]), np.nan) if ratio is None else waves.numeric(ratio)


def serves(builder: ModeBuilder) -> bool:
    """True where a mode's formulas can be told in terms of its states, and losses make that worth while."""
    balance = builder.balance
    return (
        not balance.by_itself
        and bool(builder.circuit.parasitics)
        and balance.separate_ramps
        and balance.ripple_means is None
        and all(
            balance.capacitor_voltage(capacitor.name) is not None for capacitor in builder.circuit.capacitors
        )
    )


def told_by_states(builder: ModeBuilder) -> StateBuilder | None:
    """Formulas by states, where explicit ones would be too long to read."""
    return states_of(builder) if builder.length > lengths.EXPLICIT else None


def states_of(builder: ModeBuilder) -> StateBuilder | None:
    """The mode's states, where it can be told by them; made once, they hold what was worked out."""
    if builder.by_states is None and serves(builder):
        builder.by_states = StateBuilder(builder)
    return builder.by_states if isinstance(builder.by_states, StateBuilder) else None
