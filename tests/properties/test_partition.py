"""The stated regions part the parameter space: at every point exactly one mode's ``holds_when`` is true.

By theory (Tellegen: the network is passive, so its periodic state is unique) modes can neither overlap nor
leave a gap.  Regions are read from the JSON answer, as a user would: text, definitions, and where
fractions have no closed form their conditions solved by numpy and scipy.  Which mode it is, an
integration in time tells that shares no equation with the solver (tests/integration/switched.py).
"""

from __future__ import annotations

import json
import os
import random
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import root

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.report.machine import as_json, json_text
from voltsec.results.solution import Solution

from ..integration.switched import NotPeriodic, periodic_averages, with_small_ripple
from .evaluation import Point, mutuals
from .test_boundary import LARGEST_DUTY
from .variants import LONG, LOSSLESS, generated, made_up, solved

POINTS = 40
"""Random points for each circuit."""

COMPARED = 4 if os.environ.get("VOLTSEC_RANDOM") else 1
"""Points at which a circuit is integrated in time."""

STARTS = 60
"""Places in the unknown fractions from which solutions of their conditions are sought."""

STEEPEST = 20
"""At larger gains the integration's own small resistances are felt."""

SHARED = {"flyback2", "boost_mult1", "boost_2x", "modified_sepic", "boost_sepic", "sepic_cuk_bip",
          "boost_flyback", "qzs_boost", "qzs_c1"}  # fmt: skip
"""Ideal diodes share a current there; which of them stops first small resistances decide."""


@dataclass(frozen=True)
class Stated:
    """One mode as the JSON answer has it."""

    name: str
    proved: bool
    holds_when: sympy.Basic
    definitions: tuple[tuple[str, sympy.Expr], ...]
    conditions: tuple[sympy.Expr, ...]
    unknown: tuple[str, ...]
    output_voltage: sympy.Expr
    idle: bool
    """Nothing conducts in the last interval."""

    def holds(self, point: Point) -> bool:
        """Whether its region is true at a point, for some solution of its conditions if it has any."""
        return any(self._true(full) for full in self._solutions(point))

    def output_at(self, point: Point) -> float:
        """The output voltage by the mode's formula, where the mode holds."""
        full = next(full for full in self._solutions(point) if self._true(full))
        return float(_number(self.output_voltage, full))

    def _true(self, full: dict) -> bool:
        for name, meaning in self.definitions:
            if {str(s) for s in meaning.free_symbols} <= set(full):
                full[name] = _number(meaning, full)
        return bool(_number(self.holds_when, full))

    def _solutions(self, point: Point) -> Iterator[dict]:
        if not self.conditions:
            yield dict(point)
            return
        names = [sympy.Symbol(name) for name in self.unknown]
        known = {name: number for name, number in point.items() if name not in self.unknown}
        for name, meaning in self.definitions:
            if {str(s) for s in meaning.free_symbols} <= set(known):
                known[name] = _number(meaning, known)
        exact = {sympy.Symbol(name): sympy.Float(number, 30) for name, number in known.items()}
        polynomials = [sympy.Poly(condition.xreplace(exact), *names) for condition in self.conditions]
        if len(names) == 1:
            for found in np.roots([float(c) for c in polynomials[0].all_coeffs()]):
                if abs(found.imag) < 1e-9 and 0 < found.real < 1:
                    yield dict(point) | {self.unknown[0]: float(found.real)}
            return
        yield from self._several(point, names, polynomials)

    def _several(self, point: Point, names: list, polynomials: list) -> Iterator[dict]:
        scaled = [p / max(abs(float(c)) for c in p.coeffs()) for p in polynomials]
        value = sympy.lambdify(names, [p.as_expr() for p in scaled])
        slope = sympy.lambdify(names, [[p.diff(n).as_expr() for n in names] for p in scaled])
        source = np.random.default_rng(3)
        seen: list[np.ndarray] = []
        for start in source.dirichlet(np.ones(len(names) + 2), STARTS)[:, : len(names)] ** 1.5:
            found = root(lambda x: value(*x), start, jac=lambda x: slope(*x), tol=1e-13)
            good = found.success and (found.x > 1e-7).all() and (found.x < 1).all()
            if good and not any(np.allclose(found.x, other, rtol=1e-6) for other in seen):
                seen.append(found.x)
                yield dict(point) | dict(zip(self.unknown, map(float, found.x), strict=True))


def _number(expression: sympy.Basic, full: dict):
    """Value or truth at a point; what is not real is not true."""
    names = sorted({str(s) for s in expression.free_symbols})
    with np.errstate(all="ignore"):
        return _function(expression, tuple(names))(*(np.float64(full[name]) for name in names))


@cache
def _function(expression: sympy.Basic, names: tuple[str, ...]):
    return sympy.lambdify([sympy.Symbol(name) for name in names], expression, "numpy")


def stated(answer: Solution) -> list[Stated]:
    """The modes of the JSON answer that have formulas."""
    read = json.loads(json_text(as_json(answer)))
    plain = {name: sympy.Symbol(name) for name in read["symbols"]}

    def parsed(text: str) -> sympy.Basic:
        return sympy.sympify(text, locals=plain)

    found = []
    for mode in read["modes"]:
        texts = mode["condition"] or []
        conditions = tuple(parsed(text) for text in ([texts] if isinstance(texts, str) else texts))
        fractions = [parsed(interval["fraction"]) for interval in mode["intervals"]]
        open_ = {str(s) for fraction in fractions for s in fraction.free_symbols} - set(mode["definitions"])
        unknown = sorted(
            open_ - set(answer.circuit.duty_symbols) - {q.symbol for q in answer.circuit.quantities}
        )
        found.append(
            Stated(
                mode["name"],
                mode["proved"],
                sympy.true if mode["holds_when"] is None else parsed(mode["holds_when"]),
                tuple((name, parsed(text)) for name, text in mode["definitions"].items()),
                conditions,
                tuple(unknown) if conditions else (),
                parsed(mode["output_voltage"]),
                not mode["intervals"][-1]["conducting"],
            )
        )
    return found


def anywhere(circuit: Circuit, source: random.Random) -> Point:
    """Any duties, and every value within decades of the netlist's own; some points near it."""
    base = {symbol: float(value) for symbol, value in circuit.values.items()}
    spread = source.choice((0.2, 1.0, 1.5))
    point = {name: number * 10 ** source.uniform(-spread, spread) for name, number in base.items()}
    point |= {p.symbol: base[p.symbol] * 10 ** source.uniform(-0.5, 0.5) for p in circuit.parameters}
    point["T"] = base["T"] * 10 ** source.uniform(-2.5, 2.5)
    for duty in circuit.duty_symbols:
        point[duty] = source.uniform(0.001, 0.999)
    for coupling in circuit.couplings:
        base[coupling.symbol] = 1.0
    point |= {
        name: source.uniform(0.02, 0.98) * number
        for name, number in mutuals(circuit, point, _fully_coupled(circuit, base)).items()
    }
    return point


def _fully_coupled(circuit: Circuit, base: Point) -> Point:
    full = dict(base)
    for coupling in circuit.couplings:
        one, other = (circuit.element(n).quantity.symbol for n in (coupling.first, coupling.second))  # type: ignore[union-attr]
        full[coupling.symbol] = (base[one] * base[other]) ** 0.5
    return full


def assert_parted(answer: Solution, modes: list[Stated], point: Point, largest: float = 1.0) -> None:
    """One mode is true at the point; at duties without a steady state none is."""
    holding = [mode.name for mode in modes if mode.holds(point)]
    if point.get("D", 0) >= largest:
        assert not holding, (holding, point)
        return
    assert len(holding) == 1, (holding, point)


@pytest.mark.parametrize("name", LOSSLESS)
def test_one_region_is_true_at_every_point(name: str) -> None:
    answer = solved(name)
    modes = stated(answer)
    source = random.Random(name)
    for _ in range(POINTS if name not in LONG else POINTS // 4):
        point = anywhere(answer.circuit, source)
        assert_parted(answer, modes, point, LARGEST_DUTY.get(name, lambda _: 1.0)(point))


@pytest.mark.parametrize("name", LOSSLESS)
def test_it_is_the_mode_of_the_integration(name: str) -> None:
    """At a point or more the region names the mode whose output the integration finds, dry or not."""
    answer = solved(name)
    modes = stated(answer)
    source = random.Random(name + " in time")
    compared = 0
    for _ in range(30):
        if compared == COMPARED:
            break
        point = anywhere(answer.circuit, source)
        if point.get("D", 0) >= LARGEST_DUTY.get(name, lambda _: 1.0)(point):
            continue
        holding = [mode for mode in modes if mode.holds(point)]
        assert len(holding) == 1, ([mode.name for mode in holding], point)
        (mode,) = holding
        gain = abs(mode.output_at(point)) / point[answer.circuit.input.quantity.symbol]
        if not 1 / STEEPEST < gain < STEEPEST:
            continue
        try:
            found = periodic_averages(answer.circuit, with_small_ripple(answer.circuit, point))
        except NotPeriodic:
            continue
        compared += 1
        assert mode.output_at(point) == pytest.approx(found.output_voltage, rel=0.02), (mode.name, point)
        last = found.sequence(1e-3, 1e-3)[-1]
        if name not in SHARED:
            assert mode.idle == (not last.carrying), (mode.name, last, point)
    assert compared


@settings(generated, max_examples=6)
@given(circuit=made_up(lossless=True), seed=st.integers(0, 2**32))
def test_regions_of_made_up_circuits_do_not_overlap(circuit: Circuit, seed: int) -> None:
    """And where one mode is listed alone it holds alone; gaps are told by the answer itself."""
    answer = voltsec.solve(circuit)
    modes = [mode for mode in stated(answer) if mode.name in dict(answer.engine.builders)]
    source = random.Random(seed)
    for _ in range(12):
        point = anywhere(circuit, source)
        holding = [mode.name for mode in modes if mode.holds(point)]
        numbers = answer.engine.at(point)
        if numbers is not None and numbers.mode in {mode.name for mode in modes}:
            assert holding == [numbers.mode], (holding, numbers.mode, point)
        else:
            assert not holding, (holding, point)


def test_duties_of_unsorted_edges() -> None:
    """A region names the order of its duties."""
    answer = solved("boost_then_buck")
    for mode in answer.modes:
        orders = [part for part in sympy.And.make_args(mode.holds_when) if _orders(part)]
        assert len(orders) == len(list(pairwise(answer.circuit.duty_symbols)))


def _orders(part: sympy.Basic) -> bool:
    return {str(s) for s in part.args} == {"D1", "D2"}
