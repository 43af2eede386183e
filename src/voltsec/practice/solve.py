"""The main path for whoever asks: formulas of every mode, and exact numbers at the operating point."""

from __future__ import annotations

from dataclasses import replace

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import ordinary_budget
from voltsec.circuit.fault import NoSteadyState
from voltsec.circuit.quasi_static import quasi_static
from voltsec.formulas.engine import engine_of
from voltsec.formulas.remarks import left_open
from voltsec.formulas.solve import solve as solve_formulas
from voltsec.formulas.solve import without_modes
from voltsec.periodic.points import operating_point
from voltsec.practice.exact_numbers import ExactNumbers
from voltsec.practice.quasi_static import with_settled
from voltsec.results.solution import Solution
from voltsec.search.search import Point
from voltsec.waveforms.settling import settling

NO_NUMBERS = (
    "no numbers: at the operating point no state was found that repeats from period to period; try another "
    "duty or load, or give the parts their resistances"
)
NO_MODE = (
    "at the operating point none of the listed modes holds: the numbers are the exact periodic state's, "
    "without formulas beside them"
)


def solve(circuit: Circuit, budget: float | None = None) -> Solution:
    """Every mode of ``circuit`` with its formulas, and the numbers of the exact periodic state.

    Raises :class:`CircuitError` for a circuit that cannot work and :class:`NoSteadyState` where no
    periodic state exists.  Formulas leave out what settles within every interval at the operating point.

    Formulas may take ``budget`` seconds of computing time (20 where neither it nor one around this call is
    given); what is not finished then is left out, and ``notes`` say so.
    """
    with ordinary_budget(budget):
        circuit.check()
        point = operating_point(circuit)
        settled = frozenset() if point is None else settling(circuit, point)
        rest = quasi_static(circuit, settled) if settled else None
        try:
            answer = solve_formulas(circuit if rest is None else rest.circuit)
        except NoSteadyState as unsolved:
            return _numbers_alone(circuit, point, unsolved)
        if rest is not None:
            answer = with_settled(answer, circuit, rest)
    numbers = ExactNumbers(
        circuit, engine_of(answer), {mode.name: mode for mode in answer.modes} if rest else {}
    )
    found = None if point is None else numbers.beside(point, answer.numbers)
    notes = answer.warnings
    if point is not None and found is None:
        notes += (NO_NUMBERS,)
    elif found is not None and not found.mode:
        notes += (NO_MODE,)
    answer = replace(answer, numbers=found, evaluate=numbers, warnings=notes)
    return answer if found is None else replace(answer, undetermined=left_open(answer, found))


def _numbers_alone(circuit: Circuit, point: Point | None, unsolved: NoSteadyState) -> Solution:
    """The exact state at the operating point, where there are no formulas; ``unsolved`` without one."""
    (fault,) = unsolved.faults
    answer = without_modes(circuit, fault)
    numbers = ExactNumbers(circuit, engine_of(answer))
    found = None if point is None else numbers(point)
    cut_off = found is not None and any(name.endswith("voltage_peak") for name in found.unbounded)
    if found is None or cut_off:  # no part survives an interrupted inductor current
        raise unsolved
    return replace(answer, numbers=found, evaluate=numbers, undetermined=left_open(answer, found))
