"""``voltsec dynamics``: how a converter reacts to small changes."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from voltsec.command.budget import budgeted
from voltsec.command.output_ending import ending

if TYPE_CHECKING:
    from voltsec.practice.dynamics import Told

FIGURES = (".svg", ".png", ".pdf")
KINDS = ("duty", "input", "zout", "zin")


@click.command(
    "dynamics",
    short_help="Small-signal model: transfer functions, impedances, Bode figures.",
    epilog="Example:  voltsec dynamics sepic sepic_coupled -o loop.svg",
)
@click.argument("netlists", nargs=-1, required=True, metavar="FILE|NAME|-... [NAME=VALUE]...")
@click.option(
    "--response",
    "kinds",
    multiple=True,
    type=click.Choice(KINDS),
    help="duty or input to output, output or input impedance; may be given several times. Text has all of "
    "them, a figure duty to output.",
)
@click.option(
    "--to", "wanted", metavar="TRACE", help="In place of the output voltage: v(C1), i(L1), v(a,b) ..."
)
@click.option("--mode", "mode_name", metavar="NAME", help="The mode; by default that at the operating point.")
@click.option("--filter", "filtered", is_flag=True, help="The input filter against the stage it feeds.")
@click.option("-o", "--output", metavar="FILE", help="A .svg, .png or .pdf Bode figure, or a .csv table.")
@click.option(
    "--points",
    type=click.IntRange(2, 5000),
    default=200,
    show_default=True,
    help="Frequencies of a figure or table, up to half the switching frequency.",
)
@click.option("--json", "form", flag_value="json", help="One JSON object instead of text.")
@click.option("--latex", "form", flag_value="latex", help="A LaTeX fragment instead of text.")
@budgeted
def command(
    netlists: tuple[str, ...],
    kinds: tuple[str, ...],
    wanted: str | None,
    mode_name: str | None,
    filtered: bool,
    output: str | None,
    points: int,
    form: str | None,
) -> None:
    """Tell how a converter reacts to small changes of duty, input and load current.

    Responses are ratios of polynomials in s, in factors where they can be read: gain at 0 Hz, natural
    frequencies, quality factors, zeros (those in the right half-plane named).  At the operating point the
    averaged model stands beside the exact response, in which nothing is averaged.  In discontinuous
    conduction the exact period map gives the numbers.

    Several netlists are drawn over one another.  NAME=VALUE changes the operating point of all of them.
    """
    from voltsec.circuit.fault import CircuitError
    from voltsec.dynamics.chosen_mode import NotTold
    from voltsec.practice.asked import BadValues

    kind = "" if output is None else ending(output, (*FIGURES, ".csv"))
    names = [text for text in netlists if "=" not in text]
    changes = tuple(text for text in netlists if "=" in text)
    _compatible(names, form, output, filtered)
    try:
        told = [_told(name, changes, kinds, wanted, mode_name, kind, form) for name in names]
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None
    except NotTold as problem:
        raise click.UsageError(f"--mode: {problem}") from None
    for one in told:
        if kind and one.model.point is None:
            raise CircuitError((one.without_point(),), one.circuit.file, one.circuit.text)
    if filtered:
        try:
            _filter(told[0], kind, output)
        except NotTold as problem:
            raise click.UsageError(f"--filter: {problem}") from None
    elif kind in FIGURES:
        from voltsec.report.bode_figure import bode_figure
        from voltsec.report.figure_face import write_figure

        write_figure(bode_figure([one.model for one in told], told[0].name, points), str(output))
        click.echo(f"written to {output}", err=True)
    elif kind:
        from voltsec.report.dynamics_csv import write_responses

        write_responses(told[0].model, str(output), points)
        click.echo(f"written to {output}", err=True)
    else:
        _print(told, form)


def _compatible(names: list[str], form: str | None, output: str | None, filtered: bool) -> None:
    if not names:
        raise click.UsageError(
            "no netlist is named, only values; give a FILE or the NAME of a shipped circuit"
        )
    if form is not None and output is not None:
        raise click.UsageError(f"--{form} goes to standard output; leave out -o")
    figure = output is not None and not output.lower().endswith(".csv")
    if len(names) > 1 and not figure:
        raise click.UsageError("several netlists are drawn over one another: give -o FILE.svg, .png or .pdf")
    if filtered and (form is not None or len(names) > 1):
        raise click.UsageError("--filter looks at one netlist, without --json and --latex")
    if filtered and output is not None and not figure:
        raise click.UsageError("--filter writes a .svg, .png or .pdf figure, or text without -o")


def _told(
    netlist: str,
    changes: tuple[str, ...],
    kinds: tuple[str, ...],
    wanted: str | None,
    mode_name: str | None,
    kind: str,
    form: str | None,
) -> Told:
    from voltsec.command.netlists import load, load_aloud

    circuit = (load(netlist) if form == "json" else load_aloud(netlist)).check()
    from voltsec.practice.dynamics import told

    default = ("duty",) if kind in FIGURES else KINDS
    return told(circuit, changes, wanted, mode_name, kinds or default)


def _print(told: list[Told], form: str | None) -> None:
    (one,) = told
    if form == "json":
        from voltsec.report.dynamics_machine import dynamics_json
        from voltsec.report.machine import json_text

        click.echo(json_text(dynamics_json(one.model, one.name, one.interaction)))
    elif form == "latex":
        from voltsec.report.dynamics_latex import dynamics_latex

        click.echo(dynamics_latex(one.model, one.name), nl=False)
    else:
        from shutil import get_terminal_size

        from voltsec.report.alphabet import alphabet_for
        from voltsec.report.dynamics_text import dynamics_lines

        width = min(get_terminal_size().columns, 100)
        alphabet = alphabet_for(sys.stdout.encoding or "utf-8")
        for line in dynamics_lines(one.model, one.name, width, alphabet, one.interaction):
            click.echo(line)


def _filter(told: Told, kind: str, output: str | None) -> None:
    """The input filter's criterion, in words or as a figure."""
    from voltsec.circuit.fault import CircuitError
    from voltsec.dynamics.input_filter import interaction

    if told.model.point is None:
        raise CircuitError((told.without_point(),), told.circuit.file, told.circuit.text)
    found = interaction(told.circuit, told.model.point)
    if kind:
        from voltsec.report.figure_face import write_figure
        from voltsec.report.filter_figure import filter_figure

        write_figure(filter_figure(told.circuit, found), str(output))
        click.echo(f"written to {output}", err=True)
        return
    from shutil import get_terminal_size

    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.filter_text import filter_lines

    width = min(get_terminal_size().columns, 100)
    click.echo(f"{told.circuit.name}: input filter against the stage")
    for line in filter_lines(found, width, alphabet_for(sys.stdout.encoding or "utf-8")):
        click.echo(line)
