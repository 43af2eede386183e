"""What of a long answer is told first: parts of the modes by importance, until the screen is full."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


def fitted(modes: Sequence[Sequence[Part]], leading: int, room: int) -> list[list[Part]]:
    """The parts of each mode that fit into ``room`` lines, most important first.

    A mode of which a part does not fit is told no less important ones either.
    """
    ranked = []
    for number, parts in enumerate(modes):
        place = number - (number > leading)
        behind = 0 if number == leading else OTHERS + FURTHER * place
        core = [k for k, part in enumerate(parts) if part.importance <= CORE]
        ranked.append((behind, number, core))
        rest = [(k, part) for k, part in enumerate(parts) if part.importance > CORE and part.rows]
        ranked += [(part.importance + behind, number, [k]) for k, part in rest]
    kept: list[set[int]] = [set() for _ in modes]
    groups: set[tuple[int, str]] = set()
    full: dict[int, int] = {}
    for rank, number, places in sorted(ranked, key=lambda one: (one[0], one[1] != leading, one[1:])):
        if rank > full.get(number, rank):
            continue
        unit = [modes[number][k] for k in places]
        fresh = {(number, part.group) for part in unit} - groups
        height = sum(part.height for part in unit) + len(fresh)
        if height > room and not (number == leading and unit[0].importance <= CORE):
            full.setdefault(number, rank)
            continue
        room -= height
        groups |= fresh
        kept[number].update(places)
    return [[part for k, part in enumerate(parts) if k in kept[n]] for n, parts in enumerate(modes)]
