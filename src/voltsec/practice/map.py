"""Which mode holds where: the modes of a solution over the duty and one more symbol.

Every cell is asked of the exact sign conditions at that very point; where no mode passes them the
cell is not determined.  Closed boundaries of the modes come along as curves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
from sympy import Basic, Expr, lambdify

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.graph import references
from voltsec.circuit.spelling import hint_among
from voltsec.formulas.compiled import CompiledMode, compile_mode
from voltsec.formulas.engine import engine_of
from voltsec.periodic.complementarity import PeriodicProblem, grows_with_trace
from voltsec.periodic.effective import load_symbol
from voltsec.periodic.points import base_point, operating_point
from voltsec.periodic.row_mode import RowMode, row_mode
from voltsec.periodic.stages import stages_of
from voltsec.results.solution import Solution
from voltsec.tableau.expression import symbol

NOT_DETERMINED = -1
NO_STEADY_STATE = -2
LEAST_SPAN = 30.0
"""A logarithmic axis reaches at least so far to both sides of the value in the netlist."""

BEYOND = 3.0
"""And so far beyond a boundary."""

LARGEST_SPAN = 1e5
BLOCKS = (12, 8)
"""What no mode claims is asked of the exact equations on so coarse a grid."""

SHORTEST = 3
"""Points below which a piece of a boundary is not worth drawing."""

EDGE = 0.002
"""A curve is kept where modes differ this far to both sides of it (share of the value, or of the axis)."""


@dataclass(frozen=True)
class Axis:
    """One axis: a symbol (or K) from ``low`` to ``high``, SI units."""

    name: str
    unit: str
    low: float
    high: float
    logarithmic: bool
    definition: Expr | None = None
    """What a named quantity such as K stands for."""

    def centres(self, count: int) -> np.ndarray:
        """Middles of ``count`` cells."""
        return self.at((np.arange(count) + 0.5) / count)

    def edges(self, count: int) -> np.ndarray:
        """Bounds of ``count`` cells."""
        return self.at(np.arange(count + 1) / count)

    def at(self, share: np.ndarray) -> np.ndarray:
        """Values at shares 0 to 1 of the axis."""
        if self.logarithmic:
            return np.asarray(self.low * (self.high / self.low) ** share)
        return self.low + (self.high - self.low) * share

    def share(self, value: float) -> float:
        """Where a value lies on the axis, 0 to 1."""
        if self.logarithmic:
            return float(np.log(value / self.low) / np.log(self.high / self.low))
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Curve:
    """A closed boundary of one mode, ``y`` over ``x`` (nan where it bounds nothing)."""

    mode: str
    formula: Expr
    x: np.ndarray
    y: np.ndarray


@dataclass(frozen=True)
class RegionMap:
    """The modes over two axes; ``cells[row, column]`` indexes ``names``, rows from the low end of y."""

    solution: Solution
    x: Axis
    y: Axis
    names: tuple[str, ...]
    cells: np.ndarray
    curves: tuple[Curve, ...]
    point: tuple[float, float] | None
    """The operating point, where the netlist gives one."""
    fixed: dict[str, float]
    """Other duties and what they are held at."""
    coarse: tuple[str, ...]
    """Modes whose region is known on a coarse grid only."""
    runaway: tuple[str, ...]
    """Coils and capacitors that grow without limit where there is no steady state."""


def region_map(
    solution: Solution, over: str | None = None, duty: str | None = None, columns: int = 200, rows: int = 140
) -> RegionMap:
    """The modes of ``solution`` over ``duty`` (default: the first) and ``over`` (default: K, else the load).

    Raises ValueError where a symbol does not exist or cannot be an axis.
    """
    field = Field(solution, over, duty)
    axes = (field.x.name, field.y.name)
    cells = field.modes(columns, rows)
    present = [n for n in range(len(field.names)) if (cells == n).any()]
    renumbered = np.where(cells < 0, cells, NOT_DETERMINED)
    for place, number in enumerate(present):
        renumbered[cells == number] = place
    return RegionMap(
        solution,
        field.x,
        field.y,
        tuple(field.names[n] for n in present),
        renumbered,
        field.curves(),
        field.marked(),
        {name: field.base[name] for name in solution.circuit.timing_symbols if name not in axes},
        tuple(field.names[n] for n in present if n in field.coarse),
        tuple(sorted(field.runaway)),
    )


Boundary = tuple[str, Expr, Callable[[np.ndarray], np.ndarray]]
"""Mode, formula, and the swept symbol's values over the duty."""


class Field:
    """The plane of two symbols with everything else at the operating point."""

    def __init__(self, solution: Solution, over: str | None, duty: str | None) -> None:
        self.solution = solution
        self.circuit: Circuit = solution.circuit
        self.base = base_point(self.circuit)
        self.engine = engine_of(solution)
        self.names = [*(n for n, _ in self.engine.builders), *(n for n, _ in self.engine.numeric)]
        self.x = self._duty_axis(duty)
        k_name, definition = self._named_k()
        usual = k_name or load_symbol(self.circuit)
        if usual is None:
            usual = next((load.quantity.symbol for load in self.circuit.loads), "T")
        name = over if over is not None else usual
        if name == self.x.name:
            raise ValueError(f"{name} is the horizontal axis already")
        self.swept = name
        self.runaway: set[str] = set()
        self.coarse: set[int] = set()
        """Modes (places in ``names``) that were asked block by block."""
        self.product: float | None = None
        """K times the load resistance, ohm, where the axis is K and the load is swept for it."""
        units = {quantity.symbol: quantity.unit for quantity in self.circuit.quantities}
        if name == k_name and definition is not None:
            self.swept = load_symbol(self.circuit) or ""
            self.product = float(self._values(definition, {}, {})) * self.base[self.swept]
        elif name not in units:
            raise ValueError(_no_symbol(name, [*([k_name] if k_name else []), *units]))
        unit = "1" if self.product is not None else units[name]
        self.boundaries = self._boundaries()
        self.y = self._other_axis(name, unit, definition if self.product is not None else None)

    def _duty_axis(self, duty: str | None) -> Axis:
        duties = self.circuit.duty_symbols
        if not duties:
            raise ValueError("no switch has a duty: there is nothing to draw over")
        if duty is not None and duty not in duties:
            raise ValueError(f"{duty!r} is no duty of this circuit; there is {', '.join(duties)}")
        return Axis(duty or duties[0], "1", 0.0, 1.0, False)

    def _named_k(self) -> tuple[str | None, Expr | None]:
        """The named quantity 2*Le/(R*T) of the first mode that has one."""
        known = {quantity.symbol for quantity in self.circuit.quantities}
        load = load_symbol(self.circuit)
        for mode in self.solution.modes:
            for name, value in mode.definitions.items():
                named = name.startswith("K") and name not in known
                if named and load in {str(s) for s in value.free_symbols}:
                    return name, value
        return None, None

    def _other_axis(self, name: str, unit: str, definition: Expr | None) -> Axis:
        if name in self.circuit.timing_symbols:
            return Axis(name, "1", 0.0, 1.0, False)
        centre = self._shown(self.base[self.swept])
        seen = [centre / LEAST_SPAN, centre * LEAST_SPAN]
        for _, _, values in self.boundaries:
            shown = self._shown(values(np.linspace(0.05, 0.95, 19)))
            good = shown[np.isfinite(shown) & (shown > 0)]
            if good.size:
                seen += [good.min() / BEYOND, good.max() * BEYOND]
        low, high = max(min(seen), centre / LARGEST_SPAN), min(max(seen), centre * LARGEST_SPAN)
        return Axis(name, unit, float(low), float(high), True, definition)

    def _shown(self, value: Any) -> Any:
        """The axis value at a value of the swept symbol, or the other way round (K times R is constant)."""
        with np.errstate(divide="ignore"):  # a boundary that reaches zero lies beyond the axis
            return value if self.product is None else self.product / value

    def marked(self) -> tuple[float, float] | None:
        """The operating point on the axes."""
        point = operating_point(self.circuit)
        if point is None:
            return None
        return point[self.x.name], float(self._shown(point[self.swept]))

    def modes(self, columns: int, rows: int) -> np.ndarray:
        """Which of ``names`` holds in each cell."""
        x, y = np.meshgrid(self.x.centres(columns), self.y.centres(rows))
        found = self._holding(x.ravel(), y.ravel())
        cells = found.reshape(rows, columns)
        if (cells == NOT_DETERMINED).any():
            self._ask_in_blocks(cells)
        return cells

    def _holding(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        points = self._points(x, y)
        found = np.full(len(x), NOT_DETERMINED)
        for slack in (False, True):  # between the edges of two modes one with slack takes the point
            for number, mode in enumerate(self._ready):
                left = np.flatnonzero(found == NOT_DETERMINED)
                allowed = getattr(mode, "slack", 0.0) if slack else 0.0
                if not left.size or (slack and not allowed):
                    continue
                here = self._held | {name: points[name][left] for name in self._varied}
                if isinstance(mode, CompiledMode):
                    mask, _ = mode.holds(here, left.size, allowed)
                else:
                    mask, _ = mode.holds(here, left.size)
                found[left[mask]] = number
        return found

    @cached_property
    def _varied(self) -> tuple[str, ...]:
        """Symbols that differ from cell to cell."""
        pairs = {c.symbol: (c.first, c.second) for c in self.circuit.couplings}
        changed = [m for m, pair in pairs.items() if self.swept in [self._symbol(part) for part in pair]]
        return (self.x.name, self.swept, *(m for m in changed if m in self.base))

    @cached_property
    def _held(self) -> dict[str, float]:
        """Values of all other symbols."""
        return {name: value for name, value in self.base.items() if name not in self._varied}

    @cached_property
    def _ready(self) -> tuple[CompiledMode | RowMode, ...]:
        """All modes, ready for many cells."""
        return (
            *(compile_mode(name, builder, self._held, ()) for name, builder in self.engine.builders),
            *(row_mode(name, mode, self._held, ()) for name, mode in self.engine.numeric),
        )

    def _symbol(self, part: str) -> str:
        return self.circuit.element(part).quantities[0].symbol

    def _points(self, x: np.ndarray, y: np.ndarray) -> dict[str, np.ndarray]:
        points = {name: np.full(len(x), value) for name, value in self.base.items()}
        points[self.x.name] = x
        points[self.swept] = self._shown(y)
        quantities = {quantity.symbol: quantity for quantity in self.circuit.quantities}
        for coupling in self.circuit.couplings:  # a coil that changes keeps its coefficient
            pair = [self._symbol(part) for part in (coupling.first, coupling.second)]
            if self.swept in pair and coupling.symbol in quantities:
                share = points[self.swept] / self.base[self.swept]
                points[coupling.symbol] = self.base[coupling.symbol] * np.sqrt(share)
        return points

    def _ask_in_blocks(self, cells: np.ndarray) -> None:
        """What no mode claims, asked once a block: the exact equations of modes without formulas, and
        whether there is a steady state."""
        rows, columns = cells.shape
        across = np.array_split(np.arange(columns), min(BLOCKS[0], columns))
        along = np.array_split(np.arange(rows), min(BLOCKS[1], rows))
        x, y = self.x.centres(columns), self.y.centres(rows)
        for block in along:
            for strip in across:
                inside = cells[np.ix_(block, strip)]
                places = np.argwhere(inside == NOT_DETERMINED)
                if not len(places):
                    continue
                row, column = places[len(places) // 2]
                arrays = self._points(x[strip[column : column + 1]], y[block[row : row + 1]])
                answer = self._ask({name: float(value[0]) for name, value in arrays.items()})
                if answer >= 0:
                    self.coarse.add(answer)
                inside[inside == NOT_DETERMINED] = answer
                cells[np.ix_(block, strip)] = inside

    def _ask(self, point: dict[str, float]) -> int:
        """The mode at one point that no formula claims."""
        first = len(self.engine.builders)
        for number, (_, mode) in enumerate(self.engine.numeric):
            if mode.holds(point):
                return first + number
        for stages in stages_of(self.circuit):
            lengths = np.array(stages.fractions(point))
            if (lengths <= 0).any():
                continue
            problem = PeriodicProblem(self.circuit, references(self.circuit), stages.closed, point)
            grows = grows_with_trace(problem, lengths)
            if grows:
                self.runaway.update(grows)
                return NO_STEADY_STATE
        return NOT_DETERMINED

    def _boundaries(self) -> list[Boundary]:
        """Every closed boundary of the swept symbol."""
        found: list[Boundary] = []
        for mode in self.solution.modes:
            formula = mode.boundary.get(self.swept)
            if formula is None:
                continue
            whole = _in_full(formula, mode.definitions)
            if {str(s) for s in whole.free_symbols} <= set(self.base) - {self.swept}:
                found.append((mode.name, formula, partial(self._along, whole)))
        return found

    def _along(self, expression: Expr, duties: np.ndarray) -> np.ndarray:
        return np.broadcast_to(self._values(expression, {}, {self.x.name: duties}), duties.shape)

    def _values(
        self, expression: Expr, definitions: Mapping[str, Expr], changed: Mapping[str, np.ndarray]
    ) -> Any:
        """An expression's values at the operating point with some symbols changed."""
        whole = _in_full(expression, definitions)
        names = sorted(str(s) for s in whole.free_symbols)
        function = lambdify([symbol(name) for name in names], whole, "numpy")
        with np.errstate(all="ignore"):
            return function(*(changed.get(name, self.base[name]) for name in names))

    def curves(self) -> tuple[Curve, ...]:
        """Closed boundaries where they part two modes; of two that coincide, one."""
        found: list[Curve] = []
        x = np.linspace(0.005, 0.995, 199)
        for mode, formula, values in self.boundaries:
            y = self._shown(values(x)).astype(float)
            inside = np.isfinite(y) & (y > self.y.low) & (y < self.y.high)
            y = np.where(inside, y, np.nan)
            if not inside.any():
                continue
            own = self.names.index(mode)
            low, high = (self._holding(x[inside], y[inside] * factor) for factor in (1 - EDGE, 1 + EDGE))
            parts = (low != high) & ((low == own) | (high == own))
            y[inside] = np.where(parts, y[inside], np.nan)
            if parts.sum() < SHORTEST or any(np.allclose(y, c.y, rtol=1e-6, equal_nan=True) for c in found):
                continue
            found.append(Curve(mode, self._stated(mode, formula), x, y))
        return tuple(found)

    def _stated(self, mode: str, formula: Expr) -> Expr:
        """The boundary of K itself where the axis is K, else the formula of the swept symbol."""
        if self.product is None:
            return formula
        own = next(m for m in self.solution.modes if m.name == mode)
        return own.boundary.get(self.y.name, formula)


def _in_full(expression: Basic, definitions: Mapping[str, Expr]) -> Expr:
    """``expression`` with named quantities written out."""
    for _ in definitions:
        named = {s: definitions[str(s)] for s in expression.free_symbols if str(s) in definitions}
        if not named:
            break
        expression = expression.xreplace(named)
    return expression


def _no_symbol(name: str, known: list[str]) -> str:
    return f"no symbol is called {name!r}; {hint_among(name, known)}"
