"""``voltsec size``: a stage sized for what it is wanted for."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from voltsec.command.budget import budgeted
from voltsec.command.output_ending import ending

if TYPE_CHECKING:
    from voltsec.practice.design.sizing import Sizing


@click.command(
    "size",
    short_help="Duty, coils, capacitors, ratings and losses for a task.",
    epilog='Example:  voltsec size boost --for "Vin=9:16, Vout=24, Iout=0.1:0.5, f=100k, ripple(L)=40%, '
    'ripple(out)=50mV"',
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option(
    "--for",
    "wanted",
    required=True,
    metavar="SPECIFICATION",
    help="Ranges and limits, as in 'Vin=8:16, Vout=12, Iout=0.5:2, f=100k, ripple(L1)=30%'.",
)
@click.option("--series", metavar="E6|E12|...", help="Preferred values; coils take E12, capacitors E6.")
@click.option("--json", "form", flag_value="json", help="One JSON object instead of text.")
@click.option("-o", "--output", metavar="FILE.topo", help="The netlist with the values in, too.")
@budgeted
def command(netlist: str, wanted: str, series: str | None, form: str | None, output: str | None) -> None:
    """Size a stage: the duty it needs, the smallest coils and capacitors, what every part must stand.

    SPECIFICATION lists ranges or values of the circuit's symbols (Vin, f, R ...), the output voltage
    Vout, the load's current Iout or power Pout, and the most that a ripple may be, peak to peak:
    ripple(L1)=30% of the coil's mean current at the largest load or ripple(L1)=0.5A, ripple(C1)=2% of its
    mean voltage, ripple(out)=50mV. What has no ripple( ) keeps the netlist's value. clamp(S)=80V proposes
    diode, resistor and capacitor that hold a switch which cuts off a leakage. An input filter is damped.

    Smallest values come from the stage's own formulas, turned round; ripples and ratings are those of the
    exact periodic state with the preferred values of IEC 60063, at the worst point of the ranges.
    """
    from voltsec.command.netlists import load, load_aloud
    from voltsec.practice.asked import BadValues

    if output is not None:
        ending(output, (".topo",))
    circuit = (load(netlist) if form == "json" else load_aloud(netlist)).check()
    from voltsec.practice.design.sizing import size

    try:
        sizing = size(circuit, wanted, series)
    except BadValues as problem:
        raise click.UsageError(f"--for: {problem}") from None
    _print(sizing, form)
    if output is not None:
        _write(sizing, output)


def _print(sizing: Sizing, form: str | None) -> None:
    if form == "json":
        from voltsec.report.design_machine import sizing_json
        from voltsec.report.machine import json_text

        click.echo(json_text(sizing_json(sizing)))
        return
    from shutil import get_terminal_size

    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.design_text import sizing_lines

    width = min(get_terminal_size().columns, 100)
    for line in sizing_lines(sizing, width, alphabet_for(sys.stdout.encoding or "utf-8")):
        click.echo(line)


def _write(sizing: Sizing, output: str) -> None:
    from voltsec.language.writer import write
    from voltsec.report.output_file import draft_of

    with draft_of(output) as draft:
        draft.write_text(write(sizing.netlist), encoding="utf-8")
    click.echo(f"written to {output}", err=True)
