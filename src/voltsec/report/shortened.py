"""A solution for people: what repeats in long formulas is named once.

Results of a lossy mode of continuous conduction are those of the ideal stage over ``Delta`` (one plus a
term for each resistance), stress and ripple are told by coil currents and capacitor voltages, the
boundary is called ``K_crit``.  In other modes sums that come back in several formulas get names
q1, q2 ...  Programs read the explicit formulas (:mod:`voltsec.report.machine`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from sympy import Add, Expr, Pow, Symbol, preorder_traversal

from voltsec.steady.correction import CorrectedForm, corrected
from voltsec.steady.losses import losses
from voltsec.steady.modes import ModeBuilder
from voltsec.steady.small import small_symbols
from voltsec.steady.solution import Mode, Solution, Stress
from voltsec.steady.states import StateBuilder, serves
from voltsec.tableau.expression import symbol

LONG_SUM = 12
"""Operations of a sum from which it is named where it comes back."""

LONG_EDGE = 12
"""Operations of a boundary from which it is named."""


def shortened(solution: Solution) -> Solution:
    """``solution`` with the formulas of lossy modes shortened; itself where nothing is lossy."""
    if not small_symbols(solution.circuit):
        return solution
    builders = dict(solution.engine.builders)
    modes = tuple(_mode(mode, builders.get(mode.name)) for mode in solution.modes)
    return replace(solution, modes=modes)


def _mode(mode: Mode, builder: ModeBuilder | None) -> Mode:
    if builder is None:
        return mode
    taken = {str(s) for q in builder.circuit.quantities for s in [q.symbol]} | set(mode.definitions)
    told = corrected(builder)
    if told is not None and isinstance(told.form, CorrectedForm):
        taken.add(told.form.name)
        definitions = mode.definitions | {told.form.name: told.form.denominator}
        mode = replace(mode, **told.averages(), definitions=definitions)
    if serves(builder):
        states = StateBuilder(builder)
        mode = replace(
            mode,
            ripple=states.ripple(),
            stress=states.stress(),
            losses=losses(states),
            states=states.names,
            # the states are rows of the results, so they need no definition besides
            definitions={n: e for n, e in mode.definitions.items() if n not in states.names},
        )
    mode = _with_edge_named(mode, taken)
    return _with_repeats_named(mode, taken)


def _with_edge_named(mode: Mode, taken: set[str]) -> Mode:
    """``K >= K_crit`` in place of a long expression."""
    edge = mode.boundary.get("K")
    name = "K_crit"
    if edge is None or mode.holds_when is None or edge.count_ops() < LONG_EDGE or name in taken:
        return mode
    region = _replaced(mode.holds_when, {edge: symbol(name)})
    if symbol(name) not in region.free_symbols:
        return mode
    boundary = {name if key == "K" else key: value for key, value in mode.boundary.items()}
    return replace(mode, holds_when=region, boundary=boundary)


def _with_repeats_named(mode: Mode, taken: set[str]) -> Mode:
    """Long sums that stand in several formulas as q1, q2 ..."""
    counts: Counter[Expr] = Counter()
    for expression in _expressions(mode):
        for node in set(_sums(expression)):
            counts[node] += 1
    repeated = [node for node, count in counts.items() if count > 1 and node.count_ops() >= LONG_SUM]
    repeated.sort(key=lambda node: (-node.count_ops(), str(node)))
    names: dict[Expr, Symbol] = {}
    number = 0
    for node in repeated:
        inner = [other for other in names if other != node and other.has(node)]
        outside = counts[node] - sum(counts[other] - 1 for other in inner)
        if outside < 2:
            continue  # it stands only within what is named already
        number += 1
        while f"q{number}" in taken:
            number += 1
        names[node] = symbol(f"q{number}")
    if not names:
        return mode
    definitions = {
        str(name): _replaced(node, {n: s for n, s in names.items() if n != node})
        for node, name in names.items()
    }
    found: dict[str, Any] = {
        key: _replaced(getattr(mode, key), names)
        for key in ("gain", "output_voltage", "efficiency", "holds_when")
    }
    found |= {
        key: {part: _replaced(e, names) for part, e in getattr(mode, key).items()}
        for key in (
            "capacitor_voltages",
            "inductor_currents",
            "source_currents",
            "ripple",
            "losses",
            "boundary",
        )
    }
    stress = {
        part: Stress(**{k: _replaced(e, names) for k, e in vars(entry).items()})
        for part, entry in mode.stress.items()
    }
    own = {name: _replaced(e, names) for name, e in mode.definitions.items()}
    return replace(mode, **found, stress=stress, definitions=own | definitions)


def _expressions(mode: Mode) -> Iterable[Expr]:
    groups: tuple[Mapping[str, Expr | None], ...] = (
        mode.capacitor_voltages,
        mode.inductor_currents,
        mode.source_currents,
        mode.ripple,
        mode.losses,
    )
    found: list[Any] = [mode.gain, mode.output_voltage, mode.efficiency]
    found += [e for group in groups for e in group.values()]
    found += [e for entry in mode.stress.values() for e in vars(entry).values()]
    found += mode.definitions.values()
    return [e for e in found if e is not None]


def _sums(expression: Expr) -> Iterable[Expr]:
    """Sums without quotients in them: what stands above or below a long fraction."""
    for node in preorder_traversal(expression):
        if isinstance(node, Add) and not any(p.exp.is_negative for p in node.atoms(Pow)):
            yield node


def _replaced(expression: Any, names: Mapping[Any, Any]) -> Any:
    return None if expression is None else expression.xreplace(names)
