"""Formulas of a circuit with parts that settle at once: those of the rest, and what the steps cost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

import numpy as np
import sympy
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.circuit.elements import Resistor
from voltsec.circuit.quasi_static import QuasiStatic, Settled
from voltsec.formulas.engine import engine_of
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.pointwise import worked_out
from voltsec.results.solution import Mode, Numbers, Solution, Stress
from voltsec.results.table import results_of
from voltsec.tableau.expression import symbol

OPEN = Stress()
SHORT_OPERATIONS = 150
"""What is added to the power given is reduced where it is shorter."""
LONGEST_FACTORED = 500
"""Operations up to which the squares of a capacitor's steps are put into factors."""
LONGEST_SWING = 60
"""Terms of a voltage up to which its swing is written."""


def with_settled(answer: Solution, circuit: Circuit, rest: QuasiStatic) -> Solution:
    """``answer`` for the rest of ``circuit`` as one for all of it; the notes say what was assumed."""
    builders = dict(engine_of(answer).builders)
    modes = tuple(
        in_time(partial(_mode, mode, builders.get(mode.name), circuit, rest))
        or _mode(mode, None, circuit, rest)
        for mode in answer.modes
    )
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    warnings = (*_notes(rest), *answer.warnings)
    return replace(answer, circuit=circuit, modes=modes, symbols=units | answer.symbols, warnings=warnings)


def formula_numbers(
    numbers: Numbers, modes: Mapping[str, Mode], circuit: Circuit, whole: Mapping[str, float]
) -> Numbers:
    """Numbers that the formulas of the rest come to, for all results of the whole circuit at ``whole``."""
    results = {name: numbers.results.get(name) for name in results_of(circuit)}
    mode = modes.get(numbers.mode)
    if mode is not None:
        point = {name: np.array([value]) for name, value in whole.items()}
        told = {f"losses.{part}": value for part, value in mode.losses.items()}
        told |= {f"capacitor_voltages.{part}": value for part, value in mode.capacitor_voltages.items()}
        told["efficiency"] = mode.efficiency
        for name, expression in told.items():
            if name in results and (results[name] is None or name == "efficiency") and expression is not None:
                results[name] = _value(expression, mode, point)
    return replace(numbers, point=dict(whole), results=results)


def _value(expression: Expr, mode: Mode, point: dict[str, np.ndarray]) -> float | None:
    if expression.has(sympy.nan, sympy.zoo, sympy.oo):
        return None
    try:
        with np.errstate(all="ignore"):
            value = float(np.ravel(worked_out(expression, mode.definitions, point))[0])
    except KeyError:  # a share that only the mode's equations fix
        return None
    return value if np.isfinite(value) else None


def _mode(mode: Mode, builder: ModeBuilder | None, circuit: Circuit, rest: QuasiStatic) -> Mode:
    losses = dict(mode.losses)
    told = True
    voltages, ripple, stress = dict(mode.capacitor_voltages), dict(mode.ripple), dict(mode.stress)
    for one in rest.capacitors:
        voltages[one.name] = ripple[one.name] = None
        stress[one.name] = replace(OPEN, current_average=sympy.Integer(0))
        resistors = [name for name in one.branch if isinstance(circuit.element(name), Resistor)]
        for name in one.branch:
            stress[name] = stress[one.name]
        if builder is None:
            losses |= dict.fromkeys(resistors)
            told = False
            continue
        row = dict(builder.balance.network.voltage(one.start, one.end))
        waveform = builder.waveforms.of(row)
        average = builder.waveforms.average_of_free(row)
        voltages[one.name] = None if average is None else builder.form.expression(average)
        ripple[one.name] = builder.extremes.swing(waveform, LONGEST_SWING)
        stress[one.name] = replace(stress[one.name], voltage_peak=builder.extremes.peak(waveform))
        lost = _lost(builder, one, circuit)
        told = told and lost is not None
        losses |= dict.fromkeys(resistors) | {(resistors or [one.name])[0]: lost}
    for name in rest.inductors:
        ripple[name], stress[name] = None, OPEN
        voltages.pop(name, None)
    order = [element.name for element in circuit.elements]
    added = [losses[name] for name in losses if name not in mode.losses]
    return replace(
        mode,
        capacitor_voltages={c.name: voltages[c.name] for c in circuit.capacitors},
        inductor_currents=mode.inductor_currents | dict.fromkeys(rest.inductors),
        ripple=ripple,
        stress={name: stress[name] for name in [*order, *stress] if name in stress},
        losses=losses,
        efficiency=_efficiency(mode, circuit, added) if told else None,  # not without what the steps cost
        intervals=tuple(
            replace(i, roles=i.roles | dict.fromkeys([c.name for c in rest.capacitors], "settled"))
            for i in mode.intervals
        ),
    )


def _lost(builder: ModeBuilder, one: Settled, circuit: Circuit) -> Expr | None:
    """Half of C*(step)**2 for every step of the voltage, per period.

    Without a resistor of its own the capacitor is charged by inductors, which costs nothing, unless a switch
    closes: that shorts it to its new voltage.
    """
    balance = builder.balance
    row = dict(balance.network.voltage(one.start, one.end))
    count = len(balance.sequence.intervals)
    levels = [balance.value(k, row, "average") for k in range(count)]
    total: Expr = sympy.Integer(0)
    conducting = [interval.conducting for interval in balance.sequence.intervals]
    switches = {switch.name for switch in circuit.switches}
    for k, level in enumerate(levels):
        after = (k + 1) % count
        following = levels[after]
        if level is None or following is None:
            return None
        closes = switches & (conducting[after] - conducting[k])
        if level != following and (one.branch or closes):
            total += (builder.form.expression(level) - builder.form.expression(following)) ** 2
    farad = symbol(circuit.element(one.name).quantities[0].symbol)
    steps = sympy.factor(total) if total.count_ops() <= LONGEST_FACTORED else total
    return steps * farad / (2 * symbol("T"))


def _efficiency(mode: Mode, circuit: Circuit, added: list[Expr | None]) -> Expr | None:
    """What is taken over what is given, with ``added`` losses given as well."""
    load = next((one for one in circuit.loads if one.name == circuit.output.element), None)
    known = [loss for loss in added if loss is not None]
    if not known:
        return mode.efficiency
    if mode.efficiency is None or not mode.output_voltage or len(circuit.loads) != 1 or load is None:
        return None  # without output power there is none
    value = symbol(load.quantity.symbol)
    power = mode.output_voltage**2 / value if load.kind == "load" else abs(mode.output_voltage) * value
    share = sympy.Add(*known) / power
    if sympy.count_ops(share) < SHORT_OPERATIONS:
        share = sympy.factor(share)
    if isinstance(mode.efficiency, sympy.Piecewise):
        cases = [(_with_share(one, share), when) for one, when in mode.efficiency.args]
        return sympy.Piecewise(*cases, evaluate=False)
    return _with_share(mode.efficiency, share)


def _with_share(efficiency: Expr, share: Expr) -> Expr:
    """Efficiency where ``share`` of what is taken is lost as well."""
    return sympy.Integer(0) if efficiency.is_zero else 1 / (1 / efficiency + share)


def _notes(rest: QuasiStatic) -> list[str]:
    lines = []
    for one in rest.capacitors:
        parts = ", ".join((*one.branch, one.name))
        cost = "each time a switch closes onto it costs C·V²/2"
        if one.branch:
            cost = "every step of its voltage costs C·ΔV²/2, which is C·V²·f where it goes up and down by V"
        lines.append(
            f"at the given values {one.name} settles within every interval: formulas leave {parts} out "
            f"(average current zero; {cost}); the numbers have it all"
        )
    for name in rest.inductors:
        lines.append(
            f"at the given values {name} settles within every interval: formulas take it for a wire; the "
            "numbers have it all"
        )
    return lines
