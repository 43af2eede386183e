"""A stage sized for what it is wanted for: duty, inductances, capacitances, ratings, losses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

import numpy as np
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.values import with_values
from voltsec.practice.closed_duty import duty_formula
from voltsec.practice.design.clamp import Clamp, clamped
from voltsec.practice.design.continuity import Continuity, continuity
from voltsec.practice.design.corners import Array, worst_places
from voltsec.practice.design.evaluated import Evaluated
from voltsec.practice.design.extremes import (
    Corner,
    Extreme,
    WorstCase,
    corner_at,
    found_extremes,
    stress_names,
)
from voltsec.practice.design.filter_damping import FilterDamping, filter_damping
from voltsec.practice.design.least_sizes import LeastSize, least_sizes
from voltsec.practice.design.points import Points, at_words, points_of
from voltsec.practice.design.preferred import NAMES, at_least, next_above
from voltsec.practice.design.specification import (
    OUT,
    BadSpecification,
    Limit,
    Specification,
    output_load,
    read_specification,
    sized_symbol,
)
from voltsec.practice.solve import solve
from voltsec.results.solution import Solution
from voltsec.results.table import inductances, lossy_elements, results_of

COIL_SERIES = "E12"
CAPACITOR_SERIES = "E6"
"""Series that coils and capacitors are stocked in (common practice, no source)."""
STEPS = 60
"""Preferred values tried above the one of the formula before a limit counts as out of reach."""
KEPT = 1 + 1e-6
"""Share of what is allowed up to which a ripple counts as kept."""
HUGE = 1000
"""A part so many times larger shows whether any size would do."""
SHARE = "share"
DIGITS = 6
"""Significant digits of duty and load in the netlist that is written."""


@dataclass(frozen=True)
class Size:
    """One coil or capacitor, sized."""

    part: str
    """As the limit names it; ``out`` for the output's ripple."""
    symbol: str
    unit: str
    limit: Limit
    least: LeastSize
    """From the closed form."""
    series: str
    chosen: Fraction
    """Preferred value, SI units."""
    ripple: Extreme
    """The ripple that results at its worst point, on the exact state."""
    allowed: float
    """The most it may be there, SI units."""
    raised: bool
    """True where the exact state asked for more than the formula."""


@dataclass(frozen=True)
class Sizing:
    """The answer of ``voltsec size``."""

    circuit: Circuit
    solution: Solution
    specification: Specification
    points: Points
    duties: tuple[Extreme, Extreme] | None
    """Least and largest duty; ``None`` where the duty is given."""
    duty_formula: Expr | None
    """In closed form, of ``Vout``, in continuous conduction."""
    sizes: tuple[Size, ...]
    continuity: Continuity | None
    worst: WorstCase
    losses: tuple[Corner, dict[str, float]] | None
    """Point of the least efficiency and every loss there by its result's name, watt; ``None`` without any."""
    notes: tuple[str, ...]
    clamps: tuple[Clamp, ...] = ()
    """What holds switches that cut off a leakage; ``circuit`` has the parts."""
    damping: FilterDamping | None = None
    """What damps the input filter; ``None`` without one, or where nothing can be told."""

    @property
    def values(self) -> dict[str, float]:
        """Symbol -> value chosen, SI units."""
        return {size.symbol: float(size.chosen) for size in self.sizes}

    @property
    def netlist(self) -> Circuit:
        """The circuit with the chosen values in, at the largest load and the input of the netlist (or the
        lowest), with the duty that gives the output there.
        """
        return sized_circuit(self)

    def __repr__(self) -> str:
        sizes = ", ".join(f"{one.symbol} = {float(one.chosen):.4g} {one.unit}" for one in self.sizes)
        return f"<{self.circuit.name} sized: {sizes}>"

    def _repr_html_(self) -> str:
        from voltsec.report.design_text import sizing_lines  # only a notebook asks for it
        from voltsec.report.notebook import preformatted

        return preformatted(sizing_lines(self))


def size(circuit: Circuit, wanted: str, series: str | None = None, budget: float | None = None) -> Sizing:
    """Size ``circuit`` for a specification such as ``"Vin=8:16, Vout=12, Iout=0.5:2, ripple(L1)=30%"``.

    ``series`` is one of E3 to E192 (coils take E12 and capacitors E6 unless told).  Raises
    :class:`BadSpecification` for what contradicts itself, is missing or cannot be reached.
    """
    circuit.check()
    if series is not None and series not in NAMES:
        raise BadSpecification(f"there is no series {series}; IEC 60063 has {', '.join(NAMES)}")
    specification = read_specification(wanted, circuit)
    clamps: tuple[Clamp, ...] = ()
    if specification.clamps:
        circuit, clamps = clamped(circuit, specification, series)
    sought = {part: _symbol(part, circuit) for part in specification.ripples}
    points = points_of(circuit, specification, tuple(sought.values()))
    solution = solve(_without(circuit, tuple(sought.values())), budget)
    coils = inductances(circuit)
    kinds = {part: series or (COIL_SERIES if part in coils else CAPACITOR_SERIES) for part in sought}
    least, chosen = least_sizes(solution, points, sought, lambda part, value: at_least(value, kinds[part]))
    first = dict(chosen)
    evaluated = Evaluated(solution, replace(points, sizes=_values(sought, chosen)))
    reached(evaluated)
    ripples: dict[str, tuple[Extreme, float]] = {}
    for part in chosen:
        ripples[part], chosen, evaluated = _settled(evaluated, sought, chosen, kinds, part)
    worst = found_extremes(evaluated, stress_names(circuit))
    sizes = tuple(
        Size(
            part,
            sought[part],
            "H" if part in coils else "F",
            specification.ripples[part],
            least[part],
            kinds[part],
            chosen[part],
            *ripples[part],
            chosen[part] > first[part],
        )
        for part in chosen
    )
    duties = _duties(evaluated) if points.duty is not None else None
    return Sizing(
        circuit,
        solution,
        specification,
        evaluated.points,
        duties,
        None if duties is None else _duty_formula(evaluated, duties[0]),
        sizes,
        continuity(evaluated),
        worst,
        _losses(evaluated, worst),
        tuple(_notes(circuit, evaluated.points, worst)),
        clamps,
        filter_damping(evaluated, series),
    )


def reached(evaluated: Evaluated) -> None:
    """Raise :class:`BadSpecification` where some corner has no duty for the wanted output."""
    points = evaluated.points
    if points.duty is None:
        return
    corners = points.box.corners()
    found = evaluated.duties(corners)
    for place in corners[~np.isfinite(found)]:
        reason = evaluated.why_unreachable(place[None, :])
        raise BadSpecification(
            f"{at_words(points, place)}{reason}; narrow the ranges, or take another stage (compare --shelf "
            "lists those that can)"
        )


def _symbol(part: str, circuit: Circuit) -> str:
    found = sized_symbol(part, circuit)
    assert found is not None, "the specification was read"
    return found


def _without(circuit: Circuit, symbols: tuple[str, ...]) -> Circuit:
    """The circuit without values of the parts that are to be sized."""
    return with_values(circuit, dict.fromkeys(symbols))


def _values(sought: Mapping[str, str], chosen: Mapping[str, Fraction]) -> dict[str, float]:
    return {sought[part]: float(value) for part, value in chosen.items()}


def _settled(
    evaluated: Evaluated,
    sought: Mapping[str, str],
    chosen: dict[str, Fraction],
    kinds: Mapping[str, str],
    part: str,
) -> tuple[tuple[Extreme, float], dict[str, Fraction], Evaluated]:
    """The ripple of ``part`` on the exact state, its value raised until the ripple is allowed."""
    limit = evaluated.points.specification.ripples[part]
    for _ in range(STEPS):
        evaluated = evaluated.with_sizes(_values(sought, chosen))
        worst = worst_places(evaluated.points.box, partial(_share, evaluated, part, limit)).get(SHARE)
        if worst is None:
            raise BadSpecification(
                f"ripple({part}): the exact state was found at no point of the ranges with these values"
            )
        place = np.array(worst.place, float)[None, :]
        if worst.value <= KEPT:
            ripple, allowed = _ripple(evaluated, place, part, limit)
            corner, _ = corner_at(evaluated, worst)
            unit = "A" if part in inductances(evaluated.points.circuit) else "V"
            told = Extreme(_ripple_name(part), unit, float(ripple[0]), corner, None, None, False)
            return (told, float(allowed[0])), chosen, evaluated
        chosen = {**chosen, part: _raised(evaluated, place, sought, chosen, kinds[part], part)}
    assert worst is not None
    raise _out_of_reach(part, sought[part], worst.value)


def _raised(
    evaluated: Evaluated,
    place: Array,
    sought: Mapping[str, str],
    chosen: Mapping[str, Fraction],
    series: str,
    part: str,
) -> Fraction:
    """The next preferred value that keeps the ripple at one place."""
    limit = evaluated.points.specification.ripples[part]

    def share(value: Fraction) -> float:
        other = evaluated.with_sizes(_values(sought, {**chosen, part: value}))
        return float(_share(other, part, limit, place)[SHARE][0])

    least = share(chosen[part] * HUGE)
    if not least <= 1:
        raise _out_of_reach(part, sought[part], least)
    value = chosen[part]
    for _ in range(STEPS):
        value = next_above(value, series)
        if share(value) <= KEPT:
            break
    return value


def _out_of_reach(part: str, symbol: str, share: float) -> BadSpecification:
    return BadSpecification(
        f"ripple({part}): no value of {symbol} keeps it, the largest still leave {share:.3g} times what is "
        "allowed (a series resistance makes a ripple that no size removes, and other parts may): allow more, "
        "or lower that resistance"
    )


def _ripple_name(part: str) -> str:
    return "output_ripple" if part == OUT else f"ripple.{part}"


def _share(evaluated: Evaluated, part: str, limit: Limit, places: Array) -> dict[str, Array]:
    """A ripple over what is allowed, at (P, axes) places."""
    ripple, allowed = _ripple(evaluated, places, part, limit)
    return {SHARE: ripple / allowed}


def _ripple(evaluated: Evaluated, places: Array, part: str, limit: Limit) -> tuple[Array, Array]:
    """(P,) a ripple, and the most it may be there."""
    name = _ripple_name(part)
    if not limit.relative:
        return evaluated.at(places, (name,))[name], np.full(len(places), limit.amount)
    if part in inductances(evaluated.points.circuit):
        mean = f"inductor_currents.{part}"
        found = evaluated.at(places, (name,))
        base = evaluated.at(evaluated.points.full_load(places), (mean,))[mean]
    else:
        mean = "output_voltage" if part == OUT else f"capacitor_voltages.{part}"
        found = evaluated.at(places, (name, mean))
        base = found[mean]
    return found[name], limit.amount * np.abs(base)


def _duties(evaluated: Evaluated) -> tuple[Extreme, Extreme]:
    name = evaluated.points.duty
    assert name is not None

    def both(places: Array) -> dict[str, Array]:
        found = evaluated.duties(places)
        return {"least": found, "largest": found}

    worst = worst_places(evaluated.points.box, both, ("least",))
    least, largest = (
        Extreme(name, "1", worst[key].value, corner_at(evaluated, worst[key])[0], None, None, False)
        for key in ("least", "largest")
    )
    return least, largest


def _duty_formula(evaluated: Evaluated, least: Extreme) -> Expr | None:
    points, solution = evaluated.points, evaluated.solution
    mode = next((mode for mode in solution.modes if mode.name.startswith("CCM")), None)
    if mode is None or points.duty is None:
        return None
    place = points.place(least.at.values)
    values = {name: float(value[0]) for name, value in points.values(points.full_load(place)).items()}
    values[points.duty] = float(evaluated.duties(points.full_load(place))[0])
    target = float(evaluated.at(points.full_load(place), ("output_voltage",))["output_voltage"][0])
    return duty_formula(solution, mode.name, points.duty, values, target)


def _losses(evaluated: Evaluated, worst: WorstCase) -> tuple[Corner, dict[str, float]] | None:
    told = results_of(evaluated.points.circuit)
    names = tuple(name for name in told if name.startswith(("losses.", "other_losses.")))
    least = worst.extremes.get("overall_efficiency") or worst.extremes.get("efficiency")
    if not names or least is None:
        return None
    found = evaluated.at(evaluated.points.place(least.at.values), names)
    return least.at, {name: float(found[name][0]) for name in names}


def _notes(circuit: Circuit, points: Points, worst: WorstCase) -> list[str]:
    notes = []
    kept = [
        q.symbol
        for element in circuit.elements
        if element.kind in ("inductor", "capacitor", "transformer")
        for q in element.quantities
        if q.value is not None
        and q.unit in ("H", "F")
        and q.symbol not in points.sizes
        and q.symbol not in points.specification.ranges
    ]
    if kept:
        notes.append(f"{', '.join(kept)} keep the netlist's values: no ripple is asked of them")
    others = [d for d in circuit.duty_symbols if d != points.duty and d not in points.specification.ranges]
    if others and points.duty is not None:
        notes.append(f"{', '.join(others)} keep the netlist's values, {points.duty} sets the output")
    if worst.empty:
        notes.append(
            f"at {100 * worst.empty:.2g} % of the points no periodic state was found; they are left out"
        )
    if not lossy_elements(circuit):
        notes.append(
            "no part has a resistance or a drop, so the loss budget is empty: write them into the netlist, "
            "as in { resistance 30 mohm, drop 0.5 V }"
        )
    return notes


def sized_circuit(sizing: Sizing) -> Circuit:
    """The circuit with the chosen values, at one operating point."""
    circuit, points = sizing.circuit, sizing.points
    known = circuit.values
    named = {}
    for axis in points.box.axes:
        own = known.get(axis.name)
        inside = own is not None and axis.low <= float(own) <= axis.high
        named[axis.name] = float(own) if inside and own is not None else axis.low
    place = points.full_load(points.place(named))
    values = {name: float(value[0]) for name, value in points.values(place).items()}
    evaluated = Evaluated(sizing.solution, points)
    if points.duty is not None:
        values[points.duty] = float(evaluated.duties(place)[0])
    load = output_load(circuit)
    rounded = {points.duty, "T", None if load is None else load.quantity.symbol}
    exact: dict[str, Fraction | None] = {
        name: Fraction(f"{value:.{DIGITS}g}") if name in rounded else Fraction(repr(value))
        for name, value in values.items()
    }
    exact |= {size.symbol: size.chosen for size in sizing.sizes}
    return with_values(circuit, exact)
