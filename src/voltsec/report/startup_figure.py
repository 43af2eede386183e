"""A start-up as a figure: a panel a trace, one time axis; the band of 1 % and when the output is settled.

Of few periods the courses themselves are drawn, of more what each period spans and its mean.
"""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from voltsec.practice.response import BAND
from voltsec.practice.startup_result import Startup
from voltsec.practice.traces_wanted import WantedTrace
from voltsec.report.figure_face import ACCENT, CURVES, INK, QUIET, SHADE, engineering_axis, in_face, panels
from voltsec.report.quantity import engineering
from voltsec.report.startup_words import jump_words, section_title, title_words
from voltsec.report.waves_words import IMPULSES

WIDTH = 5.4
"""Inches: shrunk to a telephone's width the labels can still be read."""
OUTPUT, PANEL = 1.7, 1.15
MOST_DRAWN = 200
"""Periods up to which the courses themselves are drawn."""
MOST_PANELS = 12
KEY = 74
"""Letters of a line below the figure."""
ACROSS = 2000
"""Points a curve has at most: periods beside each other are put together."""


@in_face
def startup_figure(start: Startup) -> Figure:
    """The figure; its title is the circuit's name."""
    shown = start.traces[:MOST_PANELS]
    figure, stacked = panels(len(shown), [OUTPUT, *[PANEL] * (len(shown) - 1)], WIDTH)
    courses = start.samples() if len(start.time) - 1 <= MOST_DRAWN else None
    for place, (axes, trace) in enumerate(zip(stacked, shown, strict=True)):
        colour = CURVES[place % len(CURVES)]
        if courses is None:
            _spans(axes, start, trace, colour)
        else:
            axes.plot(courses[0], courses[1][trace.text], color=colour, linewidth=1.2)
        engineering_axis(axes.yaxis, trace.unit)
        axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
        axes.axhline(0.0, color=QUIET, linewidth=0.6, zorder=1)
        _legend(axes, start, trace, colour)
        for section in start.sections[1:]:
            axes.axvline(section.periods.begin, color=INK, linewidth=0.8, linestyle=(0, (4, 3)))
    _settling(stacked[0], start)
    last = stacked[-1]
    last.set_xlim(0.0, start.end)
    engineering_axis(last.xaxis, "s")
    last.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    last.set_xlabel(_below(start, courses is None), loc="left", color=QUIET, fontsize=8)
    stacked[0].set_title("\n".join(textwrap.wrap(start.circuit.name, 60)), pad=20)
    return figure


def _spans(axes: Axes, start: Startup, trace: WantedTrace, colour: str) -> None:
    """Mean, and what each period spans."""
    series = start[trace.text]
    together = int(np.ceil(len(series.mean) / ACROSS))
    first = np.arange(0, len(series.mean), together)
    times = np.append(start.time[:-1][first], start.end)
    low, high = np.fmin.reduceat(series.low, first), np.fmax.reduceat(series.high, first)
    axes.fill_between(
        times,
        np.append(low, low[-1]),
        np.append(high, high[-1]),
        step="post",
        facecolor=colour,
        alpha=0.3,
        edgecolor="none",
    )
    middle = (start.time[:-1] + start.time[1:]) / 2
    axes.plot(middle[first], series.mean[first], color=colour, linewidth=1.3)


def _legend(axes: Axes, start: Startup, trace: WantedTrace, colour: str) -> None:
    series = start[trace.text]
    told = [trace.text]
    if series.jumped.any():
        told.append(f"{IMPULSES[trace.unit]} jumps")
    elif np.isfinite(series.high).any():
        high, low = float(np.nanmax(series.high)), float(np.nanmin(series.low))
        peak = high if abs(high) >= abs(low) else low
        told.append(f"peak {engineering(peak, trace.unit, digits=3)}")
    if np.isfinite(series.mean[-1]):
        told.append(f"mean at the end {engineering(float(series.mean[-1]), trace.unit, digits=4)}")
    axes.legend(
        handles=[Line2D([], [], color=colour, label=f"{told[0]}: {', '.join(told[1:])}")],
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        borderaxespad=0.1,
        handlelength=1.6,
        fontsize=8.5,
    )


def _settling(axes: Axes, start: Startup) -> None:
    """The band about each final value, and when the output stays in it."""
    for section in start.sections:
        final = section.response.final
        begin, end = section.periods.begin / start.end, section.periods.end / start.end
        if not final:
            continue
        band = abs(final) * BAND
        axes.axhspan(final - band, final + band, begin, end, facecolor=SHADE, edgecolor="none", zorder=0)
        axes.axhline(final, begin, end, color=QUIET, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1.5)
        settled = section.response.settled
        if settled:
            when = section.periods.begin + settled
            axes.plot([when], [final], "o", color=ACCENT, markersize=4.5, zorder=4)
            if len(start.sections) > 1:  # labels would lie over each other: they stand below
                continue
            late = when > 0.7 * start.end
            axes.annotate(
                f"within 1 % after {engineering(settled, 's', digits=3)}",
                xy=(when, final),
                xytext=(-4 if late else 4, -8),
                textcoords="offset points",
                ha="right" if late else "left",
                va="top",
                fontsize=8,
                color=INK,
            )


def _below(start: Startup, spans: bool) -> str:
    """What stands below the time axis."""
    lines = textwrap.wrap(title_words(start), KEY)
    for section in start.sections if len(start.sections) > 1 or start.sections[0].steps else ():
        settled = section.response.settled
        told = f", within 1 % after {engineering(settled, 's', digits=3)}" if settled else ""
        lines += textwrap.wrap(f"{section_title(start, section)}{told}", KEY)
    if start.stopped:
        lines += textwrap.wrap(f"not followed to the end that was asked for: {start.stopped}", KEY)
    lines += textwrap.wrap("; ".join(jump_words(start)), KEY)
    if spans:
        lines.append("area: what each period spans; line: its mean; dotted: the steady state")
    return "\n".join(lines)
