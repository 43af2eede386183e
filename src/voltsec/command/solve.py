"""``voltsec solve``: the formulas of one netlist."""

from __future__ import annotations

import click


@click.command(
    "solve",
    short_help="Formulas, modes and numbers of a netlist.",
    epilog="Example:  voltsec solve sepic --json",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("--json", "form", flag_value="json", help="One JSON object instead of text.")
@click.option("--latex", "form", flag_value="latex", help="A LaTeX fragment instead of text.")
def command(netlist: str, form: str | None) -> None:
    """Find how a converter conducts and print its formulas.

    The netlist is a file, the NAME of a shipped circuit (see `voltsec circuits`), or - for standard
    input.  The answer names each mode of conduction with the region where it holds, and gives gain,
    voltages, currents, ripple, stress and efficiency as formulas, then as numbers at the operating
    point.
    """
    from voltsec.command.netlists import load

    circuit = load(netlist)  # a bad netlist is told before the solver is even imported
    from voltsec.steady.solve import solve

    solution = solve(circuit)
    if form == "json":
        from voltsec.report.machine import as_json, json_text

        click.echo(json_text(as_json(solution)))
    elif form == "latex":
        from voltsec.report.latex import latex_fragment

        click.echo(latex_fragment(solution), nl=False)
    else:
        from voltsec.report.terminal import show

        show(solution)
