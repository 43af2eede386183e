"""Every stress at its worst operating point, on the exact periodic state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.practice.asked import known_point
from voltsec.practice.design.corners import Array, Worst, worst_places
from voltsec.practice.design.evaluated import Evaluated
from voltsec.practice.design.points import Points, points_of
from voltsec.practice.design.specification import BadSpecification, read_specification
from voltsec.practice.solve import solve
from voltsec.results.solution import Mode, Numbers, Solution
from voltsec.results.table import results_of

STRESSES = ("voltage_peak", "current_peak", "current_rms")
LEAST = ("efficiency", "overall_efficiency")
"""Of these the least value is the worst."""
LOWEST = "lowest "
HIGHEST = "highest "
"""Before the name of a quantity whose two ends both matter."""
BOTH = ("output_voltage",)


@dataclass(frozen=True)
class Corner:
    """One operating point of a box."""

    values: dict[str, float]
    """Every varied quantity, and the duty that was looked for, SI units."""
    mode: str
    """Empty where no mode with formulas holds."""
    corner: bool
    """True where every varied quantity is at an end of its range."""


@dataclass(frozen=True)
class Extreme:
    """The worst value of one quantity."""

    name: str
    """As in the table of results; ``lowest output_voltage`` where both ends are told."""
    unit: str
    value: float
    """SI units."""
    at: Corner
    formula: Expr | None
    """The formula of the mode that holds there."""
    by_formula: float | None
    """What it comes to."""
    bound: bool
    """True for an upper bound: ideal parts leave open who takes how much."""


@dataclass(frozen=True)
class WorstCase:
    """The worst points of a stage over ranges of its values."""

    solution: Solution
    points: Points
    extremes: dict[str, Extreme]
    unbounded: tuple[str, ...]
    """Results that have no bound somewhere: charge or flux jumps in no time."""
    empty: float
    """Share of the points looked at without a periodic state."""


def worst_case(
    circuit: Circuit, text: str, output_voltage: float | None = None, solution: Solution | None = None
) -> WorstCase:
    """Every stress of ``circuit`` at its worst point over the ranges in ``text`` (``"Vin=8:16, R=6:24"``).

    With ``output_voltage`` (volt) every point has the duty that gives it.  Raises
    :class:`~voltsec.practice.design.specification.BadSpecification`.
    """
    circuit.check()
    if output_voltage is not None:
        text = f"{text}, Vout={output_voltage!r}"
    specification = read_specification(text, circuit)
    if specification.ripples or specification.clamps:
        raise BadSpecification("ripple( ) and clamp( ) choose parts, which is what size does")
    points = points_of(circuit, specification)
    if not points.box.axes:
        raise BadSpecification("nothing varies: give a range, as in Vin=8:16")
    return found_extremes(Evaluated(solution or solve(circuit), points), stress_names(circuit))


def stress_names(circuit: Circuit) -> tuple[str, ...]:
    """Results whose worst value is told: stresses of parts, ripples, losses, efficiency, output voltage."""
    names, known = [], results_of(circuit)
    for name in known:
        group, _, rest = name.partition(".")
        key = rest.rpartition(".")[2]
        if (group == "stress" and key in STRESSES) or group in ("ripple", "losses", "other_losses"):
            names.append(name)
    whole = ("output_voltage", "output_ripple", "efficiency", "overall_efficiency")
    return (*(name for name in whole if name in known), *names)


def found_extremes(evaluated: Evaluated, names: tuple[str, ...]) -> WorstCase:
    """The worst of ``names`` over the box of ``evaluated``."""
    points = evaluated.points
    looked, empty = 0, 0

    def evaluate(places: Array) -> dict[str, Array]:
        nonlocal looked, empty
        result = evaluated.at(places, names)
        if not looked:
            looked, empty = len(places), int((~np.isfinite(result["output_voltage"])).sum())
        found = {}
        for name in names:
            if name in BOTH and evaluated.points.duty is not None:
                continue  # held where it is wanted
            if name in BOTH:
                size = result[name]
                found[LOWEST + name] = np.abs(size)
                found[HIGHEST + name] = np.abs(size)
            else:
                found[name] = result[name]
        return found

    least = {*LEAST, *(LOWEST + name for name in BOTH)}
    worst = worst_places(points.box, evaluate, least)
    told, unbounded = _told(evaluated, worst)
    return WorstCase(evaluated.solution, points, told, unbounded, empty / max(looked, 1))


def _told(evaluated: Evaluated, worst: Mapping[str, Worst]) -> tuple[dict[str, Extreme], tuple[str, ...]]:
    solution = evaluated.solution
    modes = {mode.name: mode for mode in solution.modes}
    units = {name: result.unit for name, result in results_of(solution.circuit).items()}
    there: dict[tuple[float, ...], tuple[Corner, Numbers | None]] = {}
    found: dict[str, Extreme] = {}
    open_: set[str] = set()
    for name, one in worst.items():
        if one.place not in there:
            there[one.place] = corner_at(evaluated, one)
        corner, numbers = there[one.place]
        plain = name.removeprefix(LOWEST).removeprefix(HIGHEST)
        told = None if numbers is None or numbers.formulas is None else numbers.formulas.results.get(plain)
        found[name] = Extreme(
            name,
            units[plain],
            float(one.value),
            corner,
            formula_of(modes.get(corner.mode), plain),
            told,
            numbers is not None and plain in numbers.bounds,
        )
        if numbers is not None:
            open_ |= numbers.unbounded
    return found, tuple(sorted(name for name in open_ if name not in found))


def corner_at(evaluated: Evaluated, worst: Worst) -> tuple[Corner, Numbers | None]:
    """A worst point with its duty and mode, and the numbers there."""
    points = evaluated.points
    place = np.array(worst.place, float)[None, :]
    values = {name: float(value[0]) for name, value in points.values(place).items()}
    shown = {axis.name: value for axis, value in zip(points.box.axes, worst.place, strict=True)}
    if points.duty is not None:
        values[points.duty] = float(evaluated.duties(place)[0])
        shown[points.duty] = values[points.duty]
    if not evaluated.formulas:
        mode = str(evaluated.at(place, ("output_voltage",)).mode[0])
        return Corner(shown, mode, worst.corner), None
    full, missing = known_point(points.circuit, values)
    evaluate = evaluated.solution.evaluate
    numbers = None
    if not missing and evaluate is not None:
        numbers = evaluate({name: float(value) for name, value in full.items()})
    return Corner(shown, "" if numbers is None else numbers.mode, worst.corner), numbers


def formula_of(mode: Mode | None, name: str) -> Expr | None:
    """The formula of a result of the table in a mode; ``None`` where it has none."""
    if mode is None:
        return None
    group, _, part = name.partition(".")
    if group == "stress":
        part, _, key = part.rpartition(".")
        stress = mode.stress.get(part)
        found: Expr | None = None if stress is None else getattr(stress, key)
        return found
    if part:
        table: dict[str, Expr | None] = getattr(mode, group, {})  # estimates have none
        return table.get(part)
    return getattr(mode, group, None)
