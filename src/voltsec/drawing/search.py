"""The search for an arrangement: annealing from a layered start, with a fixed seed.

The same circuit gives the same arrangement on every machine: nothing depends on time or on hashes.
"""

from __future__ import annotations

from math import exp
from random import Random

from voltsec.drawing.arrangement import Arrangement, cost
from voltsec.drawing.pieces import Task

STEPS = 400
"""Steps of one run for each part."""
MOST_STEPS = 8000
MOST_WORK = 180_000
"""Steps times parts: so the largest circuits take no longer than a few seconds."""
RUNS = 4
HOT, COLD = 4.0, 0.3
AGAIN = 2
"""How many of the best are annealed once more, from less heat."""
WARM = 2.0
MOST_ROWS = 5


def arrangements(task: Task) -> list[tuple[float, Arrangement]]:
    """The best arrangement of each run, cheapest first; none is there twice."""
    start = _layered(task)
    found = sorted((_anneal(task, start, HOT, Random(run)) for run in range(RUNS)), key=_by_cost)
    for count, (_, arrangement) in enumerate(found[:AGAIN]):
        found.append(_anneal(task, arrangement, WARM, Random(RUNS + count)))
    different: list[tuple[float, Arrangement]] = []
    for one in sorted(found, key=_by_cost):
        if one not in different:
            different.append(one)
    return different


def spread(task: Task) -> Arrangement:
    """Every net in a row of its own, every part upright: not pretty, but there is always room for it."""
    start = _layered(task)
    nets = sorted(range(len(task.nets)), key=lambda net: (net != task.references[0], -task.depth[net], net))
    return Arrangement([nets.index(net) for net in range(len(nets))], start.lifts, start.order)


def _by_cost(one: tuple[float, Arrangement]) -> float:
    return one[0]


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


def _anneal(task: Task, start: Arrangement, hot: float, dice: Random) -> tuple[float, Arrangement]:
    """One run: the cheapest arrangement met and its cost."""
    now, best = start, start
    now_cost = best_cost = cost(task, start)
    pieces = len(task.pieces)
    steps = min(STEPS * pieces, MOST_STEPS, MOST_WORK // pieces)
    cooling = (COLD / hot) ** (1 / steps)
    heat = hot
    for _ in range(steps):
        heat *= cooling
        trial = now.copy()
        _change(task, trial, dice)
        trial_cost = cost(task, trial)
        if trial_cost <= now_cost or dice.random() < exp((now_cost - trial_cost) / heat):
            now, now_cost = trial, trial_cost
            if now_cost < best_cost - 1e-9:
                best, best_cost = now, now_cost
    best = best.without_empty_rows()
    return cost(task, best), best


def _change(task: Task, trial: Arrangement, dice: Random) -> None:
    """One change: of the order, of rows, of what is lifted, or of several at once."""
    kind = dice.random()
    pieces = len(task.pieces)
    if kind < 0.20:
        _move(trial, dice.randrange(pieces), None, dice)
    elif kind < 0.34:
        _move(trial, dice.randrange(pieces), dice.choice(NEAR), dice)
    elif kind < 0.44:
        _move_end(trial, dice.randrange(2 * pieces), dice)
    elif kind < 0.56:
        _exchange(trial, dice.randrange(pieces), dice.randrange(pieces))
    elif kind < 0.68:
        _another_row(task, trial, dice)
    elif kind < 0.74:
        _next_row(task, trial, dice)
    elif kind < 0.84:
        _lift(trial, dice.randrange(pieces), dice)
    elif kind < 0.89:
        _move_block(trial, dice)
    elif kind < 0.91:
        _insert_row(task, trial, dice)
    elif kind < 0.93:
        row = dice.randint(1, _top(trial))
        piece = task.pieces[dice.randrange(pieces)]
        for net in {piece.start, piece.end} - set(task.references):
            trial.rows[net] = row
    elif kind < 0.95 and task.cores:
        _gather(trial, dice.choice(task.cores), dice)
    else:
        _another_row(task, trial, dice)
        _move(trial, dice.randrange(pieces), dice.choice(NEAR), dice)


NEAR = (-4, -3, -2, -2, -1, -1, 1, 1, 2, 2, 3, 4)
"""Places by which a part is moved a little."""


def _top(trial: Arrangement) -> int:
    """The highest row a net may be put into: one above the others."""
    return min(MOST_ROWS, max(trial.rows) + 1)


def _lowest(task: Task, net: int) -> int:
    """Reference nets may lie at the bottom, others above."""
    return 0 if net in task.references else 1


def _another_row(task: Task, trial: Arrangement, dice: Random) -> None:
    net = dice.randrange(len(task.nets))
    if net != task.references[0]:
        trial.rows[net] = dice.randint(_lowest(task, net), _top(trial))


def _next_row(task: Task, trial: Arrangement, dice: Random) -> None:
    net = dice.randrange(len(task.nets))
    if net != task.references[0]:
        row = trial.rows[net] + dice.choice((-1, 1))
        trial.rows[net] = min(MOST_ROWS, max(_lowest(task, net), row))


def _insert_row(task: Task, trial: Arrangement, dice: Random) -> None:
    """Room for a new row, with one net in it."""
    if max(*trial.rows, *trial.lifts) >= MOST_ROWS:
        return
    row = dice.randint(1, max(trial.rows) + 1)
    trial.rows = [one + 1 if one >= row else one for one in trial.rows]
    trial.lifts = [one + 1 if one >= row else one for one in trial.lifts]
    net = dice.randrange(len(task.nets))
    if net != task.references[0]:
        trial.rows[net] = row


def _lift(trial: Arrangement, piece: int, dice: Random) -> None:
    down = trial.lifts[piece] >= 0 and dice.random() < 0.6
    trial.lifts[piece] = -1 if down else dice.randint(1, _top(trial))


def _move(trial: Arrangement, piece: int, by: int | None, dice: Random) -> None:
    """Both ends of a part moved ``by`` places, anywhere for None; now and then turned round."""
    one, other, order = 2 * piece, 2 * piece + 1, trial.order
    flipped = order.index(one) > order.index(other)
    if dice.random() < 0.22:
        flipped = not flipped
    at = min(order.index(one), order.index(other))
    order.remove(one)
    order.remove(other)
    at = dice.randrange(len(order) + 1) if by is None else min(max(at + by, 0), len(order))
    order[at:at] = [other, one] if flipped else [one, other]


def _move_end(trial: Arrangement, token: int, dice: Random) -> None:
    """One end of a part moved, a little or anywhere."""
    order = trial.order
    at = order.index(token)
    order.pop(at)
    near = min(max(at + dice.choice((-3, -2, -1, 1, 2, 3)), 0), len(order))
    order.insert(near if dice.random() < 0.5 else dice.randrange(len(order) + 1), token)


def _move_block(trial: Arrangement, dice: Random) -> None:
    """Neighbours moved together, now and then the other way round."""
    order = trial.order
    first = dice.randrange(len(order))
    last = min(len(order), first + dice.randint(2, max(3, len(order) // 3)))
    block, rest = order[first:last], order[:first] + order[last:]
    if dice.random() < 0.3:
        block.reverse()
    at = dice.randrange(len(rest) + 1)
    trial.order = [*rest[:at], *block, *rest[at:]]


def _gather(trial: Arrangement, core: tuple[int, ...], dice: Random) -> None:
    """All windings of a core side by side where one of them was."""
    tokens = [token for p in dice.sample(core, len(core)) for token in (2 * p, 2 * p + 1)]
    at = trial.order.index(2 * dice.choice(core))
    before = [token for token in trial.order[:at] if token not in tokens]
    trial.order = [*before, *tokens, *(token for token in trial.order[at:] if token not in tokens)]


def _exchange(trial: Arrangement, piece: int, other: int) -> None:
    """Two parts in each other's places."""
    pairs = {2 * piece: 2 * other, 2 * piece + 1: 2 * other + 1}
    pairs |= {value: key for key, value in pairs.items()}
    trial.order = [pairs.get(token, token) for token in trial.order]
