"""A map of modes as a picture: PNG or SVG, readable without colour."""

from __future__ import annotations

import os
import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from voltsec.practice.map import NO_STEADY_STATE, NOT_DETERMINED, RegionMap
from voltsec.report.alphabet import UNICODE
from voltsec.report.formula import formula
from voltsec.report.machine import circuit_name
from voltsec.report.map_text import conducting_words, mode_of, no_state_words, round_values
from voltsec.report.quantity import engineering

LABEL_BOX = {"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": "#555555", "linewidth": 0.6}
SUFFIXES = (".png", ".svg")
FILLS = ("#ffffff", "#c9ddf0", "#f2dcae", "#a9cfae", "#d9b8d4", "#8fb3cf", "#e0a58a", "#c4c4a0")
HATCHES = ("", "///", "\\\\\\", "...", "xx", "--", "++", "oo")
UNKNOWN_FILL = "#707070"
NO_STATE_FILL = "#303030"
STYLE: Any = {
    "hatch.linewidth": 0.5,
    "hatch.color": "#777777",
    "svg.hashsalt": "voltsec",
    "text.parse_math": False,
}
TWO_COLUMNS = 8
"""Entries of the legend beyond which it takes two columns."""


def save_map(areas: RegionMap, path: str | os.PathLike[str]) -> None:
    """Draw ``areas`` into ``path`` in one step, so that no half-written picture ever stands there."""
    target = Path(path)
    draft = target.with_name(f".{target.name}.draft{target.suffix}")
    import matplotlib

    try:
        # svg.hashsalt and no date: the same map gives the same file
        with matplotlib.rc_context(STYLE):
            figure = draw_map(areas)
            kind = target.suffix.lower().lstrip(".")
            figure.savefig(draft, format=kind, metadata={"Date": None} if kind == "svg" else None)
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)


def draw_map(areas: RegionMap) -> Any:
    """The matplotlib figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 6.0), dpi=150, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    handles = _regions(areas, axes) + _curves(areas, axes) + _point(areas, axes)
    columns = 2 if len(handles) > TWO_COLUMNS else 1
    lines = -(-sum(handle.get_label().count("\n") + 1 for handle in handles) // columns)
    figure.set_figheight(5.0 + 0.2 * lines)  # the legend takes nothing from the map
    _labels(areas, axes)
    _frame(areas, axes)
    figure.legend(
        handles=handles,
        loc="outside lower left",
        title="Mode: what conducts, interval by interval",
        title_fontsize=9,
        alignment="left",
        ncols=columns,
        fontsize=9,
        frameon=False,
        handlelength=2.4,
    )
    return figure


def _regions(areas: RegionMap, axes: Any) -> list[Any]:
    from matplotlib.colors import to_rgb
    from matplotlib.patches import Patch

    rows, columns = areas.cells.shape
    x, y = areas.x.edges(columns), areas.y.edges(rows)
    fills = [*(_fill(n) for n in range(len(areas.names))), NO_STATE_FILL, UNKNOWN_FILL]
    picture = np.array([to_rgb(fill) for fill in fills])[areas.cells]  # negative cells count from the end
    axes.pcolormesh(x, y, picture, shading="flat", rasterized=True, zorder=0)
    handles = []
    middle_x, middle_y = areas.x.centres(columns), areas.y.centres(rows)
    middle_x[[0, -1]], middle_y[[0, -1]] = x[[0, -1]], y[[0, -1]]  # hatching reaches the frame
    for number, name in enumerate(areas.names):
        inside = (areas.cells == number).astype(float)
        hatch = _hatch(number)
        if hatch and inside.any() and not inside.all():
            axes.contourf(middle_x, middle_y, inside, levels=[0.5, 1.5], colors="none", hatches=[hatch])
        words = f"{name}: {conducting_words(mode_of(areas, name))}"
        text = "\n".join(textwrap.wrap(words, 90, subsequent_indent="    "))
        handles.append(Patch(facecolor=_fill(number), edgecolor="#555555", hatch=hatch, label=text))
    if (areas.cells == NO_STEADY_STATE).any():
        handles.append(Patch(facecolor=NO_STATE_FILL, edgecolor="#555555", label=no_state_words(areas)))
    if (areas.cells == NOT_DETERMINED).any():
        handles.append(Patch(facecolor=UNKNOWN_FILL, edgecolor="#555555", label="not determined"))
    return handles


def _fill(number: int) -> str:
    return FILLS[number % len(FILLS)]


def _hatch(number: int) -> str:
    """Shifted each time the fills begin anew, so that no pair comes twice soon."""
    return HATCHES[(number + number // len(FILLS)) % len(HATCHES)]


def _curves(areas: RegionMap, axes: Any) -> list[Any]:
    handles = []
    styles = ("-", "--", "-.", ":")
    for number, curve in enumerate(areas.curves):
        text = formula(curve.formula, areas.solution.circuit.duty_symbols, UNICODE)
        label = f"edge of {curve.mode}: {areas.y.name} = {text}"
        if len(label) > 95:
            label = f"edge of {curve.mode}, closed formula"
        style = styles[number % len(styles)]
        handles += axes.plot(curve.x, curve.y, style, color="black", linewidth=1.6, label=label, zorder=3)
    return handles


def _point(areas: RegionMap, axes: Any) -> list[Any]:
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
            markerfacecolor="black",
            markeredgecolor="white",
            markeredgewidth=1.5,
            label=label,
            zorder=5,
        )
    )


def _labels(areas: RegionMap, axes: Any) -> None:
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
            half = (round(rows * 0.0026 * size), round(columns * (0.0009 * len(name) + 0.0012) * size))
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


def _frame(areas: RegionMap, axes: Any) -> None:
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
    axes.set_xlabel(duty, fontsize=12)
    axes.set_ylabel(label, fontsize=12)
    axes.tick_params(labelsize=10)
    title = circuit_name(areas.solution.circuit)
    if areas.fixed:
        title += " (" + ", ".join(f"{name} = {value:.4g}" for name, value in areas.fixed.items()) + ")"
    axes.set_title("\n".join(textwrap.wrap(title, 70)), fontsize=12)
