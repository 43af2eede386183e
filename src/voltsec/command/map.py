"""``voltsec map``: which mode holds where."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from voltsec.command.budget import budgeted

if TYPE_CHECKING:
    from voltsec.practice.map import RegionMap


@click.command(
    "map",
    short_help="Draw which mode holds where, over the duty and the load.",
    epilog="Example:  voltsec map sepic -o sepic.png",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("--over", metavar="SYMBOL", help="The upright axis: K (the usual one), R, L1, any symbol.")
@click.option("--duty", metavar="NAME", help="The duty to draw over, where there are several.")
@click.option("-o", "--output", metavar="FILE.png|.svg", help="Draw a picture into this file as well.")
@click.option("--json", "machine_readable", is_flag=True, help="One JSON object instead of the drawing.")
@budgeted
def command(
    netlist: str, over: str | None, duty: str | None, output: str | None, machine_readable: bool
) -> None:
    """Draw the regions of a converter's modes over the duty and the load.

    Each region is labelled with its mode and with what conducts in its intervals; the operating point
    is marked.  Everything else stays at the operating point, or at ordinary values where the netlist
    gives none.
    """
    from voltsec.command.netlists import load_aloud

    if output is not None:
        _check(Path(output))
    circuit = load_aloud(netlist)
    from voltsec.practice.map import region_map
    from voltsec.practice.solve import solve
    from voltsec.report import map_machine, map_text

    solution = solve(circuit)
    form = map_machine if machine_readable else map_text
    try:
        areas = region_map(solution, over, duty, form.COLUMNS, form.ROWS)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None
    if machine_readable:
        from voltsec.report.machine import json_text

        click.echo(json_text(map_machine.map_json(areas)))
    else:
        _show(areas)
    if output is not None:
        from voltsec.report.map_figure import save_map

        save_map(region_map(solution, over, duty), output)
        click.echo(f"drawn into {output}", err=True)


def _show(areas: RegionMap) -> None:
    from rich.console import Console
    from rich.text import Text

    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.map_text import map_lines

    console = Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    for line in map_lines(areas, alphabet_for(console.encoding), console.width):
        console.print(Text(line), overflow="fold")


def _check(path: Path) -> None:
    """Complain about a picture that could not be written before any work is done."""
    from importlib.util import find_spec

    suffixes = (".png", ".svg")
    if path.suffix.lower() not in suffixes:
        raise click.UsageError(f"a picture ends in {' or '.join(suffixes)}, and {path} does not")
    if path.is_dir():
        raise click.UsageError(f"{path} is a directory")
    if not path.parent.is_dir():
        raise click.UsageError(f"there is no directory {path.parent}")
    if find_spec("matplotlib") is None:
        raise click.UsageError("pictures need matplotlib; without -o the map is drawn as text")
