"""``voltsec waves``: waveforms of the exact steady state."""

from __future__ import annotations

import click

from voltsec.command.budget import budgeted_by
from voltsec.command.output_ending import ending

FIGURES = (".svg", ".png", ".pdf")
SECONDS = 5.0
"""Time for formulas: only their values at one point are told, which come without them as well."""


@click.command(
    "waves",
    short_help="Waveforms of one or more periods of the steady state.",
    epilog="Example:  voltsec waves sepic --show 'i(L1),i(S),v(out)' -o sepic.svg",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.argument("changes", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--show", "wanted", metavar="TRACES", help="As v(out),v(a,b),v(D1),i(L1),Vout.")
@click.option("--periods", type=int, default=1, show_default=True, metavar="N", help="Periods to show.")
@click.option("-o", "--output", metavar="FILE", help="A .svg, .png or .pdf figure, or a .csv table.")
@click.option("--json", "machine_readable", is_flag=True, help="One JSON object instead of text.")
@budgeted_by(SECONDS)
def command(
    netlist: str,
    changes: tuple[str, ...],
    wanted: str | None,
    periods: int,
    output: str | None,
    machine_readable: bool,
) -> None:
    """Show voltages and currents over one period of the exact steady state; no start-up is simulated.

    v(D1) and i(D1) are an element's, along its arrow, v(n) is a node's against its reference node, v(a,b)
    that between two nodes, Vout, Iin and Iout those of the ports.  A transformer's windings are T.1,
    T.2 ..., its magnetizing inductance goes by its symbol.  Where a name is both an element's and a node's,
    v(X) is the element's and v(X,gnd) the node's.

    The table has mean, rms, peak to peak, least and largest of each trace, and what the small-ripple
    formulas give.  NAME=VALUE changes the operating point: a duty, the period T, a part (R=20).
    """
    from voltsec.command.netlists import load_aloud
    from voltsec.practice.asked import BadValues
    from voltsec.practice.stated_point import read_point, stated_point
    from voltsec.practice.traces_wanted import read_traces
    from voltsec.practice.waves import check_periods, waves

    kind = "" if output is None else ending(output, (*FIGURES, ".csv"))
    circuit = load_aloud(netlist).check()
    try:
        check_periods(periods)
        if wanted is not None:
            read_traces(wanted, circuit)
        values = read_point(changes, circuit)
        stated_point(circuit, values)  # everything that can be told before the solver starts
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None
    from voltsec.practice.solve import solve

    answer = solve(circuit)
    found = waves(answer, wanted, periods, values)
    if any("--budget SECONDS" in line for line in answer.warnings):
        told = "not all modes were found in time; solve, which takes more, may call them otherwise"
        click.echo(f"voltsec: note: {told} (--budget SECONDS)", err=True)
    if kind == ".csv":
        from voltsec.report.waves_csv import write_waves

        write_waves(found, str(output))
    elif kind:
        from voltsec.report.figure_face import write_figure
        from voltsec.report.waves_figure import waves_figure

        write_figure(waves_figure(found), str(output))
    if machine_readable:
        from voltsec.report.machine import json_text
        from voltsec.report.waves_machine import waves_json

        click.echo(json_text(waves_json(found)))
    else:
        from voltsec.report.waves_text import show_waves

        show_waves(found, plots=output is None)
    if output is not None:
        click.echo(f"written to {output}", err=True)
