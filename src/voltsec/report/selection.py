"""What of a long answer is told first: parts of the modes by importance, until the screen is full."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import heapify, heappop, heappush

OTHERS = 3
"""By so much what is said of another mode is less important than of the leading one ..."""
FURTHER = 1
"""... and by so much more for every further mode."""
CORE = 1
"""Parts up to this importance are told together: a region without its intervals tells little."""


@dataclass(frozen=True)
class Row:
    """Label, name and formula of one result, or an open line of text."""

    label: str
    name: str
    text: str


@dataclass(frozen=True)
class Part:
    """Rows that are told or left out together, or a table that is printed already.

    ``group`` are rows that share columns, under a blank line of their own; ``height`` is how many
    lines the part takes.
    """

    importance: int
    what: str
    """What is missing where it is left out."""
    group: str
    height: int
    rows: tuple[Row, ...] = ()
    table: tuple[object, ...] = ()


class Section:
    """A mode's parts, made when the first of them is looked at; what it has takes ``least`` lines or more."""

    def __init__(self, least: int, make: Callable[[], Sequence[Part]]) -> None:
        self.least = least
        self._make = make

    @cached_property
    def parts(self) -> list[Part]:
        """Everything that is told of the mode, in reading order."""
        return list(self._make())

    def missing(self, told: Sequence[Part]) -> list[str]:
        """What is left out where ``told`` is told."""
        return [part.what for part in self.parts if part not in told] if told else ["all"]


def fitted(modes: Sequence[Section], leading: int, room: int) -> list[list[Part]]:
    """The parts of each mode that fit into ``room`` lines, most important first.

    A mode of which a part does not fit is told no less important ones either.
    """
    waiting = []
    for number in range(len(modes)):
        behind = 0 if number == leading else OTHERS + FURTHER * (number - (number > leading))
        waiting.append((behind, number != leading, number, -1))
    heapify(waiting)
    kept: list[set[int]] = [set() for _ in modes]
    groups: set[tuple[int, str]] = set()
    full: dict[int, int] = {}
    while waiting:
        rank, other, number, place = heappop(waiting)
        if rank > full.get(number, rank):
            continue
        if place < 0 and other and modes[number].least > room:
            continue
        parts = modes[number].parts
        if place < 0:
            places = [k for k, part in enumerate(parts) if part.importance <= CORE]
            rest = [(k, part) for k, part in enumerate(parts) if part.importance > CORE and part.rows]
            for k, part in rest:
                heappush(waiting, (part.importance + rank, other, number, k))
        else:
            places = [place]
        unit = [parts[k] for k in places]
        fresh = {(number, part.group) for part in unit} - groups
        height = sum(part.height for part in unit) + len(fresh)
        if height > room and not (number == leading and unit[0].importance <= CORE):
            full.setdefault(number, rank)
            continue
        room -= height
        groups |= fresh
        kept[number].update(places)
    return [
        [section.parts[k] for k in sorted(places)] if places else []
        for section, places in zip(modes, kept, strict=True)
    ]
