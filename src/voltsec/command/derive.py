"""``voltsec derive``: the formulas of one mode, derived line by line."""

from __future__ import annotations

import sys

import click

from voltsec.command.budget import budgeted


@click.command(
    "derive",
    short_help="Derive a mode's formulas step by step.",
    epilog="Example:  voltsec derive sepic --mode DCM",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option(
    "--mode", "mode_name", metavar="NAME", help="The mode (CCM, DCM, DCM 2 ...); the first by default."
)
@click.option("--markdown", "form", flag_value="markdown", help="Markdown instead of text.")
@click.option("--latex", "form", flag_value="latex", help="A LaTeX fragment instead of text.")
@budgeted
def command(netlist: str, mode_name: str | None, form: str | None) -> None:
    """Derive a converter's gain as one would on a blackboard.

    Each interval's voltages and currents, the balances over a period, their solution line by line, the
    check of the assumed diodes, the boundary and the gain.  Every line is checked to follow from those
    it cites before it is printed.
    """
    from voltsec.command.netlists import load_aloud

    circuit = load_aloud(netlist)  # a bad netlist is told before the solver is even imported
    from voltsec.practice.derive import NoSuchMode, derive
    from voltsec.practice.solve import solve

    try:
        derivation = derive(solve(circuit), mode_name)
    except NoSuchMode as problem:
        raise click.UsageError(str(problem)) from problem
    if form == "latex":
        from voltsec.report.derivation_latex import as_latex

        click.echo(as_latex(derivation), nl=False)
    elif form == "markdown":
        from voltsec.report.derivation_text import as_markdown

        click.echo(as_markdown(derivation), nl=False)
    else:
        from shutil import get_terminal_size

        from voltsec.report.alphabet import alphabet_for
        from voltsec.report.derivation_text import as_text

        width = min(get_terminal_size().columns, 100)
        click.echo(as_text(derivation, width, alphabet_for(sys.stdout.encoding)), nl=False)
