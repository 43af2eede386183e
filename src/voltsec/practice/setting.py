"""What a derivation starts from: the mode's intervals, solved one by one, over one common ring."""

from __future__ import annotations

from functools import cached_property

from sympy import Expr, expand

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.graph import references
from voltsec.formulas.modes import ModeBuilder
from voltsec.practice.algebra import Board
from voltsec.practice.intervals import Local, current_name, rise_name, solve_interval, voltage_name
from voltsec.results.solution import Mode
from voltsec.tableau.assembly import inductance_rows, parameter_names
from voltsec.tableau.network import Row, Unknown, coils
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial


class Setting:
    """One mode's circuit, intervals and fractions, ready to be written on a board."""

    def __init__(self, circuit: Circuit, mode: Mode, builder: ModeBuilder) -> None:
        self.circuit = circuit
        self.mode = mode
        self.builder = builder
        self.balance = builder.balance
        self.form = builder.form
        self.sequence = builder.balance.sequence
        self.count = len(self.sequence.intervals)
        self.coils = tuple(coil.name for coil in coils(circuit))
        self.capacitors = tuple(capacitor.name for capacitor in circuit.capacitors)
        self.discontinuous = builder.balance.by_itself
        """Coil currents have a mean of their own in each interval."""
        nodes = references(circuit)
        self.locals: tuple[Local, ...] = tuple(
            solve_interval(circuit, interval, nodes) for interval in self.sequence.intervals
        )
        self.board = self._board()

    def _board(self) -> Board:
        fractions = self.builder.found.fractions
        edges = fractions.stages.symbols
        unknown = tuple(fractions.unknown.values())
        k_name = (self.form.k_name,) if self.form.effective is not None else ()
        states = [voltage_name(name) for name in self.capacitors]
        places: list[int | None] = [k + 1 for k in range(self.count)] if self.discontinuous else [None]
        for place in places:
            states += [current_name(name, place) for name in self.coils]
        for k, local in enumerate(self.locals):
            states += [self.open_name(k, unknown) for unknown in local.open]
            states += [rise_name(name, k + 1) for name in self.coils]
        names = (*unknown, *k_name, *edges, *parameter_names(self.circuit))
        return Board(names, states, (*unknown, *edges), self.form.point)

    def current(self, coil: str, k: int) -> str:
        """The name of a coil's mean current in interval ``k`` (counted from 0)."""
        return current_name(coil, k + 1 if self.discontinuous else None)

    def open_name(self, k: int, unknown: Unknown) -> str:
        """The name of what interval ``k`` leaves open."""
        if unknown[0] == "u":
            return voltage_name(unknown[1], k + 1)
        if unknown[0] == "i":
            return current_name(".".join(str(part) for part in unknown[1:]), k + 1)
        return f"e{k + 1}({unknown[1]})"

    @cached_property
    def fractions(self) -> tuple[Ratio, ...]:
        """Each interval's share of the period."""
        found = self.builder.found.fractions
        over = self.board.ring.constant(found.over)
        images = (found.images[name] for name in self.sequence.fractions)
        return tuple(lowest_terms(self.board.take(image, found.ring), over) for image in images)

    def share(self, k: int) -> Expr:
        """Interval ``k``'s share of the period, written."""
        top, bottom = self.fractions[k].parts
        share = self.board.writer.oriented(top)
        return share if bottom.is_one() else expand(share / int(bottom.leading_coefficient()))

    def _images(self, k: int) -> dict[str, Polynomial]:
        ring = self.board.ring
        return {current_name(coil): ring.symbol(self.current(coil, k)) for coil in self.coils}

    def value(self, k: int, row: Row) -> Ratio:
        """A sum of unknowns of interval ``k`` (means) in the board's names."""
        local = self.locals[k]
        images = self._images(k)
        constant, left = local.value(row)
        total = self._taken(constant, local, images)
        for unknown, factor in left.items():
            name = self.board.ring.symbol(self.open_name(k, unknown))
            total = total + (self._taken(factor, local, images) * Ratio(name, self.board.ring.one))
        return total

    def _taken(self, ratio: Ratio, local: Local, images: dict[str, Polynomial]) -> Ratio:
        top, bottom = (self.board.take(part, local.ring, images) for part in ratio.parts)
        return lowest_terms(top, bottom)

    def unknown(self, k: int, unknown: Unknown) -> Ratio:
        """One unknown of interval ``k`` in the board's names."""
        return self.value(k, self.locals[k].state(unknown))

    def half_rise(self, ratio: Ratio, k: int) -> Ratio:
        """Half the rise over interval ``k`` of something linear in coil currents, by the coils' rises."""
        ring = self.board.ring
        total = Ratio(ring.zero, ring.one)
        for coil in self.coils:
            name = self.current(coil, k)
            if ring.degree(ratio.numerator, name) == 1:
                slope = ring.coefficients(ratio.numerator, name)[1]
                rise = ring.symbol(rise_name(coil, k + 1))
                total = total + (Ratio(slope, 2 * ratio.denominator) * Ratio(rise, ring.one))
        return total

    def ties(self, k: int) -> tuple[Polynomial, ...]:
        """What interval ``k`` ties together."""
        local = self.locals[k]
        images = self._images(k)
        return tuple(self.board.take(tie, local.ring, images) for tie in local.ties)

    def inductances(self, coil: str) -> dict[str, Polynomial]:
        """The coil's row of the inductance matrix."""
        return inductance_rows(self.circuit, self.board.ring)[coil]

    def duration(self, k: int) -> Ratio:
        """How long interval ``k`` lasts."""
        top, bottom = self.fractions[k].parts
        return Ratio(top * self.board.ring.symbol("T"), bottom)

    def from_balance(self, ratio: Ratio) -> Ratio:
        """A ratio of the solver's ring over the board's."""
        found = self.builder.found.fractions
        top, bottom = found.shown_in(self.balance.ring, ratio.parts, self.board.ring)
        return Ratio(top, bottom)

    @cached_property
    def conditions(self) -> tuple[Polynomial, ...]:
        """The polynomials that fix the unknown fractions, as the solver chose them."""
        found = self.builder.found.fractions
        return tuple(self.board.take(shown, found.ring) for shown in found.shown)

    def zero(self, polynomial: Polynomial) -> bool:
        """Zero, or a multiple of the one condition on the fractions."""
        if polynomial.is_zero():
            return True
        return any(bool((polynomial // c) * c == polynomial) for c in self.conditions)
