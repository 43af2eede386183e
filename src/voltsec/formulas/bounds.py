"""Bounds on the period told as conditions on K, with the boundary in terms of load and coils."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import Protocol

from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.edges import Bound
from voltsec.periodic.effective import Effective, effective_inductance
from voltsec.periodic.signs import Facts
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring


class Told(Protocol):
    """What is filled in beside the conditions."""

    boundary: dict[str, Expr]
    definitions: dict[str, Expr]
    effectives: list[Effective]
    """The named quantities K, K2 ... that conditions use."""


def bound_parts(
    form: ClosedForm, facts: Facts, bounds: list[Bound], ends: list[Bound], result: Told
) -> list[Boolean]:
    """Bounds as conditions on K (or on T without a load resistance), with boundary and definitions.

    At ``ends`` an interval vanishes; the first is where the mode's last interval does.
    """
    parts: list[Boolean] = []
    effectives = result.effectives
    for bound in bounds:
        own_edge = any(bound is end for end in ends)
        if own_edge and bound is ends[0] and form.period_at_edge() is not None:
            period = form.edge_period
        else:
            shown = form.without_linear(form.shown(bound.period))
            period = shown.mapped(partial(_gone, form.ring, form.unknown if own_edge else ()))
        name = form.k_name if not effectives else f"{form.k_name}{len(effectives) + 1}"
        while name != form.k_name and name in form.ring.names:
            name += "_"
        effective = effective_inductance(form.circuit, form.ring, period, name)
        if effective is None:
            parts.append(_on_period(form, bound, period, facts))
            if (
                form.ring.value(period.numerator, form.point)
                * form.ring.value(period.denominator, form.point)
                > 0
            ):
                result.boundary.setdefault("T", form.writer.ratio(period))
            continue
        same = _same(effective, effectives)
        if same is None:
            effectives.append(effective)
        else:
            effective = same
        critical = _critical(form, effective, period)
        inductance = form.writer.ratio(effective.inductance)
        result.definitions[effective.name] = 2 * inductance / (symbol(effective.load) * symbol("T"))
        own = symbol(effective.name)
        if own_edge:
            parts.append(own < critical if bound.upper is False else own > critical)
        else:
            parts.append(own >= critical if bound.upper else own <= critical)
        result.boundary.setdefault(effective.name, critical)
        _solve_for_parts(form, period, effective, result)
    return parts


def bound_condition(form: ClosedForm, facts: Facts, bound: Bound, effectives: list[Effective]) -> Boolean:
    """A bound as a condition on one of the named quantities there are, else on T."""
    period = form.without_linear(form.shown(bound.period))
    effective = effective_inductance(form.circuit, form.ring, period, form.k_name)
    same = None if effective is None else _same(effective, effectives)
    if same is None:
        return _on_period(form, bound, period, facts)
    own, critical = symbol(same.name), _critical(form, same, period)
    return own >= critical if bound.upper else own <= critical


def _same(effective: Effective, others: list[Effective]) -> Effective | None:
    """The one among ``others`` with the same inductance."""
    return next(
        (e for e in others if e.inductance == effective.inductance),
        None,
    )


def _critical(form: ClosedForm, effective: Effective, period: Ratio) -> Expr:
    """Value of K at a period."""
    load = form.ring.symbol(effective.load)
    return form.writer.ratio(
        lowest_terms(
            2 * effective.inductance.numerator * period.denominator,
            effective.inductance.denominator * load * period.numerator,
        )
    )


def _on_period(form: ClosedForm, bound: Bound, period: Ratio, facts: Facts) -> Boolean:
    """A bound on T itself."""
    if facts.sign(bound.period) == 1:
        limit = form.writer.ratio(period)
        return symbol("T") <= limit if bound.upper else symbol("T") >= limit
    # as a bound on 1/T, which says nothing where it is negative
    share = symbol("T") * form.writer.ratio(period.inverse)
    return share <= 1 if bound.upper else share >= 1


def _gone(ring: Ring, names: Iterable[str], part: Polynomial) -> Polynomial:
    """A polynomial with the named variables zero."""
    return ring.substitute(part, ring, dict.fromkeys(names, ring.zero))


def _solve_for_parts(form: ClosedForm, period: Ratio, effective: Effective, result: Told) -> None:
    """The boundary as a critical load resistance and as least inductances."""
    ring = form.ring
    equation = period.numerator - ring.symbol("T") * period.denominator
    names = [effective.load, *(coil.symbol for coil in coils(form.circuit))]
    for name in names:
        if ring.degree(equation, name) != 1 or name in result.boundary:
            continue
        constant, linear = ring.coefficients(equation, name)
        if constant.is_zero() or ring.value(constant, form.point) * ring.value(linear, form.point) >= 0:
            continue  # no positive value of this part reaches the boundary
        result.boundary[name] = form.writer.ratio(lowest_terms(-constant, linear))
