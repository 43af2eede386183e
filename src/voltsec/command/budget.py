"""The option ``--budget``, for every command that solves a circuit."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial, wraps
from typing import Any

import click

from voltsec.circuit.computing_time import BUDGET, budget_of


def budgeted(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the option and run it within that time."""
    return budgeted_by(BUDGET)(function)


def budgeted_by(seconds: float) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """The same with another time unless the option is given."""
    return partial(_budgeted, seconds)


def _budgeted(seconds: float, function: Callable[..., Any]) -> Callable[..., Any]:

    @click.option(
        "--budget",
        type=click.FloatRange(min=0, min_open=True),
        default=seconds,
        show_default=True,
        metavar="SECONDS",
        help="Computing time for formulas; what is not finished then is left out, and said.",
    )
    @wraps(function)
    def run(*arguments: Any, budget: float, **options: Any) -> Any:
        with budget_of(budget):
            return function(*arguments, **options)

    return run
