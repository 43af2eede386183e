r"""The answer as LaTeX: single formulas, and a fragment to ``\input`` into a document that loads amsmath.

The complement of a duty symbol is written D', as in the trade's books.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sympy import Add, Basic
from sympy.printing.latex import LatexPrinter

from voltsec.formulas.first_order import FirstOrder
from voltsec.formulas.shortened import leading_orders, shortened
from voltsec.report.cautions import cautions
from voltsec.report.formula import readable, with_complements
from voltsec.report.notes import deviation_rows, notes
from voltsec.report.numbers_table import numbers_title, part_rows, stage_rows
from voltsec.report.outline import (
    ROLES,
    Row,
    leading_rows,
    mode_words,
    named,
    parts_in,
    port_rows,
    region_words,
    result_rows,
    shown_mode,
    stress_rows,
)
from voltsec.results.solution import Mode, Solution

GREEK_NAMES = """
alpha beta gamma delta epsilon zeta eta theta iota kappa lambda mu nu xi pi rho sigma tau upsilon phi chi psi
omega Gamma Delta Theta Lambda Xi Pi Sigma Upsilon Phi Psi Omega
"""
RIPPLE = "dI_"
"""A name that begins so is the ripple of a coil's current."""
BOARD_NAME = re.compile(r"(?P<letter>rise|imin|vmin|v|i|e)(?P<interval>\d*)\((?P<part>[^()]+)\)")
"""Names on the board taken apart: ``i2(L1)`` is the letter i, interval 2, part L1."""

GREEK = frozenset(GREEK_NAMES.split())
SPECIAL = {
    "\\": r"\textbackslash{}",
    "{": r"\{",
    "}": r"\}",
    "$": r"\$",
    "&": r"\&",
    "#": r"\#",
    "%": r"\%",
    "_": r"\_",
    "^": r"\textasciicircum{}",
    "~": r"\textasciitilde{}",
    "<": r"\textless{}",
    ">": r"\textgreater{}",
    "−": "$-$",
    "′": "$'$",
    "·": r"$\cdot$",
    "Ω": r"$\Omega$",
    "µ": r"$\mu$",
    "→": r"$\to$",
    "≥": r"$\ge$",
    "≤": r"$\le$",
    "–": "--",
}
LINE = 90
"""Characters of plain text that fit one displayed line, roughly."""


def symbol_latex(name: str) -> str:
    """``Vg`` -> ``V_{g}``, ``L1`` -> ``L_{1}``, ``R_L1`` -> ``R_{L1}``, ``M_L1_L2`` -> ``M_{L1,L2}``."""
    on_the_board = board_name(name)
    if on_the_board is not None:
        return board_latex(on_the_board, escaped(on_the_board.part))
    prime = ""
    while name.endswith("′"):
        name, prime = name[:-1], prime + "'"
    if name in GREEK:
        return f"\\{name}{prime}"
    if name.startswith(RIPPLE):
        return rf"\Delta {symbol_latex(name[1:] + prime)}"
    head, _, tail = name.partition("_")
    if head in GREEK:
        head, below = f"\\{head}", ""
    else:
        head, below = head[:1], head[1:]
    parts = [part for part in (below, *tail.split("_")) if part]
    if not head:
        return rf"\mathrm{{{escaped(name)}}}{prime}"
    if not parts:
        return head + prime
    # the prime stands last: TeX takes a power after a prime, but none after a prime and a subscript
    return f"{head}_{{{','.join(_subscript(part) for part in parts)}}}{prime}"


def _subscript(part: str) -> str:
    return part if len(part) == 1 or part.isdigit() else rf"\mathrm{{{part}}}"


def escaped(text: str) -> str:
    """Prose with LaTeX's own signs made harmless."""
    return "".join(SPECIAL.get(sign, sign) for sign in text)


class _Printer(LatexPrinter):
    def __init__(self) -> None:
        super().__init__({"fold_short_frac": False, "root_notation": True})

    def _print_Symbol(self, expr: Any, style: str = "plain") -> str:
        return symbol_latex(expr.name)

    def _print_Add(self, expr: Add, order: str | None = None) -> str:
        """The terms in sympy's order, but a positive one first."""
        terms = [self._print(term) for term in self._as_ordered_terms(expr, order=order)]
        leader = next((n for n, term in enumerate(terms) if not term.startswith("-")), 0)
        terms.insert(0, terms.pop(leader))
        text = terms[0]
        for term in terms[1:]:
            text += f" - {term[1:].lstrip()}" if term.startswith("-") else f" + {term}"
        return text


def formula_latex(expression: Basic | None, duties: Iterable[str] = ()) -> str:
    """``expression`` in LaTeX's mathematics; ``None`` is a dash."""
    if expression is None:
        return r"\text{--}"
    if not readable(expression):
        return r"\text{too long to be read}"
    return str(_Printer().doprint(with_complements(expression, duties)))


def latex_fragment(solution: Solution) -> str:
    r"""The whole answer, a section a mode; compiles inside any document with ``\usepackage{amsmath}``."""
    from jinja2 import Environment, PackageLoader

    environment = Environment(
        loader=PackageLoader("voltsec.report", "."),
        block_start_string="<%",
        block_end_string="%>",
        variable_start_string="<<",
        variable_end_string=">>",
        comment_start_string="<#",
        comment_end_string="#>",
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,
    )
    environment.filters["prose"] = escaped
    template = environment.get_template("solution.tex.j2")
    orders = leading_orders(solution)
    return template.render(
        title=solution.circuit.name,
        solution=solution,
        modes=[_mode_context(mode, solution, orders.get(mode.name)) for mode in shortened(solution).modes],
        duties=[symbol_latex(duty) for duty in solution.circuit.duty_symbols],
        complements=[symbol_latex(duty + "′") for duty in solution.circuit.duty_symbols],
        numbers=list(stage_rows(solution)) if solution.numbers else [],
        parts=list(part_rows(solution)) if solution.numbers else [],
        numbers_title=numbers_title(solution.numbers) if solution.numbers else "",
        differing=list(deviation_rows(solution)),
        warnings=notes(solution),
        cautions=cautions(solution),
    )


def _mode_context(mode: Mode, solution: Solution, leading: FirstOrder | None) -> dict[str, Any]:
    """What the template needs of one mode, formulas already in LaTeX."""
    duties = solution.circuit.duty_symbols
    return {
        "name": escaped(shown_mode(mode)),
        "words": mode_words(mode),
        "holds_when": None if mode.holds_when is None else formula_latex(mode.holds_when, duties),
        "region": region_words(mode),
        "proved": mode.proved,
        "definitions": [equation(symbol_latex(n), e, duties) for n, e in named(mode)],
        "condition": [equation("0", polynomial, duties) for polynomial in mode.condition or ()],
        "intervals": [
            {
                "fraction": formula_latex(interval.fraction, duties),
                "conducting": ", ".join(interval.conducting) or "none",
                "ends": interval.ends,
                **{role: ", ".join(parts_in(interval, role)) for role in ROLES},
            }
            for interval in mode.intervals
        ],
        "ports": _equations(port_rows(mode, solution), solution),
        "results": _equations([*result_rows(mode, solution.circuit), *leading_rows(leading)], solution),
        "stress": _equations(stress_rows(mode, solution.circuit), solution),
    }


def _equations(rows: Iterable[Row], solution: Solution) -> list[str]:
    """One entry of an ``align*`` a row; a label that repeats is written once."""
    duties = solution.circuit.duty_symbols
    found = []
    before = ""
    for row in rows:
        label = "" if row.label == before else row.label
        if row.words:
            label = f"{row.label}, {row.words}"
            if row.expression is None:
                found.append(rf"& && \text{{{escaped(label)}}}")
                continue
        found.append(equation(_left_side(row, solution), row.expression, duties, label))
        before = row.label
    return found


def _left_side(row: Row, solution: Solution) -> str:
    if row.letter == "gain":
        return rf"\frac{{V}}{{{symbol_latex(solution.circuit.input.quantity.symbol)}}}"
    if row.letter == "symbol":
        return symbol_latex(row.part)
    if row.letter == "edge":
        return rf"{symbol_latex(row.part)}\big|_{{\mathrm{{edge}}}}"
    part = rf"\mathrm{{{escaped(row.part)}}}"
    if row.letter == "Irms":
        return rf"I_{{{part},\mathrm{{rms}}}}"
    if row.words:
        part = rf"\mathrm{{{row.part}}}"
    letter = LETTERS.get(row.letter, row.letter)
    return rf"{letter}_{{{part}}}" if row.part else letter


LETTERS = {
    "eta": r"\eta",
    "share": "d",
    "dV": r"\Delta V",
    "dI": r"\Delta I",
    "Vpeak": r"\hat{V}",
    "Imean": r"\bar{I}",
    "Ipeak": r"\hat{I}",
}
"""Left-hand sides of the rows."""


def equation(left: str, expression: Basic | None, duties: Iterable[str], label: str = "") -> str:
    """One line of an ``align*``; a long sum goes on over several."""
    note = rf" && \text{{{escaped(label)}}}" if label else ""
    if isinstance(expression, Add) and readable(expression) and len(str(expression)) > LINE:
        shown = with_complements(expression, duties)
        parts = shown.as_ordered_terms() if isinstance(shown, Add) else [shown]
        terms = [formula_latex(part) for part in parts]
        lines = [f"{left} &= {terms[0]}{note}"]
        for term in terms[1:]:
            signed = term if term.startswith("-") else f"+ {term}"
            lines.append(rf"&\quad {signed}")
        return " \\\\\n".join(lines)
    return f"{left} &= {formula_latex(expression, duties)}{note}"


@dataclass(frozen=True)
class BoardName:
    """A voltage, current, rise or smallest value as the derivation names it."""

    letter: str
    interval: str
    part: str


def board_name(name: str) -> BoardName | None:
    """``name`` taken apart, ``None`` for a plain symbol."""
    match = BOARD_NAME.fullmatch(name)
    return None if match is None else BoardName(match["letter"], match["interval"], match["part"])


def board_latex(name: BoardName, escaped_part: str) -> str:
    r"""``v_{\mathrm{L1}}``, the interval raised in brackets."""
    letter = {"rise": r"\Delta i", "imin": r"\check{i}", "vmin": r"\check{v}"}.get(name.letter, name.letter)
    above = f"^{{({name.interval})}}" if name.interval else ""
    return rf"{letter}_{{\mathrm{{{escaped_part}}}}}{above}"
