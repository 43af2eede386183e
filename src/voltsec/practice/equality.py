"""Whether two formulas are equal in one mode: refuted at a point, else proved, else checked at many."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

from sympy import Expr, Max, Not, Or, Piecewise, Symbol
from sympy.core.relational import Equality, Relational
from sympy.logic.boolalg import Boolean

from voltsec.circuit.computing_time import LeftOut
from voltsec.formulas.numbers import holds_at
from voltsec.practice.names import Claim, choice
from voltsec.practice.quantities import ModeValues, Quantity
from voltsec.practice.radicals import NotAlgebraic, Part, Radicals
from voltsec.practice.sampling import Point, Sized, Undefined, point_of, same, sample
from voltsec.practice.verdict import ABSENT, HOLDS, OPEN, WRONG, Judgement
from voltsec.tableau.expression import symbol
from voltsec.tableau.ring import Polynomial, Ring, definite_sign

FIRST_POINTS = 6
"""Points at which a wrong line is looked for before a proof is tried."""

MANY_POINTS = 24
"""Points at which a line is checked that cannot be proved."""


class Prover:
    """Judges claims in one mode."""

    def __init__(self, mode: ModeValues) -> None:
        self.mode = mode

    @cached_property
    def points(self) -> list[Point]:
        """The first points of the mode."""
        return sample(self.mode, FIRST_POINTS)

    @cached_property
    def many_points(self) -> list[Point]:
        """More points."""
        return sample(self.mode, MANY_POINTS, seed=1)

    def judge(self, claim: Claim) -> Judgement:
        """Whether ``claim`` holds in the mode; open where a formula would be too long to be compared."""
        try:
            return self._judge(claim)
        except LeftOut:
            name = self.mode.mode.name
            return Judgement(name, OPEN, reason=f"its formulas are too long to be compared in {name}")

    def _judge(self, claim: Claim) -> Judgement:
        name = self.mode.mode.name
        missing = [q for q in claim.quantities if not self.mode.applies(q)]
        if missing:
            return Judgement(name, ABSENT, reason=f"{name} has no {missing[0].text}")
        undetermined = [q for q in claim.quantities if self.mode.value(q) is None]
        if undetermined:
            reason = f"{undetermined[0].text} is not determined in {name}"
            if not self.mode.mode.written:
                reason = f"the formulas of {name} are not written; --budget SECONDS gives them more time"
            return Judgement(name, OPEN, reason=reason)
        judgement = self._judged(claim, None)
        if judgement.outcome != HOLDS:
            for case in self._cases(claim):
                found = self._judged(claim, case)
                if found.outcome == HOLDS:
                    return replace(found, where=case)
        return judgement

    def _cases(self, claim: Claim) -> list[Boolean]:
        """The cases that a formula of the mode is told by."""
        for quantity in claim.quantities:
            value = self.mode.value(quantity)
            if isinstance(value, Piecewise):
                *told, (_, _) = value.args
                conditions = [condition for _, condition in told]
                return [*conditions, Not(Or(*conditions))]
        return []

    def _judged(self, claim: Claim, case: Boolean | None) -> Judgement:
        """Whether ``claim`` holds in the mode, or in one ``case`` of its formulas."""
        name = self.mode.mode.name
        left, right = (self.inserted(claim, side, case) for side in (claim.left, claim.right))
        points = self._in_case(self.points, case)
        agreed = [self.agree(left, right, point) for point in points]
        if any(agreement is False for agreement in agreed):
            return Judgement(name, WRONG)
        if left == right and agreed:
            return Judgement(name, HOLDS)
        try:
            if not self.zero(left, right):
                return Judgement(name, WRONG) if agreed else Judgement(name, OPEN, reason="no point is known")
            return Judgement(name, HOLDS)
        except ZeroDivisionError:
            return Judgement(name, WRONG, reason="it divides by zero")
        except NotAlgebraic:
            pass
        agreed = [self.agree(left, right, p) for p in self._in_case(self.many_points or self.points, case)]
        if any(agreement is False for agreement in agreed):
            return Judgement(name, WRONG)
        count = sum(agreement is True for agreement in agreed)
        if not count:
            return Judgement(name, OPEN, reason=f"no point of {name} is known")
        return Judgement(name, HOLDS, count)

    @staticmethod
    def _in_case(points: list[Point], case: Boolean | None) -> list[Point]:
        return points if case is None else [point for point in points if point.true(case)]

    def inserted(self, claim: Claim, side: Expr, case: Boolean | None = None) -> Expr:
        """``side`` with the mode's values in place of the quantities; abbreviations stay as symbols.

        A value told by cases is that of ``case``.
        """
        values: dict[Symbol, Expr] = {}
        for quantity in claim.quantities:
            if quantity.kind == "defined":
                values[quantity.placeholder] = symbol(quantity.part)
                continue
            value = self.mode.value(quantity)
            assert value is not None
            if case is not None and isinstance(value, Piecewise):
                value = next((one for one, condition in value.args if condition == case), value.args[-1][0])
            if value.has(Max):
                value = value.replace(Max, lambda *entries: choice("max", entries))
            values[quantity.placeholder] = value
        inserted: Expr = side.xreplace(values)
        return inserted

    def agree(self, left: Expr, right: Expr, point: Point) -> bool | None:
        """Whether both sides have one value at ``point``; ``None`` where neither has any."""
        values: list[Sized | None] = []
        for side in (left, right):
            try:
                values.append(point.sized(side))
            except Undefined:
                values.append(None)
        if values[0] is None or values[1] is None:
            return None if values[0] is values[1] else False
        return same(values[0], values[1])

    def zero(self, left: Expr, right: Expr) -> bool:
        """True where the sides are proved equal, False where proved different; raises NotAlgebraic."""
        algebra = self.algebra(left, right)
        try:
            return self._settled(algebra, algebra.difference(left, right))
        except NotAlgebraic:
            # a root of a sum of roots on both sides: both have one sign, so their squares decide
            algebra = self.algebra(left, right)
            if self.points and all(self._same_sign(left, right, point) for point in self.points):
                return self._settled(algebra, algebra.difference(left**2, right**2))
            raise

    def _settled(self, algebra: Radicals, rest: Part) -> bool:
        if not rest:
            if not algebra.proved:
                raise NotAlgebraic("the sign under a root is not proved")
            return True
        relations = self._relations(algebra)
        if not relations:
            return False
        if len(relations) == 1:
            relation = relations[0]
            if all((part // relation) * relation == part for part in rest.values()):
                return True
        raise NotAlgebraic("unknown shares remain")

    def _relations(self, algebra: Radicals) -> list[Polynomial]:
        """What must vanish: conditions on shares without a closed form, equations in the mode's region."""
        found = []
        region = self.mode.mode.holds_when
        stated = [] if region is None else [eq.lhs - eq.rhs for eq in region.atoms(Equality)]
        names = set(algebra.ring.names) | set(algebra.values)
        for condition in (*(self.mode.mode.condition or ()), *stated):
            if not {free.name for free in condition.free_symbols} <= names:
                continue
            top, _ = algebra.element(condition)
            if set(top) == {()}:
                found.append(top[()])
        return found

    def algebra(self, *expressions: Expr, expand: bool = True) -> Radicals:
        """Arithmetic over the symbols of ``expressions``, abbreviations expanded."""
        definitions = self.mode.mode.definitions if expand else {}
        names: dict[str, None] = {}
        waiting = [*expressions, *(self.mode.mode.condition or ())]
        seen: set[str] = set()
        while waiting:
            for free in waiting.pop().free_symbols:
                if free.name in definitions and free.name not in seen:
                    seen.add(free.name)
                    waiting.append(definitions[free.name])
                elif free.name not in definitions:
                    names[free.name] = None
        return Radicals(tuple(sorted(names)), definitions, self.sign)

    def sign(self, ring: Ring, polynomial: Polynomial) -> tuple[int, bool]:
        """Sign of ``polynomial`` where the mode holds, and whether it is proved."""
        sign = definite_sign(polynomial)
        if sign is None:
            sign = definite_sign(self._with_open_duties(ring, polynomial))
        if sign is not None:
            return sign, True
        signs = {self._sign_at(ring, polynomial, point) for point in self.points}
        if len(signs) != 1 or 0 in signs:
            raise NotAlgebraic("a sign that changes under a root")
        return signs.pop(), self._stated(ring, polynomial)

    def _with_open_duties(self, ring: Ring, polynomial: Polynomial) -> Polynomial:
        """D = x/(1 + x) with x > 0 stands for every 0 < D < 1."""
        for duty in self.mode.circuit.timing_symbols:
            if duty not in ring.index or ring.degree(polynomial, duty) < 1:
                continue
            x, parts = ring.symbol(duty), ring.coefficients(polynomial, duty)
            total = ring.zero
            for power, part in enumerate(parts):
                total += part * x**power * (1 + x) ** (len(parts) - 1 - power)
            polynomial = total
        return polynomial

    def _sign_at(self, ring: Ring, polynomial: Polynomial, point: Point) -> int:
        values: Mapping[str, float] = {name: float(point.plain.get(name, 1)) for name in ring.names}
        value = float(ring.value(polynomial, values))
        return (value > 0) - (value < 0)

    def _stated(self, ring: Ring, polynomial: Polynomial) -> bool:
        """True where the mode's region says that ``polynomial`` has one sign."""
        own = _sorted_text(ring, polynomial), _sorted_text(ring, -polynomial)
        return any(stated in own for stated in self._stated_factors)

    @cached_property
    def _stated_factors(self) -> tuple[str, ...]:
        """Factors whose sign each inequality of the region states: it has no other uncertain one."""
        region = self.mode.mode.holds_when
        found = []
        for relation in () if region is None else region.atoms(Relational):
            difference = relation.lhs - relation.rhs
            algebra = self.algebra(difference)
            algebra.sign = _no_roots
            try:
                top, _ = algebra.element(difference)
            except (NotAlgebraic, ZeroDivisionError):
                continue
            if len(top) == 1 and () in top:
                factors = [factor for factor, _ in top[()].factor()[1]]
                uncertain = [factor for factor in factors if definite_sign(factor) is None]
                found += [_sorted_text(algebra.ring, f) for f in uncertain if len(uncertain) == 1]
        return tuple(found)

    def _same_sign(self, left: Expr, right: Expr, point: Point) -> bool:
        try:
            return bool(point.value(left) * point.value(right) > 0)
        except Undefined:
            return False

    def operating_point(self, numbers: Mapping[str, float]) -> Point | None:
        """The netlist's operating point, where the mode holds there."""
        import numpy as np

        arrays = {name: np.array([float(value)]) for name, value in numbers.items()}
        mask, fractions = holds_at(self.mode.builder, arrays)
        return point_of(self.mode, numbers, fractions[:, 0]) if mask[0] else None

    def numeric(self, quantity: Quantity, point: Point) -> object:
        """A quantity's value at a point, ``None`` where there is none."""
        value = self.mode.value(quantity) if self.mode.applies(quantity) else None
        if value is None:
            return None
        try:
            return point.value(value)
        except Undefined:
            return None


def says_nothing(claim: Claim, prover: Prover) -> bool:
    """True for a line that is true (or false) whatever the circuit does, such as ``x = x``."""
    if not claim.quantities:
        return True
    if claim.left == claim.right:
        return True
    algebra = Radicals(
        tuple(sorted({s.name for s in claim.left.free_symbols | claim.right.free_symbols})), {}, prover.sign
    )
    try:
        return not algebra.difference(claim.left, claim.right)
    except (NotAlgebraic, ZeroDivisionError):
        return False


def _no_roots(ring: Ring, polynomial: Polynomial) -> tuple[int, bool]:
    raise NotAlgebraic("a root in a region")


def _sorted_text(ring: Ring, polynomial: Polynomial) -> str:
    """A polynomial as text that does not depend on its ring."""
    terms = []
    for powers, coefficient in polynomial.to_dict().items():
        present = sorted((n, int(p)) for n, p in zip(ring.names, powers, strict=True) if p)
        terms.append(f"{present} {int(coefficient)}")
    return "; ".join(sorted(terms))
