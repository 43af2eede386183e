"""A mode's formulas as JavaScript functions of one object ``p`` that holds every symbol's value."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from sympy import Basic, Expr, Rational, Symbol
from sympy.printing.printer import Printer

from voltsec.steady.losses import losses
from voltsec.steady.solution import Mode, Solution
from voltsec.tableau.expression import symbol

LONGEST_COURSE = 120
"""Terms of a capacitor current beyond which its ripple is taken from the mode's formula."""

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


SWING = """function swing(course) {
  let charge = 0, high = 0, low = 0;
  const reach = value => { high = Math.max(high, value); low = Math.min(low, value); };
  for (const [share, mean, ramp] of course) {
    if (Math.abs(mean) < Math.abs(ramp)) reach(charge - share * (mean - ramp) * (mean - ramp) / (4 * ramp));
    charge += share * mean;
    reach(charge);
  }
  return high - low;
}"""
"""Peak-to-peak charge over the period, in units of T; [share, mean, half rise] for each interval."""


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
    """Whether the page can evaluate the mode by itself."""
    return mode.closed_form and (mode.gain is not None or mode.output_voltage is not None)


def mode_losses(solution: Solution, mode: Mode) -> dict[str, Expr | None]:
    """Loss of each lossy part, where the mode has formulas."""
    builder = dict(solution.engine.builders).get(mode.name)
    return {} if builder is None else losses(builder)


def in_order(definitions: Mapping[str, Expr]) -> list[tuple[str, Expr]]:
    """Definitions such that each needs only earlier ones."""
    waiting = dict(definitions)
    found: list[tuple[str, Expr]] = []
    while waiting:
        ready = [n for n, e in waiting.items() if not {str(s) for s in e.free_symbols} & (set(waiting) - {n})]
        for name in ready or list(waiting):
            found.append((name, waiting.pop(name)))
    return found


def charge_swings(solution: Solution, mode: Mode) -> Iterator[tuple[str, str]]:
    """Ripple of each capacitor from its current's course, as the solver's numbers take it: key, JavaScript.

    The mode's formula neglects the coils' own ripple in continuous conduction; the course does not.
    """
    builder = dict(solution.engine.builders).get(mode.name)
    if builder is None:
        return
    balance, form = builder.balance, builder.form
    ring = balance.ring
    for capacitor in solution.circuit.capacitors:
        unknown = ("i", capacitor.name)
        pieces = []
        for k, fraction in enumerate(balance.sequence.fractions):
            mean, ramp = balance.mean(k, unknown), balance.ramp(k, unknown)
            if mean is None or ramp is None or len(mean[0]) + len(ramp[0]) > LONGEST_COURSE:
                break
            share = form.expression((ring.symbol(fraction), ring.one))
            course = [javascript(e) for e in (share, form.expression(mean), form.expression(ramp))]
            pieces.append(f"[{','.join(course)}]")
        else:
            size = javascript(symbol(capacitor.quantity.symbol))
            yield f"ripple:{capacitor.name}", f"p=>swing([{','.join(pieces)}])*p.T/{size}"


def model_script(solution: Solution, details: Mapping[str, object]) -> str:
    """``const MODEL = {...}``: the modes as functions, and ``details`` as plain values."""
    modes = []
    for mode in solution.modes:
        if not has_formulas(mode):
            continue
        try:
            defined = ",".join(f"[{json.dumps(n)},p=>{javascript(e)}]" for n, e in in_order(mode.definitions))
            holds = "null" if mode.holds_when is None else f"p=>{javascript(mode.holds_when)}"
            outputs = dict(named_formulas(mode))
            outputs |= {f"loss:{n}": e for n, e in mode_losses(solution, mode).items() if e is not None}
            written = {key: f"p=>{javascript(e)}" for key, e in outputs.items()} | dict(charge_swings(solution, mode))
            if mode.gain is None and mode.output_voltage is not None:
                source = javascript(symbol(solution.circuit.input.quantity.symbol))
                written["gain"] = f"p=>{javascript(mode.output_voltage)}/{source}"
            shown = ",".join(f"{json.dumps(key)}:{text}" for key, text in written.items())
        except NotImplementedError:
            continue
        modes.append(f"{{name:{json.dumps(mode.name)},define:[{defined}],holds:{holds},out:{{{shown}}}}}")
    plain = json.dumps(details, ensure_ascii=True, allow_nan=False).replace("</", "<\\/")
    return f"const MODEL={plain};\n{SWING}\nMODEL.modes=[{','.join(modes)}];"
