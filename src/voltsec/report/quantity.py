"""Numbers with units in engineering notation: ``13.9 V``, ``68 µH``, ``2.02 A``."""

from __future__ import annotations

from math import floor, isfinite, log10

from voltsec.report.alphabet import UNICODE, Alphabet

PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
UNITS = {"ohm": "Ω", "1": "", "": ""}
LEAST = 1e-15
"""Less than this of any unit is rounding."""


def engineering(value: float | None, unit: str = "1", alphabet: Alphabet = UNICODE, digits: int = 4) -> str:
    """``value`` (SI) with ``digits`` significant digits and a prefix that keeps 1 to 999 before the point.

    ``None`` is shown as a dash.  A pure number takes no prefix.
    """
    if value is None:
        return alphabet.plain("–")
    if not isfinite(value):
        return "unbounded" if value == value else "undefined"
    name = UNITS.get(unit, unit)
    if abs(value) < LEAST:
        return alphabet.plain(f"0 {name}".rstrip())
    if not name:
        return alphabet.plain(_significant(value, digits).replace("-", "−"))
    exponent = 3 * floor((log10(abs(value)) + 1e-12) / 3)
    scaled = _significant(value / 10.0**exponent, digits)
    if abs(float(scaled)) >= 1000:
        exponent += 3
        scaled = _significant(value / 10.0**exponent, digits)
    if exponent not in PREFIXES:
        return alphabet.plain(f"{value:.{digits - 1}e} {name}".replace("-", "−"))
    return alphabet.plain(f"{scaled} {PREFIXES[exponent]}{name}".replace("-", "−"))


def _significant(value: float, digits: int) -> str:
    """``digits`` significant digits without an exponent where that stays short."""
    text = f"{value:.{digits}g}"
    if "e" in text:
        size = abs(value)
        return f"{value:.0f}" if size >= 1 and size < 1e7 else text
    return text


def percent(value: float | None, alphabet: Alphabet = UNICODE) -> str:
    """A ratio such as the efficiency, in per cent."""
    return alphabet.plain("–") if value is None else f"{100 * value:.2f}".rstrip("0").rstrip(".") + " %"


def relative_change(value: float, of: float, alphabet: Alphabet = UNICODE) -> str:
    """How far ``value`` lies from ``of``, as a share: ``+1.2 %``; nothing where that is many times it."""
    ratio = (value - of) / abs(of) if of else float("inf")
    if abs(ratio) > 10:
        return ""
    shown = f"{100 * ratio:+.0f}" if abs(ratio) >= 0.995 else f"{100 * ratio:+.2g}"
    return alphabet.plain(f"{shown} %".replace("-", "−"))
