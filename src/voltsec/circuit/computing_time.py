"""A budget of computing time, of which every optional step has a share.

Seconds are those of this thread on the processor, so that an answer does not depend on what else the
machine does.  A budget by itself stops nothing: only steps that may be left out are run within a limit
(:func:`limited`, :func:`in_time`), and whatever takes long in them asks whether to :func:`go_on`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from contextvars import ContextVar
from math import inf
from time import monotonic, thread_time
from typing import TypeVar

T = TypeVar("T")

BUDGET = 20.0
"""Seconds for an answer unless told otherwise."""
OPTIONAL = 0.85
"""Share of a budget for steps that may be left out; what is done in any case has the rest."""

_budget: ContextVar[float] = ContextVar("budget", default=inf)
_limit: ContextVar[float] = ContextVar("limit", default=inf)
_asked: ContextVar[float] = ContextVar("asked", default=-inf)
BETWEEN = 0.003
"""Seconds between two looks at the processor's clock, which takes its time where a kernel is guarded."""


class LeftOut(Exception):
    """What an optional step would come to is not told."""


class OutOfTime(LeftOut):
    """The time that an optional step may take is spent."""


@contextmanager
def _ending(end: ContextVar[float], seconds: float) -> Iterator[None]:
    token = end.set(min(end.get(), thread_time() + seconds))
    try:
        yield
    finally:
        end.reset(token)


def budget_of(seconds: float) -> AbstractContextManager[None]:
    """All optional steps inside have so many seconds together, within a budget around."""
    return _ending(_budget, OPTIONAL * seconds)


def ordinary_budget(seconds: float | None = None) -> AbstractContextManager[None]:
    """A budget of so many seconds; :data:`BUDGET` where neither they nor a budget around are given."""
    if seconds is None:
        seconds = BUDGET if seconds_left() == inf else inf
    return budget_of(seconds)


def seconds_left() -> float:
    """What is left for optional steps, infinite without a budget."""
    return min(_budget.get(), _limit.get()) - thread_time()


def limited(seconds: float) -> AbstractContextManager[None]:
    """Steps inside end with :class:`OutOfTime` after so many seconds, or where a limit around does."""
    return _ending(_limit, seconds)


def go_on() -> None:
    """Raise :class:`OutOfTime` where the limit of the step is reached."""
    limit = _limit.get()
    now = monotonic()
    if limit == inf or now - _asked.get() < BETWEEN:
        return
    _asked.set(now)
    if thread_time() > limit:
        raise OutOfTime


def in_time(step: Callable[[], T]) -> T | None:
    """What an optional step comes to; ``None`` where the budget is spent before, or it is left out."""
    try:
        with limited(seconds_left()):
            return step()
    except LeftOut:
        return None
