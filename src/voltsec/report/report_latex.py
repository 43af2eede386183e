r"""The report's sections over time and over frequency as LaTeX, figures drawn within the file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from voltsec.report.alphabet import UNICODE
from voltsec.report.dynamics_latex import dynamics_latex
from voltsec.report.dynamics_words import crossovers
from voltsec.report.filter_text import filter_rows, filter_sentences
from voltsec.report.latex import escaped
from voltsec.report.latex_figure import latex_figure
from voltsec.report.over_frequency import over_frequency
from voltsec.report.over_time import over_time
from voltsec.report.report_drawings import KEY, Captioned, circuit_drawing, interval_drawings
from voltsec.report.report_figures import Drawn, frequency_figures, time_figures
from voltsec.results.solution import Solution

WIDTH = 5.2
"""Inches."""
WIDEST = 6.2
"""Inches: as wide as the text."""
NARROW = 4.2
"""The same of curves over frequency: two fit on a page."""


def circuit_latex(solution: Solution) -> Iterator[str]:
    """The circuit drawn."""
    yield r"\section*{Circuit}"
    yield from _drawn([_as_figure(circuit_drawing(solution))])


def intervals_latex(solution: Solution) -> Iterator[str]:
    """The circuit in each interval at the operating point; nothing without one."""
    shown = [_as_figure(one) for one in interval_drawings(solution)]
    if shown:
        yield r"\section*{Intervals at the operating point}"
        yield escaped(KEY)
        yield ""
        yield from _drawn(shown)


def _as_figure(one: Captioned) -> Drawn:
    from voltsec.report.drawing_figure import drawing_figure

    return Drawn(drawing_figure(one.drawing, WIDEST), one.words)


def time_latex(solution: Solution) -> Iterator[str]:
    """One period in each of the first few modes; nothing without an operating point."""
    shown = over_time(solution)
    if shown is None:
        return
    yield r"\section*{Waveforms}"
    yield (
        "The exact periodic state, ripple included: no start is simulated. Every second interval is shaded, "
        "a dotted line is a mean, a dot a peak."
    )
    yield ""
    yield from _drawn(time_figures(shown, WIDTH))
    if shown.note:
        yield escaped(shown.note)


def frequency_latex(solution: Solution) -> Iterator[str]:
    """Curves and formulas of the small signals; nothing without a model."""
    shown = over_frequency(solution)
    if shown is None:
        return
    yield r"\section*{Small signals}"
    yield escaped(shown.lead)
    for sentence in crossovers(shown.model, UNICODE):
        yield ""
        yield escaped(sentence)
    yield ""
    yield from _drawn(frequency_figures(shown, NARROW))
    yield dynamics_latex(shown.model, numbers=True)
    if shown.filter_ is not None:
        yield r"\subsection*{Input filter against the stage}"
        yield escaped(" ".join(filter_sentences(shown.filter_)))
        yield r"\begin{center}\begin{tabular}{ll}"
        yield from (rf"{escaped(label)} & {escaped(text)} \\" for label, text in filter_rows(shown.filter_))
        yield r"\end{tabular}\end{center}"
    notes = list(shown.notes)
    if notes:
        yield r"\begin{itemize}"
        yield from (rf"\item {escaped(note)}" for note in notes)
        yield r"\end{itemize}"


def _drawn(figures: Iterable[Drawn]) -> Iterator[str]:
    """Each figure above its words; they stay where they stand and together."""
    for one in figures:
        yield r"\begin{center}\begin{minipage}{\linewidth}\centering"
        yield latex_figure(one.figure)
        yield rf"\par\smallskip {{\small {escaped(one.words)}}}"
        yield r"\end{minipage}\end{center}"
