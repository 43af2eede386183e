"""What a reader meant where the grammar expected something else: one Fault, with a hint."""

from __future__ import annotations

from collections.abc import Callable

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault
from voltsec.circuit.spelling import did_you_mean
from voltsec.language.habits import word_hint
from voltsec.language.statements import WORDS
from voltsec.language.vocabulary import PROPERTIES

_READABLE = {
    "_COLON": "':'", "_COMMA": "','", "_EQUALS": "'='", "_ARROW": "'->'", "_LBRACE": "'{'", "_RBRACE": "'}'",
    "NAME": "a name", "NODE": "a node", "NUMBER": "a number", "UNIT": "a unit", "TITLE": "a title in quotes",
    "$END": "the end of the line",
}  # fmt: skip


_DRIVES = ("at", "against", "with", "on", "off")


def a(kind: str) -> str:
    """A kind of element with its article."""
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def explain(
    accepts: frozenset[str],
    found: str,
    before: str,
    place: Place,
    number: tuple[str, str] | None = None,
) -> Fault:
    """The fault of a statement that stopped at ``found`` (empty: the line's end) where only
    ``accepts`` (names of the grammar's terminals) could go on; ``before`` is the text up to there.

    ``number`` is a number of another style at that place, and how to write it.
    """
    shown = f"found '{_short(found)}'" if found else "found the end of the line"
    elements = _element_of(before)

    def fault(kind: str, message: str, hint: str = "") -> Fault:
        return Fault(kind, message, place, elements, (), hint)

    if number is not None:
        return fault("unexpected-text", f"'{number[0]}' is no number", number[1])
    if "{" in before:
        accepts -= {"_BREAK"}  # a line may break after any word inside braces
    else:
        # The parser has one state for values wherever they stand, so it expects too much after them.
        accepts -= {"_RBRACE"}
        if "UNIT" in accepts or "_BREAK" in accepts:
            accepts |= {"$END"}
            accepts -= {"_COMMA"} if not before.startswith(("operate", "ground", "transformer")) else set()
    if not before:
        hint = word_hint(found) or did_you_mean(found, WORDS)
        hint = hint or "a statement begins with one of: " + ", ".join(WORDS)
        return fault("unknown-statement", f"no statement begins with '{_short(found)}'", hint)
    if found.startswith('"'):
        if "TITLE" in accepts:
            return fault("unclosed-title", "the title has no closing quote", "end it with a quote")
        return fault("unexpected-text", "a title in quotes has no place here", "only converter takes a title")
    if found and not found[0].isascii() and "UNIT" not in accepts and "_ARROW" not in accepts:
        hint = "names and nodes are made of the letters A-Z and a-z, digits and _"
        return fault("bad-character", f"'{_short(found)}' has no meaning here", hint)
    if "_ARROW" in accepts and "$END" not in accepts:
        return fault("missing-arrow", f"expected '->' between two nodes, {shown}", "write NODE -> NODE")
    if "AT" in accepts:
        hint = did_you_mean(found, _DRIVES) or "at SYMBOL, against SWITCH, with SWITCH, on or off"
        return fault("unknown-drive", f"expected at, against, with, on or off, {shown}", hint)
    if before.startswith("drive") and before.split()[-1:] == ["from"] and accepts <= {"NUMBER", "NAME"}:
        hint = "write from 0.5, from 1/3 or from SYMBOL"
        return fault("missing-start", f"expected where the on-time starts, {shown}", hint)
    if before.startswith("drive") and found == "from":
        hint = "only an on-time of its own has a start: drive SWITCH at DUTY from START"
        return fault("unexpected-text", f"expected the end of the line, {shown}", hint)
    if "TITLE" in accepts:
        return fault("missing-title", f"expected a title in quotes, {shown}", 'write converter "title"')
    if "NODE" in accepts:
        return fault("missing-node", f"expected a node, {shown}", "nodes are letters, digits and _")
    if accepts <= {"NUMBER", "NAME"} and "NUMBER" in accepts:
        what = "a number" if accepts == {"NUMBER"} else "a number or a parameter's name"
        hint = "" if found else "leave the = out where no value is known"
        if accepts == {"NUMBER"} and found and before.endswith("="):
            hint = "an element's name is its symbol; a value is a number, or left out"
        return fault("missing-value", f"expected {what}, {shown}", hint)
    if accepts == {"NAME"}:
        if found[:1].isdigit():
            return fault("bad-name", f"'{_short(found)}' begins with a digit", "nodes may, names may not")
        if "{" in before and not found:
            return fault("missing-brace", f"expected a property, {shown}", "close the braces")
        if before.endswith("{") and found.startswith("}"):
            return fault("missing-name", "nothing stands inside the braces", "leave the braces out")
        return fault("missing-name", f"expected a name, {shown}", "names are letters, digits and _")
    if "_COLON" in accepts and not accepts & {"$END", "_COMMA"}:
        hint = "write KIND NAME : NODE -> NODE"
        return fault("missing-colon", f"expected ':' after the name, {shown}", hint)
    if "_COLON" in accepts and "_COMMA" in accepts and "$END" not in accepts:
        return fault("missing-comma", f"expected a second inductor, {shown}", "write couple L1, L2 = 0.95")
    if "_COMMA" in accepts and "$END" not in accepts and "_RBRACE" not in accepts:
        return fault("missing-comma", f"expected ',', {shown}")
    if "_RBRACE" in accepts:
        return _inside_braces(found, shown, fault)
    if accepts == {"_EQUALS"}:
        return fault("missing-equals", f"expected '=', {shown}", "write SYMBOL = VALUE")
    if "_EQUALS" in accepts and (found[:1].isdigit() or (found[:1] in "+-." and found)):
        return fault("missing-equals", f"expected '=' before the value, {shown}", "write = VALUE")
    if "_LBRACE" in accepts and found in PROPERTIES:
        return fault("missing-brace", f"properties stand inside braces, {shown}", "write { " + found + " … }")
    if found.startswith(",") and not accepts & {"_COMMA"}:
        hint = "numbers are written with a decimal point"
        return fault("unexpected-text", f"expected the end of the line, {shown}", hint)
    wanted = [text for terminal, text in _READABLE.items() if terminal in accepts]
    message = f"expected {' or '.join(wanted) or 'nothing more'}, {shown}"
    return fault("unexpected-text", message, _one_statement(found))


def _inside_braces(found: str, shown: str, fault: Callable[..., Fault]) -> Fault:
    """A property list that does not go on as it should."""
    if not found:
        return fault("missing-brace", f"expected '}}' or ',', {shown}", "close the braces")
    if found[:1].isalpha():
        return fault("missing-comma", f"expected ',' or '}}', {shown}", "properties are separated by commas")
    return fault("unexpected-text", f"expected ',' or '}}', {shown}")


def _one_statement(found: str) -> str:
    """A hint for text after the end of a statement."""
    if found.startswith(";") or found in WORDS:
        return "one statement a line"
    if found.startswith(("//", "*", "%")):
        return "a comment begins with #"
    return ""


def _element_of(before: str) -> tuple[str, ...]:
    """The element a half-read statement is about, where it has got as far as the colon."""
    head, colon, _ = before.partition(":")
    words = head.split()
    return (words[1],) if colon and len(words) == 2 and words[0] in WORDS and words[0] != "couple" else ()


def _short(text: str) -> str:
    """At most 30 characters of what was found."""
    return text if len(text) <= 30 else text[:29] + "…"
