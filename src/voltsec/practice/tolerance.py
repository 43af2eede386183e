"""How far gain, stress and efficiency spread when parts differ from their nominal values.

Every draw takes each part uniformly between nominal * (1 - tolerance) and nominal * (1 + tolerance),
independently of the others, and goes through the sweep like any other point.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Diode, Switch
from voltsec.circuit.spelling import hint_among
from voltsec.periodic.reading_list import quantity_units
from voltsec.practice.asked import BadValues, check_quantities
from voltsec.practice.sweep import MOST_EXACT, Progress, Sweep, sweep
from voltsec.results.solution import Solution

PERCENTILES = (0.0, 1.0, 5.0, 50.0, 95.0, 99.0, 100.0)
"""The first and the last are the smallest and the largest of all draws."""

MOST_DRAWS = 1_000_000

DRAWS = 20_000
"""Draws unless told otherwise, few enough for exact numbers."""


@dataclass(frozen=True)
class Spread:
    """Percentiles of each quantity over the draws."""

    tolerances: dict[str, float]
    """Symbol -> relative tolerance."""
    draws: int
    seed: int
    nominal: dict[str, float]
    """Quantity -> value at nominal parts, SI units (nan where there is none)."""
    percentiles: dict[str, tuple[float, ...]]
    """Quantity -> values at :data:`PERCENTILES`, SI units."""
    units: dict[str, str]
    modes: dict[str, float]
    """Mode -> share of the draws in which it holds."""
    undetermined: float
    """Share of the draws in which no mode could be verified."""
    exact: bool = True
    """True where the numbers are those of the exact periodic state, False for the small-ripple formulas'."""


def tolerances(
    solution: Solution,
    parts: Mapping[str, float],
    draws: int = DRAWS,
    seed: int = 1,
    values: Mapping[str, float] | None = None,
    quantities: tuple[str, ...] | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Spread:
    """Spread for ``parts`` (symbol or part -> relative tolerance, 0.2 for 20 %) at the operating point.

    Up to ``MOST_EXACT`` draws the numbers are those of the exact periodic state, beyond it those of the
    small-ripple formulas, the nominal ones included.  ``values`` change the netlist's values (symbol ->
    SI units).  The same ``seed`` gives the same
    result.  Raises :class:`BadValues`.
    """
    circuit = solution.circuit
    if not isinstance(draws, int | np.integer) or draws < 1:
        raise BadValues(f"at least one draw is needed, not {draws}")
    if draws > MOST_DRAWS:
        raise BadValues(f"{draws:,} draws are too many; {MOST_DRAWS:,} are the most")
    if seed < 0:
        raise BadValues(f"a random seed is a whole number from 0 up, not {seed}")
    given = dict(values or {})
    shares = {symbol_of(circuit, name): share for name, share in parts.items()}
    if not shares:
        raise BadValues("no tolerance is given")
    wanted = ordinary_quantities(circuit) if quantities is None else tuple(quantities)
    check_quantities(circuit, wanted)
    most_exact = 0 if draws > MOST_EXACT else MOST_EXACT
    nominal = sweep(solution, given, wanted, most_exact=most_exact)
    known = {symbol: float(value) for symbol, value in circuit.values.items()} | given
    generator = np.random.default_rng(seed)
    drawn: dict[str, np.ndarray] = {}
    for symbol, share in shares.items():
        if not 0 < share < 1:
            raise BadValues(f"the tolerance of {symbol} lies between 0 and 100 %, not at {100 * share:g} %")
        drawn[symbol] = known[symbol] * generator.uniform(1 - share, 1 + share, draws)
        if symbol in circuit.timing_symbols and known[symbol] * (1 + share) >= 1:
            raise BadValues(f"with a tolerance of {100 * share:g} % {symbol} would reach 1, the whole period")
    result = sweep(solution, given | drawn, wanted, executor, progress, most_exact=most_exact)
    counts = np.bincount(result.mode_index + 1, minlength=len(result.mode_names) + 1)
    units = quantity_units(circuit)
    return Spread(
        shares,
        draws,
        seed,
        {name: float(nominal[name]) for name in wanted},
        {name: _percentiles(result[name]) for name in wanted},
        {name: units[name] for name in wanted},
        {name: float(n / draws) for name, n in zip(result.mode_names, counts[1:], strict=True) if n},
        float((~_known(result)).mean()),
        exact=draws <= MOST_EXACT,
    )


def _known(result: Sweep) -> np.ndarray:
    """Where a draw has numbers."""
    return (result.mode_index >= 0) | result.exact


def ordinary_quantities(circuit: Circuit) -> tuple[str, ...]:
    """Gain, output voltage, efficiency, ripple of the output, peaks of switches and diodes."""
    names = ["gain", "output_voltage", "efficiency", "output_ripple"]
    for device in circuit.of(Switch, Diode):
        names += [f"stress.{device.name}.voltage_peak", f"stress.{device.name}.current_peak"]
    return tuple(names)


def symbol_of(circuit: Circuit, name: str) -> str:
    """The symbol meant by a symbol's or a part's name; raises :class:`BadValues`."""
    symbols = [quantity.symbol for quantity in circuit.quantities]
    if name in symbols:
        return name
    own = {element.name: [q.symbol for q in element.quantities] for element in circuit.elements}
    if name in own:
        if len(own[name]) == 1:
            return own[name][0]
        what = f"say which: {', '.join(own[name])}" if own[name] else "it has no value that could differ"
        raise BadValues(f"{name} has no single value; {what}")
    raise BadValues(f"there is no part or symbol called {name}; {hint_among(name, symbols)}")


def _percentiles(values: np.ndarray) -> tuple[float, ...]:
    known = values[np.isfinite(values)]
    if not known.size:
        return (float("nan"),) * len(PERCENTILES)
    return tuple(float(x) for x in np.percentile(known, PERCENTILES))
