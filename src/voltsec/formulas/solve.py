"""The main path: a circuit in, its modes with formulas and numbers out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time, limited, seconds_left
from voltsec.circuit.elements import CurrentSource, Load
from voltsec.circuit.fault import Fault, NoSteadyState
from voltsec.circuit.graph import references, shorts
from voltsec.formulas.engine import Engine
from voltsec.formulas.mode_names import Conduction, conduction, name_modes, order_text
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.remarks import device_notes, open_line, undetermined
from voltsec.formulas.resting import SolvedExactly
from voltsec.formulas.states import states_of, told_by_states
from voltsec.formulas.unwritten import mode_without_formulas
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.points import operating_point
from voltsec.periodic.row_mode import solved_in_floats
from voltsec.results.solution import Mode, Numbers, Solution
from voltsec.search.no_state import CONSTANT, no_steady_state
from voltsec.search.search import Found, Search, numeric_mode_of
from voltsec.search.sequences import find_sequences
from voltsec.tableau.interval import Sequence
from voltsec.tableau.ring import symbols_of

MOST_NAMED = 6
"""Modes named one by one in a note."""
SEARCH = 0.45
"""Share of a budget of computing time that looking for modes may take ..."""
WRITING = 0.75
"""... and share of the rest for writing their formulas."""
FAIR = 2.0
"""A mode may take so much more than its even share of what is left."""
MOST_PLACES = 2
"""Points named in a note."""

NEAR = 0.05
"""A warning is given where a change of the period by this share leads into another mode."""


def solve(circuit: Circuit) -> Solution:
    """Every mode of ``circuit`` with its formulas.

    Raises :class:`CircuitError` for a circuit that cannot work and :class:`NoSteadyState` where no
    periodic state exists at any sample point.
    """
    circuit.check()
    nodes = references(circuit)
    with limited(seconds_left() * SEARCH):
        searches = find_sequences(circuit, nodes)
    pairs = ordered(searches)
    numeric = [mode for search in searches for mode in search.numeric]
    examples = {key: value for search in searches for key, value in search.examples.items()}
    if not pairs and not numeric:
        raise NoSteadyState((no_steady_state(circuit, nodes, searches),), circuit.file, circuit.text)
    several = len(searches) > 1
    conductions = [one for _, _, one in pairs]
    conductions += [conduction_without_formulas(mode, examples, several) for mode in numeric]
    names = name_modes(conductions)
    builders = [ModeBuilder(found, search.points) for search, found, _ in pairs]
    named = tuple(zip((one.name for one in names), builders, strict=False))
    named_numeric = tuple(zip((one.name for one in names[len(builders) :]), numeric, strict=True))
    modes, late = _written(named)
    modes += tuple(mode_without_formulas(mode, name) for name, mode in named_numeric)
    labelled = [replace(mode, label=one.label) for mode, one in zip(modes, names, strict=True)]
    modes = tuple(sorted(labelled, key=lambda mode: mode.name.split()[0]))  # continuous conduction first
    engine = Engine(circuit, named, named_numeric, examples)
    numbers, warnings = _at_operating_point(circuit, engine)
    return Solution(
        circuit,
        modes,
        _symbols(circuit, modes),
        tuple(dict.fromkeys(open_line(g) for builder in builders for g in undetermined(builder.balance))),
        (
            *_choices(circuit),
            *device_notes(circuit, modes),
            *_gaps(circuit, searches),
            *_long([name for name, _ in named_numeric], "the"),
            *_long([name for name, builder in named if builder.too_long], "some"),
            *_out_of_time(searches, late),
            *warnings,
        ),
        numbers,
        engine=engine,
    )


def without_modes(circuit: Circuit, why: Fault) -> Solution:
    """An answer without formulas, for numbers that come from elsewhere; ``why`` there are none."""
    if why.kind == "no-steady-state":
        why = replace(why, message=CONSTANT + why.message.removeprefix(CONSTANT))
    notes = (*_choices(circuit), f"there are no formulas, only numbers at the operating point: {why.message}")
    return Solution(
        circuit, (), _symbols(circuit, ()), (), notes, without_formulas=why, engine=Engine(circuit, ())
    )


def _written(named: Iterable[tuple[str, ModeBuilder]]) -> tuple[tuple[Mode, ...], list[str]]:
    """Modes with their formulas, and the names of those of which some could not be written in time."""
    modes, late = [], []
    waiting = list(named)
    with limited(seconds_left() * WRITING):
        for place, (name, builder) in enumerate(waiting):
            with limited(seconds_left() * min(1.0, FAIR / (len(waiting) - place))):
                mode = in_time(partial(_mode, name, builder))
                if mode is None or seconds_left() < 0:
                    late.append(name)
                modes.append(mode or mode_without_formulas(numeric_mode_of(builder.found), name))
    return tuple(modes), late


def _mode(name: str, builder: ModeBuilder) -> Mode:
    """A mode with all formulas, told by its states where explicit formulas would be too long."""
    return builder.build(name, told_by_states(builder), lambda: states_of(builder))


def ordered(searches: tuple[Search, ...]) -> list[tuple[Search, Found, Conduction]]:
    """Found sequences with how they conduct, the usual one first.

    Continuous conduction comes first; of a kind, what ends by switch edges alone in the order of the
    searches, then by how much of the samples each holds.
    """
    found = []
    for place, search in enumerate(searches):
        for one in search.found:
            told = conduction(SolvedExactly(one.balance, one.witness), search.stages, len(searches) > 1)
            dry = one.balance.by_itself
            rank = (told.kind, dry, 0 if dry else place, -int(one.holds.sum()))
            found.append((rank, (search, one, told)))
    return [entry for _, entry in sorted(found, key=lambda pair: pair[0])]


def conduction_without_formulas(
    mode: NumericMode,
    examples: Mapping[Sequence, tuple[dict[str, float], np.ndarray]],
    several: bool,
) -> Conduction:
    """How a mode conducts whose formulas are too long to be written."""
    point, shares = examples[mode.sequence]
    there = dict(point) | dict(zip(mode.sequence.fractions, (float(share) for share in shares), strict=True))
    return conduction(solved_in_floats(mode, there), mode.stages, several)


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
    """What was hardly meant so, and what the tool chose by itself."""
    lines = list(circuit.doubts)
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


def _long(names: list[str], which: str) -> list[str]:
    """Modes of which all formulas or some are missing, in one note."""
    if not names:
        return []
    shown = ", ".join(names) if len(names) <= MOST_NAMED else f"{len(names)} modes ({', '.join(names[:3])} …)"
    return [
        f"{which} formulas of {shown} are too long to be written; numbers there (operate, sweep, --for) come "
        "from the exact equations all the same"
    ]


def _out_of_time(searches: tuple[Search, ...], late: list[str]) -> list[str]:
    """What was not finished within the budget of computing time."""
    lines = []
    if any(search.unfinished for search in searches):
        lines.append(
            "the search for modes was not finished in its share of the time: there may be more than are "
            "listed; --budget SECONDS gives it more"
        )
    if late:
        few = len(late) <= MOST_NAMED
        names = ", ".join(late) if few else f"{len(late)} modes ({', '.join(late[:3])} …)"
        lines.append(
            f"some formulas of {names} were not finished in their share of the time; numbers there come from "
            "the equations all the same, and --budget SECONDS gives more time"
        )
    return lines


def _gaps(circuit: Circuit, searches: tuple[Search, ...]) -> list[str]:
    """Where there is no steady state, and where no mode could be confirmed."""
    lines = []
    for search in searches:
        names = [*search.stages.symbols]
        if search.shorted:
            (first, *_) = shorts(circuit, search.stages.closed)
            lines.append(f"nothing is told for {order_text(search.stages.conditions())}: {first.message}")
        if search.no_state:
            grows = "currents or voltages grow"
            if search.runaway:
                some = sorted(search.runaway)
                grows = f"{', '.join(some)} grow{'s' if len(some) == 1 else ''}"
            places = _places(search, search.no_state, names)
            if len(names) == 1 and len(search.no_state) > 1:
                values = search.points[names[0]]
                least, most = values[search.no_state].min(), values[search.no_state].max()
                # a range of the duty is told where nothing holds in it, whatever the other values
                if not ((values >= least) & (values <= most) & (search.labels >= 0)).any():
                    places = f"{names[0]} = {least:.4g} to {most:.4g}"
            assumed = CONSTANT if circuit.capacitors else ""  # ripple and jumps may hold a state there
            lines.append(f"{assumed}no steady state was met at {places}: {grows} without limit")
        if search.open_points:
            places = _places(search, search.open_points, names)
            lines.append(
                f"at {places} none of the listed modes holds and no other could be confirmed; write these "
                "values into the netlist to have that very point looked at"
            )
        if search.alike:
            equal = ", ".join(" = ".join(symbols_of(name)) for name in sorted(search.alike))
            lines.append(
                f"modes are told for {equal}: with other turns of perfectly coupled coils none of those "
                "listed holds, and others were not looked for"
            )
    return lines


def _places(search: Search, points: list[int], names: list[str]) -> str:
    shown = "; ".join(_place(search, k, names) for k in points[:MOST_PLACES])
    more = len(points) - MOST_PLACES
    return f"{shown} and {more} more of the points looked at" if more > 0 else shown


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
        return None, []
    warnings = []
    for factor in (1 - NEAR, 1 + NEAR):
        beside = engine.mode_at(point | {"T": point["T"] * factor})
        if beside is not None and beside != numbers.mode:
            warnings.append(
                f"the operating point is near the edge of {numbers.mode}: {NEAR:.0%} more or less period, "
                f"inductance or load leads to {beside}"
            )
    return numbers, warnings[:1]
