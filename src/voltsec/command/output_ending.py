"""The option ``-o`` of every command: its ending, checked before any work is done."""

from __future__ import annotations

from collections.abc import Sequence

import click

from voltsec.report.output_file import CannotWrite, ending_of


def ending(output: str, endings: Sequence[str]) -> str:
    """The ending of ``output``, one of ``endings``; a usage error where the file could not be written."""
    try:
        return ending_of(output, endings)
    except CannotWrite as problem:
        raise click.UsageError(str(problem)) from None
