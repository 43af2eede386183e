"""Points between sample points of different modes, where a mode that lies between two others shows.

Lines between neighbours of different modes are halved again and again, always the half whose ends
differ.  A halving point at which no known mode holds belongs to another one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from voltsec.periodic.stages import Stages

Points = dict[str, np.ndarray]

NEIGHBOURS = 2
"""Lines from each sample point, to the nearest of other modes."""

MOST_LINES = 80
"""So many lines at most."""

HALVINGS = 4
"""How often each line is halved."""


def between(
    stages: Stages,
    points: Points,
    labels: np.ndarray,
    label_of: Callable[[Points, tuple[np.ndarray, ...] | None], np.ndarray],
) -> Iterator[Points]:
    """Halving points at which no mode is known, round by round.

    ``labels`` tell the mode of every sample point (-1: none, no end of a line); ``label_of`` gives those of
    new points, with guesses to be tried first; without any, those of modes that came since.
    """
    names = [name for name, values in points.items() if np.ptp(values) > 0]
    if not names:
        return
    scales = {name: _Scale(name in stages.symbols, points[name]) for name in names}
    place = np.array([scales[name].forth(points[name]) for name in names])
    spread = place.std(axis=1)[:, None]
    one, other = _lines(place / np.where(spread > 0, spread, 1.0), labels)
    low, high, at_low, at_high = place[:, one], place[:, other], labels[one], labels[other]
    for _ in range(HALVINGS):
        if not low.shape[1]:
            return
        middle = (low + high) / 2
        found = {name: np.full(middle.shape[1], values[0]) for name, values in points.items()}
        found |= {name: scales[name].back(middle[k]) for k, name in enumerate(names)}
        label = label_of(found, (at_low, at_high))
        unknown = label < 0
        if unknown.any():
            some = {name: values[unknown] for name, values in found.items()}
            yield some
            label[unknown] = label_of(some, None)  # there may be new modes
        rises = label == at_low
        low = np.where(rises, middle, low)
        high = np.where(rises, high, middle)
        at_high = np.where(rises, at_high, label)


class _Scale:
    """Coordinates in which a line is natural: logarithms, but for shares of the period."""

    def __init__(self, share: bool, values: np.ndarray) -> None:
        self.plain = share or bool((values <= 0).any() and (values >= 0).any())
        self.sign = 1.0 if self.plain or values[0] > 0 else -1.0

    def forth(self, values: np.ndarray) -> np.ndarray:
        return values if self.plain else np.log(self.sign * values)

    def back(self, coordinates: np.ndarray) -> np.ndarray:
        return coordinates if self.plain else self.sign * np.exp(coordinates)


def _lines(place: np.ndarray, labels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of the ends of lines between near points of different modes."""
    known = np.flatnonzero(labels >= 0)
    pairs: list[tuple[int, int]] = []
    for start in known:
        others = known[labels[known] != labels[start]]
        distance = np.square(place[:, others] - place[:, [start]]).sum(axis=0)
        nearest = others[np.argsort(distance, kind="stable")[:NEIGHBOURS]]
        pairs += [(min(int(start), int(end)), max(int(start), int(end))) for end in nearest]
    unique = list(dict.fromkeys(pairs))
    if len(unique) > MOST_LINES:
        unique = [unique[k] for k in np.linspace(0, len(unique) - 1, MOST_LINES).astype(int)]
    ends = np.array(unique, int).reshape(-1, 2)
    return ends[:, 0], ends[:, 1]
