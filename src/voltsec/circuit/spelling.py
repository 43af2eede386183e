"""The known names nearest in spelling to one that is not known: the hint of every complaint about a name."""

from __future__ import annotations

from collections.abc import Iterable

MOST_CHOICES = 300
"""Names that are compared in spelling; a hint is not worth more time."""
LONGEST = 40
"""Letters of a name that are compared."""
MOST_NAMED = 12
"""Names that are listed where none is near."""


def nearest(word: str, known: Iterable[str], most: int = 3) -> list[str]:
    """At most ``most`` known names near in spelling, letter case aside; none where nothing is near."""
    import difflib

    choices = [choice for choice in dict.fromkeys(known) if abs(len(choice) - len(word)) <= 4][:MOST_CHOICES]
    same = [choice for choice in choices if choice.lower() == word.lower()]
    if same:
        return same[:1]
    lowered = {choice.lower(): choice for choice in reversed(choices)}
    near = word[:LONGEST].lower()
    found = difflib.get_close_matches(near, list(lowered), n=most, cutoff=0.6)
    # one wrong letter of two is half the word, yet the likeliest slip
    slips = [one for one in lowered if len(one) == len(near) > 1 and _letters_apart(one, near) == 1]
    return [lowered[one] for one in dict.fromkeys([*slips, *found])][:most]


def _letters_apart(one: str, other: str) -> int:
    """In how many places two words of one length differ."""
    return sum(a != b for a, b in zip(one, other, strict=True))


def did_you_mean(word: str, known: Iterable[str], most: int = 1) -> str:
    """A hint with the nearest names, or nothing."""
    near = [f"'{one}'" for one in nearest(word, known, most)]
    return f"did you mean {' or '.join(near)}?" if near else ""


def hint_among(word: str, known: Iterable[str]) -> str:
    """A hint with the nearest name, or the one that ends in the word, or what there is."""
    names = list(dict.fromkeys(known))
    ends = [one for one in names if one.lower().endswith(f".{word.lower()}")]
    hint = did_you_mean(word, names) or (f"did you mean '{ends[0]}'?" if ends else "")
    more = " and more" if len(names) > MOST_NAMED else ""
    return hint or f"there is {', '.join(names[:MOST_NAMED])}{more}"
