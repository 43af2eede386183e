"""Figure of an input filter's impedance against those of the stage it feeds."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from voltsec.circuit.circuit import Circuit
from voltsec.dynamics.input_filter import Interaction
from voltsec.report.figure_face import ACCENT, CURVES, QUIET, STYLES, engineering_axis, in_face, panels

HEIGHT = 0.56
"""Of the figure, over its width."""


@in_face
def filter_figure(
    circuit: Circuit, found: Interaction, width: float = 6.4, heading: str | None = None
) -> Figure:
    """Magnitudes in ohm over frequency; the place of the least margin is marked.

    ``heading`` takes the place of the title with the circuit's name; ``width`` is in inches.
    """
    figure, (axes,) = panels(1, HEIGHT * width, width)
    curves = (
        (found.source, "filter"),
        (found.held, "stage, duty held"),
        (found.regulated, "stage, output held"),
    )
    for (values, label), colour, style in zip(curves, CURVES, STYLES, strict=False):
        axes.plot(found.hertz, np.abs(values), color=colour, linestyle=style, label=label)
    margin, hertz = found.worst
    words = f"{margin:.1f} dB".replace("-", "−") if np.isfinite(margin) else "undamped"
    place = int(np.argmin(np.abs(found.hertz - hertz)))
    low = float(np.minimum(np.abs(found.held), np.abs(found.regulated))[place])
    axes.plot([hertz, hertz], [float(np.abs(found.source)[place]), low], color=ACCENT, linewidth=1.0)
    axes.annotate(
        words,
        (hertz, low),
        xytext=(5, 4),
        textcoords="offset points",
        color=QUIET,
        fontsize=8.5,
    )
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(found.hertz[0], found.hertz[-1])
    engineering_axis(axes.xaxis, "Hz")
    engineering_axis(axes.yaxis, "ohm")
    axes.set_xlabel("Frequency")
    axes.set_ylabel("Impedance")
    axes.legend(loc="best")
    axes.set_title(f"{circuit.name}: input filter" if heading is None else heading)
    return figure
