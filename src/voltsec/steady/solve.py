"""The main path: a circuit in, its modes with formulas and numbers out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load
from voltsec.circuit.fault import NoSteadyState
from voltsec.circuit.graph import references
from voltsec.steady.device_notes import device_notes
from voltsec.steady.first_order import FirstOrder, first_order
from voltsec.steady.first_order_dry import Case, case_of, first_order_dry
from voltsec.steady.losses import losses
from voltsec.steady.mode_names import name_modes
from voltsec.steady.modes import ModeBuilder
from voltsec.steady.no_state import no_steady_state
from voltsec.steady.numbers import (
    holds_at,
    mode_without_formulas_at,
    numbers_at,
    numbers_without_formulas,
)
from voltsec.steady.numeric_mode import NumericMode
from voltsec.steady.points import operating_point
from voltsec.steady.sequences import Found, Search, find_sequences, numeric_mode_of, sequence_at
from voltsec.steady.solution import Mode, Numbers, Solution
from voltsec.steady.states import states_of, told_by_states
from voltsec.steady.undetermined import undetermined
from voltsec.steady.unwritten import mode_without_formulas
from voltsec.steady.verification import GAP, may_miss_edge
from voltsec.tableau.interval import Sequence

NEAR = 0.05
"""A warning is given where a change of the period by this share leads into another mode."""


def solve(circuit: Circuit) -> Solution:
    """Every mode of ``circuit`` with its formulas.

    Raises :class:`CircuitError` for a circuit that cannot work and :class:`NoSteadyState` where no
    periodic state exists at any sample point.
    """
    circuit.check()
    nodes = references(circuit)
    searches = find_sequences(circuit, nodes)
    pairs = ordered(searches)
    numeric = [mode for search in searches for mode in search.numeric]
    examples = {key: value for search in searches for key, value in search.examples.items()}
    if not pairs and not numeric:
        raise NoSteadyState((no_steady_state(circuit, nodes, searches),), circuit.file, circuit.text)
    names = name_modes([found.sequence for _, found in pairs] + [mode.sequence for mode in numeric])
    builders = [ModeBuilder(found, search.points) for search, found in pairs]
    named = tuple(zip(names, builders, strict=False))
    named_numeric = tuple(zip(names[len(builders) :], numeric, strict=True))
    modes = tuple(_mode(name, builder) for name, builder in named)
    modes += tuple(mode_without_formulas(mode, name) for name, mode in named_numeric)
    engine = Engine(circuit, named, named_numeric, examples)
    numbers, warnings = _at_operating_point(circuit, engine)
    return Solution(
        circuit,
        modes,
        _symbols(circuit, modes),
        tuple(dict.fromkeys(line for builder in builders for line in undetermined(builder.balance))),
        (
            *_choices(circuit),
            *device_notes(circuit, modes),
            *_gaps(searches),
            *_long(named_numeric),
            *warnings,
        ),
        numbers,
        engine,
    )


def _mode(name: str, builder: ModeBuilder) -> Mode:
    """A mode with all formulas, told by its states where explicit formulas would be too long."""
    states = told_by_states(builder)
    mode = builder.build(name, states, lambda: states_of(builder))
    lost = losses(states or builder)
    defined = mode.definitions if states is None else mode.definitions | states.used(lost.values())
    return replace(mode, losses=lost, definitions=defined)


@dataclass(frozen=True)
class Engine:
    """What numbers need: the circuit's modes by name, ready to be evaluated."""

    circuit: Circuit
    builders: tuple[tuple[str, ModeBuilder], ...]
    numeric: tuple[tuple[str, NumericMode], ...] = ()
    examples: dict[Sequence, tuple[dict[str, float], np.ndarray]] = field(default_factory=dict)
    """A point and the fractions there, for each sequence without written formulas."""

    def first_orders(self) -> Iterator[tuple[str, FirstOrder | None]]:
        """Name and leading order in the small resistances and drops of every mode."""
        for name, builder in self.builders:
            dry = builder.balance.by_itself
            yield name, first_order_dry(case_of(builder)) if dry else first_order(builder)
        for name, mode in self.numeric:
            point, shares = self.examples[mode.sequence]
            case = Case(self.circuit, mode.stages, mode.sequence, mode.references, point, shares)
            yield name, first_order_dry(case)

    def at(self, point: Mapping[str, float]) -> Numbers | None:
        """Numbers of the mode that holds at ``point`` (every symbol given), None where none does."""
        for name, builder in self.builders:
            found = numbers_at(builder, name, point)
            if found is not None:
                return found
        found = numbers_without_formulas((*self.numeric, *self._coupled), point)
        for name, builder in self.builders:
            if found is None and may_miss_edge(builder.balance):
                found = numbers_at(builder, name, point, GAP)
        return found or self._unlisted(point)

    def _unlisted(self, point: Mapping[str, float]) -> Numbers | None:
        """Numbers of a mode that was not met at the sample points, named in line with the others."""
        mode = sequence_at(self.circuit, references(self.circuit), dict(point))
        if mode is None:
            return None
        listed = [builder.balance.sequence for _, builder in self.builders]
        listed += [numeric.sequence for _, numeric in self.numeric]
        names = [name for name, _ in (*self.builders, *self.numeric)]
        if mode.sequence in listed:
            name = names[listed.index(mode.sequence)]
        else:
            name = name_modes([*listed, mode.sequence])[-1]
        return numbers_without_formulas([(name, mode)], point)

    def mode_at(self, point: Mapping[str, float]) -> str | None:
        """Name of the mode that holds at ``point``, None where none does."""
        arrays = {key: np.array([value]) for key, value in point.items()}
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
            if len(builder.balance.sequence.unknown) > 1 and builder.form.roots is None
        )


def ordered(searches: tuple[Search, ...]) -> list[tuple[Search, Found]]:
    """Found sequences, continuous conduction first, each kind by how much of the samples it holds."""
    pairs = [(search, found) for search in searches for found in search.found]
    return sorted(pairs, key=lambda pair: (pair[1].balance.by_itself, -int(pair[1].holds.sum())))


def _symbols(circuit: Circuit, modes: tuple[Mode, ...]) -> dict[str, str]:
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    for mode in modes:
        for name in mode.definitions:
            units.setdefault(name, "1")
        for interval in mode.intervals:
            for free in interval.fraction.free_symbols:
                units.setdefault(str(free), "1")
    return units


def _choices(circuit: Circuit) -> list[str]:
    """What the tool chose by itself and the reader should know."""
    lines = []
    if circuit.input_name is None and len(circuit.sources) > 1:
        lines.append(
            f"several sources: {circuit.input.name} is taken as the input (say `input NAME` to change it)"
        )
    loads = circuit.of(Load) or circuit.of(CurrentSource)
    if circuit.output_choice is None and len(loads) > 1:
        lines.append(
            f"several loads: {loads[0].name} is taken as the output (say `output NAME` to change it)"
        )
    return lines


def _long(named: tuple[tuple[str, NumericMode], ...]) -> list[str]:
    return [
        f"{name}: the exact formulas have too many terms to be written out; its numbers are computed "
        "from the exact equations at each point"
        for name, _ in named
    ]


def _gaps(searches: tuple[Search, ...]) -> list[str]:
    lines = []
    for search in searches:
        names = [*search.stages.edges]
        if search.no_state:
            places = "; ".join(_place(search, k, names) for k in search.no_state[:3])
            grows = f" ({', '.join(sorted(search.runaway))} grows without limit)" if search.runaway else ""
            lines.append(f"no steady state{grows} was found at {places}")
        if search.open_points:
            places = "; ".join(_place(search, k, names) for k in search.open_points[:3])
            lines.append(f"not determined, no sequence could be verified, at {places}")
    return lines


def _place(search: Search, k: int, names: list[str]) -> str:
    changed = [name for name, values in search.points.items() if name not in names and values[k] != values[0]]
    return (
        ", ".join(f"{name} = {search.points[name][k]:.4g}" for name in [*names, *changed])
        or "the given values"
    )


def _at_operating_point(circuit: Circuit, engine: Engine) -> tuple[Numbers | None, list[str]]:
    point = operating_point(circuit)
    if point is None:
        return None, []
    numbers = engine.at(point)
    if numbers is None:
        return None, ["no mode could be verified at the operating point: numbers are not determined"]
    warnings = []
    for factor in (1 - NEAR, 1 + NEAR):
        beside = engine.mode_at(point | {"T": point["T"] * factor})
        if beside is not None and beside != numbers.mode:
            warnings.append(
                f"the operating point is near the boundary between {numbers.mode} and {beside}: "
                f"a change of {NEAR:.0%} in the period, a coil or the load leads across"
            )
    return numbers, warnings[:1]
