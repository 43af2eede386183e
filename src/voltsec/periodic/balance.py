"""The exact periodic solution of one sequence: every mean and ramp as a ratio of polynomials."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.affine import Affine, Label, without_free
from voltsec.periodic.ripple_means import RippleMeans
from voltsec.tableau import lengths
from voltsec.tableau.assembly import (
    average_rows,
    bends_count,
    flux_rows,
    period_rows,
    ramp_rows,
    ring_for,
)
from voltsec.tableau.elimination import Eliminated, eliminate
from voltsec.tableau.interval import Sequence
from voltsec.tableau.network import Network, Row, Unknown, coils
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, TooLarge, definite_sign, factors, is_turns, symbols_of
from voltsec.tableau.scaled_ring import ScaledRing


@dataclass(frozen=True)
class SignCondition:
    """A quantity that must not be negative for the sequence to hold."""

    interval: int
    device: str
    quantity: str
    """"current" of a conducting diode or "voltage" that a blocking one takes in reverse."""
    moment: str
    """"start", "end", or "mean" where the ramp is not determined."""
    ratio: Ratio


class Balance:
    """Solution of ``sequence``; ratios are over ``ring`` (fractions ``#1 ...``, parameters, T).

    Where every interval ends by a switch edge, averages follow the small-ripple equations with
    constant coil currents; otherwise means and ramps are solved together and ``conditions`` holds
    the polynomials that fix the unknown fractions.
    """

    def __init__(
        self,
        circuit: Circuit,
        sequence: Sequence,
        references: tuple[str, ...],
        ring: Ring | None = None,
        vanishes: Callable[[Polynomial], bool] | None = None,
    ) -> None:
        self.circuit = circuit
        self.vanishes = vanishes
        """Tells coefficients that are zero at the points looked for: no pivots there (None: nowhere)."""
        self.sequence = sequence
        self.ring = ring_for(circuit, sequence) if ring is None else ring
        self.network = Network(circuit, self.ring, references)
        self.by_itself = bool(sequence.unknown)
        self.bends = self.by_itself and bends_count(circuit)
        """Currents are followed to their bend, not only as straight lines."""
        self.all_decided = True
        self.alike = frozenset(name for name in self.ring.sums if is_turns(name))
        """Turns ratios that are one in this solution."""

    @property
    def ties(self) -> list[Polynomial]:
        """Polynomials of the parameters that vanish in this solution: coils that have to be equal."""
        pairs = [symbols_of(name) for name in sorted(self.alike)]
        return [self.ring.symbol(coil) - self.ring.symbol(first) for coil, first in pairs]

    def pivots_hold(self, vanishes: Callable[[Polynomial], bool]) -> bool:
        """False where the solution divides by a turns ratio's difference that vanishes."""
        systems = [self.full] if self.by_itself else [self.averages, self.full]
        return not any(
            vanishes(pivot)
            for system in systems
            for pivot in system.assumed
            if any(is_turns(name) for name in self.ring.variables(pivot))
        )

    @cached_property
    def averages(self) -> Eliminated:
        """Small-ripple averages (the full solution where intervals end by themselves)."""
        if self.by_itself:
            return self.full
        found = eliminate(average_rows(self.circuit, self.sequence, self.network), self.ring)
        if _open_voltages(found):  # with no current in an interval, ramps may say what voltages do not
            found = min(found, self.full, key=_open_voltages)
        return found

    @cached_property
    def full(self) -> Eliminated:
        """Means and ramps together."""
        return self._together(None)

    def _together(self, longest: int | None) -> Eliminated:
        """Means and ramps together; :class:`TooLarge` where a formula has more terms than ``longest``."""
        found = None
        for all_events in (False, True):
            rows = period_rows(self.circuit, self.sequence, self.network, all_events, self.bends)
            found = eliminate(
                rows,
                self.ring,
                fractions_unknown=self.by_itself,
                limited=not isinstance(self.ring, ScaledRing),
                vanishes=self.vanishes,
                longest=longest,
            )
            if len(self.factors(found)) >= len(self.sequence.unknown):
                break
        assert found is not None
        return found

    def solved_again(self, vanishes: Callable[[Polynomial], bool]) -> Balance | None:
        """The solution for points at which a pivot of this one vanishes; None where none does."""
        if not any(vanishes(pivot) for pivot in self.full.assumed):
            return None
        return Balance(self.circuit, self.sequence, tuple(self.network.references), self.ring, vanishes)

    @cached_property
    def condition_factors(self) -> list[list[Polynomial]]:
        """Factors of every condition that means, ramps and continuity put on the fractions."""
        if self.separate_ramps:
            systems = [self.averages, *self._ramps]
        elif self.by_itself:
            systems = [self.full]
        else:
            systems = [self.averages, self.full]
        return [kept for system in systems for kept in self.factors(system)]

    @property
    def ambiguous(self) -> bool:
        """True where a condition has several factors with fractions: only one of them is the right one."""
        own = set(self.sequence.fractions)
        return self.by_itself and any(
            sum(bool(self.ring.variables(factor) & own) for factor in found) > 1
            for found in self.condition_factors
        )

    @staticmethod
    def factors(found: Eliminated) -> list[list[Polynomial]]:
        """For each condition its irreducible factors that can vanish for positive variables.

        A condition without any can never hold: it is returned as an empty list.
        """
        kept = []
        for condition in found.conditions:
            pairs = factors(condition)[1]
            kept.append([factor for factor, _ in pairs if definite_sign(factor) is None])
        return kept

    @cached_property
    def separate_ramps(self) -> bool:
        """Ramps follow from the averages, which see constant coil currents.

        So it is with two switch intervals or fewer, where a coil's mean is the same in all; with more where
        resistances make means and ramps together too long, means then following from the ramps.  Not so
        where coils in series leave open how they share a voltage: there only the equal ramps of their common
        current decide it, so everything is solved together.
        """
        count = len(self.sequence.intervals)
        if self.by_itself or (count > 2 and not self._too_long):
            return False
        return all(
            self.averages.fraction(("m", k, ("u", coil.name))) is not None
            for k in range(count)
            for coil in coils(self.circuit)
        )

    @cached_property
    def _too_long(self) -> bool:
        """True where means and ramps together are too long, and resistances are what makes them so."""
        if not bends_count(self.circuit):
            return False
        try:
            self.full = self._together(lengths.TOGETHER)
        except TooLarge:
            return True
        return False

    @cached_property
    def ripple_means(self) -> RippleMeans | None:
        """What ripple adds to means, where ramps follow from the averages and means differ."""
        uneven = len(self.sequence.intervals) > 2 and self.separate_ramps
        return RippleMeans(self) if uneven else None

    @cached_property
    def _ramps(self) -> list[Eliminated]:
        """Ramps by the mean voltages of the coils, which stay symbols: their own formulas may be long."""
        found = []
        for k in range(len(self.sequence.intervals)):
            rows = ramp_rows(self.circuit, self.sequence, self.network, k)
            rows += flux_rows(self.circuit, self.sequence, self.ring, k)
            voltages = frozenset(unknown for row in rows for unknown in row if unknown and unknown[0] == "m")
            ramps = eliminate(rows, self.ring, last=voltages)
            # what the ramps ask of the voltages has to hold by itself
            asked = [
                self._with_known_voltages(bottom, {u: -c for u, c in terms.items()} | {unknown: bottom})
                for unknown, (bottom, terms) in ramps.solved.items()
                if unknown in voltages
            ]
            conditions = (*ramps.conditions, *(ratio.numerator for ratio, _ in asked if not ratio.is_zero))
            found.append(replace(ramps, conditions=conditions))
        return found

    def _with_known_voltages(self, denominator: Polynomial, terms: Row) -> tuple[Ratio, Row]:
        """A sum over a denominator, mean voltages put in: the constant ratio, and the terms of the rest."""
        rest = {}
        constant = lowest_terms(terms.get(None, self.ring.zero), denominator)
        for unknown, coefficient in terms.items():
            known = self.averages.fraction(unknown) if unknown and unknown[0] == "m" else None
            if known is not None:
                constant = constant + (lowest_terms(coefficient, denominator) * known)
            elif unknown is not None:
                rest[unknown] = coefficient
        return constant, rest

    def mean(self, k: int, unknown: Unknown) -> Ratio | None:
        """Mean of ``unknown`` in interval ``k``; None where it is not determined."""
        if self.ripple_means is not None:
            return self.value(k, {unknown: self.ring.one}, "mean")
        if self.separate_ramps or self.by_itself:
            return self.averages.fraction(("m", k, unknown))
        return self.full.fraction(("m", k, unknown))

    def average_mean(self, k: int, unknown: Unknown) -> Ratio | None:
        """Mean of ``unknown`` in interval ``k`` with ripple neglected in continuous conduction."""
        return self.averages.fraction(("m", k, unknown))

    def ramp(self, k: int, unknown: Unknown) -> Ratio | None:
        """Half the rise of ``unknown`` over interval ``k``; None where it is not determined."""
        return self.value(k, {unknown: self.ring.one}, "ramp")

    def capacitor_voltage(self, name: str) -> Ratio | None:
        """The constant voltage of a capacitor."""
        return self.averages.fraction(("V", name))

    def _source(self, k: int, part: str) -> tuple[Eliminated, str]:
        if part in ("ramp", "bend"):
            return (self._ramps[k] if self.separate_ramps else self.full), part[0]
        small_ripple = part == "average" or self.separate_ramps or self.by_itself
        return (self.averages if small_ripple else self.full), "m"

    def affine(self, k: int, row: Row, part: str) -> Affine:
        """A sum of local unknowns of interval ``k`` with whatever stays free in it.

        ``part`` is mean, ramp, bend, or average (mean with ripple neglected); the constant term of
        ``row`` counts for means only.
        """
        if part == "bend" and not self.bends:
            return Affine(Ratio(self.ring.zero, self.ring.one), {})
        if part == "mean" and self.ripple_means is not None:
            added = Affine(*self.ripple_means.added(k, row))
            return self.affine(k, row, "average").plus(added, 1)
        source, letter = self._source(k, part)
        terms: dict[Any, Any] = {}
        denominator = self.ring.one
        for unknown, coefficient in row.items():
            if unknown is None:
                if part in ("ramp", "bend"):
                    continue
                own, entry = self.ring.one, {None: self.ring.one}
            else:
                key = (letter, k, unknown)
                own, entry = source.solved.get(key, (self.ring.one, {key: self.ring.one}))
            common = denominator.gcd(own)
            left, right = own // common, denominator // common
            terms = {u: c * left for u, c in terms.items()}
            for free, c in entry.items():
                terms[free] = terms.get(free, self.ring.zero) + c * coefficient * right
            denominator = denominator * left
        if part == "ramp" and self.separate_ramps:
            constant, terms = self._with_known_voltages(denominator, terms)
        else:
            constant = lowest_terms(terms.pop(None, self.ring.zero), denominator)
        free_terms = {u: lowest_terms(c, denominator) for u, c in terms.items() if not c.is_zero()}
        return Affine(constant, free_terms)

    def value(self, k: int, row: Row, part: str) -> Ratio | None:
        """A sum of local unknowns of interval ``k``; None where it is not determined."""
        found = self.affine(k, row, part)
        return None if found.free else found.constant

    def voltage(self, k: int, start: str, end: str, part: str) -> Ratio | None:
        """Voltage from node ``start`` to ``end`` in interval ``k``; ``part`` as in :meth:`affine`."""
        return self.value(k, dict(self.network.voltage(start, end)), part)

    @cached_property
    def sign_conditions(self) -> tuple[SignCondition, ...]:
        """Everything that must be non-negative, at both ends of every interval.

        Where ideal parts leave something free (how two diodes in a loop of capacitors share a
        current), the conditions are those under which some share satisfies them all
        (Fourier-Motzkin elimination).
        """
        forms: list[tuple[Label, Affine]] = []
        for k, interval in enumerate(self.sequence.intervals):
            for diode in self.circuit.diodes:
                conducts = diode.name in interval.conducting
                if conducts:
                    row: Row = {("i", diode.name): self.ring.one}
                else:
                    row = {u: -c for u, c in self.network.voltage(diode.start, diode.end)}
                    if diode.drop is not None:
                        row[None] = self.ring.symbol(diode.drop.symbol)
                mean = self.affine(k, row, "mean")
                ramp = self.affine(k, row, "ramp")
                quantity = "current" if conducts else "voltage"
                if ramp.is_zero:
                    forms.append(((k, diode.name, quantity, "mean"), mean))
                else:
                    bend = self.affine(k, row, "bend")
                    # implied, and often simpler; a bend that is free would suit both ends with any mean
                    if bend.free or not (self.by_itself or mean.free):
                        forms.append(((k, diode.name, quantity, "mean"), mean))
                    middle = mean.plus(bend, 1)
                    forms.append(((k, diode.name, quantity, "start"), middle.plus(ramp, -1)))
                    forms.append(((k, diode.name, quantity, "end"), middle.plus(ramp, 1)))
        left, self.all_decided = without_free([(label, self._reduced(form)) for label, form in forms])
        return tuple(
            SignCondition(k, device, quantity, moment, form.constant)
            for (k, device, quantity, moment), form in left
        )

    def _reduced(self, form: Affine) -> Affine:
        """Without the free unknowns whose factor vanishes where the sequence is possible at all.

        Legs that complement each other share a current freely at D = 1/2 only: D - D' is zero there.
        """
        if not form.free:
            return form
        zero = [kept[0] for kept in self.condition_factors if len(kept) == 1]
        free = {
            unknown: ratio
            for unknown, ratio in form.free.items()
            if not any((ratio.numerator // factor) * factor == ratio.numerator for factor in zero)
        }
        return Affine(form.constant, free)


def _open_voltages(found: Eliminated) -> int:
    return sum(unknown[0] == "V" for unknown in found.free)
