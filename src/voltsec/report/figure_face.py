"""The face all figures share: colours, lines and type, a dark theme inside SVG, files all or nothing.

A function that draws is decorated with :data:`in_face`, begins with :func:`panels` and hands its figure to
:func:`write_figure` or, for the page, to :func:`svg_text`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib
from cycler import cycler
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import EngFormatter

from voltsec.report.output_file import draft_of

SUFFIXES = (".svg", ".png", ".pdf")
"""Endings of the files :func:`write_figure` makes."""

PAPER = "#fdfdfb"
INK = "#1c2126"
"""Text, frames and what must be read first."""
QUIET = "#58626c"
"""Text of second rank."""
GRID = "#d5d9dc"
SHADE = "#eceff0"
"""Every second interval of a period."""
ACCENT = "#0b5a6f"
"""The mark at a point."""
CURVES = (
    ACCENT,
    "#b4532a",
    "#4b7f2c",
    "#7b4fa0",
    "#9c7600",
    "#c23b6b",
    "#3f6fd1",
    "#5f5f5f",
)
"""Colours of curves: they differ in lightness too, and curves in their styles, for readers who see no hue."""
STYLES = ("-", "--", "-.", ":")
FILLS = ("#f7f7f4", "#c9ddf0", "#f2dcae", "#a9cfae", "#d9b8d4", "#8fb3cf", "#e0a58a", "#c4c4a0")
"""Colours of areas."""
UNKNOWN = "#707070"
"""Areas of which nothing is known."""
NOTHING = "#303030"
"""Areas where there is nothing: no steady state."""
HATCH = "#777777"

DARK = {
    PAPER: "#14181b",
    INK: "#e3e6e8",
    QUIET: "#9aa5ad",
    GRID: "#343c42",
    SHADE: "#1f262b",
    HATCH: "#8a949c",
    UNKNOWN: "#8d8d8d",
    NOTHING: "#050607",
    **dict(
        zip(
            CURVES,
            ("#6cc3d8", "#f0946a", "#9bcf78", "#c3a0e6", "#e3c04f", "#f28bb0", "#8fb4ff", "#bdbdbd"),
            strict=True,
        )
    ),
    **dict(
        zip(
            FILLS,
            ("#22292e", "#24425c", "#5c4a1c", "#274c2e", "#4d3149", "#2f5c7c", "#6b3b27", "#4a4a2e"),
            strict=True,
        )
    ),
}
"""The colour that takes the place of each where the reader's screen is dark."""

FACE: Any = {
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.titlesize": 10,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.prop_cycle": cycler(color=CURVES),
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "xtick.major.size": 0,
    "ytick.major.size": 0,
    "xtick.minor.size": 0,
    "ytick.minor.size": 0,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "lines.linewidth": 1.7,
    "lines.solid_joinstyle": "round",
    "hatch.linewidth": 0.5,
    "hatch.color": HATCH,
    "font.size": 9,
    "svg.fonttype": "none",
    "svg.hashsalt": "voltsec",
    "pdf.fonttype": 42,
}
in_face = matplotlib.rc_context(FACE)
"""Decorator of functions that draw: everything they make wears the face."""

TYPE = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, 'DejaVu Sans', sans-serif"
RESOLUTION = 150
"""Points an inch of PNG."""


@in_face
def panels(
    count: int,
    heights: Sequence[float] | float = 1.5,
    width: float = 6.4,
    shared: bool = True,
) -> tuple[Figure, list[Axes]]:
    """A figure of ``count`` panels one above the other.

    ``heights`` are those of the panels, inches (one for all, or one each), ``width`` that of the figure;
    with ``shared`` all panels have one axis across, labelled at the lowest.
    """
    each = [float(heights)] * count if isinstance(heights, int | float) else [float(h) for h in heights]
    figure = Figure(figsize=(width, sum(each) + 0.55), layout="constrained")
    FigureCanvasAgg(figure)
    found = figure.subplots(count, 1, sharex=shared, squeeze=False, gridspec_kw={"height_ratios": each})
    return figure, list(found[:, 0])


def engineering_axis(axis: Axis, unit: str) -> None:
    """Ticks of ``axis`` (``axes.xaxis`` or ``axes.yaxis``) in ``unit`` with its prefixes: 20 µs, 1.5 kΩ."""
    shown = {"1": "", "ohm": "Ω"}.get(unit, unit)
    axis.set_major_formatter(EngFormatter(unit=shown, sep="\N{NO-BREAK SPACE}" if shown else ""))


@in_face
def write_figure(figure: Figure, path: str | os.PathLike[str]) -> None:
    """Write ``figure`` to ``path`` in the format its ending names, all of it or nothing.

    The same figure gives the same file: no date stands inside.  Raises OSError where the file cannot be
    written.
    """
    kind = Path(path).suffix.lower()
    with draft_of(path) as draft:
        if kind == ".svg":
            draft.write_text(_svg(figure, '<?xml version="1.0" encoding="utf-8"?>\n'), encoding="utf-8")
        elif kind == ".pdf":
            figure.savefig(draft, format="pdf", metadata={"CreationDate": None}, facecolor="none")
        else:
            figure.savefig(draft, format="png", dpi=RESOLUTION)


@in_face
def svg_text(figure: Figure) -> str:
    """The figure as an ``<svg>`` element, for a page; text is text, colours follow the reader's theme."""
    return _svg(figure, "")


def _svg(figure: Figure, head: str) -> str:
    stream = BytesIO()
    figure.savefig(stream, format="svg", metadata={"Date": None})
    text = stream.getvalue().decode("utf-8")
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    return head + text.replace("<svg ", '<svg class="drawn" ', 1).replace(">", f">\n{_theme()}", 1)


def _theme() -> str:
    """Rules that put each dark colour in the place of its light one; viewers without CSS keep the light."""
    rules = [f"svg.drawn text {{ font-family: {TYPE} !important }}"]
    dark = ["svg.drawn text { fill: " + DARK[INK] + " }"]
    for light, other in DARK.items():
        for property_ in ("fill", "stroke"):
            places = f'svg.drawn [style*="{property_}: {light}"], svg.drawn [{property_}="{light}"]'
            dark.append(f"{places} {{ {property_}: {other} !important }}")
    inside = "\n".join(dark)
    rules.append(f"@media screen and (prefers-color-scheme: dark) {{\n{inside}\n}}")
    return "<style>\n" + "\n".join(rules) + "\n</style>\n"
