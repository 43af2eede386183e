"""Ratios of one mode as expressions in duties, named quantities and, where it exists, the closed root.

The balance works with interval fractions; here they become duties and unknowns d2, d3 ..., the
period is expressed by K where that takes the coils out of a formula, and a single unknown of
degree one or two is replaced by its root.
"""

from __future__ import annotations

from functools import cached_property

import sympy
from sympy import Expr

from voltsec.formulas.root_forms import Root, RootForms, Sign, shortest, square_factor_out
from voltsec.formulas.root_order import essential, solving_order
from voltsec.periodic.balance import Balance
from voltsec.periodic.effective import Effective, effective_inductance, passive
from voltsec.periodic.fractions import Fractions, with_images
from voltsec.periodic.signs import Facts, ordinary
from voltsec.tableau.assembly import parameter_names
from voltsec.tableau.expression import Writer, symbol
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, factors


class ClosedForm:
    """Presentation of one mode's ratios; ``witness`` is a numeric point where the mode holds.

    ``more`` are further variables of the balance's ring besides fractions and parameters.  With ``open_``
    roots of degree two are not written out: the mode's conditions stay as they are.
    """

    def __init__(
        self,
        balance: Balance,
        fractions: Fractions,
        witness: dict[str, float],
        more: tuple[str, ...] = (),
        open_: bool = False,
    ) -> None:
        self.balance = balance
        self.open = open_
        self.fractions = fractions
        self.circuit = balance.circuit
        self.unknown = tuple(fractions.unknown.values())
        edges = fractions.stages.symbols
        names = parameter_names(self.circuit)
        taken = {*self.unknown, *edges, *names, *more}
        self.k_name = "K"
        while self.k_name in taken:
            self.k_name += "_"
        self.ring = Ring((*self.unknown, self.k_name, *edges, *names, *more))
        self.witness = witness
        self.point = dict(witness)
        for k, name in fractions.unknown.items():
            self.point[name] = witness[balance.sequence.fractions[k]]
        self.effective = self._effective()
        self.point[self.k_name] = self._k_value() if self.effective else 1.0
        self.duties = (*self.unknown, *edges)
        self.writer = Writer(self.ring, (*self.duties, *more), self.point)
        self.root_forms = RootForms(self.ring, self.writer, self.point, self.sign)

    @cached_property
    def conditions(self) -> tuple[Polynomial, ...]:
        """The conditions on the unknowns over the presentation ring, T expressed by K if possible."""
        found = []
        for shown in self.fractions.shown:
            polynomial = self.fractions.ring.substitute(shown, self.ring, {})
            if self.effective is not None:
                polynomial = essential(
                    self.ring, self.unknown, self._without_period(Ratio(polynomial, self.ring.one)).numerator
                )
            found.append(polynomial)
        return tuple(found)

    def _effective(self) -> Effective | None:
        """K, where the mode's one condition is linear in the period."""
        if len(self.unknown) != 1 or len(self.fractions.shown) != 1:
            return None
        ring = self.fractions.ring
        condition = self.fractions.shown[0]
        if ring.degree(condition, "T") != 1:
            return None
        period = self.period_at_edge()
        if period is None:
            return None
        return effective_inductance(self.circuit, self.ring, self.edge_period, self.k_name)

    @property
    def edge_period(self) -> Ratio:
        """:meth:`period_at_edge` over the presentation ring."""
        period = self.period_at_edge()
        assert period is not None
        top, bottom = (self.fractions.ring.substitute(part, self.ring, {}) for part in period.parts)
        return Ratio(top, bottom)

    def period_at_edge(self) -> Ratio | None:
        """The period at which the last interval of the single unknown's stage vanishes.

        A ratio over ``fractions.ring``; None where the condition is not linear in the period.
        """
        if len(self.unknown) != 1 or len(self.fractions.shown) != 1:
            return None
        ring = self.fractions.ring
        condition = self.fractions.shown[0]
        if ring.degree(condition, "T") != 1:
            return None
        name = self.unknown[0]
        last = self.fractions.images[self.balance.sequence.fractions[next(iter(self.fractions.unknown)) + 1]]
        over = self.fractions.over
        whole = last + ring.symbol(name) * over
        at_edge = with_images(ring, ring.coefficients(condition, "T"), ring, {name: whole}, over)
        if at_edge[1].is_zero():
            return None
        return lowest_terms(-at_edge[0], at_edge[1])

    def _k_value(self) -> float:
        assert self.effective is not None
        ratio = self.effective.inductance.value(self.ring, self.point)
        return float(2 * ratio / (self.point[self.effective.load] * self.point["T"]))

    def shown(self, ratio: Ratio) -> Ratio:
        """A ratio of the balance's ring over the presentation ring, in lowest terms."""
        top, bottom = self.fractions.shown_in(self.balance.ring, ratio.parts, self.ring)
        return lowest_terms(top, bottom)

    def share(self, name: str) -> Expr:
        """An interval's fraction in duties, starts and unknowns."""
        image = self.fractions.ring.substitute(self.fractions.images[name], self.ring, {})
        share = self.writer.oriented(image)
        return share if self.fractions.over == 1 else sympy.expand(share / self.fractions.over)

    def _without_period(self, ratio: Ratio) -> Ratio:
        """T replaced by 2*Le/(K*R)."""
        assert self.effective is not None
        top = 2 * self.effective.inductance.numerator
        bottom = (
            self.ring.symbol(self.k_name)
            * self.ring.symbol(self.effective.load)
            * self.effective.inductance.denominator
        )
        return insert(self.ring, ratio, "T", Ratio(top, bottom))

    @cached_property
    def roots(self) -> tuple[Root, ...] | None:
        """Closed roots of all unknowns, each in terms of earlier ones; None where one has none."""
        if not self.unknown:
            return ()
        ordered = solving_order(self.ring, self.unknown, self.conditions)
        if ordered is None:
            return None
        found: list[Root] = []
        for condition, name in ordered:
            root = self._root(condition, name)
            if root is None:
                return None
            found.append(root)
        return tuple(found)

    def _root(self, condition: Polynomial, name: str) -> Root | None:
        parts = self.ring.coefficients(condition, name)
        write = self.writer.ratio
        if len(parts) == 2:
            return Root(name, write(Ratio(-parts[0], parts[1])), condition, 1)
        if len(parts) != 3:
            return None
        if self.open:
            return None
        c, b, a = parts
        radicand = b * b - 4 * a * c
        value = self.point[name]
        middle = -self.ring.value(b, self.point) / (2 * self.ring.value(a, self.point))
        sign = 1 if value >= middle else -1
        if b.is_zero():
            return Root(name, sympy.sqrt(write(Ratio(-c, a))), condition, sign, True, True)
        outside, inside = square_factor_out(self.ring, radicand)
        a_value = self.ring.value(a, self.point) * self.ring.value(outside, self.point)
        rising = sign if a_value > 0 else -sign
        surd = write(Ratio(outside, self.ring.one)) * sympy.sqrt(self.writer.polynomial(inside))
        top = write(Ratio(-b, self.ring.one)) + rising * surd
        certain, positive = self._certain(condition, name)
        certain = certain and self.facts.sign(Ratio(outside, self.ring.one)) is not None
        return Root(
            name, top / write(Ratio(2 * a, self.ring.one)), condition, sign, certain, certain and positive
        )

    def _certain(self, condition: Polynomial, name: str) -> tuple[bool, bool]:
        """Whether only one root of a quadratic can be the right one, and whether that one is positive.

        A root lies between places that the unknown fraction cannot pass; where the quadratic has opposite
        signs at two of them (or at one and far out), there is one root between, and always the same of
        the formula's two.
        """
        ring, one = self.ring, self.ring.one
        lead = self.facts.sign(Ratio(ring.coefficients(condition, name)[-1], one))
        if self.fractions.over > 1:
            return False, False  # places between edges with constants are no polynomials
        lowest, highest = self._places(name)
        low = [self._sign_at(condition, name, place) for place in lowest]
        high = [self._sign_at(condition, name, place) for place in highest]
        if lead:
            low.append(lead)
            high.append(lead)
        certain = any(a is not None and b is not None and a * b < 0 for a in low for b in high)
        return certain, bool(lead) and low[0] is not None and low[0] * (lead or 0) < 0

    def _sign_at(self, condition: Polynomial, name: str, place: Polynomial) -> int | None:
        at_place = self.ring.substitute(condition, self.ring, {name: place})
        return self.facts.sign(Ratio(at_place, self.ring.one))

    def _places(self, name: str) -> tuple[list[Polynomial], list[Polynomial]]:
        """What the unknown fraction is above, and what it is below: zero, and times to other edges."""
        ring, fractions = self.ring, self.balance.sequence.fractions
        images = [
            self.fractions.ring.substitute(self.fractions.images[fraction], ring, {})
            for fraction in fractions
        ]
        own = next(k for k, unknown in self.fractions.unknown.items() if unknown == name)
        lowest, before = [ring.zero], ring.zero
        for image in reversed(images[:own]):
            before = before + image
            lowest.append(-before)
        highest, after = [], ring.symbol(name)
        for image in images[own + 1 :]:
            after = after + image
            if name not in ring.variables(after):
                highest.append(after)
        return lowest, highest

    def sign(self, polynomial: Polynomial) -> int | None:
        """Sign for all duties and parameters, ``None`` where it is not proved."""
        return self.facts.sign(Ratio(polynomial, self.ring.one))

    @cached_property
    def facts(self) -> Facts:
        """What is so for all duties and parameters, over the presentation ring."""
        known = [self.fractions.ring.substitute(n, self.ring, {}) for n in self.fractions.lengths]
        for fact in (*passive(self.circuit, self.balance.ring), *ordinary(self.balance)):
            known.append(self.balance.ring.substitute(fact, self.ring, {}))
        return Facts(known)

    def expression(self, ratio: Ratio, close: bool = False) -> Expr:
        """A ratio of the balance's ring as an expression.

        With ``close`` a root of degree two is written out; a root without an inner sum
        (``sqrt(K)``) or of degree one always is.
        """
        if self.unknown and self.divides(ratio.numerator):
            return sympy.Integer(0)
        return self.written(self.shown(ratio), close)

    def written(self, shown: Ratio, close: bool = False) -> Expr:
        """A ratio of the presentation ring as an expression."""
        if not self.unknown:
            return self.writer.ratio(shown)
        shown = self._shortest_ratio(shown)
        roots = self.roots
        if roots is None:
            return self.writer.ratio(shown)
        if len(roots) > 1:
            plain = self.writer.ratio(shown)
            for root in reversed(roots):
                if self.ring.degree(root.polynomial, root.name) == 1:
                    plain = plain.subs(symbol(root.name), root.expression)
            return plain
        root = roots[0]
        if self.ring.degree(root.polynomial, root.name) == 1:
            return self.root_forms.rational(shown, root)
        plain = self.writer.ratio(shown)
        if self.ring.coefficients(root.polynomial, root.name)[1].is_zero():
            substituted = plain.subs(symbol(root.name), root.expression)
            return shortest([self.root_forms.pure(shown, root), substituted])
        return self.root_forms.closed(shown, plain, root) if close else plain

    def _shortest_ratio(self, shown: Ratio) -> Ratio:
        """The period left in, expressed by K, or by the unknown fraction: whichever is shortest."""
        if not self._has_period(shown):
            return shown
        options = []
        if self.effective is not None:
            options.append(self._without_period(shown))
        if self.period_value is not None:
            options.append(insert(self.ring, shown, "T", self.period_value))
        inductances = {coil.symbol for coil in coils(self.circuit)}
        options = [option for option in options if not (option.variables(self.ring)) & inductances]
        return min([*options, shown], key=self.weight)

    def weight(self, ratio: Ratio) -> tuple[int, int]:
        """Length of a ratio's factors, for choosing the shortest form."""
        pairs = [pair for part in ratio.parts for pair in factors(part)[1]]
        return sum(len(f) for f, _ in pairs), sum(p for _, p in pairs)

    @cached_property
    def period_value(self) -> Ratio | None:
        """The period from the mode's one condition, over the presentation ring."""
        if len(self.unknown) != 1 or len(self.fractions.shown) != 1:
            return None
        ring = self.fractions.ring
        condition = self.fractions.shown[0]
        if ring.degree(condition, "T") != 1:
            return None
        constant, linear = (ring.substitute(c, self.ring, {}) for c in ring.coefficients(condition, "T"))
        return lowest_terms(-constant, linear)

    def square_root(self, ratio: Ratio, sign: Sign | None = None) -> Expr:
        """Square root of a ratio that is positive where the mode holds, squares taken out.

        ``sign`` proves signs over the presentation ring where the mode holds.
        """
        shown = self.shown(ratio)
        if self.unknown:
            if self.divides(ratio.numerator):
                return sympy.Integer(0)
            shown = self._shortest_ratio(shown)
        root = self.roots[0] if self.roots is not None and len(self.roots) == 1 else None
        if root is not None and self.ring.degree(root.polynomial, root.name) == 1:
            shown = self.root_forms.rational_parts(shown, root)
        return self.with_pure_root(self.root_forms.square_root(shown, sign or self.sign))

    def with_pure_root(self, expression: Expr) -> Expr:
        """``expression`` with an unknown like d2 = sqrt(K) written out."""
        roots = self.roots
        if roots is None or len(roots) != 1:
            return expression
        root = roots[0]
        if self.ring.degree(root.polynomial, root.name) != 2:
            return expression
        if not self.ring.coefficients(root.polynomial, root.name)[1].is_zero():
            return expression
        return expression.subs(symbol(root.name), root.expression)

    def _has_period(self, ratio: Ratio) -> bool:
        return any(self.ring.degree(part, "T") > 0 for part in ratio.parts)

    def without_linear(self, shown: Ratio) -> Ratio:
        """Unknown fractions with a root of degree one put in their place."""
        for root in reversed(self.roots or ()):
            if self.ring.degree(root.polynomial, root.name) == 1:
                shown = self.root_forms.rational_parts(shown, root)
        return shown

    def divides(self, polynomial: Polynomial) -> bool:
        """True where a polynomial of the balance's ring vanishes by the mode's conditions."""
        return polynomial.is_zero() or self.vanishes(self.shown(Ratio(polynomial, self.balance.ring.one)))

    def vanishes(self, shown: Ratio) -> bool:
        """True where a ratio of the presentation ring is zero by the mode's conditions."""
        polynomial = self.without_linear(Ratio(shown.numerator, self.ring.one)).numerator
        if polynomial.is_zero():
            return True
        left = []
        for condition in self.fractions.shown:
            whole = self.fractions.ring.substitute(condition, self.ring, {})
            rest = self.without_linear(Ratio(whole, self.ring.one)).numerator
            if not rest.is_zero():
                left.append(rest)
        return len(left) == 1 and bool((polynomial // left[0]) * left[0] == polynomial)

    @cached_property
    def definitions(self) -> dict[str, Expr]:
        """K and the unknown fractions."""
        found: dict[str, Expr] = {}
        if self.effective is not None:
            inductance = self.writer.ratio(self.effective.inductance)
            found[self.k_name] = 2 * inductance / (symbol(self.effective.load) * symbol("T"))
        for root in self.roots or ():
            found[root.name] = root.expression
        return found
