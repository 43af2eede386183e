"""``voltsec solve``: the formulas of one netlist."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from voltsec.command.budget import budgeted

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit
    from voltsec.results.solution import Solution

MOST_MODES = 8
"""Modes that are all named where one was asked for that is not there."""


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
@click.option("--brief", is_flag=True, help="The table of modes and the numbers only.")
@click.option("--full", is_flag=True, help="Everything, also what a screen has no room for.")
@click.option("--mode", metavar="NAME", help="That mode alone, such as CCM or 'DCM 2'.")
@click.option("--for", "wanted", metavar="Vout=VOLT", help="The duty that gives this output voltage.")
@click.option("--worst", metavar="RANGES", help="The worst corner of every stress, as in Vin=8:16,R=6:24.")
@click.option(
    "--order",
    type=click.Choice(["exact", "first"]),
    default="exact",
    show_default=True,
    help="Also gain and efficiency to first order in the small resistances and drops.",
)
@budgeted
def command(
    netlist: str,
    form: str | None,
    holds: tuple[str, ...],
    brief: bool,
    full: bool,
    mode: str | None,
    wanted: str | None,
    worst: str | None,
    order: str,
) -> None:
    """Find how a converter conducts and print its formulas.

    The netlist is a file, the NAME of a shipped circuit (see `voltsec circuits`), or - for standard
    input.  The answer names each mode of conduction with the region where it holds, and gives gain,
    voltages, currents, ripple, stress and efficiency as formulas, then as numbers at the operating
    point.  What a screen has no room for is left out, and a line says what; --full prints it all.

    With --hold a switch is stuck: does the input still reach the output, through which parts, at what
    voltage; is the source shorted; which part takes the voltage.

    With --for the duties that give a wanted output come first, the stable side named; where none does,
    the largest gain that can be reached is told.

    With --worst named values run over ranges, and for every stress the worst point is found on the exact
    periodic state, a corner or one inside; with --for besides, each point has the duty it needs.
    """
    from voltsec.command.netlists import load

    held = _held(holds, form)
    _compatible(held, form, brief, full, mode)
    if worst is not None and (held or brief or full or mode is not None or form == "latex"):
        raise click.UsageError("--worst tells the worst corners alone, as text or --json")
    circuit = load(netlist)  # a bad netlist is told before the solver is even imported
    if held:
        _solve_held(circuit, held, form)
        return
    from voltsec.command.wanted import find_duties, say_leading_order, say_wanted, volts_wanted

    volts = None if wanted is None else volts_wanted(wanted)
    if worst is not None:
        _worst(circuit, worst, volts, form)
        return
    from voltsec.practice.solve import solve

    solution = solve(circuit)
    shown = solution if mode is None else _only(solution, mode)
    duties = None if volts is None else find_duties(solution, volts)
    if form == "json":
        from voltsec.report.losses import with_wanted
        from voltsec.report.machine import as_json, json_text

        click.echo(json_text(with_wanted(as_json(shown), duties)))
    elif form == "latex":
        from voltsec.report.latex import latex_fragment

        click.echo(latex_fragment(shown), nl=False)
    else:
        from voltsec.report.terminal import show

        if duties is not None:
            say_wanted(solution, duties)
        show(shown, full=full, brief=brief)
        if order == "first":
            say_leading_order(shown)


def _compatible(held: dict[str, str], form: str | None, brief: bool, full: bool, mode: str | None) -> None:
    """Complain of options that make no sense together."""
    if brief and full:
        raise click.UsageError("--brief and --full contradict each other")
    if form is not None and (brief or full):
        raise click.UsageError(f"--{form} leaves nothing out; --brief and --full are for text")
    if held and (brief or full or mode is not None):
        raise click.UsageError("--hold tells a state of its own, without --brief, --full and --mode")


def _only(solution: Solution, name: str) -> Solution:
    """The answer cut down to one mode; numbers stay where they are that mode's."""
    from dataclasses import replace

    from voltsec.circuit.spelling import did_you_mean

    solution.need_modes()
    names = [mode.name for mode in solution.modes]
    found = next((mode for mode in solution.modes if mode.name.lower() == name.strip().lower()), None)
    if found is None:
        hint = f"there is {', '.join(names)}"
        if len(names) > MOST_MODES:
            hint = did_you_mean(name, names) or f"there are {names[0]} to {names[-1]}"
        raise click.UsageError(f"--mode: there is no mode {name!r}; {hint}")
    numbers = solution.numbers
    kept = numbers if numbers is not None and numbers.mode == found.name else None
    return replace(solution, modes=(found,), numbers=kept)


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
    from voltsec.held.held import held_state
    from voltsec.report.held import held_json, show_held

    state = held_state(circuit, held)
    if form == "json":
        from voltsec.report.machine import json_text

        click.echo(json_text(held_json(state)))
    else:
        show_held(state)


def _worst(circuit: Circuit, ranges: str, volts: float | None, form: str | None) -> None:
    from voltsec.practice.asked import BadValues
    from voltsec.practice.design.extremes import worst_case

    try:
        found = worst_case(circuit, ranges, volts)
    except BadValues as problem:
        raise click.UsageError(f"--worst: {problem}") from None
    if form == "json":
        from voltsec.report.design_machine import worst_json
        from voltsec.report.machine import json_text

        click.echo(json_text(worst_json(found)))
        return
    import sys
    from shutil import get_terminal_size

    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.design_text import worst_lines

    width = min(get_terminal_size().columns, 100)
    for line in worst_lines(found, width, alphabet_for(sys.stdout.encoding or "utf-8")):
        click.echo(line)
