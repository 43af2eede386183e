"""A mode's formulas as JavaScript functions of one object ``p`` that holds every symbol's value."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from sympy import Basic, Expr, Rational, Symbol
from sympy.printing.printer import Printer

from voltsec.results.solution import Mode

STRESS_KEYS = ("voltage_peak", "current_average", "current_peak", "current_rms")


class _Printer(Printer):
    """Every operand stands in parentheses, so that no rule of precedence is needed."""

    def emptyPrinter(self, expr: Basic) -> str:
        """Nothing is guessed."""
        raise NotImplementedError(f"no JavaScript for {type(expr).__name__}")

    def _print_Symbol(self, expr: Symbol) -> str:
        return f"p[{json.dumps(expr.name)}]"

    def _print_Integer(self, expr: Expr) -> str:
        return f"({int(expr)})"

    def _print_Rational(self, expr: Rational) -> str:
        return f"({expr.p}/{expr.q})"

    def _print_Float(self, expr: Expr) -> str:
        return f"({float(expr)!r})"

    def _joined(self, expr: Basic, sign: str) -> str:
        return "(" + sign.join(str(self._print(part)) for part in expr.args) + ")"

    def _print_Add(self, expr: Expr) -> str:
        return self._joined(expr, "+")

    def _print_Mul(self, expr: Expr) -> str:
        return self._joined(expr, "*")

    def _print_Pow(self, expr: Expr) -> str:
        base, exponent = self._print(expr.args[0]), expr.args[1]
        if exponent == Rational(1, 2):
            return f"Math.sqrt({base})"
        if exponent == Rational(-1, 2):
            return f"(1/Math.sqrt({base}))"
        if exponent == -1:
            return f"(1/{base})"
        if exponent == 2 and len(str(base)) < 20:
            return f"({base}*{base})"
        return f"Math.pow({base},{self._print(exponent)})"

    def _print_Abs(self, expr: Expr) -> str:
        return f"Math.abs({self._print(expr.args[0])})"

    def _print_Max(self, expr: Expr) -> str:
        return f"Math.max({','.join(str(self._print(part)) for part in expr.args)})"

    def _print_Min(self, expr: Expr) -> str:
        return f"Math.min({','.join(str(self._print(part)) for part in expr.args)})"

    def _print_And(self, expr: Basic) -> str:
        return self._joined(expr, "&&")

    def _print_Or(self, expr: Basic) -> str:
        return self._joined(expr, "||")

    def _print_Not(self, expr: Basic) -> str:
        return f"(!{self._print(expr.args[0])})"

    def _print_BooleanTrue(self, expr: Basic) -> str:
        return "true"

    def _print_BooleanFalse(self, expr: Basic) -> str:
        return "false"

    def _print_Relational(self, expr: Basic) -> str:
        left, right = (str(self._print(side)) for side in (expr.lhs, expr.rhs))
        if expr.rel_op in ("==", "!="):
            close = f"(Math.abs({left}-{right})<=1e-9*(Math.abs({left})+Math.abs({right})))"
            return close if expr.rel_op == "==" else f"(!{close})"
        return f"({left}{expr.rel_op}{right})"

    def _print_Piecewise(self, expr: Basic) -> str:
        text = "NaN"
        for value, condition in reversed(expr.args):
            text = f"({self._print(condition)}?{self._print(value)}:{text})"
        return text


def javascript(expression: Basic) -> str:
    """``expression`` over ``p``."""
    return str(_Printer().doprint(expression))


def named_formulas(mode: Mode) -> Iterator[tuple[str, Expr]]:
    """Everything the page shows as a number of one mode: key, formula."""
    single = {"gain": mode.gain, "V": mode.output_voltage, "eta": mode.efficiency}
    groups: tuple[tuple[str, Mapping[str, Expr | None]], ...] = (
        ("", single),
        ("v:", mode.capacitor_voltages),
        ("i:", mode.inductor_currents),
        ("from:", mode.source_currents),
        ("ripple:", mode.ripple),
    )
    for prefix, group in groups:
        for name, expression in group.items():
            if expression is not None:
                yield prefix + name, expression
    for name, stress in mode.stress.items():
        for key in STRESS_KEYS:
            expression = getattr(stress, key)
            if expression is not None:
                yield f"{key}:{name}", expression


def has_formulas(mode: Mode) -> bool:
    """Whether the page can evaluate the mode by itself: closed formulas, or one root to be found."""
    known = mode.closed_form or implicit_unknown(mode) is not None
    return known and (mode.gain is not None or mode.output_voltage is not None)


def implicit_unknown(mode: Mode) -> str | None:
    """The one unknown fraction of a mode without closed form, if its one condition fixes it."""
    if mode.closed_form or mode.condition is None or len(mode.condition) != 1:
        return None
    open_names = {i.fraction.name for i in mode.intervals if i.ends != "switch" and i.fraction.is_Symbol}
    return open_names.pop() if len(open_names) == 1 else None


def in_order(definitions: Mapping[str, Expr]) -> list[tuple[str, Expr]]:
    """Definitions such that each needs only earlier ones."""
    waiting = dict(definitions)
    found: list[tuple[str, Expr]] = []
    while waiting:
        ready = [n for n, e in waiting.items() if not {str(s) for s in e.free_symbols} & (set(waiting) - {n})]
        for name in ready or list(waiting):
            found.append((name, waiting.pop(name)))
    return found
