"""A wrong line: the right formula, how far off it is, numbers that show it, and the likely slip."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import isfinite

import sympy
from sympy import Expr
from sympy.core.function import AppliedUndef

from voltsec.formulas.root_forms import size
from voltsec.practice.equality import Prover
from voltsec.practice.names import Claim
from voltsec.practice.radicals import NotAlgebraic, Part, Radicals
from voltsec.practice.sampling import Point, Sized, Undefined, same
from voltsec.practice.verdict import Example, Mistake, Slip
from voltsec.results.solution import Solution
from voltsec.tableau.expression import Writer
from voltsec.tableau.ratio import Ratio

LONGEST_TIDIED = 400
"""Longer expressions are left as they are."""

LONGEST_RATIO = 80
"""Nodes of an expression that is still worth showing as a ratio or a difference."""


def diagnose(claim: Claim, prover: Prover, slips: tuple[Slip, ...], solution: Solution) -> Mistake:
    """Why ``claim`` does not hold in the mode of ``prover``; ``slips`` are the likely ones."""
    left, right = (prover.inserted(claim, side) for side in (claim.left, claim.right))
    label, formula, written, known = "", None, left, right
    chosen = _named_side(claim)
    if chosen is not None:
        label = _label(claim, chosen)
        known, written = (left, right) if chosen == 0 else (right, left)
        formula = _known(claim, chosen, prover)
    return Mistake(
        label,
        formula,
        _ratio(written, known, prover),
        _difference(written, known, prover),
        _example(claim, left, right, prover, solution),
        slips,
    )


def right_formulas(claim: Claim, provers: Iterable[Prover]) -> Iterator[tuple[str, str, Expr]]:
    """Mode, left side and right formula in modes in which ``claim`` does not hold."""
    chosen = _named_side(claim)
    if chosen is None:
        return
    for prover in provers:
        yield prover.mode.mode.name, _label(claim, chosen), _known(claim, chosen, prover)


def _known(claim: Claim, chosen: int, prover: Prover) -> Expr:
    """The value of one side; that of a single quantity as the mode's answers write it."""
    side = claim.left if chosen == 0 else claim.right
    single = next((q for q in claim.quantities if q.placeholder == side), None)
    value = prover.mode.value(single) if single is not None else None
    return tidy(prover.inserted(claim, side), prover) if value is None else value


def _label(claim: Claim, chosen: int) -> str:
    """The text of one side."""
    return claim.equation.text.split(":", 1)[-1].split("=")[chosen].strip()


def _named_side(claim: Claim) -> int | None:
    """The side whose value is the right formula: the one with quantities, or a single quantity."""
    placeholders = {quantity.placeholder for quantity in claim.quantities}
    holding = [bool(side.free_symbols & placeholders) for side in (claim.left, claim.right)]
    if holding[0] != holding[1]:
        return 0 if holding[0] else 1
    for place, side in enumerate((claim.left, claim.right)):
        if side in placeholders:
            return place
    return None


def tidy(expression: Expr, prover: Prover, expand: bool = False) -> Expr:
    """``expression`` factored as answers are written; with ``expand`` K is written out."""
    if expression.is_Symbol or expression.is_number or size(expression) > LONGEST_TIDIED:
        return expression
    try:
        algebra = prover.algebra(expression, expand=expand)
        top, bottom = algebra.element(expression)
        point = {}
        if prover.points:
            first = prover.points[0]
            point = {name: _float(first, name) for name in algebra.ring.names}
        written = _written(algebra, top, bottom, prover, point)
    except (NotAlgebraic, ZeroDivisionError, Undefined):
        return expression
    if written is None:
        return expression
    return written if not expression.is_Mul or size(written) <= 2 * size(expression) else expression


def _float(point: Point, name: str) -> float:
    return float(point.value(sympy.Symbol(name, positive=True)))


def _written(
    algebra: Radicals, top: Part, bottom: Part, prover: Prover, point: dict[str, float]
) -> Expr | None:
    if not top:
        return sympy.Integer(0)
    if len(top) > 1 or len(bottom) > 1:
        return None
    duties = tuple(d for d in prover.mode.circuit.duty_symbols if d in algebra.ring.index)
    writer = Writer(algebra.ring, duties, {name: point.get(name, 1.0) for name in algebra.ring.names})
    ((over, numerator),), ((under, denominator),) = top.items(), bottom.items()
    roots: list[Expr] = []
    for key, sign in ((over, 1), (under, -1)):
        for atom, exponent in key:
            power = sympy.Rational(sign * exponent.numerator, exponent.denominator)
            roots.append(writer.polynomial(algebra.atoms[atom]) ** power)
    ratio = writer.ratio(Ratio(numerator, denominator))
    return sympy.Mul(ratio, *roots) if roots else ratio


def _short(candidates: list[Expr]) -> Expr | None:
    best = min(candidates, key=size, default=None)
    if best is not None and best.has(AppliedUndef):
        return None  # a maximum: no ratio that could be read back
    return best if best is not None and size(best) <= LONGEST_RATIO else None


def _ratio(written: Expr, known: Expr, prover: Prover) -> Expr | None:
    """What was written over what is right, in whichever form is shorter."""
    if known == 0 or written == 0:
        return None
    ratio = written / known
    return _short([tidy(ratio, prover), tidy(ratio, prover, expand=True)])


def _difference(written: Expr, known: Expr, prover: Prover) -> Expr | None:
    difference = written - known
    return _short([tidy(difference, prover), tidy(difference, prover, expand=True)])


def _example(claim: Claim, left: Expr, right: Expr, prover: Prover, solution: Solution) -> Example | None:
    """Numbers that show the difference: the operating point where the mode holds there and they differ."""
    points: list[tuple[Point, bool]] = [(point, False) for point in prover.points]
    numbers = solution.numbers
    if numbers is not None and numbers.mode == prover.mode.mode.name and prover.mode.builder is not None:
        operating = prover.operating_point(numbers.point)
        if operating is not None:
            points.insert(0, (operating, True))
    for point, is_operating in points:
        values: list[Sized | None] = []
        for side in (left, right):
            try:
                values.append(point.sized(side))
            except Undefined:
                values.append(None)
        one, other = values
        if one is not None and other is not None and same(one, other):
            continue
        needed = _symbols(left, right, prover)
        used = {name: float(value) for name, value in point.plain.items() if name in needed}
        shown = [None if sized is None else _finite(float(sized.value)) for sized in values]
        return Example(used, shown[0], shown[1], is_operating)
    return None


def _finite(value: float) -> float | None:
    """``None`` for what no number in JSON can tell."""
    return value if isfinite(value) else None


def _symbols(left: Expr, right: Expr, prover: Prover) -> set[str]:
    """Names of the plain symbols that both sides are made of."""
    return set(prover.algebra(left, right).ring.names)
