"""Formulas of one mode's ripple and stress: what its currents and voltages reach, and their mean squares."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cached_property, partial
from typing import TypeVar

import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.circuit.elements import Diode, Switch, Transformer
from voltsec.steady.balance import Balance
from voltsec.steady.closed_form import ClosedForm
from voltsec.steady.extremes import Extremes
from voltsec.steady.root_forms import root_of_sum
from voltsec.steady.solution import Stress
from voltsec.steady.waveform import Waveform, Waveforms
from voltsec.steady.winding import winding_row
from voltsec.tableau.network import Row, coils
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, TooLarge

T = TypeVar("T")

SHORT_TERMS = 12
"""Mean squares of currents of more terms are left as a sum."""


class ModeFormulas:
    """What explicit formulas and those told by states have in common."""

    balance: Balance
    circuit: Circuit
    form: ClosedForm
    waveforms: Waveforms
    too_long: list[str]
    """Parts of which some formula was too long to be written."""

    @cached_property
    def extremes(self) -> Extremes:
        """Peaks and ripples where the mode holds."""
        raise NotImplementedError

    def sign_shown(self, polynomial: Polynomial) -> int | None:
        """Sign of a polynomial of the presentation ring where the mode holds; None where not proved."""
        return self.form.sign(polynomial)

    def condition(self, ratio: Ratio) -> Boolean:
        """That a ratio is positive."""
        raise NotImplementedError

    def _one(self, unknown: tuple) -> Row:
        return {unknown: self.balance.ring.one}

    def _plain(self, ratio: Ratio | None) -> Expr | None:
        return None if ratio is None else self.form.expression(ratio)

    def _row_of_voltage(self, start: str, end: str) -> Row:
        return dict(self.balance.network.voltage(start, end))

    def ripple(self) -> dict[str, Expr | None]:
        """Peak-to-peak ripple of every coil and capacitor."""
        names = [coil.name for coil in coils(self.circuit)] + [c.name for c in self.circuit.capacitors]
        return {name: self._in_time(name, partial(self.ripple_of, name)) for name in names}

    def _in_time(self, name: str, step: Callable[[], T]) -> T | None:
        """What is told of a part, nothing where the time is spent or it would be too long."""

        def noting() -> T:
            try:
                return step()
            except TooLarge:
                self.too_long.append(name)
                raise

        return in_time(noting)

    def ripple_of(self, name: str) -> Expr | None:
        """Peak-to-peak ripple of a coil's current or a capacitor's voltage."""
        current = self.waveforms.current(("i", name))
        farads = [c.quantity.symbol for c in self.circuit.capacitors if c.name == name]
        if not farads:
            return self.extremes.coil_ripple(current)
        ring = self.balance.ring
        return self.extremes.capacitor_ripple(current, Ratio(ring.symbol(farads[0]), ring.one))

    def stress(self) -> dict[str, Stress]:
        """Stress of every element, winding and magnetizing inductance."""
        found = {
            name: self._in_time(name, partial(self._stress_of, row, self._row_of_voltage(*nodes), blocking))
            or Stress()
            for name, row, nodes, blocking in self._stressed()
        }
        for capacitor in self.circuit.capacitors:  # charge balance
            found[capacitor.name] = replace(found[capacitor.name], current_average=sympy.Integer(0))
        return found

    def stress_of(self, name: str) -> Stress:
        """Stress of one element, winding (``X.1``) or magnetizing inductance (by its symbol)."""
        for key, row, nodes, blocking in self._stressed():
            if key == name:
                return self._stress_of(row, self._row_of_voltage(*nodes), blocking)
        raise KeyError(name)

    def _stressed(self) -> Iterator[tuple[str, Row, tuple[str, str], list[int] | None]]:
        """Name, current, nodes, and for a switch or diode the intervals in which it blocks."""
        for element in self.circuit.elements:
            if isinstance(element, Transformer):
                for number, winding in enumerate(element.windings):
                    yield (
                        f"{element.name}.{number + 1}",
                        winding_row(self.balance.ring, element, number),
                        winding,
                        None,
                    )
                continue
            blocking = None
            if isinstance(element, Switch | Diode):
                blocking = [
                    k
                    for k, interval in enumerate(self.balance.sequence.intervals)
                    if element.name not in interval.conducting
                ]
            yield element.name, self._one(("i", element.name)), (element.start, element.end), blocking
        for transformer in self.circuit.transformers:
            if transformer.magnetizing is not None:
                name = transformer.magnetizing.symbol
                yield name, self._one(("i", name)), transformer.windings[0], None

    def _stress_of(self, current_row: Row, voltage_row: Row, blocking: list[int] | None) -> Stress:
        current = self.waveforms.of(current_row)
        voltage = self.waveforms.of(voltage_row)
        rms = self._rms(current)
        if blocking == []:
            peak_voltage: Expr | None = sympy.Integer(0)
        else:
            peak_voltage = self.extremes.peak(self._with_known_ramps(voltage, blocking), blocking)
        return Stress(
            peak_voltage,
            self._plain(self.waveforms.average_of_free(current_row)),
            self.extremes.peak(current),
            rms,
        )

    def _with_known_ramps(self, voltage: Waveform, intervals: list[int] | None) -> Waveform:
        """A voltage whose open ramps are those of a constant one; no means where one is open."""
        ring = self.balance.ring
        places = range(len(voltage.means)) if intervals is None else intervals
        if any(voltage.means[k] is None for k in places):
            return Waveform(tuple(None for _ in voltage.means), voltage.ramps)
        nothing = Ratio(ring.zero, ring.one)
        return Waveform(
            voltage.means,
            tuple(nothing if r is None else r for r in voltage.ramps),
            tuple(nothing if b is None else b for b in voltage.bends),
        )

    def _rms(self, current: Waveform) -> Expr | None:
        """Root of the sum of d*(mean**2 + ramp**2/3), combined into one ratio where that stays short."""
        shares = self.shares(current)
        if not shares:
            return None if shares is None else sympy.Integer(0)
        length = max(len(part) for share in shares for ratio in share[1:] for part in ratio.parts)
        if length <= SHORT_TERMS:
            combined = self.waveforms.mean_square(current)
            assert combined is not None
            if combined.terms <= SHORT_TERMS:
                return self.form.square_root(combined, self.sign_shown)
        terms = []
        for share, mean, ramp in shares:
            square = self.form.expression(mean) ** 2 + self.form.expression(ramp) ** 2 / 3
            terms.append(self.form.expression(share) * square)
        return root_of_sum(terms)

    def shares(self, current: Waveform) -> list[tuple[Ratio, Ratio, Ratio]] | None:
        """(share of T, mean, ramp) of a current, intervals of equal size joined, idle ones left out."""
        shares: list[tuple[Ratio, Ratio, Ratio]] = []
        for fraction, mean, ramp in zip(self.waveforms.fractions, current.means, current.ramps, strict=True):
            if mean is None or ramp is None:
                return None
            if mean.is_zero and ramp.is_zero:
                continue
            share = Ratio(fraction, self.balance.ring.one)
            for place, (other, other_mean, other_ramp) in enumerate(shares):
                if _same_size(mean, other_mean) and _same_size(ramp, other_ramp):
                    shares[place] = (other + share, other_mean, other_ramp)
                    break
            else:
                shares.append((share, mean, ramp))
        return shares


def _same_size(one: Ratio, other: Ratio) -> bool:
    """True for equal or opposite ratios."""
    return one.denominator == other.denominator and (
        one.numerator == other.numerator or one.numerator == -other.numerator
    )
