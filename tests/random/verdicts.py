"""One case put before the tool and the judge; the outcome in a word, with reasons.

===========  ===========================================================================================
right        every number agrees, or there is no steady state and the tool says so
refused      a periodic state exists and the tool does not tell it
wrong        output voltage, gain or efficiency is told and is another one; or a steady state is denied or
             claimed against the integration
numbers      another number is told wrongly, or is left out without being named as undetermined
region       the stated regions do not hold in exactly the mode whose numbers are told
crashed      an exception other than the tool's own errors, or a warning of a library on the terminal
slow         the answer takes more than 20 s
undecided    the integration finds no state, or its added resistances decide what differs
===========  ===========================================================================================
"""

from __future__ import annotations

import io
import random
import re
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import BUDGET, budget_of
from voltsec.circuit.fault import CircuitError, NoSteadyState
from voltsec.language.writer import write
from voltsec.report.document import document
from voltsec.report.latex import latex_fragment
from voltsec.report.machine import as_json, json_text
from voltsec.report.terminal import show
from voltsec.results.solution import Solution

from ..integration.patience import TooLong, patience
from ..integration.stated import ZERO, Standing, neighbours, standings
from ..integration.switched import Averages
from .judge import Judge
from .readings import LEAK, Reading, level_of_voltages, readings

ORDER = ("crashed", "slow", "wrong", "refused", "numbers", "region", "undecided", "right")
"""Worst first: the outcome of a case is the worst that was found."""
SLOW = 20.0
"""Seconds of the processor an answer may take: other work on the machine does not count."""
REGION_PATIENCE = 15.0
UNDECIDED = 5
"""Where two settings are so many tolerances apart the output is left undecided."""
NOTHING = 1e-3
"""Part of what is usual below which a quantity that several parts share cannot be judged."""
SPIKE = 2.0
"""What a hundredth of the added resistance makes so many times as large is limited by nothing else."""
GAPS = (
    "none of the listed modes holds",
    "there are no formulas",
    "the search for modes was not finished",
    "too long to be written",
    "others were not looked for",
)
"""By these words an answer says that its list of modes has a hole, or that a mode's region is not told."""
NEIGHBOURS = 3
NEAR = 0.05
"""Where a change of the period by this part leads into the told mode, the point lies on the edge."""


@dataclass
class Verdict:
    """What came out for one circuit."""

    netlist: str
    elements: int
    findings: list[tuple[str, str, str]] = field(default_factory=list)
    """(outcome, reason to group by, detail)."""
    solve_seconds: float = 0.0
    judge_seconds: float = 0.0
    expected: str = ""
    """What the integration found, for a reader."""
    told: str = ""
    """What the tool told, for a reader."""

    def say(self, outcome: str, reason: str, detail: str = "") -> None:
        """Add a finding."""
        self.findings.append((outcome, reason, detail))

    @property
    def outcome(self) -> str:
        """The worst finding's."""
        found = {finding[0] for finding in self.findings}
        return next(word for word in ORDER if word in found or word == "right")

    @property
    def reason(self) -> str:
        """Of the first of the worst findings."""
        return next((reason for word, reason, _ in self.findings if word == self.outcome), "")

    @property
    def signature(self) -> str:
        """Outcome and reason: what a smaller circuit must share to be the same failure."""
        return f"{self.outcome}: {self.reason}" if self.reason else self.outcome


def judged(circuit: Circuit, thorough: bool = False) -> Verdict:
    """The verdict on one circuit (its netlist is read anew, as a user's would be).

    With ``thorough`` the report and a sweep are looked at as well, which takes longer.
    """
    text = write(circuit)
    circuit = voltsec.read(text)
    verdict = Verdict(text, len(circuit.elements))
    judge = Judge(circuit)
    begin = time.process_time()
    verdict.expected = _expectation(judge)
    verdict.judge_seconds = time.process_time() - begin
    try:
        solution = _answer(circuit, verdict)
    except NoSteadyState as error:
        _refused(error, judge, verdict)
        return verdict
    if solution is None:
        return verdict
    _compare(solution, judge, verdict)
    if solution.numbers is not None:
        _regions(solution, verdict)
    if thorough:
        _other_views(solution, verdict)
    return verdict


def _other_views(solution: Solution, verdict: Verdict) -> None:
    """The report with its derivation, LaTeX, and a sweep through the operating point."""
    views: tuple[tuple[str, Callable[[], object]], ...] = (
        ("LaTeX", lambda: latex_fragment(solution)),
        ("report", lambda: document(solution, ".html")),
        ("sweep", lambda: _swept(solution, verdict)),
    )
    for name, view in views:
        try:
            with patience(2 * SLOW), warnings.catch_warnings():
                warnings.simplefilter("error")
                view()
        except TooLong:
            verdict.say("slow", f"{name} takes over {2 * SLOW:g} s")
        except Exception as error:
            verdict.say("crashed", f"{name}: {_place(error)}", _trace(error))


def _swept(solution: Solution, verdict: Verdict) -> None:
    """A sweep tells at the operating point what the numbers tell."""
    numbers = solution.numbers
    if numbers is None or numbers.output_voltage is None:
        return
    duty = next(iter(solution.circuit.duty_symbols), "T")
    values = np.array([0.98, 1.0]) * numbers.point[duty]
    swept = float(solution.sweep(("output_voltage",), **{duty: values}).output_voltage[1])
    told = numbers.output_voltage
    if not abs(swept - told) <= 1e-6 * abs(told) + 1e-12:
        verdict.say("numbers", "a sweep tells another output voltage", f"{swept} beside {told}")


def _trace(error: BaseException) -> str:
    return "".join(traceback.format_exception(error)[-6:])


def _answer(circuit: Circuit, verdict: Verdict) -> Solution | None:
    """The solution, printed and written as JSON as well; None where there was none for a fault's sake."""
    begin = time.process_time()
    with warnings.catch_warnings(record=True) as caught, budget_of(BUDGET):
        warnings.simplefilter("always")
        try:
            solution = voltsec.solve(circuit)
            verdict.solve_seconds = time.process_time() - begin
            show(solution, io.StringIO())
            json_text(as_json(solution))
        except NoSteadyState as error:
            verdict.solve_seconds = time.process_time() - begin
            verdict.told = "; ".join(f"{fault.kind}: {fault.message}" for fault in error.faults)
            _timed(verdict)
            raise
        except CircuitError as error:
            verdict.say("refused", ", ".join(sorted({fault.kind for fault in error.faults})), str(error))
            return None
        except Exception as error:
            verdict.say("crashed", _place(error), _trace(error))
            return None
    verdict.solve_seconds = max(verdict.solve_seconds, time.process_time() - begin)
    for one in caught:
        verdict.say("crashed", f"{one.category.__name__}: {one.message}", f"{one.filename}:{one.lineno}")
    _timed(verdict)
    numbers = solution.numbers
    verdict.told = "; ".join(solution.warnings)
    if numbers is not None:
        verdict.told = f"{numbers.mode}: {_volts(numbers.output_voltage)}, efficiency {numbers.efficiency}"
    return solution


def _timed(verdict: Verdict) -> None:
    if verdict.solve_seconds > SLOW:
        verdict.say("slow", "over 20 s", f"{verdict.solve_seconds:.1f} s")


def _place(error: BaseException) -> str:
    """Kind of an exception and the innermost place of our own code, without line numbers."""
    frames = [f for f in traceback.extract_tb(error.__traceback__) if "voltsec" in f.filename]
    place = f"{frames[-1].filename.rsplit('voltsec/', 1)[-1]} {frames[-1].name}" if frames else "?"
    return f"{type(error).__name__} in {place}: {re.sub(r'[0-9]+', 'N', str(error))[:60]}"


def _expectation(judge: Judge) -> str:
    found = judge.first
    if isinstance(found, str):
        return found
    shown = ", ".join(map(str, found.sequence()))
    return f"{found.output_voltage:.6g} V, efficiency {found.efficiency:.5g}; {shown}"


def _refused(error: NoSteadyState, judge: Judge, verdict: Verdict) -> None:
    """A steady state is denied, or said to be undetermined."""
    kind = error.faults[0].kind
    message = re.sub(r"\b[A-Z]\w*\b|[0-9.]+", "~", error.faults[0].message)
    if judge.verdict == "cannot tell":
        verdict.say("undecided", f"{kind}, the integration finds no state either")
    elif judge.verdict == "state":
        verdict.say("wrong" if kind == "no-steady-state" else "refused", f"{kind}: {message[:70]}")


def _compare(solution: Solution, judge: Judge, verdict: Verdict) -> None:
    """Every number against the integration; other settings of it settle what differs."""
    numbers, circuit = solution.numbers, solution.circuit
    if numbers is None:
        if judge.verdict == "state":
            verdict.say("refused", "numbers are not determined", "; ".join(solution.warnings))
        return
    if isinstance(judge.first, Averages) and all(
        one.agrees for one in readings(numbers, judge.first, circuit)
    ):
        return
    if judge.verdict == "cannot tell":
        verdict.say("undecided", "the integration finds no state", str(judge.pair[0]))
        return
    pairs = list(zip(*(readings(numbers, found, circuit) for found in judge.pair), strict=True))
    if judge.verdict != "state" and _approached(*pairs[0]):
        verdict.say("undecided", "added resistances decide how far it runs", str(judge.pair[1])[:80])
        return
    told = [(one, other) for one, other in pairs if one.strict and one.told is not None]
    if judge.verdict != "state" and any(not other.agrees for _, other in told):
        verdict.say("wrong", f"numbers are told where the integration says: {judge.verdict}")
        return
    for one, other in pairs:
        if not one.agrees or not other.agrees:
            _settle(one, other, solution, judge, verdict)


def _approached(one: Reading, other: Reading) -> bool:
    """True where less added resistance brings the integration clearly nearer to what is told."""
    if one.told is None or other.told is None:
        return False
    return abs(other.told - other.found) < 0.9 * abs(one.told - one.found)


def _settle(one: Reading, other: Reading, solution: Solution, judge: Judge, verdict: Verdict) -> None:
    """A quantity that differs: the state without added resistances, as far as two settings tell it."""
    apart = abs(other.found - one.found)
    what = re.sub(r"\(.*", "", one.name)
    shown = f"{one.name}: told {_number(one.told)}, integration {other.found:.6g}"
    if one.told is not None and abs(one.told - other.found) <= one.tolerance + apart / 2:
        return
    if (
        _excused(one, other)
        or _without_bound(one, other, solution)
        or (one.name == "efficiency" and _no_power(judge))
    ):
        return
    if not apart <= one.tolerance * (UNDECIDED if one.strict else 1):
        # what shares out a voltage may be told as a bound, or not at all
        if one.strict and one.told is not None:
            verdict.say("undecided", f"{what} depends on added resistances", shown)
        elif (
            what == "peak v"
            and one.told is not None
            and one.told < min(one.found, other.found)
            and not _approached(one, other)  # what shrinks with the added resistance is due to it
        ):
            verdict.say("numbers", "peak v is no bound", shown)
    elif one.told is not None:
        verdict.say("wrong" if one.strict else "numbers", what, shown)
    elif one.name == "output voltage":
        verdict.say("refused", "the output voltage is left open", shown)
    elif one.strict:
        verdict.say("numbers", f"{what} is left open", shown)
    elif not _stated_open(one.name, solution):
        verdict.say("numbers", f"{what} is left open without a word", shown)


def _excused(one: Reading, other: Reading) -> bool:
    """True of what the integration cannot tell.

    What is left out may be a share in next to nothing, or the course of a spike that only the added
    resistance limits; a peak that is told may be that of a spike that is over before the integration looks.
    """
    if one.told is not None:
        return one.name.startswith(("peak", "output ripple", "ripple of the input")) and (
            one.found - one.tolerance <= one.told <= other.highest + one.tolerance
        )
    nothing = max(abs(one.found), abs(other.found)) < NOTHING * one.level
    return nothing or other.highest > max(SPIKE * one.highest, abs(other.found) + one.tolerance)


def _without_bound(one: Reading, other: Reading, solution: Solution) -> bool:
    """True of a peak that is said to have no bound where the integration meets a spike."""
    numbers = solution.numbers
    assert numbers is not None
    words = {"peak v": "voltage_peak", "peak i": "current_peak", "rms i": "current_rms"}
    what, _, part = one.name.rstrip(")").partition("(")
    said = f"stress.{part}.{words.get(what)}" in numbers.unbounded
    return said and min(one.highest, other.highest) > SPIKE * other.found


def _no_power(judge: Judge) -> bool:
    """True where all power that flows is that of added resistances, or nothing: there is no efficiency."""
    one, other = judge.pair
    assert isinstance(one, Averages) and isinstance(other, Averages)
    leaked = LEAK * level_of_voltages(other, judge.circuit) ** 2
    return other.delivered_power < max(0.5 * one.delivered_power, leaked)


def _stated_open(name: str, solution: Solution) -> bool:
    """True where the answer names among what is not determined the part, or what its share depends on.

    A coil's current that is not determined leaves those of the parts around it open as well, and a
    capacitor's voltage those across them.
    """
    part = name.removeprefix("source ").split("(")[-1].rstrip(")")
    kind = "V(" if name.startswith(("v(", "peak v")) else "i("
    return any(kind in line or re.search(rf"\b{re.escape(part)}\b", line) for line in solution.undetermined)


def _regions(solution: Solution, verdict: Verdict) -> None:
    """Exactly one mode's region holds at the operating point and at some points around it."""
    numbers = solution.numbers
    assert numbers is not None
    rng = random.Random(verdict.netlist)
    try:
        with patience(REGION_PATIENCE), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            point = dict(numbers.point)
            for problem in _problems(solution, point, numbers.mode, "at the operating point"):
                verdict.say("region", *problem)
            for _ in range(NEIGHBOURS):
                beside = neighbours(solution, point, rng)
                holding = _holding(standings(solution, beside))
                if len(holding) == 1 or not all(mode.written for mode in solution.modes):
                    continue
                told = solution.engine.mode_at(beside)
                for problem in _problems(solution, beside, told, "at a point beside"):
                    verdict.say("region", *problem)
    except TooLong:
        verdict.say("undecided", "regions take too long to evaluate")
    except Exception as error:
        verdict.say("region", f"cannot be evaluated: {type(error).__name__}: {error}"[:90], _place(error))


def _notes(solution: Solution) -> str:
    """What the answer says besides its formulas, in one text."""
    return " ".join(solution.warnings)


def _holding(found: dict[str, Standing]) -> list[str]:
    """Modes that hold, those with an interval of no length only where there is no other: edges are shared."""
    inside = [name for name, one in found.items() if one.holds and one.shortest > ZERO]
    return inside or [name for name, one in found.items() if one.holds][:1]


def _problems(
    solution: Solution, point: dict[str, float], told: str | None, where: str
) -> Iterator[tuple[str, str]]:
    """What is wrong with the regions at one point: (reason, detail)."""
    found = standings(solution, point)
    holding = _holding(found)
    shown = f"{', '.join(holding) or 'none'} at " + ", ".join(f"{k} = {v:.4g}" for k, v in point.items())
    if told in found and found[told].holds is None:
        if holding and found[holding[0]].shortest > ZERO:
            yield f"{where} a region holds that is not the told mode's", f"told {told}; {shown}"
    elif len(holding) > 1:
        yield f"several regions hold {where}", f"told {told}; {shown}"
    elif holding and told is not None and holding[0] != told and not _on_edge(solution, point, told):
        yield f"{where} a region holds that is not the told mode's", f"told {told}; {shown}"
    elif not holding and told in found and not _on_edge(solution, point, told):
        yield f"no region holds {where}, though a listed mode is told", f"told {told}; {shown}"
    elif (
        not holding
        and told not in found
        and not any(gap in _notes(solution) for gap in GAPS)
        and Judge(solution.circuit, point).verdict == "state"
    ):
        yield f"no listed mode holds {where}", f"told {told}; {shown}"


def _on_edge(solution: Solution, point: dict[str, float], told: str) -> bool:
    """True where a small change of the period or a duty leads into the mode that is told."""
    for name in ("T", *solution.circuit.duty_symbols):
        for factor in (1 - NEAR, 1 + NEAR):
            if standings(solution, point | {name: point[name] * factor}).get(told, Standing(False)).holds:
                return True
    return False


def _volts(value: float | None) -> str:
    return "output left open" if value is None else f"{value:.6g} V"


def _number(value: float | None) -> str:
    return "nothing" if value is None else f"{value:.6g}"
