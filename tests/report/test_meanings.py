"""Every symbol of the brief answer has its meaning on the same screen."""

from __future__ import annotations

import io
import re

import pytest

import voltsec
from voltsec.practice.solve import solve
from voltsec.report.terminal import show

LOSSES = {
    "inductor": "{ resistance 20 mohm }",
    "capacitor": "{ resistance 15 mohm }",
    "switch": "{ resistance 10 mohm }",
    "diode": "{ resistance 12 mohm, drop 0.5 V }",
}
WORD = re.compile(r"[^\W\d⁰¹²³⁴⁵⁶⁷⁸⁹][^\W⁰¹²³⁴⁵⁶⁷⁸⁹]*′?")
ORDINARY = {
    "and",
    "or",
    "long",
    "always",
    "stops",
    "where",
    "the",
    "numbers",
    "say",
    "so",
    "min",
    "max",
    "in",
}


def lossy(name: str) -> str:
    lines = []
    for line in voltsec.load(name).text.splitlines():
        words = line.split()
        if words and words[0] in LOSSES and "{" not in line:
            bare, hash_, rest = line.partition("#")
            line = f"{bare.rstrip()} {LOSSES[words[0]]} {hash_}{rest}"
        lines.append(line)
    return "\n".join(lines)


@pytest.mark.parametrize("name", ["sepic", "bridge", "cuk", "boost"])
def test_brief_defines_what_it_shows(name: str) -> None:
    solution = solve(voltsec.read(lossy(name) if name != "boost" else voltsec.load(name).text))
    stream = io.StringIO()
    show(solution, stream, brief=True)
    table = stream.getvalue().partition("Numbers  at")[0]
    assert "Holds when" in table
    rows = table.partition("Holds when")[2].splitlines()
    known = {quantity.symbol for quantity in solution.circuit.quantities} | ORDINARY
    known |= {f"{duty}′" for duty in solution.circuit.duty_symbols}
    told = False
    used: set[str] = set()
    for row in rows:
        told = told or row.startswith("  where ")
        if told and (found := re.match(r"  (?:where)? +(\S+)(?: in .*?)?  +\S", row)):
            known.add(found.group(1))
        cells = re.split(r"  +", row.strip())
        used |= {word for cell in (cells if told else cells[1:]) for word in WORD.findall(cell)}
    words = {word for word in used if word[0].islower() and len(word) > 3}  # meanings in words
    modes = {word for mode in solution.modes for word in WORD.findall(mode.name + mode.label)}
    assert set() == used - known - words - modes - {"I", "T", "of", "its", "is", "DCM"}
