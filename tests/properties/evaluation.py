"""Formulas of a mode as numbers with forty digits, and points at which a mode holds."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

import mpmath
import numpy as np
import sympy
from sympy.core.relational import Relational

from voltsec.circuit.circuit import Circuit
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.numbers import holds_at
from voltsec.periodic.points import base_point
from voltsec.results.solution import Mode, Solution

mpmath.mp.dps = 40

Point = dict[str, float]


def value(expression, environment: Mapping[str, mpmath.mpf]):
    """An expression's number, or the truth of a condition; not-a-number where a root is not real."""
    if isinstance(expression, sympy.Symbol):
        return environment[expression.name]
    if isinstance(expression, sympy.Rational):
        return mpmath.mpf(int(expression.p)) / int(expression.q)
    if expression in (sympy.true, sympy.false):
        return bool(expression)
    if isinstance(expression, Relational):
        left, right = value(expression.lhs, environment), value(expression.rhs, environment)
        return {
            sympy.StrictGreaterThan: left > right,
            sympy.GreaterThan: left >= right,
            sympy.StrictLessThan: left < right,
            sympy.LessThan: left <= right,
            sympy.Equality: same(left, right),
        }[expression.func]
    if isinstance(expression, sympy.Piecewise):
        return next(value(one, environment) for one, case in expression.args if value(case, environment))
    if isinstance(expression, sympy.Not):
        return not value(expression.args[0], environment)
    parts = [value(argument, environment) for argument in expression.args]
    if isinstance(expression, sympy.Add):
        return mpmath.fsum(parts)
    if isinstance(expression, sympy.Mul):
        return mpmath.fprod(parts)
    if isinstance(expression, sympy.Pow):
        base, power = parts
        if base < 0 and power != int(power):
            return mpmath.nan
        return mpmath.inf if base == 0 and power < 0 else base**power
    if isinstance(expression, sympy.Abs):
        return abs(parts[0])
    if isinstance(expression, sympy.Max):
        return max(parts)
    if isinstance(expression, sympy.And):
        return all(parts)
    if isinstance(expression, sympy.Or):
        return any(parts)
    raise TypeError(f"no value is known for {expression.func}")


def same(one: object, other: object, relative: float = 1e-9) -> bool:
    """Equal numbers, up to rounding (nothing equals only nothing)."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= relative * max(abs(one), abs(other)) + 1e-24  # type: ignore[operator, type-var]


def builders(solution: Solution) -> dict[str, ModeBuilder]:
    """The modes that have formulas, by name."""
    return dict(solution.engine.builders)


def shares_at(builder: ModeBuilder, point: Point) -> list[float] | None:
    """Fractions of the intervals at a point, None where the mode does not hold there."""
    mask, shares = holds_at(builder, {name: np.array([number]) for name, number in point.items()})
    return [float(share) for share in shares[:, 0]] if mask[0] else None


def environment_of(mode: Mode, builder: ModeBuilder, point: Point, shares: list[float] | None) -> dict:
    """Numbers for every symbol of the mode's formulas: the point, unknown fractions, definitions."""
    found = {name: mpmath.mpf(number) for name, number in point.items()}
    if shares is not None:
        for place, name in builder.found.fractions.unknown.items():
            found[name] = mpmath.mpf(shares[place])
    for name, meaning in mode.definitions.items():
        assert name not in point, f"{mode.name} defines {name}, which is a symbol of the circuit"
        if {free.name for free in meaning.free_symbols} <= set(found):
            found[name] = value(meaning, found)
    return found


def holding_point(solution: Solution, name: str, source: random.Random) -> tuple[Point, list[float]]:
    """A point where the mode holds: its witness, every parameter changed a little where that still holds."""
    builder = builders(solution)[name]
    witness = {key: number for key, number in builder.found.witness.items() if not key.startswith("#")}
    for spread in (0.1, 0.02, 0.002):
        point = {key: number * (1 + source.uniform(-spread, spread)) for key, number in witness.items()}
        point |= mutuals(solution.circuit, point, witness)
        shares = shares_at(builder, point)
        if shares is not None:
            return point, shares
    shares = shares_at(builder, witness)
    assert shares is not None, f"{name} does not hold at its own witness {witness}"
    return witness, shares


def random_point(circuit: Circuit, source: random.Random, spread: float = 0.0) -> Point:
    """Any duties, any period within four decades, and the other values within a factor 10**spread."""
    base = base_point(circuit)
    point = {name: number * 10 ** source.uniform(-spread, spread) for name, number in base.items()}
    point["T"] = base["T"] * 10 ** source.uniform(-2, 2)
    for duty in circuit.duty_symbols:
        point[duty] = source.uniform(0.04, 0.96)
    return point | mutuals(circuit, point, base)


def mutuals(circuit: Circuit, point: Point, reference: Point) -> Point:
    """Mutual inductances that keep the coupling coefficients of the reference point."""
    found = {}
    for coupling in circuit.couplings:
        pair = [circuit.element(name).quantity.symbol for name in (coupling.first, coupling.second)]  # type: ignore[union-attr]
        before, after = (p[pair[0]] * p[pair[1]] for p in (reference, point))
        found[coupling.symbol] = reference[coupling.symbol] * (after / before) ** 0.5
    return found


@dataclass(frozen=True)
class Pairing:
    """How the names of one circuit become those of another that should behave the same."""

    names: Mapping[str, str]
    """Element names (magnetizing inductances by symbol, windings as ``T.1``)."""
    symbols: Mapping[str, str]
    reversed: frozenset[str] = frozenset()
    """Coils and capacitors (old names) whose arrow points the other way."""

    def name(self, old: str) -> str:
        """The new name of an element, winding or magnetizing inductance."""
        owner, dot, winding = old.partition(".")
        return self.names.get(owner, owner) + dot + winding

    def point(self, old: Point) -> Point:
        """The same point for the other circuit."""
        return {self.symbols.get(name, name): number for name, number in old.items()}

    def sign(self, old: str) -> int:
        """-1 for an element that was turned round."""
        return -1 if old in self.reversed else 1


SIGNED = ("capacitor_voltages", "inductor_currents")
UNSIGNED = ("source_currents", "ripple")


def assert_same_answer(
    one: Solution, other: Solution, pairing: Pairing, source: random.Random, same_names: bool = True
) -> None:
    """Both solutions have the same modes; every formula has the same value where its mode holds.

    ``same_names`` is False where modes may be numbered in another order.
    """
    nothing = Pairing({}, {})
    partners = {key_of(other, mode, nothing): mode for mode in other.modes}
    keys = [key_of(one, mode, pairing) for mode in one.modes]
    assert set(keys) == set(partners), "other sequences of conducting devices"
    if same_names:
        assert [mode.name for mode in one.modes] == [mode.name for mode in other.modes]
        assert keys == list(partners)
    for mode, key in zip(one.modes, keys, strict=True):
        partner = partners[key]
        assert mode.name.split()[0] == partner.name.split()[0]
        if mode.name in builders(one):
            _assert_same_mode(one, mode, other, partner, pairing, source)
        else:
            assert partner.gain is None and partner.name not in builders(other)


def key_of(solution: Solution, mode: Mode, pairing: Pairing) -> tuple:
    """What conducts, interval by interval, in the other circuit's names.

    A device that carries exactly nothing may be told as conducting or not: it does not count.
    """
    builder = builders(solution).get(mode.name)
    key = []
    for place, interval in enumerate(mode.intervals):
        devices = [
            d for d in interval.conducting if builder is None or not _carries_nothing(builder, place, d)
        ]
        key.append((frozenset(map(pairing.name, devices)), interval.ends == "switch"))
    return tuple(key)


def _carries_nothing(builder: ModeBuilder, place: int, device: str) -> bool:
    row = {("i", device): builder.balance.ring.one}
    parts = [builder.balance.value(place, row, part) for part in ("mean", "ramp")]
    return all(part is not None and part.is_zero for part in parts)


def _assert_same_mode(
    one: Solution, mode: Mode, other: Solution, partner: Mode, pairing: Pairing, source: random.Random
) -> None:
    builder, partner_builder = builders(one)[mode.name], builders(other)[partner.name]
    point, shares = holding_point(one, mode.name, source)
    new_point = pairing.point(point)
    new_shares = shares_at(partner_builder, new_point)
    assert new_shares is not None, f"{mode.name} holds at {point}, its partner does not"
    assert np.allclose(shares, new_shares, rtol=1e-7, atol=1e-10)
    here = environment_of(mode, builder, point, shares)
    there = environment_of(partner, partner_builder, new_point, new_shares)
    close = 1e-9 if mode.closed_form else 1e-5

    def check(what: str, old, new, sign: int = 1) -> None:
        numbers = [None if e is None else value(e, env) for e, env in ((old, here), (new, there))]
        if numbers[0] is not None:
            numbers[0] *= sign
        assert same(*numbers, relative=close), f"{mode.name} {what}: {old} | {new} at {point}: {numbers}"

    for what in ("gain", "output_voltage", "efficiency"):
        check(what, getattr(mode, what), getattr(partner, what))
    for what in (*SIGNED, *UNSIGNED):
        old, new = getattr(mode, what), getattr(partner, what)
        assert {pairing.name(name) for name in old} == set(new)
        for name, formula in old.items():
            sign = pairing.sign(name) if what in SIGNED else 1
            check(f"{what}[{name}]", formula, new[pairing.name(name)], sign)
    assert {pairing.name(name) for name in mode.stress} == set(partner.stress)
    for name, stress in mode.stress.items():
        twin = partner.stress[pairing.name(name)]
        for what in ("voltage_peak", "current_average", "current_peak", "current_rms"):
            sign = pairing.sign(name) if what == "current_average" else 1
            check(f"stress[{name}].{what}", getattr(stress, what), getattr(twin, what), sign)
    assert (mode.closed_form, mode.proved) == (partner.closed_form, partner.proved)
    assert (mode.holds_when is None) == (partner.holds_when is None)
    if mode.holds_when is None:
        return
    assert value(mode.holds_when, here), f"{mode.name} holds at {point}, against {mode.holds_when}"
    assert value(partner.holds_when, there), f"{mode.name} holds at {new_point}, against {partner.holds_when}"
    if mode.closed_form:
        for _ in range(8):
            point = random_point(one.circuit, source, 0.3)
            new_point = pairing.point(point)
            here = environment_of(mode, builder, point, None)
            there = environment_of(partner, partner_builder, new_point, None)
            held = value(mode.holds_when, here), value(partner.holds_when, there)
            assert held[0] == held[1], f"{mode.name}: {mode.holds_when} | {partner.holds_when} at {point}"


def worked_out(
    expression: sympy.Expr, definitions: Mapping[str, sympy.Expr], point: Mapping[str, float]
) -> float:
    """The expression's value, what it is defined by worked out first."""
    known = {name: mpmath.mpf(number) for name, number in point.items()}

    def number(one: sympy.Expr) -> mpmath.mpf:
        for free in one.free_symbols:
            if free.name not in known:
                known[free.name] = number(definitions[free.name])
        return value(one, known)

    return float(number(sympy.sympify(expression)))
