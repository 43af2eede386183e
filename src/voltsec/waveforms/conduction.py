"""Which devices conduct once ripple counts: a sequence corrected until every sign is right.

Capacitor voltages that move may turn a diode on or off where constant ones would not: a coil runs
dry a little earlier, a pump capacitor charges in a part of the interval only.  Such a diode shows up
as a wrong sign in the exact state; the interval is then split where the sign turns wrong.
"""

from __future__ import annotations

from voltsec.tableau.interval import Interval, Sequence
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import PeriodicState, Violation, periodic_state

CORRECTIONS = 8
"""Corrections after which the search is given up."""
LEAST_GUESS = 0.02
"""Least share of an interval given to a part of it as a first guess."""


def settled_state(
    network: PeriodNetwork, sequence: Sequence, lengths: list[float], fractions: list[float]
) -> PeriodicState:
    """The exact periodic state with all signs right, beginning from ``sequence``.

    ``lengths`` are the fractions of the switch intervals, ``fractions`` a guess for all intervals.
    Raises :class:`NotDetermined` where no sequence with right signs was found.
    """
    instants: frozenset[int] = frozenset()
    tried = {(sequence, instants)}
    for _ in range(CORRECTIONS):
        state = periodic_state(network, sequence, lengths, fractions, instants)
        if not state.violations:
            return state
        for violation in state.violations:
            changed = corrected(state, violation)
            if changed is not None and changed[:2] not in tried:
                sequence, instants, fractions = changed
                tried.add((sequence, instants))
                break
        else:
            break
    raise NotDetermined("which devices conduct once ripple counts was not found")


Part = tuple[Interval, float | None]
"""An interval and a guess of its fraction, None for one without length."""


def corrected(
    state: PeriodicState, violation: Violation
) -> tuple[Sequence, frozenset[int], list[float]] | None:
    """Sequence, instants and fractions without ``violation``; None where nothing can be changed."""
    parts: list[Part] = [
        (interval, None if k in state.instants else max(fraction, 1e-4))
        for k, (interval, fraction) in enumerate(zip(state.sequence.intervals, state.fractions, strict=True))
    ]
    k = violation.interval
    own, length = parts[k]
    if violation.quantity == "length":
        if sum(interval.stage == own.stage and size is not None for interval, size in parts) < 2:
            return None
        return _joined(parts[:k] + parts[k + 1 :])
    changed = Interval(own.stage, own.conducting ^ {violation.device})
    start, end = violation.start, violation.end
    if length is None:
        replaced: list[Part] = [(changed, None)]
    elif violation.charged and start <= 0:
        # it passes the charge that jumps, and blocks as soon as that has flowed
        replaced = [(own, None), (changed, length)]
    elif start <= 0 and end >= 1:
        replaced = [(changed, length)]
    elif start <= 0:
        share = max(end, LEAST_GUESS)
        replaced = [(changed, length * share), (own, length * (1 - share))]
    else:
        share = min(start, 1 - LEAST_GUESS)
        replaced = [(own, length * share), (changed, length * (1 - share))]
    return _joined(parts[:k] + replaced + parts[k + 1 :])


def _joined(parts: list[Part]) -> tuple[Sequence, frozenset[int], list[float]]:
    """Neighbours with the same devices become one interval."""
    kept: list[Part] = []
    for interval, length in parts:
        if kept and kept[-1][0] == interval:
            before = kept[-1][1]
            total = None if before is None and length is None else (before or 0.0) + (length or 0.0)
            kept[-1] = (interval, total)
        else:
            kept.append((interval, length))
    instants = frozenset(k for k, (_, length) in enumerate(kept) if length is None)
    return Sequence(tuple(i for i, _ in kept)), instants, [length or 0.0 for _, length in kept]
