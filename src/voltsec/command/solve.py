"""``voltsec solve``: the formulas of one netlist."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit


@click.command(
    "solve",
    short_help="Formulas, modes and numbers of a netlist.",
    epilog="Example:  voltsec solve sepic --json",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option("--json", "form", flag_value="json", help="One JSON object instead of text.")
@click.option("--latex", "form", flag_value="latex", help="A LaTeX fragment instead of text.")
@click.option(
    "--hold",
    "holds",
    multiple=True,
    metavar="SWITCH=on|off",
    help="What happens with a switch stuck; may be given for several switches.",
)
@click.option("--for", "wanted", metavar="Vout=VOLT", help="The duty that gives this output voltage.")
@click.option(
    "--order",
    type=click.Choice(["exact", "first"]),
    default="exact",
    show_default=True,
    help="Also gain and efficiency to first order in the small resistances and drops.",
)
def command(netlist: str, form: str | None, holds: tuple[str, ...], wanted: str | None, order: str) -> None:
    """Find how a converter conducts and print its formulas.

    The netlist is a file, the NAME of a shipped circuit (see `voltsec circuits`), or - for standard
    input.  The answer names each mode of conduction with the region where it holds, and gives gain,
    voltages, currents, ripple, stress and efficiency as formulas, then as numbers at the operating
    point.

    With --hold a switch is stuck: does the input still reach the output, through which parts, at what
    voltage; is the source shorted; which part takes the voltage.

    With --for the duties that give a wanted output are added, the stable side named; where none does,
    the largest gain that can be reached is told.
    """
    from voltsec.command.netlists import load

    held = _held(holds, form)
    circuit = load(netlist)  # a bad netlist is told before the solver is even imported
    if held:
        _solve_held(circuit, held, form)
        return
    from voltsec.command.wanted import find_duties, say_beyond, volts_wanted

    volts = None if wanted is None else volts_wanted(wanted)
    from voltsec.practice.solve import solve

    solution = solve(circuit)
    duties = None if volts is None else find_duties(solution, volts)
    if form == "json":
        from voltsec.report.losses import with_wanted
        from voltsec.report.machine import as_json, json_text

        click.echo(json_text(with_wanted(as_json(solution), duties)))
    elif form == "latex":
        from voltsec.report.latex import latex_fragment

        click.echo(latex_fragment(solution), nl=False)
    else:
        from voltsec.report.terminal import show

        show(solution)
        say_beyond(solution, duties, order)


def _held(holds: tuple[str, ...], form: str | None) -> dict[str, str]:
    """Switch -> on or off, as written."""
    held: dict[str, str] = {}
    for text in holds:
        name, equals, word = (part.strip() for part in text.partition("="))
        if not (name and equals and word):
            raise click.UsageError(f"--hold takes SWITCH=on or SWITCH=off, not {text!r}")
        if held.setdefault(name, word) != word:
            raise click.UsageError(f"--hold is given twice for {name}, {held[name]} and {word}")
    if held and form == "latex":
        raise click.UsageError("--hold gives text or --json, not --latex")
    return held


def _solve_held(circuit: Circuit, held: dict[str, str], form: str | None) -> None:
    from voltsec.report.held import held_json, show_held
    from voltsec.steady.held import held_state

    state = held_state(circuit, held)
    if form == "json":
        from voltsec.report.machine import json_text

        click.echo(json_text(held_json(state)))
    else:
        show_held(state)
