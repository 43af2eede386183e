"""The search for an arrangement: annealing from a layered start, with a fixed seed.

The same circuit gives the same arrangement on every machine: nothing depends on time or on hashes.
"""

from __future__ import annotations

from math import exp
from random import Random

from voltsec.drawing.arrangement import Arrangement, cost
from voltsec.drawing.pieces import Task

STEPS = 260
"""Steps of one run for each part."""
MOST_STEPS = 4500
RUNS = 5
HOT, COLD = 9.0, 0.15
MOST_ROWS = 5


def arrangements(task: Task) -> list[tuple[float, Arrangement]]:
    """The best arrangement of each run, cheapest first."""
    found: list[tuple[float, Arrangement]] = []
    for run in range(RUNS):
        cheapest = _anneal(task, _layered(task), Random(run))
        found.append(cheapest)
    return sorted(found, key=lambda one: one[0])


def _layered(task: Task) -> Arrangement:
    """All nets but the references in one row, parts in the order of their depth."""
    depth = task.depth
    zero = set(task.references)

    def key(p: int) -> tuple[float, int]:
        piece = task.pieces[p]
        if p == task.input:
            return (-1.0, p)
        ends = [depth[net] for net in (piece.start, piece.end) if net not in zero] or [0]
        late = 0.3 if piece.kind in ("load", "current") else 0.0
        return (sum(ends) / len(ends) + late, p)

    order = []
    for p in sorted(range(len(task.pieces)), key=key):
        forward = depth[task.pieces[p].start] <= depth[task.pieces[p].end]
        order += [2 * p, 2 * p + 1] if forward else [2 * p + 1, 2 * p]
    rows = [0 if net in zero else 1 for net in range(len(task.nets))]
    for core in task.cores:
        for p in core:
            ends = {task.pieces[p].start, task.pieces[p].end}
            if not ends & zero:  # an upright winding has its nets in two rows
                rows[min(ends, key=lambda net: (depth[net], net))] = 2
    return Arrangement(rows, [-1] * len(task.pieces), order)


def _anneal(task: Task, start: Arrangement, dice: Random) -> tuple[float, Arrangement]:
    """One run: the cheapest arrangement met and its cost."""
    now, best = start, start
    now_cost = best_cost = cost(task, start)
    steps = min(STEPS * len(task.pieces), MOST_STEPS)
    cooling = (COLD / HOT) ** (1 / steps)
    heat = HOT
    for _ in range(steps):
        heat *= cooling
        trial = _changed(task, now, dice)
        trial_cost = cost(task, trial)
        if trial_cost <= now_cost or dice.random() < exp((now_cost - trial_cost) / heat):
            now, now_cost = trial, trial_cost
            if now_cost < best_cost - 1e-9:
                best, best_cost = now, now_cost
    best = best.without_empty_rows()
    return cost(task, best), best


def _changed(task: Task, now: Arrangement, dice: Random) -> Arrangement:
    """``now`` with one change: a part moved, two exchanged, a net's row or a part's lift changed."""
    trial = now.copy()
    kind = dice.random()
    count = len(task.pieces)
    if kind < 0.34:
        _move(trial, dice.randrange(count), dice)
    elif kind < 0.46:
        token = dice.randrange(2 * count)
        trial.order.remove(token)
        trial.order.insert(dice.randrange(len(trial.order) + 1), token)
    elif kind < 0.60:
        _exchange(trial, dice.randrange(count), dice.randrange(count))
    elif kind < 0.80:
        _another_row(task, trial, dice)
    elif kind < 0.92:
        piece = dice.randrange(count)
        if trial.lifts[piece] >= 0 and dice.random() < 0.6:
            trial.lifts[piece] = -1
        else:
            trial.lifts[piece] = dice.randint(1, min(MOST_ROWS, max(trial.rows) + 1))
    elif kind < 0.96 and task.cores:
        _gather(trial, dice.choice(task.cores), dice)
    else:  # a net in another row, with one of its parts elsewhere
        _another_row(task, trial, dice)
        _move(trial, dice.randrange(count), dice)
    return trial


def _another_row(task: Task, trial: Arrangement, dice: Random) -> None:
    free = [net for net in range(len(task.nets)) if net not in task.references]
    if free:
        net = dice.choice(free)
        trial.rows[net] = dice.randint(1, min(MOST_ROWS, max(trial.rows) + 1))


def _move(trial: Arrangement, piece: int, dice: Random) -> None:
    one, other = 2 * piece, 2 * piece + 1
    order = trial.order
    flipped = order.index(one) > order.index(other)
    if dice.random() < 0.25:
        flipped = not flipped
    order.remove(one)
    order.remove(other)
    at = dice.randrange(len(order) + 1)
    order[at:at] = [other, one] if flipped else [one, other]


def _gather(trial: Arrangement, core: tuple[int, ...], dice: Random) -> None:
    """All windings of a core side by side where one of them was."""
    tokens = [token for p in dice.sample(core, len(core)) for token in (2 * p, 2 * p + 1)]
    at = trial.order.index(2 * dice.choice(core))
    before = [token for token in trial.order[:at] if token not in tokens]
    trial.order = [*before, *tokens, *(token for token in trial.order[at:] if token not in tokens)]


def _exchange(trial: Arrangement, piece: int, other: int) -> None:
    pairs = {2 * piece: 2 * other, 2 * piece + 1: 2 * other + 1}
    pairs |= {value: key for key, value in pairs.items()}
    trial.order = [pairs.get(token, token) for token in trial.order]
