"""The assumption looked at again: every diode's sign in every interval, and where the mode ends."""

from __future__ import annotations

from sympy import Expr, Mul

from voltsec.circuit.elements import Diode, Switch
from voltsec.periodic.balance import SignCondition
from voltsec.practice.algebra import subtract
from voltsec.practice.blackboard import Blackboard
from voltsec.practice.intervals import rise_name
from voltsec.practice.setting import Setting
from voltsec.practice.solving import Solver
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import Network, Row
from voltsec.tableau.ratio import Ratio, insert
from voltsec.tableau.ring import Polynomial, definite_sign, product

SHOWN_TERMS = 24
"""Longer values are told by their sign alone."""


def write_assumption(setting: Setting, blackboard: Blackboard, solver: Solver) -> None:
    """Each conducting diode's current and each blocking one's reverse voltage, with its sign."""
    if not setting.circuit.diodes:
        return
    blackboard.heading("Check of the assumption")
    averages = setting.discontinuous
    for k, interval in enumerate(setting.sequence.intervals):
        for diode in setting.circuit.diodes:
            conducts = diode.name in interval.conducting
            row = _row(setting, k, diode, conducts)
            mean = setting.value(k, row)
            solver_row = _solver_row(setting, diode, conducts)
            if averages:
                _ends(setting, blackboard, k, diode.name, conducts, solver_row)
                continue
            value, _used = solver.value(mean)
            expected = setting.balance.value(k, solver_row, "average")
            if expected is None or setting.board.unknowns(value.numerator):
                blackboard.say(f"Interval {k + 1}: how {diode.name} shares in it is not determined singly.")
                continue
            same = subtract(value, setting.from_balance(expected)).numerator
            if not setting.zero(same):
                blackboard.doubt(f"The sign of {diode.name} in interval {k + 1} could not be verified.")
                continue
            _tell(setting, blackboard, k, diode.name, conducts, expected, "")


def _row(setting: Setting, k: int, device: Switch | Diode, conducts: bool) -> Row:
    network = setting.locals[k].network
    return _device_row(network, device, conducts)


def _solver_row(setting: Setting, device: Switch | Diode, conducts: bool) -> Row:
    return _device_row(setting.balance.network, device, conducts)


def _device_row(network: Network, device: Switch | Diode, conducts: bool) -> Row:
    if conducts:
        return {("i", device.name): network.ring.one}
    return {u: -c for u, c in network.voltage(device.start, device.end)}


def _ends(setting: Setting, blackboard: Blackboard, k: int, name: str, conducts: bool, row: Row) -> None:
    """Values at both ends of the interval, from the solver's means and ramps."""
    mean, ramp, bend = (setting.balance.value(k, row, part) for part in ("mean", "ramp", "bend"))
    if mean is not None and bend is not None:
        mean = mean + bend  # halfway between the values at the ends
    if mean is None:
        blackboard.say(f"Interval {k + 1}: how {name} shares in it is not determined singly.")
        return
    if ramp is None or setting.form.divides(ramp.numerator):
        _tell(setting, blackboard, k, name, conducts, mean, "")
        return
    for sign, moment in ((-1, "at its start"), (1, "at its end")):
        _tell(setting, blackboard, k, name, conducts, mean + ramp.times(sign), moment)


def _tell(
    setting: Setting, blackboard: Blackboard, k: int, name: str, conducts: bool, ratio: Ratio, moment: str
) -> None:
    place = f"Interval {k + 1}{', ' + moment if moment else ''}: "
    what = f"{name} carries " if conducts else f"{name} takes in reverse "
    if setting.form.divides(ratio.numerator):
        blackboard.say(place, what, "nothing.")
        return
    if ratio.terms > SHOWN_TERMS:
        shown: tuple[str | Expr, ...] = ("a value too long to print",)
    else:
        shown = (setting.form.expression(ratio),)
    sure = ratio.sign == 1
    sign = ", positive." if sure else ", positive where the mode holds (below)."
    blackboard.say(place, what, *shown, sign)


def write_boundary(setting: Setting, blackboard: Blackboard, solver: Solver) -> None:
    """Where the smallest current, or the last interval, reaches zero."""
    mode = setting.mode
    if mode.holds_when is None and not mode.boundary:
        blackboard.heading("Region")
        blackboard.say("Every sign above holds for all duties between 0 and 1: the mode has no boundary.")
        return
    blackboard.heading("Boundary")
    edges: list[tuple[Ratio, int]] = []
    if not setting.discontinuous:
        for condition in setting.balance.sign_conditions:
            if condition.ratio.sign not in (0, 1):
                found = _valley(setting, blackboard, solver, condition)
                if found is not None:
                    edges.append(found)
    elif len(setting.form.unknown) == 1 and len(setting.conditions) == 1:
        ring = setting.board.ring
        name = setting.form.unknown[0]
        k = setting.sequence.unknown[0]
        whole = setting.fractions[k + 1] + Ratio(ring.symbol(name), ring.one)
        at_edge = insert(ring, Ratio(setting.conditions[0], ring.one), name, whole)
        blackboard.say(
            "The mode ends where its last interval vanishes, ",
            symbol(name),
            " = ",
            setting.share(k + 1) + symbol(name),
            "; its equation then reads:",
        )
        edge = _without_positive_factors(at_edge.numerator)
        shown = Mul(*(setting.board.writer.oriented(factor) for factor, _ in edge))
        value = Ratio(product([ring.one, *(factor for factor, _ in edge)]), ring.one)
        number = blackboard.balance(shown, ("the interval is gone",), value, ())
        if number is not None:
            edges.append((value, number))
    _edges(setting, blackboard, edges)
    if mode.holds_when is not None:
        proof = "proved" if mode.proved else "checked at sample values"
        blackboard.say("The mode holds when ", mode.holds_when, f" ({proof}).")


def _without_positive_factors(polynomial: Polynomial) -> list[tuple[Polynomial, int]]:
    """The factors that can be zero."""
    return [(factor, 1) for factor, _ in polynomial.factor()[1] if definite_sign(factor) is None]


def _valley(
    setting: Setting, blackboard: Blackboard, solver: Solver, condition: SignCondition
) -> tuple[Ratio, int] | None:
    """The line of a current or reverse voltage that may reach zero at an interval's end."""
    k, name = condition.interval, condition.device
    diode = setting.circuit.device(name)
    conducts = condition.quantity == "current"
    row = _row(setting, k, diode, conducts)
    drop = diode.drop
    if not conducts and drop is not None:  # it blocks up to its drop
        row[None] = setting.locals[k].ring.symbol(drop.symbol)
    mean = setting.value(k, row)
    half = setting.half_rise(mean, k)
    ring = setting.board.ring
    value, used = solver.value(mean)
    rises = half
    for coil in setting.coils:
        rise = rise_name(coil, k + 1)
        if ring.degree(rises.numerator, rise) > 0:
            ramp = setting.balance.ramp(k, ("i", coil))
            if ramp is None:
                continue
            top, bottom = setting.from_balance(ramp).parts
            rises = insert(ring, rises, rise, Ratio(2 * top, bottom))
    sign = {"start": -1, "end": 1}.get(condition.moment, 0)
    total = value + rises.times(sign)
    expected = setting.from_balance(condition.ratio)
    own_row = _solver_row(setting, diode, conducts)
    if setting.board.unknowns(total.numerator) or setting.balance.value(k, own_row, "ramp") is None:
        blackboard.say(
            f"How {name} shares a current with others in interval {k + 1} is left open by ideal parts; "
            "the mode holds where some share suits them all."
        )
        return None
    if not subtract(total, expected).is_zero:
        if not setting.balance.separate_ramps:
            blackboard.say(
                f"The smallest value of {name} in interval {k + 1} takes in how the ripple moves the means "
                "of single intervals; that is part of the full solution and not derived here."
            )
            return None
        blackboard.doubt(f"The smallest value of {name} could not be verified and is left out.")
        return None
    moment = f"at the {condition.moment} of interval {k + 1}"
    words = "mean less half its fall" if sign else "mean"
    shown = "current" if conducts else "reverse voltage"
    left = symbol(f"{'imin' if conducts else 'vmin'}({name})")
    if expected.terms > SHOWN_TERMS:
        blackboard.say(f"The smallest {shown} of {name}, {moment}, is too long to print.")
        return None
    right = setting.form.expression(condition.ratio)
    number = blackboard.identity(
        left, right, (f"smallest {shown} of {name}, {moment}: {words}",), expected, used
    )
    return None if number is None else (expected, number)


def _edges(setting: Setting, blackboard: Blackboard, edges: list[tuple[Ratio, int]]) -> None:
    """The solver's edges, each put into one of the lines: it must become zero."""
    board = setting.board
    coils = {setting.circuit.symbol_of(n) for n in setting.coils if _is_inductor(setting, n)}
    for key, expression in setting.mode.boundary.items():
        if key in coils and setting.discontinuous:
            continue
        value = board.rational(expression)
        if value is None:
            continue
        for line, number in edges:
            if _is_zero_at(setting, line, key, value):
                # checked right here: put in, the line is zero
                blackboard.note(symbol(key), expression, (f"({number}) is zero here",), (number,))
                break


def _is_inductor(setting: Setting, name: str) -> bool:
    return any(coil.name == name for coil in setting.circuit.inductors)


def _is_zero_at(setting: Setting, line: Ratio, key: str, value: Ratio) -> bool:
    ring = setting.board.ring
    if key == setting.form.k_name or key not in ring.names:
        definition = setting.mode.definitions.get(key)
        read = None if definition is None else setting.board.rational(definition)
        if read is None:
            return False
        top, bottom = read.parts
        _constant, linear = ring.coefficients(bottom, "T")
        period = Ratio(top, linear) / value
        return bool(insert(ring, line, "T", period).is_zero)
    return bool(insert(ring, line, key, value).is_zero)
