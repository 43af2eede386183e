"""Stages side by side as a figure: gain over the duty, duty and switch stress over the input range."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from sympy import Expr, lambdify

from voltsec.practice.design.comparison import Comparison
from voltsec.practice.design.judging import Judged
from voltsec.report.figure_face import CURVES, STYLES, engineering_axis, in_face, panels
from voltsec.tableau.expression import symbol

PANEL = 2.6
"""Inches, height."""
HIGHEST = 12.0
"""Gain up to which curves are drawn."""


@in_face
def comparison_figure(comparison: Comparison) -> Figure:
    """Curves of every stage that can do the job; without a task gain alone."""
    able = comparison.able
    over_input = [one for one in able if one.curves]
    heights = [PANEL] * (3 if over_input else 1)
    figure, stacked = panels(len(heights), heights, shared=False)
    styles = {one.name: _style(place) for place, one in enumerate(able)}
    for one in able:
        _gain(stacked[0], one, styles[one.name])
    stacked[0].set_xlabel("Duty")
    stacked[0].set_ylabel("Gain, size")
    stacked[0].set_xlim(0, 1)
    top = stacked[0].get_ylim()[1]
    stacked[0].set_ylim(0, min(top, HIGHEST))
    stacked[0].legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
    if over_input:
        for panel, key, label in zip(stacked[1:], ("duty", "stress"), ("Duty", "Switch stress"), strict=True):
            for one in over_input:
                if key in one.curves:
                    colour, line = styles[one.name]
                    panel.plot(one.curves["input"], one.curves[key], line, color=colour, label=one.name)
            panel.set_ylabel(label)
            panel.set_xlabel("Input voltage, largest load")
            engineering_axis(panel.xaxis, "V")
            panel.set_ylim(bottom=0)
        engineering_axis(stacked[2].yaxis, "VA")
    stacked[0].set_title(comparison.wanted or "Gain in continuous conduction", fontsize=9)
    return figure


def _style(place: int) -> tuple[str, str]:
    return CURVES[place % len(CURVES)], STYLES[place % len(STYLES)]  # curves may coincide


def _gain(panel: Axes, one: Judged, style: tuple[str, str]) -> None:
    gain = one.values.get("gain")
    if not isinstance(gain, Expr):
        return
    known = {symbol(name): float(value) for name, value in one.circuit.values.items()}
    duties = one.circuit.duty_symbols
    first = symbol(duties[0]) if duties else None
    left = gain.subs({s: value for s, value in known.items() if s != first})
    if first is None or left.free_symbols - {first}:
        return
    duty = np.linspace(0.001, 0.999, 999)
    with np.errstate(all="ignore"):
        sizes = np.abs(np.broadcast_to(lambdify([first], left, "numpy")(duty), duty.shape).astype(float))
    sizes[sizes > HIGHEST * 1.5] = np.nan
    panel.plot(duty, sizes, style[1], color=style[0], label=one.name)
