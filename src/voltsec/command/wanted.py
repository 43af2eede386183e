"""``voltsec solve --for`` and ``--order``: what is said before and after the formulas."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from voltsec.practice.wanted import Wanted
    from voltsec.results.solution import Solution


def volts_wanted(text: str) -> float:
    """``Vout=12`` or ``12 V`` as a number."""
    from voltsec.practice.asked import BadValues
    from voltsec.practice.axes import read_value

    name, _, value = (part.strip() for part in text.rpartition("="))
    if name.lower() not in ("", "vout", "v", "output_voltage"):
        raise click.UsageError(f"--for takes Vout=VOLT, and there is no wanted {name}")
    try:
        return read_value("--for", value, "V")
    except BadValues as problem:
        raise click.UsageError(str(problem)) from None


def find_duties(solution: Solution, volts: float) -> Wanted:
    """The duties for ``volts``; raises :class:`~voltsec.practice.wanted.Unreachable` where none does."""
    from voltsec.practice.asked import BadValues
    from voltsec.practice.wanted import wanted_duty

    try:
        return wanted_duty(solution, volts)
    except BadValues as problem:
        raise click.UsageError(f"--for: {problem}") from None


def say_wanted(solution: Solution, wanted: Wanted) -> None:
    """Print the duties for a wanted output, and a blank line after them."""
    from voltsec.report.losses import wanted_lines

    for line in (*wanted_lines(solution, wanted), ""):
        click.echo(_wrapped(line))


def say_leading_order(solution: Solution) -> None:
    """Print the leading order of gain and efficiency."""
    from voltsec.report.losses import first_order_lines

    for line in ("", *first_order_lines(solution)):
        click.echo(_wrapped(line))


def _wrapped(line: str) -> str:
    from shutil import get_terminal_size

    width = get_terminal_size().columns
    indent = " " * (len(line) - len(line.lstrip()) + 4)
    return textwrap.fill(line, width, subsequent_indent=indent, break_long_words=False) if line else ""
