"""``voltsec language``: the reference of the netlist language."""

from __future__ import annotations

import click


@click.command(
    "language", short_help="Print the netlist language's reference.", epilog="Example:  voltsec language"
)
def command() -> None:
    """Print what a netlist may hold, statement by statement, with examples, and the exit statuses."""
    from voltsec.circuit.shipped_files import shipped_text

    click.echo(shipped_text("language.txt"), nl=False)
