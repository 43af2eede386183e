"""How the output comes to rest after a start or a step: settling, overshoot, what is still missing.

Everything is told of the output's average over each period, the value a meter shows; its ripple is apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf, log

import numpy as np

from voltsec.waveforms.periods import Extreme
from voltsec.waveforms.return_rate import ReturnRate

BAND = 0.01
"""Settled means that every later average is within this share of the final one."""


@dataclass(frozen=True)
class Response:
    """The output's average, period by period, against the exact periodic state it tends to; SI units."""

    final: float | None
    """Average in the periodic state; None where none was found."""
    before: float | None
    """Average in the periodic state before a step; None at a start."""
    last: float
    """Average over the last period."""
    settled: float | None
    """Time until the average stays within 1 % of the final one; None where it is still outside at the end,
    where nothing damps it, or where there is no final one."""
    highest: Extreme
    """Largest average of a period (by size and the final one's sign), and when that period begins."""
    lowest: Extreme
    rate: ReturnRate | None
    """How fast the rest dies away; None where it is not known."""
    swing: float
    """Half of what the average still swings over the last turn."""
    missing: float | None
    """Largest distance from the final value over the last turn, as a share of it."""

    @property
    def off(self) -> float | None:
        """What is missing at the end, as a share of the final value."""
        return None if not self.final else (self.last - self.final) / abs(self.final)

    @property
    def overshoot(self) -> float | None:
        """How far the average passes the final one, as a share of it; zero where it does not."""
        return None if not self.final else max(0.0, self.highest.value / self.final - 1)

    @property
    def undershoot(self) -> float | None:
        """How far the average falls below the final one, as a share of it."""
        return None if not self.final else max(0.0, 1 - self.lowest.value / self.final)

    @property
    def still(self) -> float | None:
        """Further periods until it is settled, by the slowest part alone; None where that is not known."""
        if self.settled is not None or self.rate is None or self.rate.undamped or not self.missing:
            return None
        return float(ceil(self.rate.periods * max(0.0, log(self.missing / BAND))))


def response(
    means: np.ndarray,
    times: np.ndarray,
    final: float | None,
    before: float | None,
    rate: ReturnRate | None,
    near: bool = False,
) -> Response:
    """The response whose averages over periods are ``means`` (N,); ``times`` (N + 1,) are their limits.

    Settled is what stays in the band for a whole swing at least, or ends ``near`` the periodic state: a
    swing passes the final value twice.
    """
    sign = -1.0 if (final or float(means[-1])) < 0 else 1.0
    top, bottom = int(np.nanargmax(sign * means)), int(np.nanargmin(sign * means))
    turn = 2 if rate is None or rate.turn == inf else max(ceil(rate.turn), 2)
    recent = means[-turn:]
    swing = float(np.nanmax(recent) - np.nanmin(recent)) / 2
    settled, missing = None, None
    if final:
        missing = float(np.nanmax(np.abs(recent - final)) / abs(final))
        outside = np.flatnonzero(~(np.abs(means - final) <= BAND * abs(final)))
        place = int(outside[-1]) + 1 if outside.size else 0
        if len(means) - place >= turn or (near and place < len(means)):
            settled = float(times[place] - times[0])
    return Response(
        final,
        before,
        float(means[-1]),
        settled,
        Extreme(float(means[top]), float(times[top])),
        Extreme(float(means[bottom]), float(times[bottom])),
        rate,
        swing,
        missing,
    )
