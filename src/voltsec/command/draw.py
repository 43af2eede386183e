"""``voltsec draw``: the circuit as a picture."""

from __future__ import annotations

import click

from voltsec.command.budget import budgeted
from voltsec.command.output_ending import ending


@click.command(
    "draw",
    short_help="Draw the circuit, placed by itself.",
    epilog="Example:  voltsec draw sepic -o sepic.svg",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("-o", "--output", required=True, metavar="FILE.svg|.png|.pdf", help="The file to draw into.")
@click.option("--interval", metavar="all|NAME", help="Intervals of the steady state instead: all, 2, D1.")
@budgeted
def command(netlist: str, output: str, interval: str | None) -> None:
    """Draw a circuit: source left, load right, reference nodes at the bottom, transformers upright with dots.

    With --interval the steady state at the operating point is drawn, one picture for each interval: what
    carries a current is strong, the rest faint, arrows tell which way, + and - the polarity of coils and
    capacitors.  NAME is an interval's number or what conducts in it, as S or D1,D2.

    The same netlist gives the same picture.
    """
    ending(output, (".svg", ".png", ".pdf"))
    from voltsec.command.netlists import load_aloud

    circuit = load_aloud(netlist).check()
    from voltsec.report.drawing import UnknownInterval, draw

    try:
        drawing = draw(circuit, interval)
    except UnknownInterval as problem:
        raise click.UsageError(f"--interval: {problem}") from None
    drawing.save(output)
    if interval is not None and drawing.panels[0].flow is None:
        click.echo(drawing.notes[-1], err=True)
    click.echo(f"drawn into {output}", err=True)
