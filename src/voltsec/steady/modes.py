"""One found sequence as a mode: every formula a practitioner asks for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Diode, Load, Resistor, Source, Switch, Transformer
from voltsec.steady.balance import Balance, Ratio, SignCondition, add, multiply
from voltsec.steady.closed_form import ClosedForm
from voltsec.steady.region_check import agrees
from voltsec.steady.regions import Region, region, unsimplified
from voltsec.steady.root_forms import root_of_sum
from voltsec.steady.sequences import Found
from voltsec.steady.solution import Mode, ModeInterval, Stress
from voltsec.steady.waveform import Waveform, Waveforms
from voltsec.steady.winding import winding_row
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import Row, coils

SHORT_TERMS = 12
"""Mean squares of currents of more terms are left as a sum."""

SMALL_RIPPLE = 1e-4
"""Continuous conduction: formulas that depend on which ripple is larger are for periods so short."""


class ToldByStates(Protocol):
    """Formulas of a mode in terms of its states (:mod:`voltsec.steady.states`)."""

    names: tuple[str, ...]

    def averages(self) -> dict[str, Any]:
        """What :meth:`ModeBuilder.averages` gives."""

    def ripple(self) -> dict[str, Expr | None]:
        """Peak-to-peak ripple of every coil and capacitor."""

    def stress(self) -> dict[str, Stress]:
        """Stress of every element."""

    def spelled(self, condition: SignCondition) -> Boolean | None:
        """A sign condition, ``None`` where the states do not determine it."""

    def used(self, expressions: Iterable[Expr | Boolean | None]) -> dict[str, Expr]:
        """Definitions of the states that ``expressions`` and they themselves need."""


class _Spelled:
    """Long sign conditions told by states, which are made when the first one comes."""

    def __init__(self, states: ToldByStates | None, speller: Callable[[], ToldByStates | None]) -> None:
        self.states = states
        self._speller = speller

    def __call__(self, condition: SignCondition) -> Boolean | None:
        if self.states is None:
            self.states = self._speller()
        return None if self.states is None else self.states.spelled(condition)


class ModeBuilder:
    """Formulas of one sequence; ``points`` are the search's sample points."""

    def __init__(self, found: Found, points: dict[str, np.ndarray]) -> None:
        self.found = found
        self.balance: Balance = found.balance
        self.circuit: Circuit = self.balance.circuit
        self.form = ClosedForm(found.balance, found.fractions, found.witness)
        self.searched = points
        inside = self._inside(points)
        self.waveforms = Waveforms(self.balance, inside)
        short = inside
        if not self.balance.by_itself:
            short = inside | {"T": inside["T"] * SMALL_RIPPLE}
        self.short = Waveforms(self.balance, short)

    def _inside(self, points: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Sample points where the sequence holds, with their fractions."""
        mask = self.found.holds & (self.found.margin > 1e-6)
        if not mask.any():
            return {name: np.array([value]) for name, value in self.found.witness.items()}
        inside = {name: values[mask] for name, values in points.items()}
        for row, name in enumerate(self.balance.sequence.fractions):
            inside[name] = self.found.shares[row, mask]
        return inside

    def build(
        self,
        name: str,
        states: ToldByStates | None = None,
        speller: Callable[[], ToldByStates | None] = lambda: None,
    ) -> Mode:
        """The mode with all its formulas; stress and ripple in terms of ``states`` where given.

        ``speller`` gives states for conditions that would be long without them.
        """
        spelled = _Spelled(states, speller)
        area = self.region(spelled)
        definitions = dict(self.form.definitions)
        for key, value in area.definitions.items():
            definitions.setdefault(key, value)
        roots = self.form.roots
        condition = None
        if roots is None:
            condition = tuple(self.form.writer.polynomial(c) for c in self.form.conditions)
        averages = self.averages() if states is None else states.averages()
        ripple = self.ripple() if states is None else states.ripple()
        stress = self._stress() if states is None else states.stress()
        if states is not None:
            used: list[Any] = [area.holds_when, *ripple.values()]
            used += [value for entry in stress.values() for value in vars(entry).values()]
            used += [averages["efficiency"], *averages["capacitor_voltages"].values()]
            definitions |= states.used(used)
        elif spelled.states is not None:
            definitions |= spelled.states.used([area.holds_when])
        return Mode(
            name=name,
            intervals=self._intervals(),
            **averages,
            ripple=ripple,
            stress=stress,
            closed_form=roots is not None,
            condition=condition,
            definitions=definitions,
            holds_when=area.holds_when,
            proved=area.proved,
            boundary=area.boundary,
            states=() if spelled.states is None else spelled.states.names,
        )

    def region(self, spelled: _Spelled | None = None) -> Region:
        """Where the mode holds, held against its sign conditions.

        Where what is stated is not what they say, they are stated as they are, and a root of degree two
        that is not the right one everywhere is left to the mode's condition.
        """
        spelled = spelled or _Spelled(None, lambda: None)
        area = region(self.found, self.form, spelled)
        if self._agrees(area, spelled.states):
            return area
        plain = unsimplified(self.found, self.form)
        if not self._agrees(plain, None) and self.form.unknown and self.form.roots is not None:
            self.form = ClosedForm(self.balance, self.found.fractions, self.found.witness, open_=True)
            plain = unsimplified(self.found, self.form)
        return plain if self._agrees(plain, None) else replace(plain, proved=False)

    def _agrees(self, area: Region, states: ToldByStates | None) -> bool:
        if area.omits:
            return True
        definitions = area.definitions | self.form.definitions
        if states is not None:
            definitions |= states.used([area.holds_when])
        return agrees(self.found, self.form, area.holds_when, definitions, self.searched)

    def averages(self) -> dict[str, Any]:
        """Gain, output voltage, efficiency, and the averages of capacitors, coils and sources."""
        voltage = self.output_voltage()
        return {
            "gain": self.gain(voltage),
            "output_voltage": self._closed(voltage),
            "capacitor_voltages": {
                c.name: self._closed(self.balance.capacitor_voltage(c.name)) for c in self.circuit.capacitors
            },
            "inductor_currents": {c.name: self.mean(self._one(("i", c.name))) for c in coils(self.circuit)},
            "source_currents": {
                s.name: self.delivered(self._one(("i", s.name))) for s in self.circuit.sources
            },
            "efficiency": self.efficiency(),
        }

    @cached_property
    def length(self) -> int:
        """Terms of the longer polynomial of the output voltage."""
        voltage = self.output_voltage()
        return 0 if voltage is None else max(len(part) for part in voltage)

    def _one(self, unknown: tuple) -> Row:
        return {unknown: self.balance.ring.one}

    def _plain(self, ratio: Ratio | None) -> Expr | None:
        return None if ratio is None else self.form.expression(ratio)

    def _closed(self, ratio: Ratio | None) -> Expr | None:
        return None if ratio is None else self.form.expression(ratio, close=True)

    def mean(self, row: Row) -> Expr | None:
        """Average of a sum of currents."""
        return self._plain(self.short.average_of_free(row))

    def delivered(self, row: Row) -> Expr | None:
        """Average of a current, counted against its arrow."""
        ratio = self.short.average_of_free(row)
        return None if ratio is None else self._plain((-ratio[0], ratio[1]))

    def _row_of_voltage(self, start: str, end: str) -> Row:
        return dict(self.balance.network.voltage(start, end))

    def output_voltage(self) -> Ratio | None:
        """Average output voltage over the balance's ring."""
        output = self.circuit.output
        return self.short.average_of_free(self._row_of_voltage(output.start, output.end))

    def gain(self, voltage: Ratio | None) -> Expr | None:
        """Output over input voltage; None where it depends on a source or drop."""
        if voltage is None:
            return None
        ring = self.balance.ring
        source = self.circuit.input.quantity.symbol
        ratio = multiply(voltage, (ring.one, ring.symbol(source)))
        shown = self.form.shown(ratio)
        drivers = {s.quantity.symbol for s in self.circuit.of(Source, CurrentSource)}
        drivers |= {d.drop.symbol for d in self.circuit.of(Switch, Diode) if d.drop is not None}
        variables = self.form.ring.variables(shown[0]) | self.form.ring.variables(shown[1])
        if variables & drivers:
            return None
        gain = self._closed(ratio)
        assert gain is not None
        used = set(gain.free_symbols)
        for _ in self.form.definitions:  # a root may hold what the ratio itself does not show
            for name, value in self.form.definitions.items():
                if symbol(name) in used:
                    used |= value.free_symbols
        return None if used & {symbol(driver) for driver in drivers} else gain

    def _intervals(self) -> tuple[ModeInterval, ...]:
        sequence = self.balance.sequence
        found = []
        order = [device.name for device in self.circuit.devices]
        ring = self.balance.ring
        for k, interval in enumerate(sequence.intervals):
            stops, starts = sequence.ended_by(k)
            ends = "switch"
            if k in sequence.unknown:
                ends = ", ".join(name for name in order if name in (stops or starts))
            found.append(
                ModeInterval(
                    self._fraction(k, ring),
                    tuple(name for name in order if name in interval.conducting),
                    ends,
                    self._roles(k),
                )
            )
        return tuple(found)

    def _fraction(self, k: int, ring) -> Expr:
        name = self.balance.sequence.fractions[k]
        image = self.form.fractions.images[name]
        shown = self.form.fractions.ring.substitute(image, self.form.ring, {})
        roots = self.form.roots
        if roots is not None and len(roots) == 1:
            return self.form.expression((ring.symbol(name), ring.one))
        return self.form.writer.oriented(shown)

    def _roles(self, k: int) -> dict[str, str]:
        """Sign of the power into every coil and capacitor in interval ``k``."""
        roles = {}
        for coil in coils(self.circuit):
            voltage = self.balance.value(k, self._one(("u", coil.name)), "average")
            current = self.balance.value(k, self._one(("i", coil.name)), "average")
            roles[coil.name] = self._role(voltage, current)
        for capacitor in self.circuit.capacitors:
            current = self.balance.value(k, self._one(("i", capacitor.name)), "average")
            roles[capacitor.name] = self._role(self.balance.capacitor_voltage(capacitor.name), current)
        return roles

    def _role(self, voltage: Ratio | None, current: Ratio | None) -> str:
        if voltage is None or current is None:
            return "not determined"
        if self.form.divides(voltage[0]) or self.form.divides(current[0]):
            return "idle"
        power = np.median(np.sign(self.short.numeric(voltage) * self.short.numeric(current)))
        return "absorbs" if power > 0 else "supplies" if power < 0 else "idle"

    def _largest(self, candidates: list[Ratio] | None, waveforms: Waveforms | None = None) -> Expr | None:
        """The largest of several candidates, as Max where it depends on the point."""
        if not candidates:
            return None
        waves = waveforms or self.waveforms
        expressions = []
        for ratio in waves.largest(candidates):
            if np.nanmedian(waves.numeric(ratio)) < 0:
                ratio = (-ratio[0], ratio[1])
            expression = self._plain(ratio)
            if expression not in expressions:
                expressions.append(expression)
        if len(expressions) == 1:
            return expressions[0]
        return sympy.Max(*expressions, evaluate=False)

    def ripple(self) -> dict[str, Expr | None]:
        """Peak-to-peak ripple of every coil and capacitor."""
        names = [coil.name for coil in coils(self.circuit)] + [c.name for c in self.circuit.capacitors]
        return {name: self.ripple_of(name) for name in names}

    def ripple_of(self, name: str) -> Expr | None:
        """Peak-to-peak ripple of a coil's current or a capacitor's voltage."""
        current = self.short.current(("i", name))
        farads = [c.quantity.symbol for c in self.circuit.capacitors if c.name == name]
        if not farads:
            return self._largest(self.short.coil_ripple(current), self.short)
        candidates = self.short.charge_swing(current)
        if candidates is not None:
            farad = (self.balance.ring.one, self.balance.ring.symbol(farads[0]))
            candidates = [multiply(c, farad) for c in candidates]
        return self._largest(candidates, self.short)

    def _stress(self) -> dict[str, Stress]:
        return {
            name: self._stress_of(row, self._row_of_voltage(*nodes), blocking)
            for name, row, nodes, blocking in self._stressed()
        }

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
            peak_voltage = self._peak(self._with_known_ramps(voltage, blocking), blocking)
        return Stress(
            peak_voltage,
            self._plain(self.short.average_of_free(current_row)),
            self._peak(current, None),
            rms,
        )

    def _with_known_ramps(self, voltage: Waveform, intervals: list[int] | None) -> Waveform:
        """A voltage whose open ramps are those of a constant one; no means where one is open."""
        ring = self.balance.ring
        places = range(len(voltage.means)) if intervals is None else intervals
        if any(voltage.means[k] is None for k in places):
            return Waveform(tuple(None for _ in voltage.means), voltage.ramps)
        nothing: Ratio = (ring.zero, ring.one)
        return Waveform(
            voltage.means,
            tuple(nothing if r is None else r for r in voltage.ramps),
            tuple(nothing if b is None else b for b in voltage.bends),
        )

    def _peak(self, waveform: Waveform, intervals: list[int] | None) -> Expr | None:
        """Largest size at any interval end; long formulas keep mean and ramp apart."""
        if not self.waveforms.is_long(waveform):
            return self._largest(self.waveforms.ends(waveform, intervals))
        ends = []
        for k in range(self.waveforms.count) if intervals is None else intervals:
            mean, ramp = waveform.middle(k), waveform.ramps[k]
            if mean is None or ramp is None:
                return None
            for sign in (-1, 1):
                value = self.waveforms.numeric(mean) + sign * self.waveforms.numeric(ramp)
                ends.append(
                    (float(np.nanmedian(np.abs(value))), float(np.nanmedian(value)), mean, ramp, sign)
                )
        _, value, mean, ramp, sign = max(ends, key=lambda end: end[0])
        turn = 1 if value >= 0 else -1
        return turn * (self.form.expression(mean) + sign * self.form.expression(ramp))

    def _rms(self, current: Waveform) -> Expr | None:
        """Root of the sum of d*(mean**2 + ramp**2/3), combined into one ratio where that stays short."""
        shares = self.shares(current)
        if not shares:
            return None if shares is None else sympy.Integer(0)
        length = max(len(part) for share in shares for ratio in share[1:] for part in ratio)
        if length <= SHORT_TERMS:
            combined = self.waveforms.mean_square(current)
            assert combined is not None
            if sum(map(len, combined)) <= SHORT_TERMS:
                return self.form.square_root(combined)
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
            if mean[0].is_zero() and ramp[0].is_zero():
                continue
            share: Ratio = (fraction, self.balance.ring.one)
            for place, (other, other_mean, other_ramp) in enumerate(shares):
                if _same_size(mean, other_mean) and _same_size(ramp, other_ramp):
                    shares[place] = (add(other, share), other_mean, other_ramp)
                    break
            else:
                shares.append((share, mean, ramp))
        return shares

    def efficiency(self) -> Expr | None:
        """Power taken by loads over power given by sources.

        A voltage or current source counts on the side where it stands: a constant current may be a
        load or feed (a solar panel), a battery may be charged.
        """
        zero: Ratio = (self.balance.ring.zero, self.balance.ring.one)
        taken, given = zero, zero
        for element in self.circuit.of(Load, CurrentSource, Source):
            power = self.power_of(element)
            if power is None:
                return None
            if self.takes_power(element, power):
                taken = add(taken, power)
            else:
                given = add(given, (-power[0], power[1]))
        if given[0].is_zero():
            return None
        difference = add(taken, (-given[0], given[1]))
        if difference[0].is_zero() or self.form.divides(difference[0]) or not self._has_losses():
            return sympy.Integer(1)
        return self._closed(multiply(taken, (given[1], given[0])))

    def _has_losses(self) -> bool:
        """False where no element can lose power: then Tellegen's theorem makes the efficiency 1."""
        return any(
            (element.kind == "resistor")
            or getattr(element, "resistance", None) is not None
            or getattr(element, "drop", None) is not None
            for element in self.circuit.elements
        )

    def takes_power(self, element, power: Ratio) -> bool:
        """True for a load, and for a source that is fed on the whole where the mode holds."""
        return isinstance(element, Load) or bool(np.nanmedian(self.short.numeric(power)) > 0)

    def power_of(self, element) -> Ratio | None:
        """Average power into an element; for a source, of its ideal part (its resistance loses its own)."""
        ring = self.balance.ring
        current_row = self._one(("i", element.name))
        if isinstance(element, Source):
            current = self.short.average_of_free(current_row)
            return (
                None
                if current is None
                else multiply(current, (ring.symbol(element.quantity.symbol), ring.one))
            )
        if self.balance.by_itself:
            if isinstance(element, Resistor):
                square = self.short.mean_square(self.short.of(current_row))
                return (
                    None
                    if square is None
                    else multiply(square, (ring.symbol(element.quantity.symbol), ring.one))
                )
            voltage = self.short.average_of_free(self._row_of_voltage(element.start, element.end))
            return (
                None
                if voltage is None
                else multiply(voltage, (ring.symbol(element.quantity.symbol), ring.one))
            )
        terms: list[Ratio | None] = []
        for k in range(self.short.count):
            voltage = self.balance.value(k, self._row_of_voltage(element.start, element.end), "average")
            current_mean = self.balance.value(k, current_row, "average")
            terms.append(None if voltage is None or current_mean is None else multiply(voltage, current_mean))
        return self.short.weighted(terms)


def _same_size(one: Ratio, other: Ratio) -> bool:
    """True for equal or opposite ratios."""
    return one[1] == other[1] and (one[0] == other[0] or one[0] == -other[0])
