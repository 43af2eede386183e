"""A drawing as PNG or PDF: the same marks as in SVG, set by matplotlib."""

from __future__ import annotations

from math import inf
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from voltsec.report.drawing_marks import LINES, TYPES, Path, groups, size
from voltsec.report.figure_face import in_face, write_figure

if TYPE_CHECKING:
    from voltsec.drawing.symbols import Stroke
    from voltsec.report.drawing import Drawing

POINTS = 72.0
"""Points an inch."""
SCALE = 0.75
"""Points of paper for one unit of the drawing: SVG's unit is 1/96 inch."""
CODES = {"M": [Outline.MOVETO], "L": [Outline.LINETO], "C": [Outline.CURVE4] * 3, "Z": [Outline.CLOSEPOLY]}
ANCHORS = {"start": "left", "middle": "center", "end": "right"}


def write_drawing(drawing: Drawing, path: FilePath) -> None:
    """Write ``drawing`` to ``path`` (.png or .pdf), all of it or nothing."""
    write_figure(drawing_figure(drawing), path)


@in_face
def drawing_figure(drawing: Drawing, widest: float = inf) -> Figure:
    """``drawing`` as a figure of its own size, smaller where it would be wider than ``widest`` inches."""
    wide, high = size(drawing)
    scale = min(SCALE, widest * POINTS / wide)
    figure = Figure(figsize=(wide * scale / POINTS, high * scale / POINTS))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0.0, wide)
    axes.set_ylim(high, 0.0)
    for group in groups(drawing):
        for mark in group.marks:
            if isinstance(mark, Path):
                line = LINES[mark.style]
                axes.add_patch(
                    PathPatch(
                        _outline(mark.stroke),
                        edgecolor=line.light,
                        facecolor=line.light if mark.stroke.filled else "none",
                        linewidth=line.width * scale,
                        capstyle="round",
                        joinstyle="round",
                    )
                )
            else:
                words = TYPES[mark.style]
                axes.text(
                    mark.x,
                    mark.y,
                    mark.text,
                    fontsize=words.size * scale,
                    fontweight="bold" if words.bold else "normal",
                    color=words.light,
                    ha=ANCHORS[mark.anchor],
                    va="baseline",
                )
    return figure


def _outline(stroke: Stroke) -> Outline:
    points: list[tuple[float, float]] = []
    codes: list[Any] = []
    for step in stroke.steps:
        codes += CODES[str(step[0])]
        numbers = [float(value) for value in step[1:]] or [0.0, 0.0]
        points += list(zip(numbers[::2], numbers[1::2], strict=True))
    return Outline(points, codes)
