"""``voltsec circuits``: what is on the shelf."""

from __future__ import annotations

import click


@click.command("circuits", short_help="List the shipped circuits.", epilog="Example:  voltsec circuits")
def command() -> None:
    """List the circuits that come with the package; any of the names can be given to `voltsec solve`."""
    from voltsec.command.netlists import first_comment, shipped_circuits

    shelf = shipped_circuits()
    width = max(map(len, shelf), default=0)
    for name, entry in shelf.items():
        click.echo(f"{name.ljust(width)}  {first_comment(entry)}".rstrip())
