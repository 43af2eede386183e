"""What people write out of habit and the language says otherwise: trade words, numbers of another style.

>>> meant_kind("mosfet")
'switch'
>>> number_meant("capacitor Co : out -> gnd = 4u7", 30)
('4u7', 'write 4.7 uF')
"""

from __future__ import annotations

import re

from voltsec.language.vocabulary import KINDS, PROPERTIES

TRADE_WORDS: dict[str, tuple[str, ...]] = {
    "switch": ("mosfet", "mos", "fet", "nmos", "pmos", "jfet", "hemt", "igbt", "transistor", "bjt", "npn",
               "pnp", "gto", "relay", "contact"),
    "diode": ("schottky", "rectifier", "freewheel"),
    "inductor": ("coil", "choke", "ind", "inductance", "reactor"),
    "capacitor": ("cap", "capacitance", "condenser", "electrolytic", "supercap"),
    "resistor": ("res", "resistance", "shunt", "rheostat"),
    "load": ("lamp", "motor", "heater", "bulb", "consumer"),
    "source": ("battery", "supply", "cell", "voltage", "accumulator"),
    "current": ("current_source", "sink", "panel"),
    "transformer": ("trafo", "windings"),
    "couple": ("coupling", "mutual", "coupled"),
    "ground": ("earth", "reference", "common"),
    "parameter": ("variable", "ratio"),
    "drive": ("gate", "pwm", "driver"),
    "operate": ("operating", "frequency", "duty"),
    "converter": ("title",),
}  # fmt: skip
"""The language's word -> words of the trade for it (common practice, no source)."""

_KIND = {word: kind for kind, words in TRADE_WORDS.items() for word in words}
_BESIDE = {
    "switch": "a switch conducts both ways when on; write a body diode as a diode of its own",
    "current": "its arrow is the way the current flows",
}
_UNITS = {word: unit for word, (_, unit, _) in KINDS.items() if unit is not None}
_SETTING_UNITS = {"T": "s", "f": "Hz"}
_RUN = re.compile(r"[\w.,\u00b5\u03bc\u03a9\u2126]*\Z")
_REST = re.compile(r"[\w.,\u00b5\u03bc\u03a9\u2126]*")
_PREFIX_AS_POINT = re.compile(r"(\d+)([fpnu\u00b5\u03bcmkKMGTRV])(\d+)(F|H|ohm|s|Hz|V|A)?")
_COMMA = re.compile(r"(\d+),(\d+)([A-Za-z\u00b5\u03bc%]*)")
FURTHEST = 60
"""Characters of a number that are looked at."""


def meant_kind(word: str) -> str | None:
    """The language's word for a word of the trade, None where it is none."""
    return _KIND.get(word.lower().rstrip("s:")) or _KIND.get(word.lower())


def word_hint(word: str) -> str:
    """How to write what a word of the trade means, nothing where it is none."""
    kind = meant_kind(word)
    if kind is None:
        return ""
    return f"write {kind}: {_BESIDE[kind]}" if kind in _BESIDE else f"write {kind}"


def number_meant(text: str, position: int) -> tuple[str, str] | None:
    """The number of another style around ``position`` and how to write it; None where there is none."""
    before, after = text[max(0, position - FURTHEST) : position], text[position : position + FURTHEST]
    head, tail = _RUN.search(before), _REST.match(after)
    written = (head.group() if head else "") + (tail.group() if tail else "")
    written = written.strip(",.")
    comma = _COMMA.fullmatch(written)
    if comma is not None:
        whole, part, unit = comma.groups()
        return written, f"write {whole}.{part}{unit and ' ' + unit}: numbers have a decimal point"
    styled = _PREFIX_AS_POINT.fullmatch(written)
    if styled is None:
        return None
    whole, prefix, part, unit = styled.groups()
    unit = unit or _unit_wanted(text[:position])
    if prefix == "V":
        prefix, unit = "", "V"
    elif prefix == "R":
        prefix, unit = "", unit or "ohm"
    prefix = "k" if prefix == "K" else prefix
    return written, f"write {whole}.{part} {prefix}{unit}" + ("" if unit else " and the unit")


def _unit_wanted(before: str) -> str:
    """The unit of a value that stands after ``before``, nothing where that is not clear."""
    words = re.findall(r"[A-Za-z_]\w*", before)
    if "{" in before:
        named = [word for word in words if word in PROPERTIES]
        return PROPERTIES[named[-1]][1].removeprefix("1") if named else ""
    if words and words[0] == "operate":
        return next((_SETTING_UNITS[word] for word in reversed(words) if word in _SETTING_UNITS), "")
    return _UNITS.get(words[0], "") if words else ""
