"""Trying a changed line at a few points of a mode."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import mpmath
from mpmath import mpf
from sympy import Expr

from voltsec.circuit.elements import Transformer
from voltsec.practice.equality import Prover
from voltsec.practice.names import Claim
from voltsec.practice.quantities import PLAIN, Quantity, parts_of
from voltsec.practice.sampling import DIGITS, Point, Sized, Undefined, same

FEW_POINTS = 3


class Trial:
    """One claim in one mode, with the values of quantities at a few points."""

    def __init__(self, claim: Claim, prover: Prover) -> None:
        self.claim = claim
        self.prover = prover
        self.mode = prover.mode
        self.points = prover.points[:FEW_POINTS]
        self.duties = list(self.mode.circuit.duty_symbols)
        self.parts = parts_of(self.mode.circuit)

    def holds(self, left: Expr, right: Expr, changed: Mapping[str, Any] | None = None) -> bool:
        """True where both sides agree at every point; ``changed`` are other values for some names."""
        return all(self.agrees(point, left, right, changed) for point in self.points)

    def agrees(self, point: Point, left: Expr, right: Expr, changed: Mapping[str, Any] | None = None) -> bool:
        """True where both sides have one value at ``point``."""
        filled = self.filled(point, left, right, changed)
        if filled is None:
            return False
        try:
            return same(filled.sized(left), filled.sized(right))
        except Undefined:
            return False

    def filled(
        self, point: Point, left: Expr, right: Expr, changed: Mapping[str, Any] | None = None
    ) -> Point | None:
        """``point`` with the values of all quantities in the sides, ``None`` where one has none."""
        values: dict[str, Any] = {}
        for free in left.free_symbols | right.free_symbols:
            if not free.name.startswith("["):
                continue
            value = self.prover.numeric(self.quantity(free.name), point)
            if value is None:
                return None
            values[free.name] = value
        return point.with_values(values | dict(changed or {}))

    def quantity(self, placeholder: str) -> Quantity:
        """The quantity behind a placeholder's name."""
        return quantity_of(placeholder[1:-1])

    def constant_ratio(self) -> mpf | None:
        """Left over right where it is the same at every point."""
        ratios = []
        for point in self.points:
            filled = self.filled(point, self.claim.left, self.claim.right)
            if filled is None:
                return None
            try:
                left, right = filled.value(self.claim.left), filled.value(self.claim.right)
            except Undefined:
                return None
            if not left or not right:
                return None
            with mpmath.workdps(DIGITS):
                ratios.append(left / right)
        return ratios[0] if len(ratios) > 1 and all(_near(ratios[0], other) for other in ratios) else None

    def turns_behind(self, ratio: mpf) -> str:
        """The transformer whose numeric turns ratio ``ratio`` is (or its square, or inverse)."""
        for transformer in self.mode.circuit.of(Transformer):
            numbers = [turn for turn in transformer.turns if not isinstance(turn, str)]
            for one in numbers:
                for other in numbers:
                    turns = mpf(one.numerator * other.denominator) / (one.denominator * other.numerator)
                    for power in (1, 2):
                        if turns != 1 and _near(abs(ratio), turns**power):
                            return f"of {transformer.name}, {one}:{other}"
        return ""


def quantity_of(text: str) -> Quantity:
    """The quantity that :attr:`Quantity.text` writes as ``text``."""
    head, opened, inner = text.partition("(")
    if not opened:
        return Quantity(head) if head in PLAIN.values() else Quantity("defined", head)
    part, comma, number = inner.rstrip(")").partition(",")
    if head == "d":
        return Quantity("share", "", int(part))
    return Quantity(head, part.strip(), int(number) if comma else None)


def _near(one: mpf, other: mpf) -> bool:
    return same(Sized(one, abs(one)), Sized(other, abs(other)))
