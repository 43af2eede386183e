"""What a writer meant where the formula grammar expected something else: one Fault, with a hint."""

from __future__ import annotations

import re
from collections.abc import Iterable

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault

_FOUND = re.compile(r"[A-Za-z0-9_.]+|\s*[^\sA-Za-z0-9_.]")
MOST_CHOICES = 300
"""Names that are compared in spelling; a hint is not worth more time."""

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


def nearest(word: str, known: Iterable[str]) -> list[str]:
    """The known words nearest in spelling, letter case aside; at most three."""
    import difflib

    choices = [choice for choice in dict.fromkeys(known) if abs(len(choice) - len(word)) <= 4][:MOST_CHOICES]
    same = [choice for choice in choices if choice.lower() == word.lower()]
    if same:
        return same[:1]
    lowered = {choice.lower(): choice for choice in reversed(choices)}
    near = word[:40].lower()
    found = difflib.get_close_matches(near, list(lowered), n=3, cutoff=0.6)
    # one wrong letter of two is half the word, yet the likeliest slip
    slips = [one for one in lowered if len(one) == len(near) > 1 and _letters_apart(one, near) == 1]
    return [lowered[one] for one in dict.fromkeys([*slips, *found])][:3]


def _letters_apart(one: str, other: str) -> int:
    """In how many places two words of one length differ."""
    return sum(a != b for a, b in zip(one, other, strict=True))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A hint naming the nearest spellings, or nothing."""
    near = nearest(word, known)
    return f"did you mean {' or '.join(near)}?" if near else ""


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
