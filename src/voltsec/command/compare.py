"""``voltsec compare``: stages side by side for one task."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from voltsec.command.output_ending import ending

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit
    from voltsec.practice.design.comparison import Comparison

FIGURES = (".svg", ".png", ".pdf")
ORDINARY = "losses"
"""What the shelf is put in order by unless told."""


@click.command(
    "compare",
    short_help="Stages side by side for one task, best first.",
    epilog='Example:  voltsec compare sepic cuk flyback --for "Vin=8:16, Vout=12, Iout=0.5:2, f=100k" '
    "--by stress",
)
@click.argument("netlists", nargs=-1, metavar="FILE|NAME...")
@click.option("--for", "wanted", default="", metavar="SPECIFICATION", help="The task, as for size.")
@click.option("--shelf", is_flag=True, help="All shipped circuits too, each structure once.")
@click.option("--by", default="", metavar="CRITERION", help="Best first by this number, such as losses.")
@click.option("--parts", default="", metavar="LIST", help="Same parts: switch=50mohm, drop=0.5V, coil=...")
@click.option("--json", "form", flag_value="json", help="One JSON object instead of text.")
@click.option("-o", "--output", metavar="FILE", help="A .svg, .png or .pdf figure instead of text.")
def command(
    netlists: tuple[str, ...],
    wanted: str,
    shelf: bool,
    by: str,
    parts: str,
    form: str | None,
    output: str | None,
) -> None:
    """Put stages side by side: gain, duty, stress, energy, losses, parts, dynamics.

    Every stage is sized for the same ripples, ripple(coils)=30% of the mean current at the largest load,
    ripple(capacitors)=5% and ripple(out)=1% of the mean voltage unless SPECIFICATION says otherwise, and
    built of the same parts; its own resistances and drops are left out. Numbers are those of the exact
    periodic state at the worst point of the ranges. A stage that cannot do the job says why.

    CRITERION: losses, stress, utilisation, energy, efficiency, part_count, order, right_zeros,
    capacitor_current, switch_voltage, switch_current, diode_voltage or diode_current. With --shelf it is
    losses unless named. Without --for formulas and structure are compared.
    """
    if output is not None:
        ending(output, FIGURES)
    if output is not None and form is not None:
        raise click.UsageError("--json goes to standard output; leave out -o")
    if not netlists and not shelf:
        raise click.UsageError("no netlist is named; give several, or --shelf")
    if shelf and not wanted:
        raise click.UsageError("--shelf needs a task: give --for 'Vin=8:16, Vout=12, Iout=0.5:2, f=100k'")
    if len(netlists) < 2 and not shelf:
        raise click.UsageError("one netlist alone cannot be compared; give another one, or --shelf")
    circuits = by_name(netlists, shelf)
    from voltsec.practice.asked import BadValues
    from voltsec.practice.design.comparison import compare
    from voltsec.practice.design.equipped import SameParts, read_parts

    try:
        same = read_parts(parts) if parts else SameParts()
    except BadValues as problem:
        raise click.UsageError(f"--parts: {problem}") from None
    criterion = by or (ORDINARY if shelf else "")
    try:
        found = compare(circuits, wanted, criterion, same)
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None
    _tell(found, form, output)


def by_name(netlists: tuple[str, ...], shelf: bool = False) -> dict[str, Circuit]:
    """Every circuit by a name of its own; of the shelf each structure once."""
    from voltsec.command.netlists import load, load_aloud, shipped_circuits
    from voltsec.practice.design.equipped import ideal, same_structure

    found: dict[str, Circuit] = {}
    for name in netlists:
        key = name.rsplit("/", 1)[-1].removesuffix(".topo")
        if key in found:
            raise click.UsageError(f"two netlists are called {key}; a circuit is compared with others once")
        found[key] = load_aloud(name).check()
    for name in shipped_circuits() if shelf else ():
        circuit = load(name)
        plain = ideal(circuit)
        if name not in found and not any(same_structure(plain, ideal(one)) for one in found.values()):
            found[name] = circuit
    return found


def _tell(found: Comparison, form: str | None, output: str | None) -> None:
    if output is not None:
        from voltsec.report.comparison_figure import comparison_figure
        from voltsec.report.figure_face import write_figure

        write_figure(comparison_figure(found), output)
        click.echo(f"written to {output}", err=True)
        return
    if form == "json":
        from voltsec.report.design_machine import comparison_json
        from voltsec.report.machine import json_text

        click.echo(json_text(comparison_json(found)))
        return
    from shutil import get_terminal_size

    from voltsec.report.alphabet import alphabet_for
    from voltsec.report.comparison_text import comparison_lines

    width = get_terminal_size().columns
    for line in comparison_lines(found, width, alphabet_for(sys.stdout.encoding or "utf-8")):
        click.echo(line)
