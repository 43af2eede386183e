"""``voltsec tidy``: a netlist in its plain, aligned form."""

from __future__ import annotations

import os
from pathlib import Path

import click

from voltsec.command.status import Status


@click.command(
    "tidy",
    short_help="Lay a netlist out in columns.",
    epilog="Example:  voltsec tidy stage.topo --in-place",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("--check", "mode", flag_value="check", help="Only say, by exit status 1, if it would change.")
@click.option("--in-place", "mode", flag_value="in-place", help="Write the result back to the file.")
def command(netlist: str, mode: str | None) -> int:
    """Print a netlist with its columns aligned and its units written plainly; the circuit stays the same."""
    from voltsec.command.netlists import load_aloud
    from voltsec.language.writer import tidy

    if mode == "in-place" and not os.path.isfile(netlist):
        raise click.UsageError(f"--in-place needs a file, and {netlist} is none")
    circuit = load_aloud(netlist)
    tidied = tidy(circuit.text, circuit.file)
    changed = tidied != circuit.text
    if mode == "check":
        if changed:
            click.echo(f"{circuit.file} would change", err=True)
        return Status.CHECK_FAILED if changed else Status.DONE
    if mode == "in-place":
        if changed:
            _replace(Path(netlist).resolve(), tidied)
    else:
        click.echo(tidied, nl=False)
    return Status.DONE


def _replace(path: Path, text: str) -> None:
    """Write ``text`` to ``path`` in one step, so that a half-written netlist never stands there."""
    draft = path.with_name(f".{path.name}.tidy")
    try:
        draft.write_text(text, encoding="utf-8", newline="")
        draft.chmod(path.stat().st_mode & 0o777)
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
