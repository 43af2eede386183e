"""Many cases in processes of their own, each with a hard limit of time that nothing can hang through."""

from __future__ import annotations

import resource
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import TimeoutError as Expired
from dataclasses import asdict
from typing import Any

from pebble import ProcessExpired, ProcessPool

from voltsec.circuit.circuit import Circuit
from voltsec.language.writer import write

from .cases import Case, make
from .verdicts import Verdict, judged

HARD_LIMIT = 150
"""Seconds of the processor after which the system ends a case."""
WAITING = 4
"""Times as many seconds by the clock, after which a case is ended that hangs or starves."""

THOROUGH = 7

Row = dict[str, Any]
"""A verdict as plain values, with the case's number, family and history."""


def run(numbers: Iterable[int], jobs: int = 1) -> Iterator[Row]:
    """Verdicts on the cases with these numbers, in order."""
    numbers = list(numbers)
    with ProcessPool(max_workers=jobs, max_tasks=200) as pool:
        futures = [
            pool.schedule(judged_case, args=(number,), timeout=WAITING * HARD_LIMIT) for number in numbers
        ]
        for number, future in zip(numbers, futures, strict=True):
            yield _result(future, lambda number=number: make(number).circuit) | about(make(number))


def run_circuits(
    circuits: Iterable[Circuit], limit: int = HARD_LIMIT, thorough: bool = False
) -> Iterator[Row]:
    """Verdicts on circuits that have no number, one after another."""
    with ProcessPool(max_workers=1) as pool:
        for circuit in circuits:
            yield _result(
                pool.schedule(judged_circuit, args=(circuit, thorough, limit), timeout=WAITING * limit),
                lambda c=circuit: c,
            )


def judged_case(number: int) -> Row:
    """The verdict on one case."""
    return judged_circuit(make(number).circuit, is_thorough(number))


def is_thorough(number: int) -> bool:
    """Every seventh case has its report and a sweep looked at."""
    return number % THOROUGH == 0


def judged_circuit(circuit: Circuit, thorough: bool = False, limit: int = HARD_LIMIT) -> Row:
    """The verdict on one circuit; the process ends where it takes more than ``limit`` seconds."""
    most = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (int(time.process_time()) + limit + 1, most))
    return as_row(judged(circuit, thorough))


def about(case: Case) -> Row:
    """Number, family and history of a case."""
    return {"number": case.number, "family": case.family, "history": list(case.history)}


def as_row(verdict: Verdict) -> Row:
    """A verdict as plain values."""
    summary = {"outcome": verdict.outcome, "reason": verdict.reason, "signature": verdict.signature}
    return asdict(verdict) | summary


def _result(future: Any, circuit: Callable[[], Circuit]) -> Row:
    """What a process gave, or what became of it."""
    try:
        return future.result()
    except Expired:
        outcome, reason = "slow", "hangs"
    except ProcessExpired as error:
        if error.exitcode == -signal.SIGXCPU:
            outcome, reason = "slow", "takes more than the limit"
        else:
            outcome, reason = "crashed", f"the process died: {error}"
    one = circuit()
    verdict = Verdict(write(one), len(one.elements))
    verdict.say(outcome, reason)
    verdict.solve_seconds = HARD_LIMIT
    return as_row(verdict)
