"""Stages side by side as a page: the table, the curves, each circuit as a picture."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sympy import Expr

from voltsec.practice.design.comparison import Comparison
from voltsec.practice.design.judged import MEASURES, Measure, measure
from voltsec.practice.design.judging import Judged
from voltsec.report.comparison_figure import comparison_figure
from voltsec.report.comparison_text import comparison_cautions, comparison_notes, conditions, value_text
from voltsec.report.drawing import draw
from voltsec.report.figure_face import svg_text
from voltsec.report.mathml import mathml
from voltsec.report.quantity import engineering
from voltsec.report.template import Markup, rendered


def comparison_page(comparison: Comparison) -> str:
    """One file that works without a network."""
    able = comparison.able
    others = comparison.others
    best = measure(comparison.criterion) if comparison.criterion and able else None
    contents = [("circuits", "Circuits"), ("cautions", "Cautions")]
    if able:
        contents.insert(0, ("table", "Side by side"))
    context = {
        "title": ", ".join(one.name for one in comparison.judged[:4])
        + (f" and {len(comparison.judged) - 4} more" if len(comparison.judged) > 4 else ""),
        "lead": f"For {comparison.wanted}" if comparison.wanted else "Formulas and structure",
        "contents": contents,
        "conditions": conditions(comparison) if comparison.wanted else "",
        "order": "" if best is None else f"Best first by {best.label.lower()}, {best.told or best.best}.",
        "able": able,
        "rows": list(_rows(able)),
        "figure": Markup(svg_text(comparison_figure(comparison))) if able else None,
        "others": others,
        "stages": [_stage(one) for one in comparison.judged],
        "notes": list(comparison_notes(able, lambda text: [text] if text else [])) if able else [],
        "cautions": list(comparison_cautions(able, lambda text: [text])),
    }
    return rendered("comparison.html.j2", context)


def _rows(able: list[Judged]) -> Iterator[dict[str, Any]]:
    """A row of the table for every measure that some stage has."""
    for one in MEASURES:
        if any(one.key in stage.values for stage in able):
            yield {"label": one.label, "unit": one.unit, "cells": [_cell(one, stage) for stage in able]}


def _cell(one: Measure, stage: Judged) -> str:
    if one.key not in stage.values:
        return ""
    value = stage.values[one.key]
    if isinstance(value, Expr):
        return Markup(mathml(value, stage.circuit.duty_symbols))
    return value if isinstance(value, str) else value_text(one, value)


def _stage(one: Judged) -> dict[str, Any]:
    units = {quantity.symbol: quantity.unit for quantity in one.circuit.quantities}
    sizes = [f"{name} {engineering(value, units[name])}" for name, value in one.sizes.items()]
    return {
        "name": one.name,
        "title": one.circuit.name,
        "svg": Markup(draw(one.circuit).svg),
        "sizes": ", ".join(sizes),
    }
