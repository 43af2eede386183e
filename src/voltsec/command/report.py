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
@click.argument("netlists", nargs=-1, required=True, metavar="FILE|NAME|-...")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE.html|.md|.tex|.pdf",
    help="The file; its ending says the form.",
)
@click.option("--compare", "compared", is_flag=True, help="Several netlists side by side, as a page.")
@click.option("--for", "wanted", default="", metavar="SPECIFICATION", help="With --compare: the task.")
@click.option("--by", default="", metavar="CRITERION", help="With --compare: best first by this number.")
@budgeted
def command(netlists: tuple[str, ...], output: str, compared: bool, wanted: str, by: str) -> None:
    """Write what a converter is, how it conducts, its derivation, results, stress and cautions.

    The HTML page is one file that works without a network; its sliders evaluate the formulas again.
    PDF is printed from that page by a headless browser (Chromium). With --compare several stages stand
    side by side, as voltsec compare tells them, in HTML or PDF.
    """
    from voltsec.report.output import check_target, write_report
    from voltsec.report.output_file import CannotWrite

    path = Path(output)
    if compared and path.suffix.lower() not in (".html", ".pdf"):
        raise click.UsageError(f"a comparison is a page: end {path.name} in .html or .pdf")
    if not compared and (wanted or by):
        raise click.UsageError("--for and --by belong to --compare")
    if not compared and len(netlists) > 1:
        raise click.UsageError("a report is about one netlist; --compare puts several side by side")
    try:
        check_target(path)
        write_report(path, _compared(netlists, wanted, by) if compared else _alone(netlists[0], path))
    except CannotWrite as problem:
        raise click.UsageError(str(problem)) from problem
    click.echo(f"written to {output}", err=True)


def _alone(netlist: str, path: Path) -> str:
    from voltsec.command.netlists import load_aloud

    circuit = load_aloud(netlist)
    from voltsec.practice.solve import solve
    from voltsec.report.document import document

    return document(solve(circuit), path.suffix.lower())


def _compared(netlists: tuple[str, ...], wanted: str, by: str) -> str:
    from voltsec.command.compare import by_name

    if len(netlists) < 2:
        raise click.UsageError("one netlist alone cannot be compared; give another one")
    circuits = by_name(netlists)
    from voltsec.practice.asked import BadValues
    from voltsec.practice.design.comparison import compare
    from voltsec.report.comparison_page import comparison_page

    try:
        return comparison_page(compare(circuits, wanted, by))
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None
