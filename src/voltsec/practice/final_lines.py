"""The end of a derivation: output voltage, the closed root of the unknown fraction, the gain."""

from __future__ import annotations

import sympy
from sympy import Expr, Mul, Pow

from voltsec.formulas.root_forms import Root
from voltsec.practice.algebra import subtract, vanishes
from voltsec.practice.blackboard import Blackboard, numbers_text
from voltsec.practice.setting import Setting
from voltsec.practice.solving import Solver
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial

LONGEST_PROOF = 2000
"""Nodes of an expression with roots that is still proved zero symbolically."""


def write_result(setting: Setting, blackboard: Blackboard, solver: Solver, conditions: list[int]) -> None:
    """From the capacitor voltages to the gain (the output voltage where drops forbid a plain ratio)."""
    mode, circuit = setting.mode, setting.circuit
    blackboard.heading("Output voltage and gain" if mode.gain is not None else "Output voltage")
    target = mode.gain if mode.gain is not None else mode.output_voltage
    if target is None:
        blackboard.doubt("The output voltage is not determined by these equations.")
        return
    voltage = output_voltage(setting)
    number = blackboard.identity(
        symbol("V"),
        setting.board.write_linear(voltage),
        (f"the output voltage, from {circuit.output.start} to {circuit.output.end}",),
        voltage,
    )
    if number is None:
        return
    value, used = solver.value(voltage)
    cites = (number, *used)
    left: Expr = symbol("V")
    if mode.gain is not None:
        source = circuit.input.quantity.symbol
        left = Mul(symbol("V"), Pow(symbol(source), -1))
        value = value * Ratio(setting.board.ring.one, setting.board.ring.symbol(source))
    if setting.board.unknowns(value.numerator) or setting.board.unknowns(value.denominator):
        blackboard.doubt("The lines above do not determine the output voltage.")
        return
    if setting.discontinuous:
        cites += tuple(_write_root(setting, blackboard, conditions))
    if not reaches(setting, value, target):
        blackboard.doubt(
            "That these lines end in the solver's ", left, " = ", target, " could not be verified."
        )
        return
    blackboard.result(left, target, (f"from {numbers_text(cites)}",), cites)


def output_voltage(setting: Setting) -> Ratio:
    """The output's average over the period; a single term where it is the same in every interval."""
    output = setting.circuit.output
    values = [
        setting.value(k, dict(setting.locals[k].network.voltage(output.start, output.end)))
        for k in range(setting.count)
    ]
    if all(subtract(value, values[0]).is_zero for value in values[1:]):
        return values[0]
    total = Ratio(setting.board.ring.zero, setting.board.ring.one)
    for fraction, value in zip(setting.fractions, values, strict=True):
        total = total + (value * fraction)
    return total


def _write_root(setting: Setting, blackboard: Blackboard, conditions: list[int]) -> list[int]:
    """K's definition and the closed roots, each checked in its own equation."""
    form = setting.form
    numbers = list(conditions)
    if form.effective is not None:
        definition = setting.mode.definitions.get(form.k_name)
        if definition is not None:
            # a definition needs no proof; that it turns the condition into K's is checked with the root
            numbers.append(blackboard.note(symbol(form.k_name), definition, ("defined for short",), ()))
    for root in form.roots or ():
        if not root_holds(setting, root):
            blackboard.doubt("The root for ", symbol(root.name), " could not be verified and is left out.")
            continue
        words = "the positive root" if form.ring.degree(root.polynomial, root.name) == 2 else "solved"
        with_numbers = f" of {numbers_text(numbers)}" if numbers else ""
        numbers.append(
            blackboard.note(symbol(root.name), root.expression, (words + with_numbers,), tuple(numbers))
        )
    if form.roots is None:
        blackboard.say("This equation has no closed root; the fraction stays as its solution.")
    return numbers


def root_holds(setting: Setting, root: Root) -> bool:
    """Put into the solver's condition, and that into the board's, the root leaves zero."""
    form = setting.form
    condition = form.writer.polynomial(root.polynomial)
    if not vanishes(condition.subs(symbol(root.name), root.expression), setting.board.point):
        return False
    shown = setting.board.take(root.polynomial, form.ring)
    if form.effective is None:
        return any((c // shown) * shown == c for c in setting.conditions)  # less factors without unknowns
    back = insert(setting.board.ring, Ratio(shown, setting.board.ring.one), form.k_name, _k_value(setting))
    return any(bool((back.numerator // c) * c == back.numerator) for c in setting.conditions)


def _k_value(setting: Setting) -> Ratio:
    """K as a ratio over the board's ring: its definition may be printed with roots of coupled inductances."""
    form, board = setting.form, setting.board
    assert form.effective is not None
    top, bottom = (board.take(p, form.ring) for p in form.effective.inductance.parts)
    return Ratio(2 * top, bottom * board.ring.symbol(form.effective.load) * board.ring.symbol("T"))


def period_by_k(setting: Setting) -> Ratio | None:
    """T expressed by K, where the mode has one."""
    if setting.form.effective is None:
        return None
    ring = setting.board.ring
    top, bottom = _k_value(setting).parts
    constant, linear = ring.coefficients(bottom, "T")
    if not constant.is_zero():
        return None
    return lowest_terms(top, linear * ring.symbol(setting.form.k_name))


def reaches(setting: Setting, value: Ratio, target: Expr) -> bool:
    """Whether ``value``, by way of the conditions on the fractions, equals the solver's formula."""
    board = setting.board
    printed = board.rational(target)
    if printed is None:
        return _reaches_root(setting, value, target)
    difference = subtract(value, printed).numerator
    if setting.zero(difference):
        return True
    period = period_by_k(setting)
    for way in (period, _period_of_condition(setting)):
        if way is None:
            continue
        residue = insert(board.ring, Ratio(difference, board.ring.one), "T", way).numerator
        conditions = [
            insert(board.ring, Ratio(c, board.ring.one), "T", way).numerator for c in setting.conditions
        ]
        if residue.is_zero() or any(not c.is_zero() and _multiple(residue, c) for c in conditions):
            return True
    return _reaches_root(setting, value, target)


def _multiple(polynomial: Polynomial, condition: Polynomial) -> bool:
    """Whether the factors of ``condition`` that hold an unknown fraction divide ``polynomial``."""
    return any(
        bool((polynomial // factor) * factor == polynomial)
        for factor, _ in condition.factor()[1]
        if not factor.is_constant() and len(factor) > 1
    )


def _period_of_condition(setting: Setting) -> Ratio | None:
    """T from one condition that is linear in it."""
    ring = setting.board.ring
    for condition in setting.conditions:
        if ring.degree(condition, "T") == 1:
            constant, linear = ring.coefficients(condition, "T")
            return lowest_terms(-constant, linear)
    return None


def _reaches_root(setting: Setting, value: Ratio, target: Expr) -> bool:
    """The same with the closed roots written out."""
    form = setting.form
    if not form.roots:
        return False
    period = period_by_k(setting)
    if period is not None:
        value = insert(setting.board.ring, value, "T", period)
    roots = {symbol(root.name): root.expression for root in form.roots}
    own = setting.board.write(value)
    for _ in roots:
        own, target = own.xreplace(roots), target.xreplace(roots)
    if period is not None and target.has(symbol("T")):
        target = target.xreplace({symbol("T"): setting.board.write(period)})
    difference = own - target
    if sum(1 for _ in sympy.preorder_traversal(difference)) > LONGEST_PROOF:
        return False
    return vanishes(difference, setting.board.point)
