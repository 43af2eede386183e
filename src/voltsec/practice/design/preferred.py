"""Preferred values of components: the series of IEC 60063.

E3 to E24 are rounded by hand in the standard, so they are listed; E48, E96 and E192 are the geometric
series to three digits, but for 9.20 in E192 (IEC 60063:2015, from memory).
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from math import floor, log10

_E24 = "1.0 1.1 1.2 1.3 1.5 1.6 1.8 2.0 2.2 2.4 2.7 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5 8.2 9.1"
NAMES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
ROUNDING = 1e-9
"""A value this share above a preferred one is that one."""


@cache
def series(name: str) -> tuple[Fraction, ...]:
    """The values of a series from 1 up to below 10; KeyError for a name that is none of :data:`NAMES`."""
    if name not in NAMES:
        raise KeyError(name)
    count = int(name[1:])
    if count <= 24:
        return tuple(Fraction(value) for value in _E24.split()[:: 24 // count])
    values = [Fraction(f"{10 ** (step / count):.2f}") for step in range(count)]
    return tuple(Fraction("9.20") if name == "E192" and v == Fraction("9.19") else v for v in values)


def at_least(value: float, name: str) -> Fraction:
    """The smallest preferred value of a series that is not below ``value`` (above zero)."""
    decade = floor(log10(value)) - 1
    return next(
        number
        for power in range(decade, decade + 4)
        for number in (one * Fraction(10) ** power for one in series(name))
        if float(number) >= value * (1 - ROUNDING)
    )


def at_most(value: float, name: str) -> Fraction:
    """The largest preferred value of a series that is not above ``value`` (above zero)."""
    decade = floor(log10(value)) - 1
    return [
        number
        for power in range(decade, decade + 4)
        for number in (one * Fraction(10) ** power for one in series(name))
        if float(number) <= value * (1 + ROUNDING)
    ][-1]


def next_above(value: Fraction, name: str) -> Fraction:
    """The preferred value that follows ``value``."""
    return at_least(float(value) * (1 + 1e-6), name)
