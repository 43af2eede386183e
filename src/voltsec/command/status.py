"""Exit statuses of the command line."""

from enum import IntEnum


class Status(IntEnum):
    """What the process tells its caller."""

    DONE = 0
    CHECK_FAILED = 1
    """A check that was asked for did not hold."""
    BAD_INPUT = 2
    """The netlist, the file or the command line cannot be used as given."""
    NO_ANSWER = 3
    """The netlist is sound, but no steady state exists."""
    INTERNAL = 70
    """A fault of the program itself."""
    INTERRUPTED = 130
    """Stopped from the keyboard."""
