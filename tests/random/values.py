"""Random values as they stand on parts: two digits, spread over decades."""

from __future__ import annotations

import random
from fractions import Fraction

SERIES = ("1.0", "1.2", "1.5", "1.8", "2.2", "2.7", "3.3", "3.9", "4.7", "5.6", "6.8", "8.2")
"""The twelve preferred values of a decade (IEC 60063)."""


def preferred(rng: random.Random, low: float, high: float) -> Fraction:
    """A preferred value near a random one between ``low`` and ``high``, all decades equally likely."""
    return rounded(low * (high / low) ** rng.random())


def rounded(value: float) -> Fraction:
    """The preferred value next below ``value`` (a decimal fraction, exactly)."""
    digits, exponent = f"{value:.6e}".split("e")
    best = max((one for one in SERIES if float(one) <= float(digits) * (1 + 1e-9)), key=float)
    return Fraction(best) * Fraction(10) ** int(exponent)


def decimal(value: float, digits: int = 3) -> Fraction:
    """``value`` with so many significant digits, exactly as a decimal fraction."""
    return Fraction(f"{value:.{digits}g}")


def duty(rng: random.Random) -> Fraction:
    """A duty: exactly one half at times, for that is where edges and legs coincide."""
    return Fraction(1, 2) if rng.random() < 0.15 else decimal(rng.uniform(0.12, 0.88), 2)


def chance(rng: random.Random, share: float) -> bool:
    """True in ``share`` of all cases."""
    return rng.random() < share
