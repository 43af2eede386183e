"""``voltsec sweep``: curves, tables and tolerances of one netlist."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from voltsec.command.budget import budgeted
from voltsec.command.output_ending import ending

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voltsec.practice.sweep import Progress
    from voltsec.results.solution import Solution

FIGURES = (".svg", ".png", ".pdf")
PATIENCE = 1.0
"""Seconds before a progress bar appears."""


@click.command(
    "sweep",
    short_help="Curves, tables and tolerances over duty, load and parts.",
    epilog="Example:  voltsec sweep boost_lossy D=0.05:0.95:200 R=5:500:4:log -o rail.svg",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.argument("axes", nargs=-1, metavar="[NAME=FROM:TO[:POINTS][:log]]...")
@click.option("--plot", "wanted", metavar="QUANTITIES", help="As gain,efficiency,S.voltage_peak,losses.L.")
@click.option("-o", "--output", metavar="FILE", help="A .csv table or a .svg, .png or .pdf figure.")
@click.option("--tolerance", metavar="PART=SHARE,...", help="Tolerances of parts, such as L1=20%,R=5%.")
@click.option("--draws", type=int, default=20_000, show_default=True, help="Random draws for --tolerance.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the draws.")
@budgeted
def command(
    netlist: str,
    axes: tuple[str, ...],
    wanted: str | None,
    output: str | None,
    tolerance: str | None,
    draws: int,
    seed: int,
) -> None:
    """Evaluate a converter at many points, the mode of conduction chosen at each.

    NAME is a duty, the period T, a part or any other symbol of the netlist.  It takes one value
    (R=10), some (R=5,10,20) or a range (D=0.05:0.95:200, R=1:100:log).  The first range runs along
    the axis of a figure, the second gives a family of curves.  Without -o the table goes to standard
    output as CSV.

    With --tolerance parts are drawn at random around their values, and percentiles are printed.
    """
    from voltsec.command.netlists import load_aloud
    from voltsec.practice.asked import BadValues, known_point, quantity_called
    from voltsec.practice.axes import read_axes, read_tolerances
    from voltsec.practice.tolerance import symbol_of

    endings = (".csv",) if tolerance is not None else (".csv", *FIGURES)
    kind = "" if output is None else ending(output, endings)
    circuit = load_aloud(netlist).check()
    try:
        units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
        values = read_axes(axes, units)
        ranges = [name for name, value in values.items() if not isinstance(value, float)]
        shares = read_tolerances(tolerance) if tolerance is not None else {}
        for name in shares:
            symbol_of(circuit, name)
        known_point(circuit, values)  # everything that can be told before the solver starts
        asked = [name.strip() for name in (wanted or "").split(",") if name.strip()]
        names = tuple(dict.fromkeys(quantity_called(circuit, name) for name in asked))
        if tolerance is not None and ranges:
            raise BadValues(f"with --tolerance {ranges[0]} takes one value, not a range")
        if tolerance is None and not ranges:
            raise BadValues("nothing is swept: give a range such as D=0.05:0.95:200, or --tolerance")
        if kind in FIGURES and len(ranges) > 2:
            raise BadValues(f"a figure shows two ranges at most, not {len(ranges)}; write a .csv instead")

        from voltsec.practice.solve import solve

        solution = solve(circuit)
        if tolerance is not None:
            _tolerances(solution, shares, draws, seed, values, names, output)
        else:
            _sweep(solution, values, names, output, kind)
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None


def _sweep(
    solution: Solution, values: dict[Any, Any], names: tuple[str, ...], output: str | None, kind: str
) -> None:
    from voltsec.practice.sweep import MOST_EXACT, ORDINARY, sweep
    from voltsec.report.losses import taken_for_granted

    quantities = names or (("gain", "efficiency") if kind in FIGURES else ORDINARY)
    with _progress("sweep") as progress:
        result = sweep(solution, values, quantities, progress=progress)
    if result.missing:
        click.echo(f"voltsec: note: {taken_for_granted(result.missing, result.mode_names)}", err=True)
    empty = int(((result.mode_index < 0) & ~result.exact).sum())
    if empty:
        click.echo(
            f"voltsec: note: {empty} of {result.mode_index.size} points are left empty: no periodic "
            "state could be verified there (solve with the values of such a point tells more)",
            err=True,
        )
    if not result.exact.any() and result.mode_index.size > empty:
        click.echo(
            f"voltsec: note: {result.mode_index.size} points: the numbers are the formulas', which neglect "
            f"ripple (up to {MOST_EXACT} points they are those of the exact periodic state)",
            err=True,
        )
    differing = result.differing()
    if differing:
        told = ", ".join(f"{name} by up to {100 * share:.2g} %" for name, share in differing.items())
        click.echo(f"voltsec: note: the formulas neglect ripple; they differ in {told}", err=True)
    if kind in FIGURES:
        from voltsec.report.figure_face import write_figure
        from voltsec.report.sweep_figure import sweep_figure

        write_figure(sweep_figure(result, quantities, solution.circuit.name), str(output))
        return
    from voltsec.report.sweep_csv import write_csv, write_rows

    if output is None:
        write_rows(result, sys.stdout)
    else:
        write_csv(result, output)


def _tolerances(
    solution: Solution,
    shares: dict[Any, Any],
    draws: int,
    seed: int,
    values: dict[Any, Any],
    names: tuple[str, ...],
    output: str | None,
) -> None:
    from voltsec.practice.tolerance import tolerances
    from voltsec.report.output_file import draft_of
    from voltsec.report.spread_table import spread_lines
    from voltsec.report.sweep_csv import write_spread

    with _progress("draws") as progress:
        spread = tolerances(solution, shares, draws, seed, values, names or None, progress=progress)
    if output is None:
        for line in spread_lines(spread):
            click.echo(line)
        return
    with draft_of(output) as draft, draft.open("w", encoding="utf-8", newline="") as stream:
        write_spread(spread, stream)


@contextmanager
def _progress(what: str) -> Iterator[Progress | None]:
    """A bar on standard error once the work has taken a second; none where that is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    import time

    from rich.console import Console
    from rich.progress import Progress as Bar

    began = time.monotonic()
    bar = Bar(console=Console(stderr=True), transient=True)
    task = bar.add_task(what)
    shown = False

    def told(done: int, total: int) -> None:
        nonlocal shown
        if not shown and time.monotonic() - began > PATIENCE:
            bar.start()
            shown = True
        bar.update(task, completed=done, total=total)

    try:
        yield told
    finally:
        if shown:
            bar.stop()
