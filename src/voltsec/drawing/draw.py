"""A circuit drawn: the search's best arrangements are given places, the best picture is kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from functools import lru_cache

from voltsec.circuit.circuit import Circuit
from voltsec.drawing.arrangement import Arrangement
from voltsec.drawing.compose import compose
from voltsec.drawing.picture import Picture, Point, Wire
from voltsec.drawing.pieces import Task, task_of
from voltsec.drawing.search import arrangements, spread
from voltsec.drawing.spacing import Labels, places

BEND = 40.0
CROSSING = 400.0
WIDTH = 0.25
CANDIDATES = 3


def picture(circuit: Circuit, label: Callable[[str], tuple[str, ...]]) -> Picture:
    """The picture of ``circuit``; ``label`` tells the lines that stand beside a part (a winding: ``T.1``)."""
    task = task_of(circuit)
    return _best(task, tuple(label(piece.name) for piece in task.pieces))


@lru_cache(maxsize=64)
def _best(task: Task, labels: Labels) -> Picture:
    """The best picture; remembered, since a report draws the same circuit several times."""
    trials = [_sided(task, one, labels) for _, one in arrangements(task)[:CANDIDATES]]
    drawn = [trial for trial in trials if trial is not None]
    if not drawn:  # a spread arrangement has room for everything
        drawn = list(filter(None, [_sided(task, spread(task), labels)]))
    return min(drawn, key=lambda trial: trial[0])[1]


def _sided(task: Task, arrangement: Arrangement, labels: Labels) -> tuple[float, Picture] | None:
    """The picture of an arrangement, each label on the side where the wires come out best."""
    to_left: frozenset[int] = frozenset()
    first = places(task, arrangement, labels, to_left)
    if first is None:
        return None
    best = compose(task, first)
    least = score(best)
    for p in sorted(first.side):
        if p == task.input or task.pieces[p].core:
            continue
        changed = places(task, arrangement, labels, to_left | {p})
        if changed is not None:
            trial = compose(task, changed)
            value = score(trial)
            if value < least - 15.0:
                best, least, to_left = trial, value, to_left | {p}
    return least, best


def score(drawn: Picture) -> float:
    """What a picture costs: length, bends, crossings, size."""
    length = sum(abs(w.start[0] - w.end[0]) + abs(w.start[1] - w.end[1]) for w in drawn.wires)
    found = 0.3 * length + BEND * bends(drawn.wires) + CROSSING * crossings(drawn.wires)
    return found + WIDTH * (drawn.width + 1.3 * drawn.height)


def bends(wires: tuple[Wire, ...]) -> int:
    """Corners: points where a level and an upright piece of one net end and nothing else."""
    at: defaultdict[tuple[str, Point], list[bool]] = defaultdict(list)
    for wire in wires:
        level = wire.start[1] == wire.end[1]
        at[wire.net, wire.start].append(level)
        at[wire.net, wire.end].append(level)
    return sum(len(ends) == 2 and ends[0] != ends[1] for ends in at.values())


def crossings(wires: tuple[Wire, ...]) -> int:
    """Points where wires of different nets cross."""
    level = [w for w in wires if w.start[1] == w.end[1]]
    upright = [w for w in wires if w.start[0] == w.end[0]]
    found = set()
    for one in level:
        left, right = sorted((one.start[0], one.end[0]))
        for other in upright:
            low, high = sorted((other.start[1], other.end[1]))
            if other.net != one.net and left <= other.start[0] <= right and low <= one.start[1] <= high:
                found.add((other.start[0], one.start[1]))
    return len(found)
