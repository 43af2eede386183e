"""``voltsec states``: the state equations of every interval, and their mean."""

from __future__ import annotations

import sys

import click

from voltsec.command.budget import budgeted


@click.command(
    "states",
    short_help="State equations of every interval, and their mean.",
    epilog="Example:  voltsec states sepic --latex",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("--mode", "mode_name", metavar="NAME", help="The mode; by default that at the operating point.")
@click.option("--json", "form", flag_value="json", help="One JSON object instead of text.")
@click.option("--latex", "form", flag_value="latex", help="A LaTeX fragment instead of text.")
@budgeted
def command(netlist: str, mode_name: str | None, form: str | None) -> None:
    """Write a converter's state equations, interval by interval.

    For each interval of a mode the law of every coil and capacitor, then dx/dt = A x + B u and
    y = C x + E u as matrices: x coil currents and capacitor voltages, u sources and drops, y the output
    voltage and the current drawn from the input.  What an interval ties together (capacitors in a loop,
    inductors in a cutset) is told, and the matrices are those of the states that are left.  In continuous
    conduction the matrices of the mean over the period follow.
    """
    from voltsec.command.netlists import load, load_aloud

    circuit = load(netlist) if form == "json" else load_aloud(netlist)
    from voltsec.dynamics.chosen_mode import NotTold
    from voltsec.dynamics.state_equations import states
    from voltsec.practice.solve import solve

    answer = solve(circuit)
    try:
        found = states(answer, mode_name)
    except NotTold as problem:
        raise click.UsageError(f"--mode: {problem}") from None
    if form == "json":
        from voltsec.report.machine import json_text
        from voltsec.report.states_machine import states_json

        click.echo(json_text(states_json(answer, found)))
    elif form == "latex":
        from voltsec.report.states_latex import states_latex

        click.echo(states_latex(circuit, found), nl=False)
    else:
        from shutil import get_terminal_size

        from voltsec.report.alphabet import alphabet_for
        from voltsec.report.states_text import states_lines

        width = min(get_terminal_size().columns, 100)
        for line in states_lines(
            circuit, found.told, found, width, alphabet_for(sys.stdout.encoding or "utf-8")
        ):
            click.echo(line)
