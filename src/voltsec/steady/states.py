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

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.computing_time import in_time, seconds_left
from voltsec.steady.balance import Affine, SignCondition
from voltsec.steady.choices import Knowledge, bars
from voltsec.steady.closed_form import ClosedForm
from voltsec.steady.effective import passive
from voltsec.steady.extremes import Extremes
from voltsec.steady.modes import ModeBuilder
from voltsec.steady.points import as_arrays
from voltsec.steady.root_forms import root_of_sum
from voltsec.steady.signs import Facts, ordinary
from voltsec.steady.small import by_degree, small_symbols
from voltsec.steady.solution import Stress
from voltsec.steady.state_balance import StateBalance
from voltsec.steady.verification import open_conditions
from voltsec.steady.waveform import Waveform, Waveforms
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio, insert
from voltsec.tableau.ring import definite_sign

T = TypeVar("T")

LONG_VOLTAGE = 150
"""Terms of a capacitor's voltage from which it is told by the coil currents."""

SHORT_STATE = 60
"""Terms of a state by the parameters up to which signs are sought with it put in."""


class StateBuilder(ModeBuilder):
    """Formulas of ``explicit``'s mode in terms of its states."""

    def __init__(self, explicit: ModeBuilder) -> None:
        self.explicit = explicit
        self.circuit = explicit.circuit
        self.too_long = explicit.too_long
        self._done: dict[str, Any] = {}
        points = explicit.waveforms.points
        balance = StateBalance(explicit.balance, points, explicit.known.sign)
        self.balance = self.states = balance
        self.names = balance.names
        values = self._values(explicit, explicit.waveforms)
        one = as_arrays(explicit.found.witness)
        there = self._values(explicit, Waveforms(explicit.balance, one))
        witness = explicit.found.witness | {name: float(value[0]) for name, value in there.items()}
        self.found = replace(explicit.found, witness=witness)
        self.form = ClosedForm(balance, explicit.found.fractions, witness, balance.names)
        self.waveforms = Waveforms(balance, points | values)

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
        if any(name not in values or values[name].terms > SHORT_STATE for name in used):
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
    def extremes(self) -> Extremes:
        """Peaks and ripples in terms of the states."""
        there = self.explicit.samples
        values = self._values(self.explicit, Waveforms(self.explicit.balance, there))
        return Extremes(self.waveforms, self.known, there | values, self._apart, self.condition)

    def condition(self, ratio: Ratio) -> Boolean:
        """That a ratio is positive."""
        return sympy.Gt(self._apart(ratio).xreplace(self._unsigned), 0, evaluate=False)

    @cached_property
    def _unsigned(self) -> dict[Expr, Expr]:
        """The states as plain symbols: formulas may assume them positive, conditions ask whether they are."""
        return {symbol(name): sympy.Symbol(name, real=True) for name in self.names}

    def _values(self, explicit: ModeBuilder, waves: Waveforms) -> dict[str, np.ndarray]:
        """Values of the states at the sample points."""
        solved, states = explicit.balance, self.states
        found = {}
        for coil in coils(self.circuit):
            row = {("i", coil.name): solved.ring.one}
            mean, ramp = waves.average_of_free(row), solved.ramp(0, ("i", coil.name))
            found[states.currents[coil.name]] = _numbers(waves, mean)
            found[states.rises[coil.name]] = 2 * states.rising[0, coil.name] * _numbers(waves, ramp)
        for capacitor in self.circuit.capacitors:
            voltage = solved.capacitor_voltage(capacitor.name)
            found[states.voltages[capacitor.name]] = _numbers(waves, voltage)
        return found

    @cached_property
    def definitions(self) -> dict[str, Expr]:
        """What each state stands for; ripples in terms of the other states where that is possible."""
        plain = self.explicit
        found: dict[str, Expr | None] = {}
        for coil in coils(self.circuit):
            found[self.states.currents[coil.name]] = plain.mean({("i", coil.name): plain.balance.ring.one})
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

    def averages(self) -> dict[str, Any]:
        """As the explicit ones; what is longest told by the coil currents: efficiency, long voltages."""
        plain = self.explicit
        voltage = plain.output_voltage()
        row = plain.balance.ring.one
        return {
            "gain": plain.gain(voltage),
            "output_voltage": None if voltage is None else plain.form.expression(voltage, close=True),
            "capacitor_voltages": {c.name: self._voltage(c.name) for c in self.circuit.capacitors},
            "inductor_currents": {
                c.name: self.definitions.get(self.states.currents[c.name]) for c in coils(self.circuit)
            },
            "source_currents": {s.name: plain.delivered({("i", s.name): row}) for s in self.circuit.sources},
            "efficiency": self.efficiency(),
        }

    def _voltage(self, name: str) -> Expr | None:
        ratio = self.explicit.balance.capacitor_voltage(name)
        if ratio is None:
            return None
        if ratio.terms > LONG_VOLTAGE:
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
        mean, ramp = (self.states.affine(condition.interval, row, part) for part in ("mean", "ramp"))
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

    def _plain(self, ratio: Ratio | None) -> Expr | None:
        return None if ratio is None else self._apart(ratio)

    def _apart(self, ratio: Ratio) -> Expr:
        """Means first, then half of what the ripples add."""
        rises = tuple(self.states.rises.values())
        parts = by_degree(self.balance.ring, ratio.numerator, rises)
        if set(parts) != {0, 1}:
            return self.form.expression(ratio)
        mean = self.form.expression(Ratio(parts[0], ratio.denominator))
        return mean + self.form.expression(Ratio(2 * parts[1], ratio.denominator)) / 2

    def _rms(self, current: Waveform) -> Expr | None:
        """Root of the sum of d*(mean**2 + rise**2/12), left as a sum of squares."""
        terms = []
        for share, mean, ramp in self.shares(current) or ():
            square = self.form.expression(mean) ** 2 + self.form.expression(ramp.times(2)) ** 2 / 12
            terms.append(self.form.expression(share) * square)
        if not terms:
            return None if self.shares(current) is None else sympy.Integer(0)
        return root_of_sum(terms)

    def ripple(self) -> dict[str, Expr | None]:
        """Peak-to-peak ripple of every coil and capacitor."""
        return self._once("ripple", super().ripple)

    def stress(self) -> dict[str, Stress]:
        """Stress of every element; explicit where the states leave something open."""
        plain = super().stress
        return self._once("stress", lambda: {name: self._filled(name, s) for name, s in plain().items()})

    def _once(self, what: str, work: Callable[[], dict[str, T]]) -> dict[str, T]:
        """Work done before; only what was cut short for want of time is done again."""
        if what not in self._done:
            found = work()
            if seconds_left() <= 0:
                return found
            self._done[what] = found
        return dict(self._done[what])

    def _filled(self, name: str, stress: Stress) -> Stress:
        return in_time(lambda: self._fill(name, stress)) or stress

    def _fill(self, name: str, stress: Stress) -> Stress:
        missing = [key for key in vars(stress) if getattr(stress, key) is None]
        if not missing:
            return stress
        with self.states.loosely():  # small resistances alone decide (how two paths share a current)
            loose = self.stress_of(name)
        if any(getattr(loose, key) is None for key in missing):
            loose = self.explicit.stress_of(name)
        return replace(stress, **{key: getattr(loose, key) for key in missing})

    def ripple_of(self, name: str) -> Expr | None:
        """A coil's from the other states; a capacitor's from its current."""
        if name in self.states.rises:
            rise = self.definitions.get(self.states.rises[name])
            certain = rise is None or name in self.states.certain
            return rise if rise is None or certain else bars(rise)
        found = super().ripple_of(name)
        if found is None:
            with self.states.loosely():
                found = super().ripple_of(name)
        return found if found is not None else self.explicit.ripple_of(name)


def _numbers(waves: Waveforms, ratio: Ratio | None) -> np.ndarray:
    return np.full(len(waves.points["T"]), np.nan) if ratio is None else waves.numeric(ratio)


def serves(builder: ModeBuilder) -> bool:
    """True where a mode's formulas can be told in terms of its states, and losses make that worth while."""
    balance = builder.balance
    return (
        not balance.by_itself
        and bool(small_symbols(builder.circuit))
        and balance.separate_ramps
        and all(
            balance.capacitor_voltage(capacitor.name) is not None for capacitor in builder.circuit.capacitors
        )
    )


LONG_TERMS = 24
"""A mode whose output voltage has longer polynomials is told in terms of its states."""


def told_by_states(builder: ModeBuilder) -> StateBuilder | None:
    """Formulas by states, where explicit ones would be too long to read."""
    return states_of(builder) if builder.length > LONG_TERMS else None


def states_of(builder: ModeBuilder) -> StateBuilder | None:
    """The mode's states, where it can be told by them; made once, they hold what was worked out."""
    if builder.by_states is None and serves(builder):
        builder.by_states = StateBuilder(builder)
    return builder.by_states if isinstance(builder.by_states, StateBuilder) else None
