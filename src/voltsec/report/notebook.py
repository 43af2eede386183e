"""The answer in a notebook: mathematics for ``_repr_latex_``, tables for ``_repr_html_``.

The HTML leaves formulas between dollar signs, which a notebook typesets.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from voltsec.report.latex import escaped, formula_latex
from voltsec.report.losses import loss_rows
from voltsec.report.notes import deviation_rows, notes
from voltsec.report.numbers_table import numbers_title, part_rows, stage_rows
from voltsec.report.other_losses import other_loss_rows
from voltsec.report.outline import (
    ROLES,
    Row,
    mode_words,
    parts_in,
    port_rows,
    region_words,
    result_rows,
    shown_mode,
    stress_rows,
)
from voltsec.results.solution import Mode, Solution


def preformatted(lines: Iterable[str]) -> str:
    """Lines as a terminal shows them."""
    return f"<pre>{escape(chr(10).join(lines))}</pre>"


def latex(solution: Solution) -> str:
    """The output voltage of every mode, as one displayed formula."""
    duties = solution.circuit.duty_symbols
    lines = []
    for mode in solution.modes:
        condition = ""
        if mode.holds_when is not None:
            condition = rf" && {formula_latex(mode.holds_when, duties)}"
        name = rf"\text{{{escaped(shown_mode(mode))}}}"
        lines.append(rf"V &= {formula_latex(mode.output_voltage, duties)} && {name}{condition}")
    body = " \\\\\n".join(lines)
    return f"$\\displaystyle \\begin{{aligned}}\n{body}\n\\end{{aligned}}$"


def html(solution: Solution) -> str:
    """The whole answer as HTML tables."""
    parts = [f"<h3>{escape(solution.circuit.name)}</h3>"]
    for mode in solution.modes:
        parts += _mode(mode, solution)
    if solution.numbers is not None:
        parts.append(f"<h4>Numbers {escape(numbers_title(solution.numbers))}</h4>")
        parts.append(_table([], [[escape(label), escape(value)] for label, value in stage_rows(solution)]))
        heading, *rows = part_rows(solution)
        cells = [[escape(cell) for cell in row] for row in rows]
        parts.append(_table([escape(cell).replace("\n", " ") for cell in heading], cells))
        for table in (loss_rows(solution), other_loss_rows(solution), deviation_rows(solution)):
            names, *lines = [[escape(cell) for cell in row] for row in table] or [[]]
            if lines:
                parts.append(_table(names, lines))
    for title, listed in (("Not determined", solution.undetermined), ("Notes", notes(solution))):
        if listed:
            parts.append(f"<h4>{title}</h4>")
            parts.append("<ul>" + "".join(f"<li>{escape(note)}</li>" for note in listed) + "</ul>")
    return "\n".join(parts)


def _mode(mode: Mode, solution: Solution) -> list[str]:
    circuit = solution.circuit
    duties = circuit.duty_symbols

    def mathematics(expression: object) -> str:
        return f"${escape(formula_latex(expression, duties))}$"

    region = region_words(mode) or f"when {mathematics(mode.holds_when)}"
    proof = "proved" if mode.proved else "checked at sample values"
    words = f": {mode_words(mode)}" if mode_words(mode) else ""
    found = [
        f"<h4>{escape(shown_mode(mode))}{words}</h4>",
        f"<p>Holds {region} ({proof}).</p>",
    ]
    if mode.definitions:
        rows = [[escape(name), mathematics(expression)] for name, expression in mode.definitions.items()]
        found.append(_table([], rows))
    if mode.condition:
        roots = "; ".join(f"{mathematics(polynomial)} = 0" for polynomial in mode.condition)
        found.append(f"<p>No closed form; the unknowns are the roots of {roots}.</p>")
    found.append(
        _table(
            ["share", "conducts", *ROLES, "ended by"],
            [
                [
                    mathematics(interval.fraction),
                    escape(", ".join(interval.conducting) or "none"),
                    *(escape(", ".join(parts_in(interval, role))) for role in ROLES),
                    escape(interval.ends),
                ]
                for interval in mode.intervals
            ],
        )
    )

    def lines(rows: list[Row]) -> list[list[str]]:
        return [[row.label, escape(row.part), mathematics(row.expression)] for row in rows]

    results = list(result_rows(mode, circuit))
    if results:
        found.append(_table([], lines(results)))
    ports = [
        [row.label, row.words, "" if row.expression is None else mathematics(row.expression)]
        for row in port_rows(mode, solution)
    ]
    if ports:
        found.append(_table(["source and load see", "", ""], ports))
    stress = list(stress_rows(mode, circuit))
    if stress:
        found.append(_table(["stress", "part", ""], lines(stress)))
    return found


def _table(heading: list[str], rows: list[list[str]]) -> str:
    """A table whose cells are HTML already."""
    head = "<tr>" + "".join(f"<th>{cell}</th>" for cell in heading) + "</tr>" if heading else ""
    body = "".join(
        "<tr>" + "".join(f'<td style="text-align:left">{cell}</td>' for cell in row) + "</tr>" for row in rows
    )
    return f"<table>{head}{body}</table>"
