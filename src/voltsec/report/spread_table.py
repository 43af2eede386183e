"""The spread over tolerances as a table of plain text."""

from __future__ import annotations

from collections.abc import Iterator

from voltsec.practice.sweep import MOST_EXACT
from voltsec.practice.tolerance import PERCENTILES, Spread
from voltsec.report.quantity import engineering, percent
from voltsec.report.sweep_csv import percentile_name

SHOWN = (0.0, 5.0, 50.0, 95.0, 100.0)


def spread_lines(spread: Spread) -> Iterator[str]:
    """Heading and a row a quantity, in columns of equal width; what was drawn stands above."""
    parts = ", ".join(f"{name} ±{100 * share:g} %" for name, share in spread.tolerances.items())
    yield f"{spread.draws} draws (seed {spread.seed}), each uniform: {parts}"
    if not spread.exact:
        yield f"small-ripple formulas (up to {MOST_EXACT} draws: the exact periodic state, ripple included)"
    yield "mode: " + ", ".join(
        [
            *(f"{name} {percent(share)}" for name, share in spread.modes.items()),
            *([f"not determined {percent(spread.undetermined)}"] if spread.undetermined else []),
        ]
    )
    rows = [["", "nominal", *(percentile_name(p) for p in SHOWN)]]
    for name, values in spread.percentiles.items():
        chosen = [spread.nominal[name], *(values[PERCENTILES.index(p)] for p in SHOWN)]
        label = name.removeprefix("stress.").replace("_", " ").replace(".", " ")
        rows.append([label, *(_number(value, name, spread.units[name]) for value in chosen)])
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for row in rows:
        cells = [row[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True))]
        yield "  ".join(cells).rstrip()


def _number(value: float, name: str, unit: str) -> str:
    if value != value:
        return "–"
    return percent(value) if name == "efficiency" else engineering(value, unit)
