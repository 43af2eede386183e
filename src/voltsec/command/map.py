"""``voltsec map``: which mode holds where."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    "map",
    short_help="Draw which mode holds where, over the duty and the load.",
    epilog="Example:  voltsec map sepic -o sepic.png",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("--over", metavar="SYMBOL", help="The upright axis: K (the usual one), R, L1, any symbol.")
@click.option("--duty", metavar="NAME", help="The duty to draw over, where there are several.")
@click.option("-o", "--output", metavar="FILE.png|.svg", help="Draw a picture into this file as well.")
def command(netlist: str, over: str | None, duty: str | None, output: str | None) -> None:
    """Draw the regions of a converter's modes over the duty and the load.

    Each region is labelled with its mode and with what conducts in its intervals; the operating point
    is marked.  Everything else stays at the operating point, or at ordinary values where the netlist
    gives none.
    """
    from voltsec.command.netlists import load

    if output is not None:
        _check(Path(output))
    circuit = load(netlist)
    from rich.console import Console
    from rich.text import Text

    from voltsec.practice.map import region_map
    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.map_text import COLUMNS, ROWS, map_lines
    from voltsec.steady.solve import solve

    solution = solve(circuit)
    try:
        areas = region_map(solution, over, duty, COLUMNS, ROWS)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None
    console = Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    for line in map_lines(areas, alphabet_for(console.encoding), console.width):
        console.print(Text(line), overflow="fold")
    if output is not None:
        from voltsec.report.map_figure import save_map

        save_map(region_map(solution, over, duty), output)
        click.echo(f"drawn into {output}", err=True)


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
