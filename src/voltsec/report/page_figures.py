"""The page's sections over time and over frequency: inline figures, responses as mathematics."""

from __future__ import annotations

from typing import Any

from voltsec.report.alphabet import UNICODE
from voltsec.report.dynamics_html import definitions_html, responses_html
from voltsec.report.dynamics_words import crossovers
from voltsec.report.figure_face import svg_text
from voltsec.report.filter_text import filter_rows, filter_sentences
from voltsec.report.over_frequency import over_frequency
from voltsec.report.over_time import over_time
from voltsec.report.report_figures import frequency_figures, time_figures
from voltsec.results.solution import Solution

WIDTH = 4.4
"""Inches: on a telephone the figure is shrunk by a sixth, and its labels can still be read."""


def time_section(solution: Solution) -> dict[str, Any] | None:
    """``figures`` (``svg``, ``words``) and a ``note``; None where there is nothing to show."""
    shown = over_time(solution)
    if shown is None:
        return None
    drawn = [{"svg": svg_text(one.figure), "words": one.words} for one in time_figures(shown, WIDTH)]
    return {"figures": drawn, "note": shown.note}


def frequency_section(solution: Solution) -> dict[str, Any] | None:
    """``lead``, ``figures``, ``responses``, words of the ``filter``, ``notes``; None without a model."""
    shown = over_frequency(solution)
    if shown is None:
        return None
    return {
        "lead": shown.lead,
        "figures": [
            {"svg": svg_text(one.figure), "words": one.words} for one in frequency_figures(shown, WIDTH)
        ],
        "definitions": definitions_html(shown.model),
        "responses": list(responses_html(shown.model)),
        "crossovers": list(crossovers(shown.model, UNICODE)),
        "filter": [] if shown.filter_ is None else list(filter_sentences(shown.filter_)),
        "filter_rows": [] if shown.filter_ is None else list(filter_rows(shown.filter_)),
        "notes": list(shown.notes),
    }
