"""``voltsec report``: everything about one netlist in one document."""

from __future__ import annotations

from pathlib import Path

import click

from voltsec.command.budget import budgeted


@click.command(
    "report",
    short_help="Write a report as HTML, Markdown, LaTeX or PDF.",
    epilog="Example:  voltsec report sepic -o sepic.html",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE.html|.md|.tex|.pdf",
    help="The file; its ending says the form.",
)
@budgeted
def command(netlist: str, output: str) -> None:
    """Write what a converter is, how it conducts, its derivation, results, stress and cautions.

    The HTML page is one file that works without a network; its sliders evaluate the formulas again.
    PDF is printed from that page by a headless browser (Chromium).
    """
    from voltsec.command.netlists import load_aloud
    from voltsec.report.output import check_target, write_report
    from voltsec.report.output_file import CannotWrite

    path = Path(output)
    try:
        check_target(path)
        circuit = load_aloud(netlist)
        from voltsec.practice.solve import solve
        from voltsec.report.document import document

        write_report(path, document(solve(circuit), path.suffix.lower()))
    except CannotWrite as problem:
        raise click.UsageError(str(problem)) from problem
    click.echo(f"written to {output}", err=True)
