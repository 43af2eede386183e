"""The report in the form a file's ending asks for: the page, Markdown, or a LaTeX document."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from sympy import Basic

from voltsec.circuit.computing_time import ordinary_budget
from voltsec.formulas.first_order import FirstOrder
from voltsec.formulas.shortened import leading_orders, shortened
from voltsec.report.cautions import cautions
from voltsec.report.contents import derivations, lead, parts, purpose, shown_losses, title
from voltsec.report.derivation_latex import as_latex
from voltsec.report.derivation_text import as_markdown
from voltsec.report.latex import escaped, formula_latex, latex_fragment, symbol_latex
from voltsec.report.latex_figure import PACKAGES
from voltsec.report.losses import loss_rows
from voltsec.report.notes import deviation_rows, notes
from voltsec.report.numbers_table import numbers_title, part_rows, stage_rows
from voltsec.report.other_losses import KINDS, other_loss_rows
from voltsec.report.outline import (
    ROLES,
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
from voltsec.report.report_latex import circuit_latex, frequency_latex, intervals_latex, time_latex
from voltsec.results.solution import Mode, Solution

LAST_LATIN = 0x180
"""Western European letters end here; the usual fonts have nothing beyond."""

PREAMBLE = r"""\documentclass[a4paper]{article}
\usepackage[utf8]{inputenc}
\usepackage{amsmath}
\usepackage[margin=22mm]{geometry}
\allowdisplaybreaks
\sloppy
\setlength{\parindent}{0pt}
\setlength{\parskip}{4pt}
"""


def document(solution: Solution, suffix: str) -> str:
    """The text of the report; the page for ``.html`` and ``.pdf``.

    What is not written in 20 seconds of computing time, or in the budget around, is left out, and it says so.
    """
    with ordinary_budget():
        if suffix == ".md":
            return markdown(solution)
        if suffix == ".tex":
            return latex_document(solution)
        from voltsec.report.page import page

        return page(solution, for_print=suffix == ".pdf")


def latex_document(solution: Solution) -> str:
    """A whole document that a plain TeX installation compiles."""
    circuit = solution.circuit
    listed = [
        [escaped(cell) for cell in (part.name, part.kind, part.nodes, part.value, part.further)]
        for part in parts(circuit)
    ]
    rows = "\n".join(" & ".join(row) + r" \\" for row in listed)
    pieces = [
        PREAMBLE + PACKAGES,
        rf"\title{{{escaped(title(solution))}}}",
        r"\author{}\date{}",
        r"\begin{document}",
        r"\maketitle",
        escaped(f"{purpose(circuit)}. {lead(solution)}." if purpose(circuit) else f"{lead(solution)}."),
        "",
        *circuit_latex(solution),
        r"\section*{Parts}",
        r"\begin{center}",
        r"\begin{tabular}{lllll}",
        r"part & kind & from $\to$ to & value & further \\ \hline",
        rows,
        r"\end{tabular}",
        r"\end{center}",
        "",
        r"\section*{Netlist}",
        r"\begin{verbatim}",
        _plain_netlist(circuit.text),
        r"\end{verbatim}",
        "",
        *intervals_latex(solution),
        *time_latex(solution),
        latex_fragment(solution),
        *_latex_losses(solution),
        *_latex_other_losses(solution),
        *frequency_latex(solution),
        *(as_latex(derivation) for derivation in derivations(solution)),
        r"\end{document}",
    ]
    return _typesettable("\n".join(pieces) + "\n")


def _typesettable(text: str) -> str:
    """Signs that a plain TeX installation has no glyph for become question marks."""
    return "".join(sign if ord(sign) < LAST_LATIN else "?" for sign in text)


def _plain_netlist(text: str) -> str:
    """The netlist as verbatim text: plain TeX fonts lack what lies outside ASCII."""
    text = (
        text.strip("\n")
        .replace("Ω", "ohm")
        .replace("µ", "u")
        .replace("μ", "u")
        .replace("\\end{verbatim}", "")
    )
    return text.encode("ascii", "replace").decode("ascii").replace("\t", "    ")


def _latex_losses(solution: Solution) -> Iterator[str]:
    duties = solution.circuit.duty_symbols
    for mode in shortened(solution).modes:
        found = shown_losses(mode)
        if found:
            yield rf"\section*{{Conduction losses, {mode.name}}}"
            lines = [
                rf"P_{{\mathrm{{{escaped(n)}}}}} &= {formula_latex(e, duties)}" for n, e in found.items()
            ]
            yield "\\begin{align*}\n" + " \\\\\n".join(lines) + "\n\\end{align*}"


def _latex_other_losses(solution: Solution) -> Iterator[str]:
    heading, *rows = [*other_loss_rows(solution)] or [()]
    if rows:
        kinds = {kind.formula: f"${kind.latex}$" for kind in KINDS.values()} | {"": ""}
        yield r"\section*{Losses beside conduction at the operating point}"
        yield r"\begin{center}\begin{tabular}{lllrr}"
        yield " & ".join(escaped(cell) for cell in heading) + r" \\ \hline"
        for part, words, formula_, *cells in rows:
            yield " & ".join([escaped(part), words, kinds[formula_], *map(escaped, cells)]) + r" \\"
        yield r"\end{tabular}\end{center}"


def markdown(solution: Solution) -> str:
    """The report as Markdown with formulas between dollar signs."""
    return "\n".join(_markdown(solution)) + "\n"


def _markdown(solution: Solution) -> Iterator[str]:
    circuit = solution.circuit
    duties = circuit.duty_symbols

    def shown(expression: Basic | None) -> str:
        return "–" if expression is None else f"${formula_latex(expression, duties)}$"

    yield f"# {title(solution)}"
    yield ""
    if purpose(circuit):
        yield f"{purpose(circuit)}."
        yield ""
    yield f"{lead(solution)}."
    yield from _heading("Circuit")
    yield from _table(
        ["Part", "Kind", "From → to", "Value", "Further"],
        [[p.name, p.kind, p.nodes, p.value, p.further] for p in parts(circuit)],
    )
    yield "```"
    yield circuit.text.strip("\n").replace("```", "")
    yield "```"
    for duty in duties:
        yield ""
        yield f"Throughout, ${symbol_latex(duty + '′')} = 1 - {symbol_latex(duty)}$."
    orders = leading_orders(solution)
    for mode in shortened(solution).modes:
        yield from _mode(mode, solution, shown, orders.get(mode.name))
    if solution.numbers is not None:
        yield from _heading(f"Numbers {numbers_title(solution.numbers)}")
        yield from _table(["Quantity", "Value"], [list(row) for row in stage_rows(solution)])
        heading, *rows = part_rows(solution)
        yield from _table([cell.replace("\n", " ") for cell in heading], [list(row) for row in rows])
        for table in (loss_rows(solution), other_loss_rows(solution), deviation_rows(solution)):
            names, *cells = [list(row) for row in table] or [[]]
            if cells:
                yield from _table(names, cells)
    for derivation in derivations(solution):
        yield ""
        yield as_markdown(derivation).replace("\n## ", "\n### ").replace("# ", "## ", 1)
    for name, listed in (
        ("Not determined", solution.undetermined),
        ("Notes", notes(solution)),
        ("Cautions", cautions(solution)),
    ):
        if listed:
            yield from _heading(name)
            for note in listed:
                yield f"- {note}"


def _mode(
    mode: Mode, solution: Solution, shown: Callable[[Basic], str], leading: FirstOrder | None
) -> Iterator[str]:
    words = mode_words(mode)
    name = shown_mode(mode).replace("<", r"\<")
    yield from _heading(f"{name}, {words}" if words else name)
    region = region_words(mode) or f"when {shown(mode.holds_when)}"
    yield f"Holds {region} ({'proved' if mode.proved else 'checked at sample values'})."
    for name, expression in named(mode):
        yield ""
        yield f"${symbol_latex(name)} =$ {shown(expression)}"
    for polynomial in mode.condition or ():
        yield ""
        yield f"No closed form; the unknowns are the roots of {shown(polynomial)} $= 0$."
    yield ""
    rows = [
        [
            shown(interval.fraction),
            ", ".join(interval.conducting) or "none",
            *(", ".join(parts_in(interval, role)) for role in ROLES),
            interval.ends,
        ]
        for interval in mode.intervals
    ]
    yield from _table(["Share", "Conducts", *(role.capitalize() for role in ROLES), "Ended by"], rows)
    results = [*result_rows(mode, solution.circuit), *leading_rows(leading)]
    if results:
        listed = [[row.label, row.name, shown(row.expression)] for row in results]
        yield from _table(["Result", "Part", "Formula"], listed)
    ports = [
        [row.label, row.words, "" if row.expression is None else shown(row.expression)]
        for row in port_rows(mode, solution)
    ]
    if ports:
        yield from _table(["Source and load see", "", "Formula"], ports)
    stress = [[row.part, row.label, shown(row.expression)] for row in stress_rows(mode, solution.circuit)]
    if stress:
        yield from _table(["Stress of", "Quantity", "Formula"], stress)
    lost = [[name, shown(expression)] for name, expression in shown_losses(mode).items()]
    if lost:
        yield from _table(["Conduction loss of", "Formula"], lost)


def _heading(text: str) -> list[str]:
    return ["", f"## {text}", ""]


def _table(heading: list[str], rows: list[list[str]]) -> Iterator[str]:
    """A Markdown table; bars inside formulas are spelled out."""
    yield "| " + " | ".join(heading) + " |"
    yield "|" + " --- |" * len(heading)
    for row in rows:
        yield "| " + " | ".join(cell.replace("|", r"\vert ") for cell in row) + " |"
    yield ""
