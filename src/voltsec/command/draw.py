"""``voltsec draw``: the circuit as a picture."""

from __future__ import annotations

import click

from voltsec.command.output_ending import ending


@click.command(
    "draw",
    short_help="Draw the circuit, placed by itself.",
    epilog="Example:  voltsec draw sepic -o sepic.svg",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("-o", "--output", required=True, metavar="FILE.svg|.png|.pdf", help="The file to draw into.")
def command(netlist: str, output: str) -> None:
    """Draw a circuit: source left, load right, reference nodes at the bottom, transformers upright with dots.

    The same netlist gives the same picture.
    """
    ending(output, (".svg", ".png", ".pdf"))
    from voltsec.command.netlists import load_aloud

    circuit = load_aloud(netlist).check()
    from voltsec.report.drawing import draw

    draw(circuit).save(output)
    click.echo(f"drawn into {output}", err=True)
