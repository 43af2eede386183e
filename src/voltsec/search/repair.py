"""A sequence with wrong signs, corrected where they are wrong.

Coarse time steps may miss that a diode stops a little before a switch edge, or that it conducts for a
moment after one.  The sequence without that solves its equations, but a current or a reverse voltage comes
out negative at an end of an interval: there the interval is parted, and the diode changes in the part
where the sign is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from voltsec.periodic.row_mode import Wrong
from voltsec.tableau.interval import Interval, Sequence

LEAST = 1e-4
"""Least share of an interval given to a part of it as a first guess."""


def corrected(
    sequence: Sequence, fractions: tuple[float, ...], wrong: list[Wrong], diodes: frozenset[str]
) -> Iterator[tuple[Sequence, np.ndarray]]:
    """Sequences with a guess of their fractions, the likeliest first: all signs corrected, then one each."""
    seen = {sequence}
    parts = [*zip(sequence.intervals, (max(share, 0.0) for share in fractions), strict=True)]
    # an interval of negative length is none
    gone = {k for k, (_, share) in enumerate(parts) if not share > 0}
    left = [one for one in wrong if one.interval not in gone]
    for some in [left, *([one] for one in left if len(left) > 1), *([[]] if left and gone else [])]:
        for overlap in (False, True):
            found = _joined(sequence, [part for part in _parted(parts, some, overlap, diodes) if part[1] > 0])
            if found is not None and found[0] not in seen:
                seen.add(found[0])
                yield found


Part = tuple[Interval, float]


def _parted(parts: list[Part], wrong: list[Wrong], overlap: bool, diodes: frozenset[str]) -> list[Part]:
    """Every interval with wrong signs cut where its signs turn, its diodes changed in the wrong parts.

    With ``overlap`` the diodes of the interval before go on in a wrong part at the start, and those of the
    next conduct already in one at the end: then they take over the current that a diode cannot carry.
    """
    found: list[Part] = []
    for k, (interval, share) in enumerate(parts):
        own = [one for one in wrong if one.interval == k]
        spans = {one.diode: _span(one) for one in own}
        cuts = sorted({0.0, 1.0, *(end for span in spans.values() for end in span)})
        for start, end in pairwise(cuts):
            middle = (start + end) / 2
            changed = frozenset(diode for diode, (a, b) in spans.items() if a < middle < b)
            devices = interval.conducting ^ changed
            if overlap and changed & interval.conducting:
                beside = parts[k - 1] if start == 0 else parts[(k + 1) % len(parts)]
                devices |= (beside[0].conducting & diodes) - changed
            found.append((Interval(interval.stage, devices), share * (end - start)))
    return found


def _span(one: Wrong) -> tuple[float, float]:
    """The part of an interval, from 0 to 1, in which the sign is wrong."""
    if one.start < 0 and one.end < 0:
        return 0.0, 1.0
    turn = one.start / (one.start - one.end)
    turn = min(max(turn, LEAST), 1 - LEAST)
    return (0.0, turn) if one.start < 0 else (turn, 1.0)


def _joined(sequence: Sequence, parts: list[Part]) -> tuple[Sequence, np.ndarray] | None:
    """Neighbours with the same devices become one interval; None where a switch interval is lost."""
    kept: list[Part] = []
    for interval, share in parts:
        if kept and kept[-1][0] == interval:
            kept[-1] = (interval, kept[-1][1] + share)
        else:
            kept.append((interval, share))
    if {interval.stage for interval, _ in kept} != {interval.stage for interval in sequence.intervals}:
        return None
    intervals = tuple(interval for interval, _ in kept)
    return replace(sequence, intervals=intervals), np.array([share for _, share in kept])
