"""The list of faults a reading gathers, and the checks of single values that add to it."""

from __future__ import annotations

import keyword
from collections.abc import Iterable
from fractions import Fraction

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault
from voltsec.circuit.spelling import did_you_mean
from voltsec.language.quantities import (
    PREFIXES,
    QUANTITY_NAMES,
    OutOfRange,
    UnknownUnit,
    measure,
)
from voltsec.language.statements import Amount, Word

MOST_HINTS = 50
"""Faults up to which the nearest spelling is looked for."""


ABSURD = {"H": (Fraction(1, 10), "uH"), "F": (Fraction(1, 10), "uF")}
"""Unit -> bare number from which it was hardly meant, and the unit that likely was (common practice, no
source: coils of converters have nano- to millihenries, capacitors pico- to millifarads)."""

READING_BACK = frozenset({"Integer", "Float", "Rational", "Symbol", "Function", "Max", "Min", "Abs"})
"""What ``sympy.sympify`` itself puts around numbers and names when it reads a formula back, and the
functions that stand in formulas: a symbol of that name would take their place."""


class Findings:
    """Faults found so far, in the order found."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.doubts: list[str] = []
        """What can be read but was hardly meant so."""

    def add(
        self,
        kind: str,
        message: str,
        place: Place | None,
        elements: tuple[str, ...] = (),
        nodes: tuple[str, ...] = (),
        hint: str = "",
    ) -> None:
        """Note one fault."""
        self.faults.append(Fault(kind, message, place, elements, nodes, hint))

    def nearest(self, word: str, known: Iterable[str]) -> str:
        """A hint naming the nearest spelling; nothing after many faults, when hints no longer pay."""
        return did_you_mean(word, known) if len(self.faults) < MOST_HINTS else ""

    def nearest_or_all(self, word: str, known: Iterable[str]) -> str:
        """The nearest spelling, else what there is to choose from where that is little."""
        if len(self.faults) >= MOST_HINTS:
            return ""
        choices = sorted(known)
        few = f"it could be {' or '.join(choices)}" if 0 < len(choices) <= 6 else ""
        return self.nearest(word, choices) or few

    def value(
        self, amount: Amount | None, unit: str, what: str, owner: str, allowed: tuple[str, ...] = ()
    ) -> tuple[Fraction | None, str]:
        """Value of an amount and the unit it came in, SI; (None, unit) where it is absent or unfit.

        ``unit`` is taken for a bare number, ``allowed`` are further units that fit; ``what`` and
        ``owner`` name the thing in messages.  Signs are the caller's business.
        """
        if amount is None:
            return None, unit
        elements = (owner,) if owner else ()
        try:
            value, found = measure(amount.number.text, amount.unit.text if amount.unit else None)
        except OutOfRange as error:
            hint = "a value lies between 1e-60 and 1e60"
            self.add("number-out-of-range", str(error), amount.number.place, elements, (), hint)
            return None, unit
        except UnknownUnit as error:
            place = amount.unit.place if amount.unit else amount.number.place
            self.add("unknown-unit", str(error), place, elements, (), _unit_hint(error, unit))
            return None, unit
        if found is None or found == unit:
            return value, unit
        if found in allowed:
            return value, found
        assert amount.unit is not None
        fitting = "as a bare number" if unit == "1" else f"in {unit}"
        fitting = " or ".join([fitting, *(f"in {one}" for one in allowed)])
        self.add(
            "wrong-unit",
            f"{what} cannot be in {amount.unit.text}, a unit of {QUANTITY_NAMES[found]}",
            amount.unit.place,
            elements,
            (),
            f"write it {fitting}",
        )
        return None, unit

    def doubt_bare(self, amount: Amount | None, unit: str, value: Fraction | None, what: str) -> None:
        """Note a bare number that is absurd in the base unit."""
        if amount is None or amount.unit is not None or value is None or unit not in ABSURD:
            return
        limit, likely = ABSURD[unit]
        if value >= limit:
            number = amount.number.text
            self.doubts.append(
                f"{what} = {number} on line {amount.number.place.line} is read as {number} {unit}; "
                f"write {number} {likely} if that was meant, or {number} {unit} to keep it"
            )

    def positive(self, amount: Amount | None, unit: str, what: str, owner: str, hint: str) -> Fraction | None:
        """Value of an amount that has to be above zero; None where it is absent or unfit."""
        value, _ = self.value(amount, unit, what, owner)
        if amount is not None and value is not None and value <= 0:
            sign = "zero" if value == 0 else "negative"
            elements = (owner,) if owner else ()
            self.add("not-positive", f"{what} is {sign}", amount.number.place, elements, (), hint)
            return None
        return value

    def symbol(self, word: Word, owner: str) -> None:
        """Check that a word may stand in formulas, and that these can be read back with it."""
        keeper = "Python" if keyword.iskeyword(word.text) else "sympy" if word.text in READING_BACK else None
        if keeper is not None:
            self.add(
                "reserved-word",
                f"'{word.text}' cannot be a symbol: {keeper} keeps the word for itself",
                word.place,
                (owner,) if owner else (),
                (),
                f"call it {word.text}_ or {word.text}1; nodes may be called {word.text}",
            )


def _unit_hint(error: UnknownUnit, unit: str) -> str:
    """What to write instead of an unknown unit where ``unit`` is expected."""
    if error.word in PREFIXES and unit != "1":
        return f"did you mean '{error.word}{unit}'?"
    if error.nearest is not None:
        return f"did you mean '{error.nearest}'?"
    if unit == "1":
        return "write a bare number"
    return f"write it in {unit}, with a prefix f p n u m k M G T or none"
