"""A map of modes as a picture, readable without colour."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from voltsec.practice.map import NO_STEADY_STATE, NOT_DETERMINED, RegionMap
from voltsec.report.alphabet import UNICODE
from voltsec.report.figure_face import (
    FILLS,
    INK,
    NOTHING,
    PAPER,
    QUIET,
    STYLES,
    UNKNOWN,
    in_face,
    panels,
)
from voltsec.report.formula import formula
from voltsec.report.map_text import conducting_words, mode_of, no_state_words, round_values
from voltsec.report.quantity import engineering

LABEL_BOX = {"boxstyle": "round,pad=0.2", "facecolor": PAPER, "edgecolor": QUIET, "linewidth": 0.6}
HATCHES = ("", "///", "\\\\\\", "...", "xx", "--", "++", "oo")
WIDTH, HEIGHT = 8.0, 5.0
"""Inches; the legend comes below."""
LETTERS = 12.0
"""Letters of the legend an inch."""
TWO_COLUMNS = 8
"""Entries of the legend beyond which it takes two columns."""


@in_face
def draw_map(areas: RegionMap, width: float = WIDTH) -> Figure:
    """The map as a figure of ``width`` inches."""
    figure, (axes,) = panels(1, HEIGHT * width / WIDTH, width)
    axes.grid(False)
    handles = [*_regions(areas, axes, width), *_curves(areas, axes, width), *_point(areas, axes)]
    columns = 2 if len(handles) > TWO_COLUMNS and width >= WIDTH else 1
    lines = -(-sum(str(handle.get_label()).count("\n") + 1 for handle in handles) // columns)
    figure.set_figheight(HEIGHT * width / WIDTH + 0.2 * lines)  # the legend takes nothing from the map
    _labels(areas, axes, width)
    _frame(areas, axes, width)
    figure.legend(
        handles=handles,
        loc="outside lower left",
        title="Mode: what conducts, interval by interval",
        title_fontsize=9,
        alignment="left",
        ncols=columns,
        handlelength=2.4,
    )
    return figure


def _regions(areas: RegionMap, axes: Axes, width: float) -> list[Patch]:
    rows, columns = areas.cells.shape
    handles = []
    middle_x, middle_y = areas.x.centres(columns), areas.y.centres(rows)
    edge_x, edge_y = areas.x.edges(columns), areas.y.edges(rows)
    middle_x[[0, -1]], middle_y[[0, -1]] = edge_x[[0, -1]], edge_y[[0, -1]]  # hatching reaches the frame
    for number, name in enumerate(areas.names):
        inside = areas.cells == number
        _fill(axes, inside, edge_x, edge_y, FILLS[number % len(FILLS)])
        hatch = _hatch(number)
        if hatch and inside.any() and not inside.all():
            axes.contourf(
                middle_x, middle_y, inside.astype(float), levels=[0.5, 1.5], colors="none", hatches=[hatch]
            )
        words = f"{name}: {conducting_words(mode_of(areas, name))}"
        text = "\n".join(textwrap.wrap(words, int(LETTERS * width), subsequent_indent="    "))
        handles.append(
            Patch(facecolor=FILLS[number % len(FILLS)], edgecolor=QUIET, lw=0.6, hatch=hatch, label=text)
        )
    for kind, colour in ((NO_STEADY_STATE, NOTHING), (NOT_DETERMINED, UNKNOWN)):
        inside = areas.cells == kind
        if inside.any():
            _fill(axes, inside, edge_x, edge_y, colour)
            words = no_state_words(areas) if kind == NO_STEADY_STATE else "not determined"
            text = "\n".join(textwrap.wrap(words, int(LETTERS * width), subsequent_indent="    "))
            handles.append(Patch(facecolor=colour, edgecolor=QUIET, lw=0.6, label=text))
    return handles


def _fill(axes: Axes, inside: np.ndarray, edge_x: np.ndarray, edge_y: np.ndarray, colour: str) -> None:
    """Cells of one kind as bars along the rows: areas that a theme can colour, unlike a picture's dots."""
    bars = []
    for row in np.flatnonzero(inside.any(axis=1)):
        steps = np.flatnonzero(np.diff(np.concatenate([[0], inside[row].astype(int), [0]])))
        low, high = edge_y[row], edge_y[row + 1]
        bars += [
            [(edge_x[a], low), (edge_x[b], low), (edge_x[b], high), (edge_x[a], high)]
            for a, b in zip(steps[::2], steps[1::2], strict=True)
        ]
    axes.add_collection(
        # an edge in the same colour closes the seams between rows
        PolyCollection(bars, facecolors=colour, edgecolors=colour, linewidths=0.5, zorder=0),
        autolim=False,
    )


def _hatch(number: int) -> str:
    """Shifted each time the fills begin anew, so that no pair comes twice soon."""
    return HATCHES[(number + number // len(FILLS)) % len(HATCHES)]


def _curves(areas: RegionMap, axes: Axes, width: float) -> list[Line2D]:
    handles: list[Line2D] = []
    for number, curve in enumerate(areas.curves):
        text = formula(curve.formula, areas.solution.circuit.duty_symbols, UNICODE)
        label = f"edge of {curve.mode}: {areas.y.name} = {text}"
        if len(label) > LETTERS * width:
            label = f"edge of {curve.mode}, closed formula"
        style = STYLES[number % len(STYLES)]
        handles += axes.plot(curve.x, curve.y, style, color=INK, label=label, zorder=3)
    return handles


def _point(areas: RegionMap, axes: Axes) -> list[Line2D]:
    if areas.point is None:
        return []
    x, y = areas.point
    value = engineering(y, areas.y.unit)
    label = f"operating point: {areas.x.name} = {x:.4g}, {areas.y.name} = {value}"
    return list(
        axes.plot(
            [x],
            [y],
            linestyle="none",
            marker="o",
            markersize=9,
            markerfacecolor=INK,
            markeredgecolor=PAPER,
            markeredgewidth=1.5,
            label=label,
            zorder=5,
        )
    )


def _labels(areas: RegionMap, axes: Axes, width: float) -> None:
    """Each region's name where it is widest, clear of the operating point and of other names.

    A region too small for its name is left to the legend.
    """
    rows, columns = areas.cells.shape
    taken = np.zeros(areas.cells.shape, bool)
    if areas.point is not None:
        row = round(areas.y.share(areas.point[1]) * rows)
        column = round(areas.x.share(areas.point[0]) * columns)
        taken[max(row - 5, 0) : row + 6, max(column - 4, 0) : column + 5] = True
    largest_first = sorted(range(len(areas.names)), key=lambda n: -(areas.cells == n).sum())
    for number in largest_first:
        name = areas.names[number]
        for size in (12, 9, 7):
            scale = size * WIDTH / width
            half = (round(rows * 0.0026 * scale), round(columns * (0.0009 * len(name) + 0.0012) * scale))
            place = _free_place(areas.cells == number, taken, half, required=0.75 if size > 7 else 0.3)
            if place is None:
                continue
            row, column = place
            taken[row - half[0] : row + half[0] + 1, column - half[1] : column + half[1] + 1] = True
            axes.text(
                areas.x.centres(columns)[column],
                areas.y.centres(rows)[row],
                name,
                ha="center",
                va="center",
                fontsize=size,
                fontweight="bold",
                zorder=6,
                bbox=LABEL_BOX,
            )
            break


def _free_place(
    inside: np.ndarray, taken: np.ndarray, half: tuple[int, int], required: float
) -> tuple[int, int] | None:
    """Middle of a free box that lies in the region to the ``required`` share, the most central."""
    tall, wide = half
    rows, columns = inside.shape
    if rows <= 2 * tall or columns <= 2 * wide or not inside.any():
        return None
    area = (2 * tall + 1) * (2 * wide + 1)
    own = _box_sums(inside, tall, wide)
    free = _box_sums(taken, tall, wide) == 0
    share = np.where(free & inside[tall : rows - tall, wide : columns - wide], own / area, 0.0)
    if share.max() < required:
        return None
    # where a wider box still lies inside there is room around the name
    roomy = _box_sums(np.pad(inside, ((tall, tall), (wide, wide))), 2 * tall, 2 * wide) / area
    score = np.where(share >= min(1.0, share.max()), roomy, -1.0)
    best = np.argwhere(score >= score.max() - 1e-9)
    row, column = best[np.argmin(((best - best.mean(axis=0)) ** 2).sum(axis=1))]
    return int(row) + tall, int(column) + wide


def _box_sums(values: np.ndarray, tall: int, wide: int) -> np.ndarray:
    """Sums over boxes of (2*tall + 1) x (2*wide + 1) cells that lie wholly on the map."""
    total = np.pad(values.astype(float).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    high, broad = 2 * tall + 1, 2 * wide + 1
    return total[high:, broad:] - total[:-high, broad:] - total[high:, :-broad] + total[:-high, :-broad]


def _frame(areas: RegionMap, axes: Axes, width: float) -> None:
    axes.set_xlim(areas.x.low, areas.x.high)
    axes.set_ylim(areas.y.low, areas.y.high)
    if areas.y.logarithmic:
        axes.set_yscale("log")
        axes.set_yticks(round_values(areas.y))
        axes.set_yticklabels([engineering(v, areas.y.unit, digits=3) for v in round_values(areas.y)])
    unit = {"1": "", "ohm": " (Ω)"}.get(areas.y.unit, f" ({areas.y.unit})")
    label = f"{areas.y.name}{unit}"
    if areas.y.definition is not None:
        label = f"{areas.y.name} = {formula(areas.y.definition, (), UNICODE)}"
    elif unit == "":
        label = f"duty {areas.y.name}"
    duty = f"duty {areas.x.name}"
    if any("′" in formula(c.formula, areas.solution.circuit.duty_symbols, UNICODE) for c in areas.curves):
        duty += f"     ({areas.x.name}′ = 1 − {areas.x.name})"
    axes.set_xlabel(duty)
    axes.set_ylabel(label)
    title = areas.solution.circuit.name
    if areas.fixed:
        title += " (" + ", ".join(f"{name} = {value:.4g}" for name, value in areas.fixed.items()) + ")"
    axes.set_title("\n".join(textwrap.wrap(title, int(8 * width))))
