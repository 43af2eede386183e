"""What a solution's modes were made by, asked for numbers, shares and further wordings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.circuit.graph import references
from voltsec.formulas.first_order import FirstOrder, first_order
from voltsec.formulas.first_order_dry import Case, case_of, first_order_dry
from voltsec.formulas.mode_formulas import ModeFormulas
from voltsec.formulas.mode_names import conduction
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.numbers import (
    holds_at,
    mode_without_formulas_at,
    numbers_at,
    numbers_without_formulas,
)
from voltsec.formulas.states import states_of
from voltsec.formulas.unwritten import mode_without_formulas
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.points import as_arrays
from voltsec.periodic.row_mode import row_mode, solved_in_floats
from voltsec.periodic.verification import GAP, may_miss_edge
from voltsec.results.solution import Mode, Numbers, Solution
from voltsec.search.search import numeric_mode_of
from voltsec.search.sequences import sequence_at
from voltsec.tableau.interval import Sequence


@dataclass(frozen=True)
class Engine:
    """What numbers need: the circuit's modes by name, ready to be evaluated."""

    circuit: Circuit
    builders: tuple[tuple[str, ModeBuilder], ...]
    numeric: tuple[tuple[str, NumericMode], ...] = ()
    examples: dict[Sequence, tuple[dict[str, float], np.ndarray]] = field(default_factory=dict)
    """A point and the fractions there, for each sequence without written formulas."""

    def builder(self, name: str) -> ModeBuilder | None:
        """What the mode called ``name`` was made by; None where its formulas are too long to be written."""
        return dict(self.builders).get(name)

    def worded(self, mode: Mode) -> ModeFormulas | None:
        """Formulas in the words that ``mode`` is told in: by its states, or explicitly; None without any."""
        builder = self.builder(mode.name)
        if builder is None:
            return None
        return (states_of(builder) if mode.states else None) or builder

    def first_orders(self) -> Iterator[tuple[str, FirstOrder | None]]:
        """Name and leading order in the small resistances and drops of every mode."""
        for name, _ in (*self.builders, *self.numeric):
            yield name, self.first_order(name)

    def first_order(self, name: str) -> FirstOrder | None:
        """Leading order in the small resistances and drops of the mode called ``name``."""
        builder = self.builder(name)
        if builder is not None:
            return in_time(partial(_first_order, builder))
        return in_time(lambda: first_order_dry(self.case(name)))

    def case(self, name: str) -> Case:
        """The sequence of the mode called ``name``, at a point where it holds."""
        builder = self.builder(name)
        if builder is not None:
            return case_of(builder)
        mode = dict(self.numeric)[name]
        point, shares = self.examples[mode.sequence]
        return Case(self.circuit, mode.stages, mode.sequence, mode.references, point, shares)

    def at(self, point: Mapping[str, float]) -> Numbers | None:
        """Numbers of the mode that holds at ``point`` (every symbol given), None where none does."""
        for name, builder in self.builders:
            found = numbers_at(builder, name, point)
            if found is not None:
                return found
        found = numbers_without_formulas((*self.numeric, *self._coupled), point)
        for name, builder in self.builders:
            if found is None and may_miss_edge(builder.balance):  # long formulas take their time
                found = in_time(partial(numbers_at, builder, name, point, GAP))
        return found or self._unlisted(point)

    def _unlisted(self, point: Mapping[str, float]) -> Numbers | None:
        """Numbers of a mode that was not met at the sample points, named in line with the others."""
        mode = in_time(lambda: sequence_at(self.circuit, references(self.circuit), dict(point)))
        if mode is None:
            return None
        listed = {builder.balance.sequence: name for name, builder in self.builders}
        listed |= {numeric.sequence: name for name, numeric in self.numeric}
        name = listed.get(mode.sequence) or self._next_name(mode, point)
        return numbers_without_formulas([(name, mode)], point)

    def fractions_at(self, name: str, point: Mapping[str, float]) -> tuple[Sequence, list[float]] | None:
        """Sequence of the mode called ``name``, its fractions at ``point``; None where it does not hold."""
        builder = self.builder(name)
        if builder is not None:
            arrays = as_arrays(point)
            for slack in (0.0, GAP):
                mask, shares = holds_at(builder, arrays, slack)
                if mask[0]:
                    return builder.balance.sequence, [float(share) for share in shares[:, 0]]
        mode = dict(self.numeric).get(name)
        if mode is None:
            return None
        held, found = row_mode(name, mode, point, ()).holds(point, 1)
        return (mode.sequence, [float(found[f][0]) for f in mode.sequence.fractions]) if held[0] else None

    def met_at(self, point: Mapping[str, float]) -> tuple[Mode, Case] | None:
        """The mode at ``point`` that is not among those listed, of which only intervals are told.

        None where none is found; one that is listed is told by its name in :meth:`mode_at`.
        """
        found = in_time(lambda: sequence_at(self.circuit, references(self.circuit), dict(point)))
        listed = {builder.balance.sequence for _, builder in self.builders}
        if found is None or found.sequence in listed | {numeric.sequence for _, numeric in self.numeric}:
            return None
        held, shares = row_mode("", found, point, ()).holds(point, 1)
        if not held[0]:
            return None
        fractions = np.array([float(shares[name][0]) for name in found.sequence.fractions])
        mode = mode_without_formulas(found, self._next_name(found, point))
        case = Case(self.circuit, found.stages, found.sequence, found.references, point, fractions)
        return mode, case

    def _next_name(self, mode: NumericMode, point: Mapping[str, float]) -> str:
        """A name for a mode that is not listed, in line with the others."""
        kind = "DCM" if mode.sequence.unknown else "CCM"
        held, shares = row_mode("", mode, point, ()).holds(point, 1)
        if held[0]:
            there = dict(point) | {name: float(value[0]) for name, value in shares.items()}
            kind = conduction(solved_in_floats(mode, there), mode.stages, False).kind
        taken = sum(name.split()[0] == kind for name, _ in (*self.builders, *self.numeric))
        return f"{kind} {taken + 1}" if taken else kind

    def holds(self, name: str, point: Mapping[str, float]) -> bool:
        """Whether the mode called ``name`` holds at ``point``, nothing being let pass near its edge."""
        builder = self.builder(name)
        if builder is None:
            return self.mode_at(point) == name
        return bool(holds_at(builder, as_arrays(point))[0][0])

    def mode_at(self, point: Mapping[str, float]) -> str | None:
        """Name of the mode that holds at ``point``, None where none does."""
        arrays = as_arrays(point)
        for name, builder in self.builders:
            if holds_at(builder, arrays)[0][0]:
                return name
        found = mode_without_formulas_at((*self.numeric, *self._coupled), point)
        for name, builder in self.builders:
            if found is None and may_miss_edge(builder.balance) and holds_at(builder, arrays, GAP)[0][0]:
                found = name
        return found

    @cached_property
    def _coupled(self) -> tuple[tuple[str, NumericMode], ...]:
        """Modes whose fractions only all conditions together fix, without their formulas.

        Newton's method on long conditions may miss a root that the equations themselves lead to.
        """
        return tuple(
            (name, numeric_mode_of(builder.found))
            for name, builder in self.builders
            if len(builder.balance.sequence.unknown) > 1 and builder.found.fractions.coupled
        )


def _first_order(builder: ModeBuilder) -> FirstOrder | None:
    return first_order_dry(case_of(builder)) if builder.balance.by_itself else first_order(builder)


def engine_of(solution: Solution) -> Engine:
    """What ``solution`` was made by, an engine without modes for one made of plain values."""
    engine = solution.engine
    return engine if isinstance(engine, Engine) else Engine(solution.circuit, ())
