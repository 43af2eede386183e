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
from functools import partial
from typing import Any

from sympy import Add, And, Basic, Expr, Ge, Max, Pow, Symbol
from sympy.logic.boolalg import Boolean

from voltsec.circuit.computing_time import go_on, in_time, limited
from voltsec.formulas.correction import corrected
from voltsec.formulas.first_order import FirstOrder
from voltsec.formulas.mode_formulas import AVERAGES, BESIDE
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.states import StateBuilder, states_of
from voltsec.results.solution import Mode, Solution, Stress
from voltsec.tableau import lengths
from voltsec.tableau.expression import symbol

ORDERS = 4.0
"""Seconds for leading orders: what takes longer is too long to be read."""
SHORT_AVERAGES = ("gain", "output_voltage", "inductor_currents", "source_currents")
"""What is told over ``Delta`` also where the rest would take long to write."""
SAME = 1e-6
"""Relative difference up to which two numbers are one."""


def shortened(solution: Solution) -> Solution:
    """``solution`` with the formulas of lossy modes shortened; itself where nothing is lossy."""
    if not solution.circuit.parasitics:
        return solution
    builders = dict(solution.engine.builders)
    modes = tuple(in_time(partial(_mode, mode, builders.get(mode.name))) or mode for mode in solution.modes)
    return replace(solution, modes=modes)


def leading_orders(solution: Solution) -> dict[str, FirstOrder]:
    """Leading orders of a lossy stage's modes without closed form: the others can be read as they are."""
    with limited(ORDERS):
        found = [(mode.name, leading_order(solution, mode)) for mode in solution.modes]
    return {name: order for name, order in found if order is not None}


def leading_order(solution: Solution, mode: Mode) -> FirstOrder | None:
    """Leading order of a lossy stage's mode without closed form, None where there is none or it is long."""
    if mode.closed_form or not solution.circuit.parasitics:
        return None
    with limited(ORDERS):
        found: FirstOrder | None = solution.engine.first_order(mode.name)
        return found


def _mode(mode: Mode, builder: ModeBuilder | None) -> Mode:
    if builder is None:
        return mode
    taken = {quantity.symbol for quantity in builder.circuit.quantities} | set(mode.definitions)
    told = corrected(builder)
    if told is not None:
        taken.add(told.named.name)
        definitions = mode.definitions | {told.named.name: told.named.denominator}
        # what takes long to write stays as the mode has it, told by its states
        groups = SHORT_AVERAGES if builder.length > lengths.EXPLICIT else AVERAGES
        mode = replace(mode, **told.fields(groups), definitions=definitions)
    states = states_of(builder)
    if states is not None:
        mode = replace(
            mode,
            capacitor_voltages=_voltages(mode, states),
            **states.fields(BESIDE),
            states=states.names,
            # the states are rows of the results, so they need no definition besides
            definitions={n: e for n, e in mode.definitions.items() if n not in states.names},
        )
    mode = _with_edge_named(mode, taken, states)
    return _with_repeats_named(mode, taken)


def _voltages(mode: Mode, states: StateBuilder) -> dict[str, Expr | None]:
    """Long capacitor voltages in terms of the coil currents."""
    found = dict(mode.capacitor_voltages)
    for name, voltage in found.items():
        if voltage is not None and voltage.count_ops() > lengths.VOLTAGE_SHOWN:
            shorter = states.voltage_by_currents(name)
            if shorter is not None and shorter.count_ops() < voltage.count_ops():
                found[name] = shorter
    return found


def _with_edge_named(mode: Mode, taken: set[str], states: StateBuilder | None) -> Mode:
    """Where a current runs dry told by the states, or as ``K >= K_crit``, in place of a long expression.

    Boundaries of more operations than :mod:`voltsec.tableau.lengths` allows are left out (JSON has them).
    """
    edge = mode.boundary.get("K")
    region, boundary = mode.holds_when, mode.boundary
    if edge is not None and region is not None and edge.count_ops() >= lengths.NAMED:
        bounds = [part for part in And.make_args(region) if part.has(edge)]
        dry = None if states is None or len(bounds) != 1 else _runs_dry(mode, edge, states)
        if dry is not None:
            region = region.xreplace({bounds[0]: dry})
        elif "K_crit" not in taken:
            region = region.xreplace({edge: symbol("K_crit")})
            boundary = {"K_crit" if key == "K" else key: value for key, value in boundary.items()}
    kept = {
        k: value for k, value in boundary.items() if k == "K_crit" or value.count_ops() <= lengths.EDGE_SHOWN
    }
    return replace(mode, holds_when=region, boundary=kept)


def _runs_dry(mode: Mode, edge: Expr, states: StateBuilder) -> Boolean | None:
    """The diode current that reaches zero at K = ``edge``: mean at least half the rise."""
    found = states.explicit.found
    values = {symbol(n): v for n, v in found.witness.items() if not n.startswith("#")}
    limit = float((mode.definitions["K"] / edge).subs(values))
    balance = states.states
    for diode in states.circuit.diodes:
        current = states.waveforms.current(("i", diode.name))
        for k, interval in enumerate(balance.sequence.intervals):
            mean, ramp = current.means[k], current.ramps[k]
            if diode.name not in interval.conducting or mean is None or ramp is None or ramp.is_zero:
                continue
            point = states.witness
            middle, half = (r.value(balance.ring, point) for r in (mean, ramp))
            if abs(abs(half) * limit - middle) < SAME * abs(middle):
                rise = ramp.times(2 if half > 0 else -2)
                return Ge(states.form.expression(mean), states.form.expression(rise) / 2, evaluate=False)
    return None


def _with_repeats_named(mode: Mode, taken: set[str]) -> Mode:
    """Long sums that stand in several formulas as q1, q2 ..."""
    counts: Counter[Expr] = Counter()
    divided: dict[Basic, bool] = {}
    for expression in _expressions(mode):
        counts.update(_sums(expression, divided))
    repeated = [node for node, count in counts.items() if count > 1 and node.count_ops() >= lengths.NAMED]
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


def _sums(expression: Expr, divided: dict[Basic, bool]) -> Iterable[Expr]:
    """Sums without quotients in them, each once: what stands above or below a long fraction.

    ``divided`` keeps of every part whether there is a quotient in it.
    """
    met: dict[Basic, None] = {}

    def visit(node: Basic) -> None:
        if node in met:
            return
        go_on()
        met[node] = None
        for part in node.args:
            visit(part)
        if node not in divided:
            below = isinstance(node, Pow) and bool(node.exp.is_negative)
            divided[node] = below or any(divided[part] for part in node.args)

    visit(expression)
    return (node for node in met if isinstance(node, Add) and not divided[node])


def _replaced(expression: Any, names: Mapping[Any, Any]) -> Any:
    """``expression`` with sums named; the largest of several is not worked out anew."""
    go_on()
    if expression is None or not isinstance(expression, Basic):
        return expression
    if expression in names:
        return names[expression]
    parts = [_replaced(part, names) for part in expression.args]
    if all(part is old for part, old in zip(parts, expression.args, strict=True)):
        return expression
    if isinstance(expression, Max):
        return Max(*parts, evaluate=False)
    return expression.func(*parts)
