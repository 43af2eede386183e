"""Numbers with prefix and unit: text -> exact Fraction in the SI base unit, and back.

>>> measure("68", "uH")
(Fraction(17, 250000), 'H')
>>> format_quantity(Fraction(17, 250000), "H")
'68 uH'
"""

from __future__ import annotations

from fractions import Fraction

PREFIXES: dict[str, int] = {
    "f": -15, "p": -12, "n": -9, "u": -6, "\u00b5": -6, "\u03bc": -6,
    "m": -3, "k": 3, "M": 6, "G": 9, "T": 12,
}  # fmt: skip
"""Prefix -> power of ten; both micro signs of Unicode beside the plain ``u``."""

UNITS: dict[str, str] = {
    "V": "V", "A": "A", "ohm": "ohm", "\u03a9": "ohm", "\u2126": "ohm",
    "H": "H", "F": "F", "s": "s", "Hz": "Hz", "W": "W", "C": "C", "%": "1",
}  # fmt: skip
"""Unit as written -> SI unit; both omega signs of Unicode; per cent is a pure number."""

POWERS: dict[str, tuple[int, str]] = {
    "mm2": (-6, "m2"), "cm2": (-4, "m2"), "m2": (0, "m2"),
    "mm3": (-9, "m3"), "cm3": (-6, "m3"), "m3": (0, "m3"),
}  # fmt: skip
"""Areas and volumes of cores, their own prefix in the power: unit -> power of ten and SI unit."""

QUANTITY_NAMES: dict[str, str] = {
    "V": "voltage", "A": "current", "ohm": "resistance", "H": "inductance", "F": "capacitance",
    "s": "time", "Hz": "frequency", "W": "power", "C": "charge", "m2": "area", "m3": "volume",
    "1": "pure number",
}  # fmt: skip

LONGEST_NUMBER = 200
"""Digits and signs a number may have; longer ones are no measurements."""

SMALLEST, LARGEST = Fraction(1, 10**60), Fraction(10**60)
"""Magnitudes a number may have; beyond them floating-point evaluation would overflow."""

_WRITTEN = {-15: "f", -12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}


class OutOfRange(ValueError):
    """The number is too long, too large or too small to be a value of a circuit."""


class UnknownUnit(ValueError):
    """The word after the number is no unit; ``nearest`` is the spelling that was likely meant."""

    def __init__(self, word: str, nearest: str | None) -> None:
        super().__init__(f"'{word[:20]}' is not a unit")
        self.word = word
        self.nearest = nearest


def number(text: str) -> Fraction:
    """The exact value of a decimal number as written; :class:`OutOfRange` where it is absurd."""
    digits, _, exponent = text.lower().partition("e")
    if len(text) > LONGEST_NUMBER or len(exponent.lstrip("+-0")) > 3:
        raise OutOfRange(f"the number {text[:20]} is out of range")
    value = Fraction(digits) * Fraction(10) ** int(exponent or 0)
    if value and not SMALLEST <= abs(value) <= LARGEST:
        raise OutOfRange(f"the number {text[:20]} is out of range")
    return value


def split_unit(word: str) -> tuple[int, str]:
    """Power of ten and SI unit of a unit word; :class:`UnknownUnit` where it is none.

    >>> split_unit("mohm")
    (-3, 'ohm')
    """
    if word in POWERS:
        return POWERS[word]
    if word in UNITS:
        return (-2 if word == "%" else 0), UNITS[word]
    head, tail = word[:1], word[1:]
    if head in PREFIXES and tail in UNITS and tail != "%":
        return PREFIXES[head], UNITS[tail]
    raise UnknownUnit(word, nearest_unit(word))


def measure(text: str, unit: str | None) -> tuple[Fraction, str | None]:
    """Value in the SI base unit, and that unit (``None`` for a bare number, "1" for per cent)."""
    value = number(text)
    if unit is None:
        return value, None
    power, base = split_unit(unit)
    scaled = value * Fraction(10) ** power
    if scaled and not SMALLEST <= abs(scaled) <= LARGEST:
        raise OutOfRange(f"the value {text[:20]} {unit} is out of range")
    return scaled, base


def nearest_unit(word: str) -> str | None:
    """The unit a misspelt word was likely meant to be, ``None`` where nothing is near."""
    if word in PREFIXES:
        return None
    import difflib

    plain = [unit for unit in UNITS if unit != "%" and unit.isascii()]
    written = [*(prefix + unit for prefix in _WRITTEN.values() for unit in plain), *POWERS]
    word = word[:12]
    spelled_out = {
        "volt": "V", "volts": "V", "amp": "A", "amps": "A", "ampere": "A", "ohms": "ohm", "henry": "H",
        "farad": "F", "sec": "s", "hertz": "Hz", "watt": "W", "watts": "W", "percent": "%", "r": "ohm",
    }  # fmt: skip
    if word.lower() in spelled_out:
        return spelled_out[word.lower()]
    same = [unit for unit in written if unit.lower() == word.lower()]
    if same:
        # Of MF and mF the one that keeps the letter as written, prefixes being told apart by case.
        return min(same, key=lambda unit: unit[0] != word[0])
    near = difflib.get_close_matches(word, written, n=1, cutoff=0.6)
    return near[0] if near else None


def is_decimal(value: Fraction) -> bool:
    """Whether the value has a finite decimal form, so that it can be written exactly."""
    rest = value.denominator
    for factor in (2, 5):
        while rest % factor == 0:
            rest //= factor
    return rest == 1


def format_number(value: Fraction) -> str:
    """Exact decimal form; ValueError where the value has none (1/3, say).

    >>> format_number(Fraction(19, 20))
    '0.95'
    """
    if not is_decimal(value):
        raise ValueError(f"{value} has no finite decimal form")
    places = 0
    scaled = abs(value)
    while scaled.denominator != 1:
        scaled *= 10
        places += 1
    digits = str(scaled.numerator)
    significant = digits.rstrip("0") or "0"
    sign = "-" if value < 0 else ""
    if places - len(digits) >= 6 or (places == 0 and len(digits) - len(significant) >= 9):
        power = len(digits) - 1 - places
        mantissa = significant[0] + ("." + significant[1:] if len(significant) > 1 else "")
        return f"{sign}{mantissa}e{power}"
    if not places:
        return sign + digits
    digits = digits.rjust(places + 1, "0")
    return f"{sign}{digits[:-places]}.{digits[-places:]}"


def format_quantity(value: Fraction, unit: str) -> str:
    """Canonical text of a value: engineering notation, exact, ``u`` and ``ohm`` in plain letters.

    Volts and amperes from 0.1 up are written without a prefix, as people do (0.45 V, 0.7 A).
    ValueError where the value has no finite decimal form.
    """
    if unit == "1":
        return format_number(value)
    if unit in ("m2", "m3"):
        fitting = [
            w for w, (power, base) in POWERS.items() if base == unit and Fraction(10) ** power <= value
        ]
        word = fitting[-1] if fitting else f"m{unit}"
        return f"{format_number(value / Fraction(10) ** POWERS[word][0])} {word}"
    size = abs(value)
    if size == 0 or (unit in ("V", "A") and Fraction(1, 10) <= size < 1000):
        return f"{format_number(value)} {unit}"
    if not Fraction(1, 10**15) <= size < 10**15:
        return f"{format_number(value)} {unit}"
    power = -15
    while size >= Fraction(10) ** (power + 3):
        power += 3
    return f"{format_number(value / Fraction(10) ** power)} {_WRITTEN[power]}{unit}"
