"""Waveforms as a figure: stacked panels with one time axis, intervals shaded and named by what conducts.

A dotted line is a trace's mean, a dot its peak.  An arrow is charge that passes in no time; a band is what
ideal parts leave open.
"""

from __future__ import annotations

import textwrap
from html import escape

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from voltsec.practice.waves import Trace, Waves
from voltsec.report.figure_face import (
    CURVES,
    INK,
    QUIET,
    SHADE,
    STYLES,
    engineering_axis,
    in_face,
    panels,
    svg_text,
)
from voltsec.report.waves_panels import panelled, span
from voltsec.report.waves_words import (
    IMPULSES,
    amount_text,
    conducting_words,
    interval_key,
    measure_text,
    remarks,
    table_rows,
    title_words,
)

WIDTH = 5.4
"""Inches: shrunk to a telephone's width the labels can still be read."""
STRIP = 0.26
"""Height of the strip that names what conducts."""
PANEL = 1.2
A_TRACE = 0.16
"""More height for each trace's line of the legend."""
LETTER = 0.075
"""Inches a letter takes."""
ROOM = 0.9
"""Inches of the width that the time axis has not."""
LETTERS = 13.7
"""Letters of a line below the figure, an inch."""
HANDLE = 5
"""Letters that a line of the legend has less, for the piece of curve before it."""
MOST_LABELLED = 3
"""Periods up to which the strip names what conducts."""


@in_face
def waves_figure(waves: Waves, width: float = WIDTH, title: str | None = None) -> Figure:
    """The figure, ``width`` inches wide.

    Its title is the circuit's name; with another ``title`` the figure stands in a text that says where it was
    taken.
    """
    groups = panelled(waves)
    letters = int((width - ROOM) / LETTER) - HANDLE
    legends = [[_handle(trace, place, letters) for place, trace in enumerate(group)] for group in groups]
    lines = [sum(str(one.get_label()).count("\n") + 1 for one in legend) for legend in legends]
    heights = [STRIP, *(PANEL + A_TRACE * count for count in lines)]
    figure, stacked = panels(len(heights), heights, width)
    numbered = _strip(stacked[0], waves, width - ROOM)
    for axes, group, legend in zip(stacked[1:], groups, legends, strict=True):
        _shade(axes, waves)
        for place, trace in enumerate(group):
            _draw(axes, waves, trace, CURVES[place % len(CURVES)], STYLES[place % len(STYLES)], place)
        _limits(axes, group)
        engineering_axis(axes.yaxis, group[0].unit)
        axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
        axes.legend(
            handles=legend,
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            borderaxespad=0.1,
            labelspacing=0.25,
            handlelength=2.2,
            fontsize=8.5,
        )
    last = stacked[-1]
    last.set_xlim(0.0, waves.periods * waves.period)
    engineering_axis(last.xaxis, "s")
    last.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    below = _below(waves, numbered, int(LETTERS * width), title is None)
    last.set_xlabel(below, loc="left", color=QUIET, fontsize=8)
    heading = waves.circuit.name if title is None else title
    stacked[0].set_title("\n".join(textwrap.wrap(heading, int(11 * width))))
    return figure


def notebook_figure(waves: Waves) -> str:
    """The figure and the table of measures, for a notebook."""
    heading, *rows = table_rows(waves)
    cells = "".join(f"<th>{escape(name)}</th>" for name in heading)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(cell.strip())}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"{svg_text(waves_figure(waves))}\n<table><tr>{cells}</tr>{body}</table>"


def _strip(axes: Axes, waves: Waves, room: float) -> bool:
    """What conducts when, on ``room`` inches; True where numbers stand for names that have no room."""
    axes.set_ylim(0, 1)
    axes.grid(False)
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(labelbottom=False)
    _shade(axes, waves)
    inch = room / (waves.periods * waves.period)
    names = [conducting_words(conducting) for *_, conducting in waves.intervals]
    rooms = [(end - start) * inch for start, end, _ in waves.intervals]
    numbered = any(len(name) * LETTER > room for name, room in zip(names, rooms, strict=True))
    count = len(names) // waves.periods
    for place, ((start, end, _), room) in enumerate(zip(waves.intervals, rooms, strict=True)):
        text = str(place % count + 1) if numbered else names[place]
        if len(text) * LETTER <= room and waves.periods <= MOST_LABELLED:
            axes.text((start + end) / 2, 0.45, text, ha="center", va="center", fontsize=8.5, color=INK)
    return numbered


def _shade(axes: Axes, waves: Waves) -> None:
    """Every second interval."""
    for place, (start, end, _) in enumerate(waves.intervals):
        if place % 2 == 0:
            axes.axvspan(start, end, facecolor=SHADE, edgecolor="none", zorder=0)


def _draw(axes: Axes, waves: Waves, trace: Trace, colour: str, style: str, place: int) -> None:
    """One trace: curve, mean, peak, band and arrows."""
    axes.plot(waves.time, trace.values, style, color=colour)
    open_ = np.isnan(trace.values) & np.isfinite(trace.low) & np.isfinite(trace.high)
    if open_.any():
        low, high = (np.where(open_, part, np.nan) for part in (trace.low, trace.high))
        axes.fill_between(waves.time, low, high, facecolor=colour, alpha=0.3, edgecolor="none")
    if trace.average is not None:
        axes.axhline(trace.average, color=colour, linewidth=1.0, linestyle=(0, (1, 2.5)), zorder=1.5)
    peak = _peak(trace)
    if peak is not None:
        axes.plot([waves.time[peak]], [trace.values[peak]], "o", color=colour, markersize=4.5, clip_on=False)
    for one in trace.impulses:
        top = 0.98 - 0.14 * place
        ends = (top, 0.04) if one.amount < 0 else (0.04, top)
        axes.annotate(
            "",
            xy=(one.time, ends[1]),
            xytext=(one.time, ends[0]),
            xycoords=("data", "axes fraction"),
            textcoords=("data", "axes fraction"),
            arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.8, "shrinkA": 0, "shrinkB": 0},
            annotation_clip=False,
        )
        if one.time < waves.period:
            late = one.time > 0.75 * waves.periods * waves.period
            axes.annotate(
                amount_text(one, trace.unit),
                xy=(one.time, top),
                xycoords=("data", "axes fraction"),
                xytext=(-6 if late else 6, -1),
                textcoords="offset points",
                ha="right" if late else "left",
                va="top",
                fontsize=8,
                color=colour,
            )


def _peak(trace: Trace) -> int | None:
    """The sample of the largest magnitude, where it is the trace's peak for certain."""
    sizes = np.abs(trace.values)
    if trace.impulses or not np.isfinite(sizes).any() or trace.peak_to_peak == 0:
        return None
    most = np.nanmax(np.abs(np.stack([trace.low, trace.high])))
    place = int(np.nanargmax(sizes))
    return place if sizes[place] >= most * (1 - 1e-6) else None


def _limits(axes: Axes, group: list[Trace]) -> None:
    spans = [one for one in map(span, group) if one is not None]
    if not spans:
        axes.set_yticks([])
        told = "open: nothing fixes the level"
        axes.text(0.5, 0.5, told, transform=axes.transAxes, ha="center", color=QUIET)
        return
    low, high = min(one[0] for one in spans), max(one[1] for one in spans)
    if high - low <= 1e-7 * max(abs(low), abs(high)):
        middle = (low + high) / 2
        low, high = middle - (0.1 * abs(middle) or 1.0), middle + (0.1 * abs(middle) or 1.0)
    margin = 0.08 * (high - low)
    axes.set_ylim(low - margin, high + margin)


def _handle(trace: Trace, place: int, letters: int) -> Line2D | Patch:
    colour, style = CURVES[place % len(CURVES)], STYLES[place % len(STYLES)]
    told = [trace.name]
    digits = 4 if _is_ripple(trace) else 3
    if trace.average is not None:
        told.append(f"mean {measure_text(trace.average, trace.unit, digits=digits)}")
    if trace.impulses:
        told.append(f"{IMPULSES[trace.unit]} jumps")
    elif trace.least is not None and trace.largest is not None:
        peak = trace.largest if abs(trace.largest) >= abs(trace.least) else trace.least
        kind = "up to" if trace.open else "peak"
        told.append(f"{kind} {measure_text(peak, trace.unit, digits=digits)}")
        if trace.peak_to_peak is not None and _is_ripple(trace):
            told.append(f"ripple {measure_text(trace.peak_to_peak, trace.unit, digits=3)}")
    if trace.open:
        told.append("band: open share" if trace.least is not None else "open")
        return Patch(facecolor=colour, alpha=0.3, label=_listed(told, letters))
    return Line2D([], [], color=colour, ls=style, label=_listed(told, letters))


def _listed(told: list[str], letters: int) -> str:
    return "\n".join(textwrap.wrap(f"{told[0]}: {', '.join(told[1:])}", max(letters, 24)))


def _is_ripple(trace: Trace) -> bool:
    """Small beside the mean."""
    return bool(trace.average) and (trace.peak_to_peak or 0.0) < 0.5 * abs(trace.average or 0.0)


def _below(waves: Waves, numbered: bool, letters: int, alone: bool) -> str:
    """What stands below the time axis; a figure ``alone`` says where it was taken."""
    lines = textwrap.wrap(title_words(waves), letters) if alone else []
    if numbered or waves.periods > MOST_LABELLED:
        lines += textwrap.wrap(" · ".join(interval_key(waves)), letters)
    lines += [line for remark in remarks(waves) for line in textwrap.wrap(remark, letters)]
    return "\n".join(lines)
