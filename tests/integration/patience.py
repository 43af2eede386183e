"""An end to waiting."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager


class TooLong(Exception):
    """Something took longer than it was given."""


@contextmanager
def patience(seconds: float) -> Iterator[None]:
    """:class:`TooLong` where the inside takes more of the processor's time (in code of the interpreter).

    Other work on the machine does not count, so that a loaded one fails no test.
    """

    def give_up(*_: object) -> None:
        raise TooLong(f"took longer than {seconds:g} s")

    before = signal.signal(signal.SIGPROF, give_up)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
