"""Bode figure: magnitude and phase over frequency, the averaged model solid and the exact response dashed."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MultipleLocator

from voltsec.dynamics.bode import Curve, curves, frequencies, with_resonances
from voltsec.dynamics.model import Model
from voltsec.report.dynamics_words import title
from voltsec.report.figure_face import CURVES, INK, QUIET, engineering_axis, in_face, panels

WIDTH = 6.4
"""Inches."""
PANELS = (0.47, 0.375)
"""Heights, over the width."""
ROOM = 6.0
"""Decibels left above and below the curves."""
LINE = 0.18
"""Inches of a line of the legend."""
LETTERS = 11
"""Letters of the title, an inch."""
DEEPEST = 120.0
"""Decibels below the highest point at which the axis ends."""


@in_face
def bode_figure(
    models: Sequence[Model],
    output: str = "",
    points: int = 200,
    width: float = WIDTH,
    kept: Sequence[str] | None = None,
    heading: str | None = None,
) -> Figure:
    """One colour a response and circuit; ``output`` names what is looked at if not the output voltage.

    ``kept`` are the kinds of responses that are drawn (all of the models' unless given), ``width`` is in
    inches, ``heading`` takes the place of the circuits' names.
    """
    figure, (level, phase) = panels(2, [share * width for share in PANELS], width)
    several = len(models) > 1
    if kept is not None:
        models = [replace(m, responses=tuple(r for r in m.responses if r.link.kind in kept)) for m in models]
    kinds = list(dict.fromkeys(title(r.link, m, output) for m in models for r in m.responses))
    labels: list[str] = []
    drawn: list[Curve] = []
    names = _names(models)
    for model, name in zip(models, names, strict=True):
        for curve in curves(model, with_resonances(model, frequencies(model, points))):
            kind = title(curve.link, model, output)
            label = ", ".join([*([name] if several else []), *([kind] if len(kinds) > 1 else [])])
            if label not in labels:
                labels.append(label)
            colour = CURVES[labels.index(label) % len(CURVES)]
            if curve.exact and not label:  # both lie on one another for the most part
                colour = CURVES[1]
            style: dict[str, Any] = {"color": colour, "linestyle": (0, (4, 2.2)) if curve.exact else "-"}
            style |= {"linewidth": 1.4 if curve.exact else 1.9}
            level.plot(curve.hertz, curve.decibels, **style)
            phase.plot(curve.hertz, _near(curve, drawn), **style)
            drawn.append(curve)
    _axes(level, phase, drawn)
    first = heading or (names[0] if len(models) == 1 else ", ".join(names))
    first = f"{first}: {kinds[0]}" if len(kinds) == 1 and heading is None else first
    handles = _legend(labels, drawn, all(model.reduced for model in models))
    columns = 1 if several else 2
    level.legend(  # above the curves: within, there is room for it at one stage and none at the next
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        borderaxespad=0.1,
        labelspacing=0.25,
        columnspacing=1.5,
        ncols=columns,
    )
    figure.set_figheight(float(figure.get_figheight()) + LINE * -(-len(handles) // columns))
    figure.suptitle(
        "\n".join(textwrap.wrap(first, int(LETTERS * width))),
        x=0.01,
        ha="left",
        fontsize=10,
        fontweight="bold",
    )
    return figure


def _names(models: Sequence[Model]) -> list[str]:
    found = [model.circuit.name for model in models]
    if len(set(found)) < len(found):  # titles may be alike, files are not
        found = [f"{name} ({number})" for number, name in enumerate(found, 1)]
    return found


def _near(curve: Curve, drawn: list[Curve]) -> np.ndarray:
    """The phase, by whole turns where the averaged curve of the same response is."""
    for other in reversed(drawn):
        if other.response is curve.response:
            turns = np.round((other.degrees[0] - curve.degrees[0]) / 360.0)
            return curve.degrees + 360.0 * turns
    return curve.degrees


def _axes(level: Axes, phase: Axes, drawn: list[Curve]) -> None:
    finite = np.concatenate([c.decibels[np.isfinite(c.decibels)] for c in drawn] or [np.zeros(1)])
    if not finite.size:
        level.set_yticks([])
        level.text(0.5, 0.5, "zero at all frequencies", transform=level.transAxes, ha="center", color=QUIET)
    else:
        top = float(finite.max())
        level.set_ylim(max(float(finite.min()), top - DEEPEST) - ROOM, top + ROOM)
    phase.set_xscale("log")
    phase.set_xlim(min(c.hertz[0] for c in drawn), max(c.hertz[-1] for c in drawn))
    engineering_axis(phase.xaxis, "Hz")
    phase.set_xlabel("Frequency")
    units = list(dict.fromkeys(curve.link.unit for curve in drawn))
    one = {"ohm": "dBΩ", "V": "dBV", "A": "dBA"}.get(units[0], "dB") if len(units) == 1 else "dB"
    level.set_ylabel(f"Magnitude, {one}")
    phase.set_ylabel("Phase, degrees")
    low, high = phase.get_ylim()
    phase.yaxis.set_major_locator(MultipleLocator(15 if high - low < 90 else 45 if high - low < 300 else 90))


def _legend(labels: list[str], drawn: list[Curve], reduced: bool) -> list[Line2D]:
    handles = [
        Line2D([], [], color=CURVES[place % len(CURVES)], label=label)
        for place, label in enumerate(labels)
        if label
    ]
    alone = labels == [""]
    if any(not curve.exact for curve in drawn):
        colour = CURVES[0] if alone else INK
        handles.append(Line2D([], [], color=colour, label="reduced" if reduced else "averaged"))
    if any(curve.exact for curve in drawn):
        colour = CURVES[1] if alone else INK
        handles.append(Line2D([], [], color=colour, linestyle=(0, (4, 2.2)), linewidth=1.4, label="exact"))
    return handles
