"""What the symbols in the table of modes stand for, so that none on a screen is without a meaning.

A mode's own section says what its symbols are; the table may stand without it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from sympy import Basic

from voltsec.circuit.circuit import Circuit
from voltsec.report.outline import shown_name
from voltsec.report.selection import Row
from voltsec.results.solution import Mode
from voltsec.tableau.expression import symbol

Meaning = tuple[str, str]
"""A name as it is shown, and what it stands for."""

LONGEST = 240
"""Signs of a definition up to which it stands below the table."""
STATES = (
    ("dI_", "ripple of the current of {}, peak to peak"),
    ("I_", "mean current of {}"),
    ("V_", "mean voltage of {}"),
)


class Meanings:
    """Meanings of the symbols in a circuit's modes; ``shown`` puts a formula into text."""

    def __init__(self, circuit: Circuit, shown: Callable[[Basic | None], str]) -> None:
        self.shown = shown
        self._plain = {quantity.symbol for quantity in circuit.quantities}

    def of(self, mode: Mode, expression: Basic | None) -> list[Meaning] | None:
        """Meanings of all symbols in a formula; ``None`` where one takes too long to say."""
        found: dict[str, str] = {}
        waiting = [] if expression is None else self._names(expression)
        while waiting:
            name = waiting.pop()
            if name in found or name in self._plain:
                continue
            definition = mode.definitions.get(name) if name not in mode.states else None
            if definition is not None:
                text = self.shown(definition)
                waiting += self._names(definition)
            else:
                text = self._words(mode, name)
            if not text or len(text) > LONGEST:
                return None
            found[name] = text
        return [(shown_name(name), found[name]) for name in sorted(found)]

    def _names(self, expression: Basic) -> list[str]:
        return [str(one) for one in expression.free_symbols]

    def _words(self, mode: Mode, name: str) -> str:
        """What a symbol without a formula stands for; nothing where nobody knows."""
        if name in mode.states:
            bare = name.rstrip("_")
            return next(words.format(bare[len(head) :]) for head, words in STATES if bare.startswith(head))
        for interval in mode.intervals:
            if interval.fraction == symbol(name):
                return f"share of T with {', '.join(interval.conducting) or 'nothing'} conducting"
        return ""


def meaning_rows(meanings: Iterable[tuple[str, Meaning]], several: bool) -> Iterator[Row]:
    """Rows for (mode, meaning); a name with several meanings is told with its modes."""
    modes: dict[Meaning, list[str]] = {}
    for mode, meaning in meanings:
        modes.setdefault(meaning, []).append(mode)
    names = [name for name, _ in modes]
    in_order = sorted(modes.items(), key=lambda one: names.index(one[0][0]))
    for number, ((name, text), listed) in enumerate(in_order):
        of = f" in {', '.join(dict.fromkeys(listed))}" if several and names.count(name) > 1 else ""
        yield Row("where" if number == 0 else "", f"{name}{of}", text)
