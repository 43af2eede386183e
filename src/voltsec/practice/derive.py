"""The main path of a derivation: intervals, balances, solution, check of the assumption, boundary, gain."""

from __future__ import annotations

from voltsec.formulas.engine import engine_of
from voltsec.practice.blackboard import Blackboard
from voltsec.practice.check_lines import write_assumption, write_boundary
from voltsec.practice.derivation import Derivation, Heading, Result
from voltsec.practice.final_lines import write_result
from voltsec.practice.interval_lines import write_balances, write_intervals
from voltsec.practice.intervals import current_name, voltage_name
from voltsec.practice.ramp_lines import (
    event_lines,
    rise_ties,
    write_condition,
    write_continuity,
    write_rises,
)
from voltsec.practice.setting import Setting
from voltsec.practice.solving import Pending, Solver, TooLong
from voltsec.practice.together import solve_together
from voltsec.results.solution import Solution
from voltsec.tableau.ring import TooLarge


class NoSuchMode(ValueError):
    """The circuit has no mode of that name, or no formulas in it."""


def derive(solution: Solution, mode_name: str | None = None) -> Derivation:
    """The derivation of one mode (the first by default), every line checked before it is written.

    Raises :class:`NoSuchMode` where there is no such mode, or its formulas are too long.
    """
    solution.need_modes()
    builders = dict(engine_of(solution).builders)
    name = mode_name or solution.modes[0].name
    mode = next((mode for mode in solution.modes if mode.name.lower() == name.lower()), None)
    if mode is None:
        raise NoSuchMode(f"there is no mode {name!r}; there are {', '.join(m.name for m in solution.modes)}")
    if mode.name not in builders:
        raise NoSuchMode(f"the formulas of {mode.name} are too long to derive")
    try:
        return _derived(Setting(solution.circuit, mode, builders[mode.name]))
    except TooLarge:
        raise NoSuchMode(f"the formulas of {mode.name} are too long to derive") from None


def _derived(setting: Setting) -> Derivation:
    blackboard = Blackboard(setting.board)
    solver = Solver(blackboard)
    written = write_intervals(setting, blackboard)
    pending: list[Pending] = list(written.ties)
    if setting.discontinuous:
        pending += write_rises(setting, blackboard, solver, written)
        write_continuity(setting, blackboard, solver)
        pending += rise_ties(setting, blackboard, written)
    pending += write_balances(setting, blackboard, written)
    conditions = _solve(setting, blackboard, solver, pending)
    write_result(setting, blackboard, solver, conditions)
    result = blackboard.lines.pop() if _ends_in_result(blackboard) else None
    write_assumption(setting, blackboard, solver)
    write_boundary(setting, blackboard, solver)
    if result is not None:
        blackboard.heading("Result")
        blackboard.lines.append(result)
    lines = blackboard.lines
    while lines and isinstance(lines[-1], Heading):
        lines.pop()
    return Derivation(setting.circuit, setting.mode.name, tuple(lines))


def _ends_in_result(blackboard: Blackboard) -> bool:
    """Whether the line written last is the result."""
    return bool(blackboard.lines) and isinstance(blackboard.lines[-1], Result)


def _solve(setting: Setting, blackboard: Blackboard, solver: Solver, pending: list[Pending]) -> list[int]:
    """Solve the equations line by line; together where single lines would grow too long."""
    blackboard.heading("Solution")
    places = [k + 1 for k in range(setting.count)] if setting.discontinuous else [None]
    wanted = [voltage_name(name) for name in setting.capacitors]
    if not setting.discontinuous:
        wanted += [current_name(name, place) for name in setting.coils for place in places]
    start = len(blackboard.lines)
    equations = dict(blackboard.equations)
    values = dict(solver.values)
    originals = [(p.number, p.words, p.polynomial) for p in pending]
    try:
        left_over = solver.run(pending)
        if len(left_over) < len(setting.conditions):
            left_over += solver.run(event_lines(setting, blackboard))
        solver.finish(wanted)
    except TooLong:
        del blackboard.lines[start:]
        blackboard.equations = equations
        solver.values = values
        return solve_together(setting, blackboard, solver, [Pending(*one) for one in originals])
    return write_condition(setting, blackboard, left_over) if setting.discontinuous else []
