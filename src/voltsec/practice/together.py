"""Equations whose single steps would be too long to read, solved all at once and checked in each of them."""

from __future__ import annotations

from voltsec.practice.blackboard import Blackboard, numbers_text
from voltsec.practice.intervals import current_name, rise_name, voltage_name
from voltsec.practice.setting import Setting
from voltsec.practice.solving import Pending, Solver, Value
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio

LONGEST_VALUE = 400
"""Terms of a value that is still printed."""


def solve_together(
    setting: Setting, blackboard: Blackboard, solver: Solver, pending: list[Pending]
) -> list[int]:
    """The solver's values, each equation becoming an identity when they are put in."""
    numbers = [equation.number for equation in pending]
    values = known_values(setting)
    wrong = [e.number for e in pending if not _holds(setting, e, values)]
    if wrong:
        blackboard.doubt(f"The solution could not be verified in {numbers_text(wrong)}; it is left out.")
        return []
    blackboard.say(
        f"Solved one by one, {numbers_text(numbers)} lead to lines too long for a board; "
        "they are linear and are solved together. Put back, the values turn each of them into an identity:"
    )
    cites = tuple(numbers)
    for name, ratio in values.items():
        solver.values.setdefault(name, Value(ratio, numbers[-1] if numbers else 0))
        short = ratio.terms <= LONGEST_VALUE
        wanted = name.startswith("v(") or (name.startswith("i(") and not setting.discontinuous)
        if wanted and short:
            line = blackboard.note(symbol(name), setting.board.write(ratio), ("solved together",), cites)
            solver.values[name] = Value(ratio, line)
    if not setting.discontinuous:
        return []
    found = []
    for condition in setting.conditions:
        left = setting.board.writer.oriented(condition)
        value = Ratio(condition, setting.board.ring.one)
        number = blackboard.balance(left, ("what the equations leave for the fraction",), value, cites)
        if number is not None:
            found.append(number)
    return found


def known_values(setting: Setting) -> dict[str, Ratio]:
    """Every state the solver determines, over the board's ring."""
    found: dict[str, Ratio] = {}
    balance = setting.balance

    def put(name: str, ratio: Ratio | None, factor: int = 1) -> None:
        if ratio is not None and name in setting.board.states:
            found[name] = setting.from_balance(ratio).times(factor)

    for name in setting.capacitors:
        put(voltage_name(name), balance.capacitor_voltage(name))
    for k in range(setting.count):
        for coil in setting.coils:
            if setting.discontinuous:
                put(current_name(coil, k + 1), balance.mean(k, ("i", coil)))
                put(rise_name(coil, k + 1), balance.ramp(k, ("i", coil)), 2)
            elif k == 0:
                put(current_name(coil), balance.average_mean(0, ("i", coil)))
        for unknown in setting.locals[k].eliminated.free:
            put(setting.open_name(k, unknown), balance.average_mean(k, unknown))
    return found


def _holds(setting: Setting, equation: Pending, values: dict[str, Ratio]) -> bool:
    ratio = setting.board.put(Ratio(equation.polynomial, setting.board.ring.one), values)
    return setting.zero(ratio.numerator)
