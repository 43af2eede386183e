"""Duties in closed form, where the formula of the output is simple enough to be turned round."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sympy
from sympy import Expr

from voltsec.results.solution import Mode, Solution
from voltsec.tableau.expression import symbol

LONGEST = 70
"""Operations of an output formula up to which a closed form is looked for."""

LONGEST_ROOT = 80
"""Operations up to which a root is worth showing."""

WANTED = "Vout"


RIPPLE_MOVES = 0.02
"""The circuit's own ripple, which formulas neglect, moves a duty by less than this."""


def duty_formula(
    solution: Solution, mode_name: str, duty: str, point: Mapping[str, float], target: float
) -> Expr | None:
    """The duty as a formula of the wanted output (symbol ``Vout``) and the circuit's symbols.

    ``point`` holds the duty found, which tells the roots apart; ``None`` where no simple form exists.
    """
    mode = next((mode for mode in solution.modes if mode.name == mode_name), None)
    if mode is None:
        return None
    output = _expanded(mode, mode.output_voltage)
    name = WANTED
    while name in solution.symbols:
        name += "_"
    wanted = sympy.Symbol(name, real=True)
    if output is None or sympy.count_ops(output) > LONGEST:
        return None
    top, _ = sympy.fraction(sympy.together(output - wanted))
    values = {symbol(key): float(value) for key, value in solution.circuit.values.items()}
    values |= {symbol(key): float(value) for key, value in point.items()} | {wanted: target}
    return _matching_root(top, duty, values)


def _expanded(mode: Mode, expression: Expr | None) -> Expr | None:
    """Named quantities (K, d2) replaced by what they stand for; None where a fraction stays unknown."""
    if expression is None or not mode.closed_form:
        return None
    for _ in range(len(mode.definitions) + 1):
        named = {s: mode.definitions[s.name] for s in expression.free_symbols if s.name in mode.definitions}
        if not named:
            return expression
        expression = expression.subs(named)
    return None


def _matching_root(polynomial: Expr, duty: str, values: dict[Any, Any]) -> Expr | None:
    """The root that has the found value, among factors of degree one or two."""
    variable = symbol(duty)
    place = values[variable]
    known = {key: value for key, value in values.items() if key != variable}
    if not polynomial.is_polynomial(variable):
        return None
    near: list[tuple[float, Expr]] = []
    for factor, _ in sympy.factor_list(polynomial, variable)[1]:
        for root in _roots(factor, variable):
            if root.free_symbols - set(known):
                continue  # something in it has no value
            distance = abs(complex(root.subs(known).evalf()) - place)
            if distance < RIPPLE_MOVES:
                near.append((distance, root))
    root = min(near, key=lambda pair: pair[0])[1] if near else None
    return root if root is not None and sympy.count_ops(root) <= LONGEST_ROOT else None


def _roots(polynomial: Expr, variable: sympy.Symbol) -> list[Expr]:
    """Closed roots of a polynomial of degree one or two, square factors taken out of the root."""
    parts = sympy.Poly(polynomial, variable).all_coeffs()
    if len(parts) == 2:
        return [sympy.factor(-parts[1] / parts[0])]
    if len(parts) != 3:
        return []
    a, b, c = parts
    radicand = sympy.sqrt(sympy.factor(b * b - 4 * a * c))
    return [sympy.simplify((-b + sign * radicand) / (2 * a)) for sign in (1, -1)]
