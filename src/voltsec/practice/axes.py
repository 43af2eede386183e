"""Swept values as a person writes them: ``0.05:0.95:200``, ``1:100:log``, ``5,10,20``, ``68uH``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction

import numpy as np

from voltsec.practice.asked import BadValues

POINTS = 200
"""Points of the first range where no number is given."""

CURVES = 5
"""Points of every further range."""

MOST_POINTS = 2_000_000

_VALUE = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\W\d]*|%)")
_PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "k": 3, "M": 6, "G": 9, "T": 12}
_UNITS = {name: name for name in ("V", "A", "ohm", "H", "F", "s", "Hz", "W")} | {"Ω": "ohm", "%": "1"}


def read_axes(texts: tuple[str, ...], units: Mapping[str, str]) -> dict[str, float | np.ndarray]:
    """``NAME=VALUES`` texts -> symbol -> number, or array along an axis of its own.

    The first range runs along the first axis, the second along the second, and so on, so that the
    arrays broadcast to the whole grid.  ``units`` are the circuit's symbols with their SI units.
    """
    found: dict[str, float | np.ndarray] = {}
    for text in texts:
        name, equals, values = (part.strip() for part in text.partition("="))
        if not (name and equals and values):
            raise BadValues(f"a swept value is written NAME=FROM:TO:POINTS, not {text!r}")
        if name in found:
            raise BadValues(f"{name} is given twice")
        first = not any(isinstance(value, np.ndarray) for value in found.values())
        found[name] = read_values(name, values, units.get(name), POINTS if first else CURVES)
    ranges = [name for name, value in found.items() if isinstance(value, np.ndarray)]
    total = 1
    for place, name in enumerate(ranges):
        value = np.asarray(found[name])
        total *= value.size
        found[name] = value.reshape((-1,) + (1,) * (len(ranges) - 1 - place))
    if total > MOST_POINTS:
        raise BadValues(f"{total:,} points are too many for one file; {MOST_POINTS:,} are the most")
    return found


def read_values(name: str, text: str, unit: str | None, points: int) -> float | np.ndarray:
    """One value, a comma-separated list, or a range FROM:TO[:POINTS][:log]."""
    if "," in text:
        return np.array([read_value(name, part, unit) for part in text.split(",")])
    parts = [part.strip() for part in text.split(":")]
    if len(parts) == 1:
        return read_value(name, text, unit)
    logarithmic = parts[-1] == "log"
    if logarithmic:
        parts.pop()
    if len(parts) not in (2, 3):
        raise BadValues(f"{name}={text}: a range is written FROM:TO, FROM:TO:POINTS, or either with :log")
    start, end = read_value(name, parts[0], unit), read_value(name, parts[1], unit)
    if len(parts) == 3:
        if not parts[2].isdigit() or not 2 <= int(parts[2]) <= MOST_POINTS:
            raise BadValues(f"{name}={text}: the number of points is 2 or more, not {parts[2]!r}")
        points = int(parts[2])
    if not start < end:
        hint = f"; write {name}={parts[1]}:{parts[0]}" if start > end else ""
        raise BadValues(f"{name}={text}: the range does not run upwards{hint}")
    if not logarithmic:
        return np.linspace(start, end, points)
    if start <= 0:
        raise BadValues(f"{name}={text}: a logarithmic range starts above zero")
    return np.geomspace(start, end, points)


def read_value(name: str, text: str, unit: str | None) -> float:
    """A number with an optional unit, which must be the symbol's own."""
    match = _VALUE.fullmatch(text.strip())
    if match is None or len(text) > 60:
        raise BadValues(f"{name}: {text.strip()[:40]!r} is no number")
    word = match[2]
    power = 0
    if word:
        if word in _UNITS:
            power, base = (-2 if word == "%" else 0), _UNITS[word]
        elif word[0] in _PREFIXES and word[1:] in _UNITS:
            power, base = _PREFIXES[word[0]], _UNITS[word[1:]]
        elif word in _PREFIXES:
            power, base = _PREFIXES[word], unit or ""
        else:
            raise BadValues(f"{name}: {word!r} is not a unit")
        if unit is not None and base != unit:
            wanted = "a pure number" if unit == "1" else f"in {unit}"
            raise BadValues(f"{name}: {text.strip()} does not fit; {name} is {wanted}")
    try:
        return float(Fraction(match[1]) * Fraction(10) ** power)
    except OverflowError:
        raise BadValues(f"{name}: {text.strip()[:40]!r} is out of range") from None


def read_tolerances(text: str) -> dict[str, float]:
    """``L1=20%,R=5%`` -> relative tolerances; a bare number is a share (0.2)."""
    found: dict[str, float] = {}
    for part in text.split(","):
        name, equals, value = (piece.strip() for piece in part.partition("="))
        if not (name and equals and value):
            raise BadValues(f"a tolerance is written PART=PER CENT, as in L1=20%, not {part.strip()!r}")
        if name in found:
            raise BadValues(f"the tolerance of {name} is given twice")
        found[name] = read_value(f"tolerance of {name}", value, "1")
    return found
