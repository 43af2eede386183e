"""The option ``--budget``, for every command that solves a circuit."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from voltsec.circuit.computing_time import BUDGET, budget_of


def budgeted(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the option and run it within that time."""

    @click.option(
        "--budget",
        type=click.FloatRange(min=0, min_open=True),
        default=BUDGET,
        show_default=True,
        metavar="SECONDS",
        help="Computing time for formulas; what is not finished then is left out, and said.",
    )
    @wraps(function)
    def run(*arguments: Any, budget: float, **options: Any) -> Any:
        with budget_of(budget):
            return function(*arguments, **options)

    return run
