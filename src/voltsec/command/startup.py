"""``voltsec startup``: the way from rest to the steady state, steps, and where the energy goes."""

from __future__ import annotations

import math

import click

from voltsec.command.output_ending import ending

FIGURES = (".svg", ".png", ".pdf")


@click.command(
    "startup",
    short_help="Start-up, steps of duty, load or input, and an energy ledger.",
    epilog="Example:  voltsec startup sepic_lossy --step 'R: 10 ohm -> 5 ohm' -o step.svg",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.argument("changes", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--periods", type=int, metavar="N", help="Periods; until it has settled where none are given.")
@click.option("--from", "start", metavar="STATE", help="rest (default), steady, or 'v(Co)=5, i(L1)=2'.")
@click.option(
    "--step", "steps", multiple=True, metavar="CHANGE", help="As 'R: 10 ohm -> 5 ohm at 2 ms'; repeatable."
)
@click.option("--show", "wanted", metavar="TRACES", help="Traces besides the output, as v(a),i(L1),v(S).")
@click.option("--ledger", is_flag=True, help="Where the energy went.")
@click.option("--window", metavar="FROM:TO", help="The ledger's stretch of time, as '0:2 ms'.")
@click.option("-o", "--output", metavar="FILE", help="A .svg, .png or .pdf figure, or a .csv table.")
@click.option("--json", "machine_readable", is_flag=True, help="One JSON object instead of text.")
def command(
    netlist: str,
    changes: tuple[str, ...],
    periods: int | None,
    start: str | None,
    steps: tuple[str, ...],
    wanted: str | None,
    ledger: bool,
    window: str | None,
    output: str | None,
    machine_readable: bool,
) -> None:
    """Follow a converter exactly from rest, period by period, until it has settled.

    It tells when the output's average stays within 1 % of the steady state's, how far it overshoots, the
    inrush current, and the largest currents and voltages on the way.

    With --step a duty, load, source or resistance changes at once, from the steady state before it unless
    --from says otherwise.  The value before the arrow must be the one in force.  A step comes with the first
    period that begins at its instant or later.

    With --ledger every source's, load's and part's energy is told, and what went into storage or came out.
    NAME=VALUE changes the operating point: a duty, the period T, a part (R=20).
    """
    from voltsec.command.netlists import load_aloud
    from voltsec.practice.asked import BadValues
    from voltsec.practice.startup import read_window, startup
    from voltsec.practice.stated_point import read_point

    kind = "" if output is None else ending(output, (*FIGURES, ".csv"))
    circuit = load_aloud(netlist).check()
    try:
        values = read_point(changes, circuit)
        stretch = None if window is None else read_window(window)
        found = startup(circuit, periods, start, steps, wanted, values)
        if stretch is not None and stretch[1] > found.end * (1 + 1e-9):
            if periods is not None:
                raise BadValues(f"--window: {window} ends after the last period, at {found.end:.6g} s")
            more = math.ceil((stretch[1] - found.end) / found.sections[-1].periods.period)
            found = startup(circuit, len(found.time) - 1 + more, start, steps, wanted, values)
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None
    if stretch is None and ledger:
        stretch = (0.0, found.end)
    if kind == ".csv":
        from voltsec.report.startup_csv import write_startup

        write_startup(found, str(output))
    elif kind:
        from voltsec.report.figure_face import write_figure
        from voltsec.report.startup_figure import startup_figure

        write_figure(startup_figure(found), str(output))
    if machine_readable:
        from voltsec.report.machine import json_text
        from voltsec.report.startup_machine import startup_json

        click.echo(json_text(startup_json(found, stretch)))
    else:
        from voltsec.report.startup_text import show_startup

        show_startup(found, stretch, plots=output is None)
    if output is not None:
        click.echo(f"written to {output}", err=True)
