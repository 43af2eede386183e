"""Numbers at many points at once: the mode chosen point by point, everything else in numpy.

Every mode is made ready once (:mod:`voltsec.formulas.compiled`, and :mod:`voltsec.periodic.row_mode` for
those without written formulas), then chunks of points run through them, here or on any
``concurrent.futures.Executor``.  Chunks are cut the same way either way and put together in order, so
the results are the same to the last bit.  Up to :data:`MOST_EXACT` points the numbers are those of the exact
periodic state, ripple included; the formulas' values stand beside.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future
from dataclasses import dataclass
from itertools import islice
from time import monotonic
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import seconds_left
from voltsec.formulas.compiled import CompiledMode, compile_mode
from voltsec.formulas.engine import engine_of
from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.reading_list import quantity_units
from voltsec.periodic.row_mode import RowMode, row_mode
from voltsec.practice.asked import BadValues, check_quantities, known_point
from voltsec.results.solution import Solution
from voltsec.results.table import results_of
from voltsec.waveforms.exact import Expected, exact_results

Array = np.ndarray
ReadyMode = CompiledMode | RowMode
"""A mode that can be asked about many points at once."""

Progress = Callable[[int, int], None]
"""Called with the points done and the points in all."""

CHUNK = 20_000
"""Points at a time: a few dozen arrays of this length stay in the processor's cache."""

SOLVED_CHUNK = 5_000
"""The same where equations are solved at every point."""

EXACT_CHUNK = 2_000
"""The same where the exact periodic state is found at every point."""

MOST_EXACT = 20_000
"""Points up to which the exact periodic state is found at each; beyond, the formulas' values are told."""

PATIENCE = 20.0
"""Seconds a chunk may spend on points at which no mode leads to the exact state."""

DIFFERS = 0.01
"""Difference of a formula's value that is told, as a share of the quantity's largest size."""

IN_FLIGHT = 32
"""Chunks handed to an executor before the first is waited for."""

ORDINARY = ("gain", "output_voltage", "efficiency")

NO_MODE = ""
"""Stands as the mode where none could be verified; numbers are nan there."""


@dataclass(frozen=True)
class Sweep:
    """Results of a sweep; every array has the shape that the swept values broadcast to."""

    circuit: Circuit
    swept: dict[str, Array]
    """The varied symbols, SI units."""
    mode_names: tuple[str, ...]
    mode_index: Array
    """Place in ``mode_names``; -1 where no mode could be verified."""
    values: dict[str, Array]
    """Quantity -> numbers in SI units, nan where there is none."""
    exact: Array
    """True where the numbers are those of the exact periodic state, ripple included."""
    formulas: dict[str, Array]
    """Quantity -> what the small-ripple formulas give, nan where no mode holds."""
    missing: tuple[str, ...] = ()
    """Symbols without a value: conditions that ask for them are taken for granted."""

    @property
    def mode(self) -> Array:
        """Name of the mode at every point."""
        return np.array([*self.mode_names, NO_MODE])[self.mode_index]

    @property
    def gain(self) -> Array:
        """Output over input voltage."""
        return self.values["gain"]

    @property
    def output_voltage(self) -> Array:
        """Average output voltage, volt."""
        return self.values["output_voltage"]

    @property
    def efficiency(self) -> Array:
        """Power of the loads over power of the sources, 0 to 1."""
        return self.values["efficiency"]

    def differing(self) -> dict[str, float]:
        """Quantities whose formulas differ somewhere by more than :data:`DIFFERS`, and by how much."""
        found = {}
        for name, exact in self.values.items():
            change = np.abs(self.formulas[name] - exact)[
                self.exact & np.isfinite(self.formulas[name]) & np.isfinite(exact)
            ]
            size = np.abs(exact[np.isfinite(exact)]).max(initial=0.0)
            if change.size and size and change.max() > DIFFERS * size:
                found[name] = float(change.max() / size)
        return found

    def __getitem__(self, quantity: str) -> Array:
        """Numbers of one quantity by name."""
        return self.values[quantity]


def sweep(
    solution: Solution,
    values: Mapping[str, Any],
    quantities: tuple[str, ...] = ORDINARY,
    executor: Executor | None = None,
    progress: Progress | None = None,
    most_exact: int = MOST_EXACT,
    hurried: bool = False,
) -> Sweep:
    """Numbers at the netlist's values changed by ``values`` (symbol -> number or array, SI units).

    Arrays broadcast against each other as in numpy.  ``quantities`` are names such as ``gain``,
    ``ripple.L1``, ``stress.S.voltage_peak`` or ``losses.D1`` (see
    :func:`voltsec.results.table.results_of`).  Up to ``most_exact`` points the exact periodic state is found
    at each of them.  A ``hurried`` sweep leaves points that take long without numbers once the computing time
    is spent.  Symbols without a value (the period, say) are not needed where a mode's formulas hold
    none; which mode holds is then taken for granted, the usual one first.  Raises :class:`BadValues`.
    """
    circuit = solution.circuit
    check_quantities(circuit, quantities)
    point, missing = known_point(circuit, values)
    point |= dict.fromkeys(missing, float("nan"))
    arrays = {name: np.asarray(value, float) for name, value in point.items() if np.ndim(value)}
    constants = {name: float(value) for name, value in point.items() if name not in arrays}
    shape = np.broadcast_shapes(*(array.shape for array in arrays.values()))
    flat = {name: np.ascontiguousarray(np.broadcast_to(a, shape)).ravel() for name, a in arrays.items()}
    length = int(np.prod(shape)) if shape else 1
    engine = engine_of(solution)
    builders = [pair for pair in engine.builders if not _asks_for(pair[1], missing)]
    # parts that settle at once are in the exact state only, no formula tells of them
    worded = tuple(name for name in quantities if name in quantity_units(engine.circuit))
    compiled: tuple[ReadyMode, ...] = (
        *(compile_mode(name, builder, constants, worded) for name, builder in builders),
        *(row_mode(name, mode, constants, worded) for name, mode in engine.numeric if not missing),
    )
    names = tuple(mode.name for mode in compiled)
    job = _Job(circuit, compiled, constants, tuple(quantities), not missing and length <= most_exact, hurried)
    parts = []
    done = 0
    if progress is not None:
        progress(0, length)
    for part in _runs(job, flat, length, executor):
        parts.append(part)
        done += len(part.index)
        if progress is not None:
            progress(done, length)
    if missing and not any(np.isfinite(column).any() for part in parts for column in part.values.values()):
        raise BadValues(f"values are missing for {', '.join(missing)}")
    return Sweep(
        circuit,
        {name: np.broadcast_to(arrays[name], shape) for name in values if name in arrays},
        names,
        np.concatenate([part.index for part in parts]).reshape(shape),
        {q: np.concatenate([part.values[q] for part in parts]).reshape(shape) for q in quantities},
        np.concatenate([part.exact for part in parts]).reshape(shape),
        {q: np.concatenate([part.formulas[q] for part in parts]).reshape(shape) for q in quantities},
        missing,
    )


@dataclass(frozen=True)
class _Job:
    """What every chunk needs; plain data that can be sent to another process."""

    circuit: Circuit
    modes: tuple[ReadyMode, ...]
    constants: dict[str, float]
    quantities: tuple[str, ...]
    exact: bool
    hurried: bool


@dataclass(frozen=True)
class _Part:
    """Results at the points of one chunk."""

    index: Array
    values: dict[str, Array]
    exact: Array
    formulas: dict[str, Array]


def _asks_for(builder: ModeBuilder, missing: tuple[str, ...]) -> bool:
    """Whether the fractions of a mode depend on something that has no value."""
    fractions = builder.found.fractions
    return any(fractions.ring.variables(shown) & set(missing) for shown in fractions.shown)


def _runs(job: _Job, flat: dict[str, Array], length: int, executor: Executor | None) -> Iterator[_Part]:
    size = CHUNK if all(isinstance(mode, CompiledMode) for mode in job.modes) else SOLVED_CHUNK
    if job.exact:
        size = EXACT_CHUNK
    chunks = (
        ({name: array[start : start + size] for name, array in flat.items()}, min(size, length - start))
        for start in range(0, length, size)
    )
    if executor is None:
        for part, count in chunks:
            yield run_chunk(job, part, count)
        return
    waiting: list[Future[Any]] = []
    try:
        for part, count in islice(chunks, IN_FLIGHT):
            waiting.append(executor.submit(run_chunk, job, part, count))
        while waiting:
            result = waiting.pop(0).result()
            for part, count in islice(chunks, 1):
                waiting.append(executor.submit(run_chunk, job, part, count))
            yield result
    finally:
        for future in waiting:
            future.cancel()


def run_chunk(job: _Job, arrays: dict[str, Array], length: int) -> _Part:
    """Results at ``length`` points: modes and formulas first, the exact state from where they lead."""
    index, formulas, shares = by_formulas(
        job.modes, job.constants, job.quantities, arrays, length, job.hurried
    )
    if not job.exact:
        return _Part(index, formulas, np.zeros(length, bool), formulas)
    expected = [
        Expected(job.modes[number].sequence, fractions) for number, fractions in sorted(shares.items())
    ]
    known = results_of(job.circuit)
    deadline = monotonic() + PATIENCE
    found = exact_results(
        job.circuit,
        {**job.constants, **arrays},
        [known[name] for name in job.quantities],
        expected,
        lambda: monotonic() < deadline and not (job.hurried and seconds_left() < 0),
    )
    values = {}
    for name in job.quantities:
        value = found.values.get(name, np.full(length, np.nan))
        values[name] = np.where(found.found & np.isfinite(value), value, np.nan)
    return _Part(np.where(found.found, index, -1), values, found.found, formulas)


def by_formulas(
    modes: tuple[ReadyMode, ...],
    constants: dict[str, float],
    quantities: tuple[str, ...],
    arrays: dict[str, Array],
    length: int,
    hurried: bool = False,
) -> tuple[Array, dict[str, Array], dict[int, Array]]:
    """Mode number (-1: none) at ``length`` points, readings, and fractions of each mode where it is taken.

    The first mode that holds is taken.
    """
    index = np.full(length, -1, np.int16)
    results = {name: np.full(length, np.nan) for name in quantities}
    shares: dict[int, Array] = {}
    left = np.arange(length)
    # what no mode claims may lie between the edges of two: there a mode with slack takes it
    turns = [(number, mode, 0.0) for number, mode in enumerate(modes)]
    turns += [(n, m, m.slack) for n, m in enumerate(modes) if isinstance(m, CompiledMode) and m.slack]
    for number, mode, slack in turns:
        if not left.size:
            break
        part = arrays if left.size == length else {name: array[left] for name, array in arrays.items()}
        point: dict[str, Any] = {**constants, **part}
        if isinstance(mode, CompiledMode):
            mask, fractions = mode.holds(point, left.size, slack)
        else:
            mask, fractions = mode.holds(point, left.size)
        if not mask.any():
            continue
        everywhere = mask.all()
        here = {name: array if everywhere else array[mask] for name, array in {**part, **fractions}.items()}
        places = left if everywhere else left[mask]
        index[places] = number
        table = shares.setdefault(number, np.full((length, len(fractions)), np.nan))
        for place, name in enumerate(mode.sequence.fractions):
            table[places, place] = here[name]
        for name, column in mode.read({**constants, **here}, len(places)).items():
            results[name][places] = column
        left = left[~mask]
    for number, mode in enumerate(modes):
        if isinstance(mode, RowMode):
            left = _point_by_point(number, mode, constants, arrays, left, index, results, hurried)
    for column in results.values():
        column[~np.isfinite(column)] = np.nan
    return index, results, shares


def _point_by_point(
    number: int,
    mode: RowMode,
    constants: dict[str, float],
    arrays: dict[str, Array],
    left: Array,
    index: Array,
    results: dict[str, Array],
    hurried: bool,
) -> Array:
    """Points that no mode claims are asked of the exact equations; returns those that stay open."""
    still = []
    for done, place in enumerate(left):
        if hurried and seconds_left() < 0:  # each of these points may take long
            still += list(left[done:])
            break
        point = constants | {name: float(array[place]) for name, array in arrays.items()}
        found = mode.by_exact_equations(point)
        if found is None:
            still.append(place)
            continue
        index[place] = number
        for name, column in found.items():
            results[name][place] = column[0]
    return np.array(still, int)
