"""A small line chart as SVG, in the page's own colours; the page's script redraws it the same way."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log10

WIDTH, HEIGHT = 440, 250
LEFT, RIGHT, TOP, BOTTOM = 52, 14, 30, 38
STEPS = 98
"""Points of a curve: the duty in hundredths, 0.02 to 0.98 and a little more."""


def shares() -> list[float]:
    """Duties a curve is drawn at."""
    return [0.01 + 0.98 * k / STEPS for k in range(STEPS + 1)]


def span(values: Sequence[float | None], marked: float | None) -> tuple[float, float]:
    """Bounds of the upright axis: around the mark, cutting off what runs away."""
    finite = sorted(v for v in values if v is not None)
    if not finite:
        return 0.0, 1.0
    low, high = finite[0], finite[-1]
    size = abs(marked) if marked is not None else abs(finite[len(finite) // 2])
    limit = 3.0 * max(size, 1e-9)
    low, high = min(max(low, -limit), 0.0), max(min(high, limit), 0.0)
    return (low, high) if high > low else (low, low + 1.0)


def percent_span(values: Sequence[float | None]) -> tuple[float, float]:
    """Bounds of an axis in per cent: up to 100, and down to the ten below the least value."""
    return min((10.0 * floor(v / 10.0) for v in values if v is not None and v < 100.0), default=0.0), 100.0


def ticks(low: float, high: float) -> list[float]:
    """Round values between the bounds, about five."""
    raw = (high - low) / 5
    step = 10.0 ** floor(log10(raw))
    step *= next(m for m in (1, 2, 5, 10) if m * step >= raw * 0.999)
    return [k * step for k in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]


def chart_inside(
    values: Sequence[float | None],
    at: float,
    marked: float | None,
    label: str,
    across: str,
    bounds: tuple[float, float],
    dots: Sequence[tuple[float, float]] = (),
) -> str:
    """What stands inside the ``<svg>`` element; ``dots`` are (share, value) of computed points."""
    low, high = bounds
    inner_width, inner_height = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def x(share: float) -> float:
        return LEFT + share * inner_width

    def y(value: float) -> float:
        return TOP + (high - value) / (high - low) * inner_height

    parts = []
    for tick in ticks(low, high):
        parts.append(
            f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(tick):.1f}" y2="{y(tick):.1f}"/>'
        )
        shown = f"{tick:.4g}".replace("-", "−")
        parts.append(
            f'<text class="tick" x="{LEFT - 7}" y="{y(tick) + 4:.1f}" text-anchor="end">{shown}</text>'
        )
    foot = HEIGHT - BOTTOM
    for k in range(0, 11, 2):
        place = f"{x(k / 10):.1f}"
        parts.append(f'<line class="grid" x1="{place}" x2="{place}" y1="{TOP}" y2="{foot}"/>')
        parts.append(f'<text class="tick" x="{place}" y="{foot + 17}" text-anchor="middle">{k / 10:g}</text>')
    path = ""
    pen = "M"
    for share, value in zip(shares(), values, strict=True):
        if value is None or not low <= value <= high:
            pen = "M"
            continue
        path += f"{pen}{x(share):.1f} {y(value):.1f}"
        pen = "L"
    parts.append(f'<path class="curve" d="{path}"/>')
    for share, value in dots:
        if low <= value <= high:
            parts.append(f'<circle class="dot" cx="{x(share):.1f}" cy="{y(value):.1f}" r="2.6"/>')
    if marked is not None and low <= marked <= high:
        place = f"{x(at):.1f}"
        parts.append(f'<line class="drop" x1="{place}" x2="{place}" y1="{y(marked):.1f}" y2="{foot}"/>')
        parts.append(f'<circle class="mark" cx="{x(at):.1f}" cy="{y(marked):.1f}" r="4.5"/>')
    parts.append(f'<text class="axis" x="{WIDTH - RIGHT}" y="{HEIGHT - 4}" text-anchor="end">{across}</text>')
    parts.append(f'<text class="axis" x="{LEFT}" y="{TOP - 12}">{label}</text>')
    return "".join(parts)
