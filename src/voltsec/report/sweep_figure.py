"""Curves of a sweep: one panel a quantity, one curve a value of the second symbol, modes on the curve.

Continuous conduction is drawn solid; each further mode has a line style of its own, with its name
where the curve enters it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from voltsec.periodic.reading_list import quantity_units
from voltsec.practice.sweep import Sweep
from voltsec.report.figure_face import CURVES, QUIET, STYLES, in_face, panels
from voltsec.report.quantity import engineering
from voltsec.report.sweep_csv import heading

MOST_CURVES = len(CURVES)
PREFIXED = {"1": "", "ohm": "Ω"}
PANEL = 3.3
"""Inches, height."""

ROOM = 12.0
"""A curve that runs off is cut at so many times its upper quartile."""


@in_face
def sweep_figure(sweep: Sweep, quantities: tuple[str, ...], title: str = "") -> Figure:
    """The curves as a figure; the first swept symbol runs along the axis, the second gives the family."""
    names = list(sweep.swept)
    units = {quantity.symbol: quantity.unit for quantity in sweep.circuit.quantities}
    known = quantity_units(sweep.circuit)
    figure, stacked = panels(len(quantities), PANEL)
    modes = [name for k, name in enumerate(sweep.mode_names) if (sweep.mode_index == k).any()]
    styles = {name: STYLES[place % len(STYLES)] for place, name in enumerate(modes)}
    family = list(_family(sweep))
    shown = set(np.linspace(0, len(family) - 1, min(MOST_CURVES, len(family))).round().astype(int))
    chosen = [member for place, member in enumerate(family) if place in shown]
    for panel, quantity in zip(stacked, quantities, strict=True):
        drawn = []
        for (_, x, place), colour in zip(chosen, CURVES, strict=False):
            y = sweep[quantity][place]
            drawn.append(y)
            _curve(panel, x, y, sweep.mode[place], styles, colour)
        _limits(panel, np.concatenate(drawn), quantity)
        panel.set_ylabel(_axis_label(quantity, known[quantity]))
        if np.concatenate(drawn).size and _logarithmic(chosen[0][1]):
            panel.set_xscale("log")
    stacked[-1].set_xlabel(_axis_label(names[0], units[names[0]]))
    _legend(stacked[0], len(names), chosen, styles)
    if title:
        stacked[0].set_title(title)
    return figure


def _family(sweep: Sweep) -> Iterator[tuple[str, np.ndarray, tuple[Any, ...]]]:
    """(label, values along the axis, place in the arrays) of every curve."""
    names = list(sweep.swept)
    if len(names) == 1:
        yield "", sweep.swept[names[0]], (slice(None),)
        return
    units = {quantity.symbol: quantity.unit for quantity in sweep.circuit.quantities}
    for column in range(sweep.mode_index.shape[1]):
        place = (slice(None), column)
        value = float(sweep.swept[names[1]][0, column])
        yield (
            f"{names[1]} = {engineering(value, units[names[1]], digits=3)}",
            sweep.swept[names[0]][place],
            place,
        )


def _curve(
    panel: Axes,
    x: np.ndarray,
    y: np.ndarray,
    mode: np.ndarray,
    styles: dict[str, str],
    colour: str,
) -> None:
    """One curve in pieces of equal mode; neighbouring pieces share the point between them."""
    edges = [0, *(np.flatnonzero(mode[1:] != mode[:-1]) + 1), len(mode)]
    for start, end in pairwise(edges):
        name = str(mode[start])
        if name not in styles:  # no mode could be verified: a gap
            continue
        stop = min(end + 1, len(x)) if end < len(mode) and mode[end] in styles else end
        panel.plot(x[start:stop], y[start:stop], styles[name], color=colour)
        if start > 0:  # the change of mode, marked on the curve
            panel.plot(x[start], y[start], "o", color=colour, markersize=4, zorder=3)


def _legend(panel: Axes, count: int, chosen: list[Any], styles: dict[str, str]) -> None:
    handles = []
    if count > 1:
        handles += [
            Line2D([], [], color=colour, label=label)
            for (label, _, _), colour in zip(chosen, CURVES, strict=False)
        ]
    handles += [Line2D([], [], color=QUIET, ls=style, label=name) for name, style in styles.items()]
    if len(styles) > 1:
        handles.append(
            Line2D([], [], color=QUIET, marker="o", linestyle="", markersize=4, label="change of mode")
        )
    if len(handles) > 1:
        panel.legend(handles=handles, loc="center left", bbox_to_anchor=(1.01, 0.5))


def _limits(panel: Axes, values: np.ndarray, quantity: str) -> None:
    """From zero for what cannot be negative, and not up to where an ideal stage runs off."""
    known = values[np.isfinite(values)]
    if not known.size:
        panel.text(0.5, 0.5, "no steady state here", transform=panel.transAxes, ha="center")
        return
    if quantity == "efficiency":  # from where the curves begin: a few per cent are what matters
        panel.set_ylim(max(0.0, 1.05 * float(known.min()) - 0.05), 1.0 + 0.05 * (1.0 - float(known.min())))
        return
    low, high = float(known.min()), float(known.max())
    room = ROOM * float(np.percentile(np.abs(known), 75))
    if high > room > 0:
        high = room
    if -low > room > 0:
        low = -room
    if low > 0 and low < 0.6 * high:
        low = 0.0
    if high < 0 and high > 0.6 * low:
        high = 0.0
    margin = 0.05 * (high - low) or 0.05 * abs(high) or 1.0
    panel.set_ylim(low if low == 0 else low - margin, high if high == 0 else high + margin)


def _axis_label(name: str, unit: str) -> str:
    words = {"gain": "Gain V/Vin", "output_voltage": "Output voltage", "efficiency": "Efficiency"}
    words |= {"output_ripple": "Output ripple, peak to peak", "input_ripple": "Input ripple, peak to peak"}
    text = words.get(name)
    if text is None:
        text = name.removeprefix("stress.").replace(".", " ").replace("_", " ") if "." in name else name
    return heading(text, PREFIXED.get(unit, unit))


def _logarithmic(x: np.ndarray) -> bool:
    """True for points spaced by equal factors over more than a decade."""
    if len(x) < 3 or x.min() <= 0 or x.max() < 10 * x.min():
        return False
    steps = np.diff(np.log(x))
    return bool(np.allclose(steps, steps[0], rtol=1e-6))
