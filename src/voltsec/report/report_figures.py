"""The figures of a report over time and frequency, as wide as its page asks for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from matplotlib.figure import Figure

from voltsec.report.over_frequency import OverFrequency
from voltsec.report.over_time import OverTime


@dataclass(frozen=True)
class Drawn:
    """A figure and what stands below it."""

    figure: Figure
    words: str


def time_figures(shown: OverTime, width: float) -> Iterator[Drawn]:
    """One for each period."""
    from voltsec.report.waves_figure import waves_figure

    for period in shown.periods:
        yield Drawn(waves_figure(period.waves, width, period.heading), period.words)


def frequency_figures(shown: OverFrequency, width: float) -> Iterator[Drawn]:
    """Curves of the responses, and an input filter against the stage."""
    from voltsec.report.bode_figure import bode_figure
    from voltsec.report.filter_figure import filter_figure

    for kinds, name in shown.figures:
        figure = bode_figure([shown.model], width=width, kept=kinds, heading=name)
        yield Drawn(figure, f"{name} over frequency, up to half the switching frequency.")
    if shown.filter_ is not None:
        figure = filter_figure(shown.model.circuit, shown.filter_, width, "Input filter against the stage")
        yield Drawn(
            figure,
            "The filter's output impedance against the stage's input impedances; marked: the least margin.",
        )
