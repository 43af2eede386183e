"""Formulas as presentation MathML, laid out as in the terminal: complements primed, sums led by a plus."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape
from typing import Any, ClassVar

from sympy import Add, Basic, Expr, Integer, Mul, Pow, Rational, Symbol
from sympy.printing.printer import Printer

from voltsec.report.formula import with_complements
from voltsec.report.latex import GREEK, RIPPLE, board_name

GREEK_LETTERS = dict(
    zip(
        [
            "alpha",
            "beta",
            "gamma",
            "delta",
            "epsilon",
            "zeta",
            "eta",
            "theta",
            "iota",
            "kappa",
            "lambda",
            "mu",
            "nu",
            "xi",
            "pi",
            "rho",
            "sigma",
            "tau",
            "upsilon",
            "phi",
            "chi",
            "psi",
            "omega",
            "Gamma",
            "Delta",
            "Theta",
            "Lambda",
            "Xi",
            "Pi",
            "Sigma",
            "Upsilon",
            "Phi",
            "Psi",
            "Omega",
        ],
        "αβγδεζηθικλμνξπρστυφχψωΓΔΘΛΞΠΣΥΦΨΩ",
        strict=True,
    )
)
RELATIONS = {">=": "≥", "<=": "≤", ">": "&gt;", "<": "&lt;", "!=": "≠", "==": "="}
LONGEST_ROW = 44
"""Letters and digits of a sum beyond which it goes on in a new row: browsers break no formulas."""

TAG = re.compile(r"<[^>]*>")
PRIME = '<mo lspace="0" rspace="0">′</mo>'
TIMES = '<mo>⁢</mo><mspace width="0.13em"/>'
LETTERS = {"rise": "Δi", "imin": "i", "vmin": "v"}


def mathml(expression: Basic | None, duties: Iterable[str] = (), display: bool = False) -> str:
    """A ``<math>`` element; ``None`` (not determined) is a dash."""
    if expression is None:
        return "–"
    return wrapped(_Printer().doprint(with_complements(expression, duties)), display)


def equation_mathml(left: Basic, right: Basic, duties: Iterable[str] = (), display: bool = True) -> str:
    """``left = right``."""
    printer = _Printer()
    sides = [printer.doprint(with_complements(side, duties)) for side in (left, right)]
    return wrapped(f"{sides[0]}<mo>=</mo>{sides[1]}", display)


def wrapped(inner: str, display: bool = False) -> str:
    """``inner`` in its ``<math>`` element."""
    kind = ' display="block"' if display else ' displaystyle="true"'
    return f"<math{kind}><mrow>{inner}</mrow></math>"


def symbol_mathml(name: str) -> str:
    """``L1`` with its digit lowered, ``R_L`` as R with L lowered, D′ primed."""
    on_the_board = board_name(name)
    if on_the_board is not None:
        letter = LETTERS.get(on_the_board.letter, on_the_board.letter)
        part = _identifier(on_the_board.part)
        if on_the_board.letter in ("imin", "vmin"):
            part = f'<mrow>{part}<mo separator="true">,</mo><mi mathvariant="normal">min</mi></mrow>'
        if on_the_board.interval:
            raised = f"<mrow><mo>(</mo><mn>{on_the_board.interval}</mn><mo>)</mo></mrow>"
            return f"<msubsup><mi>{letter}</mi>{_lowered(part)}{raised}</msubsup>"
        return f"<msub><mi>{letter}</mi>{_lowered(part)}</msub>"
    primes = len(name) - len(name.rstrip("′"))
    if primes:
        return f"<mrow>{symbol_mathml(name[:-primes])}{PRIME * primes}</mrow>"
    if name in GREEK:
        return f"<mi>{GREEK_LETTERS[name]}</mi>"
    if name.startswith(RIPPLE):
        return f'<mrow><mi mathvariant="normal">Δ</mi>{symbol_mathml(name[1:])}</mrow>'
    head, _, tail = name.partition("_")
    if head in GREEK:
        letter, below = GREEK_LETTERS[head], ""
    else:
        letter, below = head[:1], head[1:]
    parts = [part for part in (below, *tail.split("_")) if part]
    if not letter:
        return f'<mi mathvariant="normal">{escape(name)}</mi>'
    if not parts:
        return f"<mi>{escape(letter)}</mi>"
    return f"<msub><mi>{escape(letter)}</mi>{_lowered(_identifier(','.join(parts)))}</msub>"


def _lowered(part: str) -> str:
    """A subscript a little lower: without a mathematical font a browser hardly lowers it at all."""
    return f'<mpadded voffset="-0.2em" depth="+0.2em">{part}</mpadded>'


def _identifier(text: str) -> str:
    if text.isdigit():
        return f"<mn>{text}</mn>"
    return f'<mi mathvariant="normal">{escape(text)}</mi>'


class _Printer(Printer):
    """Builds the inside of a ``<math>`` element as text."""

    _default_settings: ClassVar[dict[str, Any]] = {"order": None}

    def doprint(self, expr: Basic) -> str:
        """The markup of ``expr``."""
        return str(self._print(expr))

    def emptyPrinter(self, expr: Basic) -> str:
        """What no rule knows, as text."""
        return f"<mtext>{escape(str(expr))}</mtext>"

    def _print_Symbol(self, expr: Symbol) -> str:
        return symbol_mathml(expr.name)

    def _print_Integer(self, expr: Integer) -> str:
        return self._signed(f"<mn>{abs(int(expr))}</mn>", expr < 0)

    def _print_Rational(self, expr: Rational) -> str:
        return self._signed(f"<mfrac><mn>{abs(expr.p)}</mn><mn>{expr.q}</mn></mfrac>", expr < 0)

    def _print_Float(self, expr: Expr) -> str:
        return self._signed(f"<mn>{abs(float(expr)):.6g}</mn>", bool(expr < 0))

    def _signed(self, text: str, negative: bool) -> str:
        return f"<mo>−</mo>{text}" if negative else text

    def _print_Add(self, expr: Add, order: str | None = None) -> str:
        terms = [self._term(term) for term in self._as_ordered_terms(expr, order=order)]
        leader = next((n for n, (negative, _) in enumerate(terms) if not negative), 0)
        terms.insert(0, terms.pop(leader))
        rows = [self._signed(terms[0][1], terms[0][0])]
        for negative, term in terms[1:]:
            signed = f'<mo form="infix">{"−" if negative else "+"}</mo>{term}'
            if _length(rows[-1]) + _length(term) > LONGEST_ROW:
                rows.append(signed)
            else:
                rows[-1] += signed
        return _stacked(rows)

    def _term(self, term: Expr) -> tuple[bool, str]:
        """Its sign, and the rest without it."""
        coefficient, rest = term.as_coeff_Mul()
        negative = bool(coefficient.is_negative)
        if rest == 1:
            return negative, str(self._print(abs(coefficient)))
        if not isinstance(rest, Mul | Pow) and abs(coefficient) == 1:
            return negative, str(self._print(rest))
        return negative, self._product(abs(coefficient), rest)

    def _print_Mul(self, expr: Mul) -> str:
        coefficient, rest = expr.as_coeff_Mul()
        negative = bool(coefficient.is_negative)
        if negative and isinstance(rest, Add) and coefficient == -1:
            return f"<mo>−</mo>{self._fenced(rest)}"
        return self._signed(self._product(abs(coefficient), rest), negative)

    def _product(self, coefficient: Expr, rest: Expr) -> str:
        top: list[Expr] = []
        bottom: list[Expr] = []
        root_top: list[Expr] = []
        root_bottom: list[Expr] = []
        for factor in Mul.make_args(rest):
            base, exponent = factor.as_base_exp()
            if not exponent.is_Rational:
                top.append(factor)
                continue
            place, root = (bottom, root_bottom) if exponent < 0 else (top, root_top)
            size = abs(exponent)
            if size.q == 2:
                root.append(base)
                size -= Rational(1, 2)
            if size:
                place.append(base if size == 1 else Pow(base, size, evaluate=False))
        for group in (top, bottom, root_top, root_bottom):
            group.sort(key=_place)
        over, under = coefficient.as_numer_denom()
        if over != 1 or not top:
            top.insert(0, over)
        if under != 1:
            bottom.insert(0, under)
        above = self._factors(top, alone=bool(bottom or root_bottom) and not root_top)
        below = self._factors(bottom, alone=not root_bottom or bool(root_top))
        if root_top:
            inside = self._row(root_top)
            if root_bottom:
                inside = f"<mfrac><mrow>{inside}</mrow><mrow>{self._row(root_bottom)}</mrow></mfrac>"
            above.append(f"<msqrt>{inside}</msqrt>")
        elif root_bottom:
            below.append(f"<msqrt>{self._row(root_bottom)}</msqrt>")
        if len(above) > 1 and above[0] == "<mn>1</mn>":
            above.pop(0)
        over_text = TIMES.join(above)
        if not below:
            return over_text
        return f"<mfrac><mrow>{over_text}</mrow><mrow>{TIMES.join(below)}</mrow></mfrac>"

    def _factors(self, factors: list[Expr], alone: bool) -> list[str]:
        """Each factor's markup; sums in parentheses unless one stands ``alone`` in its half of a fraction."""
        if len(factors) == 1 and alone:
            return [str(self._print(factors[0]))]
        return [self._fenced(f) if isinstance(f, Add) else str(self._print(f)) for f in factors]

    def _row(self, factors: list[Expr]) -> str:
        if len(factors) == 1:
            return str(self._print(factors[0]))
        return TIMES.join(
            self._fenced(factor) if isinstance(factor, Add) else str(self._print(factor))
            for factor in factors
        )

    def _fenced(self, expr: Basic) -> str:
        return f"<mrow><mo>(</mo>{self._print(expr)}<mo>)</mo></mrow>"

    def _print_Pow(self, expr: Pow) -> str:
        base, exponent = expr.base, expr.exp
        if exponent == Rational(1, 2):
            return f"<msqrt>{self._print(base)}</msqrt>"
        if exponent.is_Rational and exponent < 0:
            return self._product(Integer(1), expr)
        inside = (
            self._print(base) if base.is_Symbol or (base.is_Integer and base >= 0) else self._fenced(base)
        )
        if base.is_Symbol and board_name(base.name) is not None:
            inside = self._fenced(base)
        return f"<msup>{inside}<mrow>{self._print(exponent)}</mrow></msup>"

    def _print_Abs(self, expr: Expr) -> str:
        return f"<mrow><mo>|</mo>{self._print(expr.args[0])}<mo>|</mo></mrow>"

    def _call(self, name: str, expr: Basic) -> str:
        parts = '<mo separator="true">,</mo>'.join(str(self._print(part)) for part in expr.args)
        return f"<mrow><mi>{name}</mi><mo>(</mo>{parts}<mo>)</mo></mrow>"

    def _print_Max(self, expr: Basic) -> str:
        return self._call("max", expr)

    def _print_Min(self, expr: Basic) -> str:
        return self._call("min", expr)

    def _print_Relational(self, expr: Basic) -> str:
        sign = RELATIONS.get(expr.rel_op, expr.rel_op)
        return f"{self._print(expr.lhs)}<mo>{sign}</mo>{self._print(expr.rhs)}"

    def _joined(self, expr: Basic, word: str, inner: str) -> str:
        parts = sorted(expr.args, key=lambda part: (len(str(part)), str(part)))
        shown = [self._fenced(p) if p.func.__name__ == inner else str(self._print(p)) for p in parts]
        between = f'<mspace width="0.5em"/><mtext>{word}</mtext>'
        if sum(map(_length, shown)) > LONGEST_ROW:
            return _stacked([*(part + between for part in shown[:-1]), shown[-1]])
        return (between + '<mspace width="0.5em"/>').join(shown)

    def _print_And(self, expr: Basic) -> str:
        return self._joined(expr, "and", "Or")

    def _print_Or(self, expr: Basic) -> str:
        return self._joined(expr, "or", "And")

    def _print_Not(self, expr: Basic) -> str:
        return f"<mtext>not</mtext>{self._fenced(expr.args[0])}"

    def _print_BooleanTrue(self, expr: Basic) -> str:
        return "<mtext>always</mtext>"

    def _print_BooleanFalse(self, expr: Basic) -> str:
        return "<mtext>never</mtext>"

    def _print_Piecewise(self, expr: Basic) -> str:
        rows = []
        for value, condition in expr.args:
            where = "<mtext>otherwise</mtext>" if condition == True else self._print(condition)  # noqa: E712
            rows.append(f"<mtr><mtd>{self._print(value)}</mtd><mtd>{where}</mtd></mtr>")
        return f"<mrow><mo>{{</mo><mtable>{''.join(rows)}</mtable></mrow>"


def _length(markup: str) -> int:
    """Letters and digits of some markup."""
    return len(TAG.sub("", markup))


def _stacked(rows: list[str]) -> str:
    """Rows below each other, a single one as it is."""
    if len(rows) == 1:
        return f"<mrow>{rows[0]}</mrow>"
    lines = "".join(f"<mtr><mtd>{row}</mtd></mtr>" for row in rows)
    return f'<mtable class="rows">{lines}</mtable>'


def _place(factor: Expr) -> tuple[int, str]:
    """Numbers, then symbols by name, then sums and roots."""
    base = factor.as_base_exp()[0]
    if base.is_Number:
        return 0, ""
    return (1, base.name) if isinstance(base, Symbol) else (2, "")
