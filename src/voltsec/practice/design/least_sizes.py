"""The smallest inductances and capacitances that keep every ripple, from the stage's own ripple formulas."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import sympy
from sympy import Expr

from voltsec.circuit.circuit import Coupling
from voltsec.practice.design.corners import Array, worst_places
from voltsec.practice.design.extremes import Corner
from voltsec.practice.design.inverted import (
    case_at,
    continuous_mode,
    expanded,
    inverted,
    numbers,
    value_by_search,
)
from voltsec.practice.design.points import Points, at_words, duty_line, first_crossing
from voltsec.practice.design.specification import OUT, BadSpecification, Limit
from voltsec.results.solution import Mode, Solution
from voltsec.results.table import inductances, output_capacitor
from voltsec.tableau.expression import symbol

FINE = 2001
"""Duties at which the closed form of the output is looked at."""
HALVINGS = 40
ROUNDS = 40
"""Of coils that hang on each other."""
SETTLED = 1e-9
NOTHING = 1e-9
"""Ampere or volt; a mean below is none."""
BOUNDLESS = 2.0
"""An output that grows so much over the last duties looked at has no bound there."""


@dataclass(frozen=True)
class LeastSize:
    """The smallest value of one coil or capacitor that keeps its ripple."""

    value: float
    """Henry or farad."""
    at: Corner
    """The point that asks for it."""
    ripple: Expr
    """The ripple's formula in continuous conduction."""
    formula: Expr | None
    """The same turned round, of ``dI_L1`` or ``dV_C1``, the ripple allowed; None where solved in numbers."""
    limit: str
    """The symbol of the ripple allowed: ``dI_L1``, ``dV_C1``."""
    allowed: float
    """The ripple allowed at that point, ampere or volt."""


def least_sizes(
    solution: Solution,
    points: Points,
    sought: Mapping[str, str],
    choose: Callable[[str, float], Fraction],
) -> tuple[dict[str, LeastSize], dict[str, Fraction]]:
    """For every limit in ``sought`` (part -> symbol) the least value, and the one ``choose`` takes for it.

    Coils come first; capacitors, whose ripple may hang on coils, are sized for the coils chosen.
    """
    if not sought:
        return {}, {}
    mode = continuous_mode(solution.modes)
    if mode is None or mode.output_voltage is None:
        raise BadSpecification(
            "the stage has no formulas of continuous conduction that could be turned round: give its coils "
            "and capacitors values instead of ripple( )"
        )
    forms = _Forms(points, mode, dict(sought))
    coils = [part for part in sought if part in inductances(points.circuit)]
    sizes = forms.coils(coils)
    chosen = {part: choose(part, one.value) for part, one in sizes.items()}
    forms.values |= {sought[part]: float(value) for part, value in chosen.items()}
    for part in (part for part in sought if part not in coils):
        sizes[part] = forms.least(part)
        chosen[part] = choose(part, sizes[part].value)
        forms.values[sought[part]] = float(chosen[part])
    return sizes, chosen


class _Forms:
    """The formulas of one mode at points whose coils and capacitors are not all known."""

    def __init__(self, points: Points, mode: Mode, sought: dict[str, str]) -> None:
        self.points = points
        self.mode = mode
        self.sought = sought
        known = {name: float(value) for name, value in points.circuit.values.items()}
        self.values = {n: v for n, v in known.items() if n not in sought.values() and n != points.duty}
        self.output = expanded(mode, mode.output_voltage)

    def coils(self, parts: list[str]) -> dict[str, LeastSize]:
        """Least inductances; those that hang on each other are found together."""
        symbols = {self.sought[part] for part in parts}
        tied = [part for part in parts if self._names(part) & symbols - {self.sought[part]}]
        found = {part: self.least(part) for part in parts if part not in tied}
        self.values |= {self.sought[part]: one.value for part, one in found.items()}
        if tied:
            self.values |= {self.sought[part]: self._alike(part, tied) for part in tied}
            for _ in range(ROUNDS):
                before = dict(self.values)
                for part in tied:
                    found[part] = self.least(part)
                    self.values[self.sought[part]] = found[part].value
                if all(abs(self.values[n] / before[n] - 1) < SETTLED for n in (self.sought[p] for p in tied)):
                    break
        return {part: found[part] for part in parts}

    def _alike(self, part: str, tied: list[str]) -> float:
        """A first value for coils that hang on each other: the same for all of them."""
        ripple = self._ripple(part)
        alike = ripple.subs({symbol(self.sought[other]): symbol(self.sought[part]) for other in tied})
        places = self.points.box.corners()
        found = value_by_search(alike, self.sought[part], self.allowed(part, places), self.at(places))
        if not np.isfinite(found).any():
            raise self._open(part)
        return float(np.nanmax(found))

    def least(self, part: str) -> LeastSize:
        """The least value for one limit, the other parts as they are."""
        name = self.sought[part]
        ripple = self._ripple(part)
        if ripple == 0:
            raise BadSpecification(
                f"ripple({part}): the formulas of continuous conduction give it no ripple at all, so none "
                f"decides {name}; give {name} a value"
            )
        coil = part in inductances(self.points.circuit)
        limit = symbol(f"{'dI' if coil else 'dV'}_{self._name(part)}")
        form = inverted(ripple, name, limit)

        def needed(places: Array) -> dict[str, Array]:
            values, allowed = self.at(places), self.allowed(part, places)
            try:
                if form is None:
                    return {"value": value_by_search(ripple, name, allowed, values)}
                return {"value": numbers(form, {**values, limit.name: allowed})}
            except KeyError as problem:
                raise self._needs(part, str(problem.args[0])) from None

        worst = worst_places(self.points.box, needed).get("value")
        if worst is None or worst.value <= 0:
            raise self._open(part)
        place = self.points.full_load(np.array(worst.place, float)[None, :])
        if needed(place)["value"][0] < worst.value * (1 - SETTLED):
            place = np.array(worst.place, float)[None, :]
        shown = self._deciding(place[0], worst.value, lambda places: needed(places)["value"])
        there = {n: float(v[0]) for n, v in self.at(place).items()}
        if self.points.duty is not None:
            shown[self.points.duty] = there[self.points.duty]
        allowed = float(self.allowed(part, place)[0])
        if form is not None:
            form = case_at(form, {**there, limit.name: allowed, name: worst.value})
        corner = Corner(shown, self.mode.name, worst.corner)
        return LeastSize(worst.value, corner, ripple, form, limit.name, allowed)

    def _deciding(self, place: Array, value: float, needed: Callable[[Array], Array]) -> dict[str, float]:
        """The axes on which the value hangs."""
        shown = {}
        for number, axis in enumerate(self.points.box.axes):
            moved = np.array([place, place])
            moved[:, number] = (axis.low, axis.high)
            if not (np.abs(needed(moved) / value - 1) < SETTLED).all():
                shown[axis.name] = float(place[number])
        return shown

    def allowed(self, part: str, places: Array) -> Array:
        """(P,) the most a ripple may be: a share of the mean at the largest load for coils."""
        limit: Limit = self.points.specification.ripples[part]
        if not limit.relative:
            return np.full(len(places), limit.amount)
        if part in inductances(self.points.circuit):
            base = expanded(self.mode, self.mode.inductor_currents.get(part))
            at = self.points.full_load(places)
        else:
            at = places
            base = self.output if part == OUT else expanded(self.mode, self.mode.capacitor_voltages.get(part))
        if base is None:
            raise self._open(part)
        try:
            mean = np.abs(numbers(base, self.at(at)))
        except KeyError as problem:
            raise self._needs(part, str(problem.args[0])) from None
        if (mean < NOTHING).all():
            raise BadSpecification(
                f"ripple({part}): its mean is zero, so a share of it says nothing; give the ripple in "
                f"{'ampere' if part in inductances(self.points.circuit) else 'volt'}, as in "
                f"ripple({part})={'0.5A' if part in inductances(self.points.circuit) else '100mV'}"
            )
        return limit.amount * mean

    def at(self, places: Array) -> dict[str, Array]:
        """Every known symbol at (P, axes) places, the duty of continuous conduction among them."""
        length = len(places)
        found = {name: np.full(length, value) for name, value in self.values.items()}
        found |= self.points.values(places)
        for coupling in self.points.circuit.couplings:
            first, second = self._pair(coupling)
            if coupling.coefficient is not None and first in found and second in found:
                factor = float(coupling.coefficient)
                found[coupling.symbol] = factor * np.sqrt(found[first] * found[second])
        if self.points.duty is not None:
            found[self.points.duty] = self.duty(places, found)
        return found

    def duty(self, places: Array, values: dict[str, Array] | None = None) -> Array:
        """(P,) the lowest duty that gives the wanted output in continuous conduction."""
        name, wanted = self.points.duty, self.points.target(places)
        assert name is not None and wanted is not None and self.output is not None
        known = values if values is not None else self.at(places)
        grid = duty_line(FINE)

        def output(x: Array) -> Array:
            table = {n: np.broadcast_to(v, x.shape).ravel() for n, v in known.items() if n != name}
            assert self.output is not None
            return numbers(self.output, {**table, name: x.ravel()}).reshape(x.shape)

        try:
            scan = output(np.repeat(grid[:, None], len(places), 1))
        except KeyError as problem:
            raise self._needs("the output", str(problem.args[0])) from None
        target = np.where(np.nanmedian(np.sign(scan)) < 0, -np.abs(wanted), wanted)
        start, _ = first_crossing(grid, scan, target)
        if np.isnan(start).any():
            raise self._beyond(places[np.isnan(start)][0], scan[:, np.isnan(start)][:, 0], target)
        k = np.clip(np.searchsorted(grid, start, side="right") - 1, 0, FINE - 2)
        low, high = grid[k], grid[k + 1]
        below = np.sign(output(low) - target)
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            same = np.sign(output(middle) - target) == below
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        return (low + high) / 2

    def _ripple(self, part: str) -> Expr:
        found = expanded(self.mode, self.mode.ripple.get(self._name(part)))
        if found is None:
            raise self._open(part)
        for coupling in self.points.circuit.couplings:
            factor = coupling.coefficient
            pair = self._pair(coupling)
            if factor is not None and set(pair) & set(self.sought.values()):
                root = sympy.sqrt(symbol(pair[0]) * symbol(pair[1]))
                mutual = sympy.Rational(factor.numerator, factor.denominator) * root
                found = found.subs(symbol(coupling.symbol), mutual)
        return found

    def _pair(self, coupling: Coupling) -> tuple[str, str]:
        """Symbols of two coupled coils."""
        element = self.points.circuit.element
        return (
            element(coupling.first).quantities[0].symbol,
            element(coupling.second).quantities[0].symbol,
        )

    def _names(self, part: str) -> set[str]:
        return {one.name for one in self._ripple(part).free_symbols}

    def _name(self, part: str) -> str:
        if part != OUT:
            return part
        found = output_capacitor(self.points.circuit)
        assert found is not None, "the specification was read"
        return found.name

    def _beyond(self, place: Array, outputs: Array, target: Array) -> BadSpecification:
        at = at_words(self.points, place)
        low, high = np.nanmin(np.abs(outputs)), np.nanmax(np.abs(outputs))
        near, end = np.abs(outputs[-20]), np.abs(outputs[-1])
        boundless = end == high and end > BOUNDLESS * near
        upwards = f"{low:.4g} V upwards" if boundless else f"{low:.4g} V to {high:.4g} V"
        return BadSpecification(
            f"{at}no duty gives {float(np.max(np.abs(target))):.4g} V in continuous conduction: the output "
            f"goes from {upwards}; narrow the ranges, or take another stage "
            "(compare --shelf lists those that can)"
        )

    def _open(self, part: str) -> BadSpecification:
        return BadSpecification(
            f"ripple({part}): by the formulas of continuous conduction no value of {self.sought[part]} keeps "
            f"it anywhere in the ranges; give {self.sought[part]} a value instead"
        )

    def _needs(self, part: str, names: str) -> BadSpecification:
        what = part if part not in self.sought else f"ripple({part})"
        return BadSpecification(f"{what} hangs on {names}, which has no value: give it one, or a ripple( )")
