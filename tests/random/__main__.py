"""Judge many random circuits: ``python -m tests.random --count 2000 --jobs 2``."""

from __future__ import annotations

import itertools
import json
import sys
from pathlib import Path

import click

from .cases import FAMILIES, family_of, is_cheap, make
from .ordinary import ordinary, write
from .running import run
from .summary import summary


@click.command()
@click.option("--count", default=100, show_default=True, help="How many cases.")
@click.option("--first", default=0, show_default=True, help="The number of the first case.")
@click.option("--family", "families", multiple=True, type=click.Choice(FAMILIES), help="Only these families.")
@click.option("--cheap", is_flag=True, help="Only cases that are answered in about half a second.")
@click.option("--ordinary", "of_tests", is_flag=True, help="The cases of the ordinary test run instead.")
@click.option("--write", "writes", is_flag=True, help="Make these the ordinary ones, with their outcomes.")
@click.option("--jobs", default=1, show_default=True, help="Processes side by side.")
@click.option("--output", default="random.jsonl", show_default=True, help="Verdicts, a JSON object a line.")
def command(
    count: int,
    first: int,
    families: tuple[str, ...],
    cheap: bool,
    of_tests: bool,
    writes: bool,
    jobs: int,
    output: str,
) -> None:
    """Judge COUNT random circuits and print a summary."""
    wanted = (
        number
        for number in itertools.count(first)
        if (not families or family_of(number) in families) and (not cheap or is_cheap(make(number)))
    )
    numbers = list(ordinary()) if of_tests else list(itertools.islice(wanted, count))
    rows = []
    with Path(output).open("w", encoding="utf-8") as stream:
        for row in run(numbers, jobs):
            rows.append(row)
            stream.write(json.dumps(row) + "\n")
            stream.flush()
            if row["outcome"] != "right":
                click.echo(f"{row['number']:6} {row['signature'][:100]}", err=True)
    if writes:
        write(rows)
    click.echo(summary(rows))
    sys.exit(any(row["outcome"] in ("wrong", "crashed", "slow") for row in rows))


if __name__ == "__main__":
    command()
