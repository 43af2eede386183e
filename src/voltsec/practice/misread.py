"""What a writer meant where the formula grammar expected something else: one Fault, with a hint."""

from __future__ import annotations

import re

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault

_FOUND = re.compile(r"[A-Za-z0-9_.]+|\s*[^\sA-Za-z0-9_.]")

_UNITS = re.compile(r"[fpnuµmkMGT]?(V|A|ohm|Ω|H|F|s|Hz|W)\b")


def explain(text: str, position: int, accepts: frozenset[str], line: int) -> Fault:
    """The fault of a formula that stopped at ``position`` where only ``accepts`` could go on."""
    while text[position:].strip() and text[position] in " \t":
        position += 1
    match = _FOUND.match(text, position)
    found = match.group().strip() if match else ""
    before = text[:position].rstrip()
    place = Place(line, position + 1)
    shown = f"found '{_short(found)}'" if found else "found the end of the line"
    if not text.strip():
        return Fault("missing-equals", "there is no formula here", place, hint="such as Vout/Vg = D/(1 - D)")
    if found in tuple("<>≤≥≈~:!") or (found == "=" and before.endswith(tuple("=<>:!"))):
        return Fault("bad-formula", "only equations can be checked", place, hint="write one plain '='")
    if found == "=" and "=" in before:
        return Fault("bad-formula", "a second '=' in one line", place, hint="write one equation a line")
    if before.count(")") > before.count("(") or (found == ")" and before.count("(") <= before.count(")")):
        return Fault("unclosed-bracket", "this bracket closes none", place, hint="take it away, or open it")
    if _after_operand(before):
        if before.count("(") > before.count(")") and (not found or found in "=]}"):
            opened = _last_open(before)
            where = Place(line, opened + 1)
            return Fault("unclosed-bracket", "this bracket is not closed", where, hint="close it with ')'")
        if not found:
            hint = "an equation has two sides, such as Vout/Vg = D/(1 - D)"
            return Fault("missing-equals", "expected '=', found the end of the line", place, hint=hint)
        if found[0].isalnum() or found[0] in "(_√":
            hint = "write the product with '*'"
            if before[-1].isdigit() and _UNITS.match(found):
                hint += "; numbers take no unit here, they are in SI units"
            return Fault("implicit-product", f"a sign is missing before '{_short(found)}'", place, hint=hint)
        if found in ("^", "*") and ("^" in before or "**" in before):
            return Fault("bad-formula", "a power of a power", place, hint="write brackets: (a^2)^3")
        if found in ("|", "'"):
            hint = "the parallel value is A || B" if found == "|" else "a prime stands after a duty alone: D'"
            return Fault("bad-formula", f"'{found}' has no meaning here", place, hint=hint)
        if found == "," and "(" not in before:
            hint = "decimals take a point; one equation a line"
            return Fault("bad-formula", "a comma has no meaning here", place, hint=hint)
        return Fault("bad-formula", f"'{_short(found)}' has no meaning here", place, hint=_allowed())
    if found and not re.match(r"[-+*/^=(),.|]", found):
        return Fault("bad-formula", f"'{_short(found)}' has no meaning here", place, hint=_allowed())
    return Fault("missing-operand", f"expected a name, a number or '(', {shown}", place)


def _after_operand(before: str) -> bool:
    return bool(before) and (before[-1].isalnum() or before[-1] in ")_'′’.²³⁴η")


def _last_open(text: str) -> int:
    """Place of the innermost bracket that is still open."""
    waiting = []
    for place, character in enumerate(text):
        if character == "(":
            waiting.append(place)
        elif character == ")" and waiting:
            waiting.pop()
    return waiting[-1] if waiting else 0


def _allowed() -> str:
    return "a formula has names, numbers, + - * / ^ ||, brackets, sqrt() and D'"


def _short(text: str) -> str:
    return text if len(text) <= 30 else text[:29] + "…"
