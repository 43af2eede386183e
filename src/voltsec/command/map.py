"""``voltsec map``: which mode holds where."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from voltsec.command.budget import budgeted
from voltsec.command.output_ending import ending

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
@click.option("-o", "--output", metavar="FILE.png|.svg|.pdf", help="Draw a picture into this file as well.")
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
        ending(output, (".png", ".svg", ".pdf"))
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
        from voltsec.report.figure_face import write_figure
        from voltsec.report.map_figure import draw_map

        write_figure(draw_map(region_map(solution, over, duty)), output)
        click.echo(f"drawn into {output}", err=True)


def _show(areas: RegionMap) -> None:
    from rich.console import Console
    from rich.text import Text

    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.map_text import map_lines

    console = Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    for line in map_lines(areas, alphabet_for(console.encoding), console.width):
        console.print(Text(line), overflow="fold")
