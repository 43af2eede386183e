"""Is a hand derivation right?  Every line is judged in every mode; the first wrong one is diagnosed.

>>> import voltsec
>>> verdict = check(voltsec.solve(voltsec.load("sepic")), ["Vout/Vg = D/(1 - D)"])
>>> verdict.outcome, verdict.modes
('holds', ('CCM',))
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial

from voltsec.circuit.computing_time import in_time
from voltsec.circuit.elements import Place
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.circuit.spelling import did_you_mean
from voltsec.practice.diagnosis import diagnose, right_formulas
from voltsec.practice.equality import Prover, says_nothing
from voltsec.practice.formula import Equation, FormulaFault, parse
from voltsec.practice.names import Claim, Names, intervals_told
from voltsec.practice.quantities import ModeValues
from voltsec.practice.slips import find_slips
from voltsec.practice.verdict import HOLDS, WRONG, Judgement, LineVerdict, Slip, Verdict
from voltsec.results.solution import Solution

MOST_MODES = 5
"""Modes in which slips are looked for."""

MOST_LINES = 500
"""Lines of a derivation; more is no derivation by hand."""


def check(
    solution: Solution,
    lines: Sequence[str],
    mode: str | None = None,
    interval: int | None = None,
    file: str = "<formula>",
) -> Verdict:
    """Judge the equations in ``lines`` about ``solution``; empty lines and ``#`` comments are left out.

    ``mode`` names the one mode to judge in; ``interval`` (from 1) is where ``v()`` and ``i()`` are taken.
    Raises :class:`CircuitError` with every fault of the lines.
    """
    solution.need_modes()
    text = "\n".join(lines)
    equations = read(lines, file)
    everywhere = tuple(ModeValues(solution, one) for one in solution.modes)
    chosen = everywhere if mode is None else (_mode_called(mode, everywhere, file, text),)
    provers = {values.mode.name: Prover(values) for values in everywhere}
    claims = _claims(equations, chosen, interval, provers[chosen[0].mode.name], file, text)
    judged: list[list[Judgement]] = [
        [provers[values.mode.name].judge(claim) for values in chosen] for claim in claims
    ]
    names = [values.mode.name for values in chosen]
    firsts = {name: _first_wrong(judged, place) for place, name in enumerate(names)}
    holding = tuple(name for name in names if firsts[name] is None)
    operating = None if solution.numbers is None else solution.numbers.mode
    ranked = list(holding) or _ranked(names, firsts, operating, judged)
    if operating in holding:
        ranked.remove(operating)
        ranked.insert(0, operating)
    leading = ranked[0]
    slips: tuple[Slip, ...] = ()
    if not holding:
        leading, slips = _most_telling(ranked, firsts, judged, names, claims, provers)
    wrong = firsts[leading]
    verdicts = [LineVerdict(claim, tuple(row)) for claim, row in zip(claims, judged, strict=True)]
    verdict = Verdict(tuple(verdicts), chosen, holding, provers[leading].mode, wrong, operating)
    shown = wrong if wrong is not None else 0 if len(claims) == 1 else None
    if shown is None:
        return verdict
    mistake = None
    if verdict.outcome == WRONG:
        mistake = in_time(partial(diagnose, claims[shown], provers[leading], slips, solution))
    others = [provers[one.mode] for one in judged[shown] if one.outcome == WRONG and one.mode != leading]
    elsewhere = in_time(lambda: tuple(right_formulas(claims[shown], others))) or ()
    verdicts[shown] = LineVerdict(claims[shown], tuple(judged[shown]), mistake, elsewhere)
    return replace(verdict, lines=tuple(verdicts))


def read(lines: Sequence[str], file: str = "<formula>") -> list[Equation]:
    """The equations in ``lines``, all faults reported together."""
    faults: list[Fault] = []
    equations: list[Equation] = []
    written = [(number, line.split("#", 1)[0].rstrip()) for number, line in enumerate(lines, 1)]
    written = [(number, line) for number, line in written if line.strip()]
    if not written:
        hint = "such as 'Vout/Vg = D/(1 - D)', or --from FILE"
        faults.append(Fault("no-formula", "there is no equation to check", hint=hint))
    if len(written) > MOST_LINES:
        message = f"{len(written)} equations; at most {MOST_LINES} are checked in one go"
        faults.append(Fault("formula-too-long", message, Place(written[MOST_LINES][0], 1)))
    for number, line in written[:MOST_LINES]:
        try:
            equations.append(parse(line, number))
        except FormulaFault as problem:
            faults.append(problem.fault)
    if faults:
        raise CircuitError(tuple(faults), file, "\n".join(lines))
    return equations


def _claims(
    equations: Iterable[Equation],
    modes: tuple[ModeValues, ...],
    interval: int | None,
    prover: Prover,
    file: str,
    text: str,
) -> list[Claim]:
    names = Names(modes)
    faults: list[Fault] = []
    claims: list[Claim] = []
    for equation in equations:
        place = Place(equation.line, 1)
        if equation.left == equation.right:
            message = "there is nothing to check: both sides are the same"
            faults.append(Fault("nothing-to-check", message, place))
            continue
        try:
            claim = names.claim(equation, interval)
        except FormulaFault as problem:
            faults.append(problem.fault)
            continue
        wanted = claim.interval
        most = max(len(values.mode.intervals) for values in modes)
        if wanted is not None and not 1 <= wanted <= most:
            message, hint = f"there is no interval {wanted}", intervals_told(modes)
            faults.append(Fault("no-such-interval", message, place, hint=hint))
        elif says_nothing(claim, prover):
            faults.append(Fault("nothing-to-check", _nothing(claim), place, hint=names.taken(claim)))
        claims.append(claim)
    if faults:
        raise CircuitError(tuple(faults), file, text)
    return claims


def _nothing(claim: Claim) -> str:
    if not claim.quantities:
        return "there is nothing to check: no quantity of the stage is in this line"
    return "there is nothing to check: both sides are the same whatever the stage does"


def _mode_called(name: str, modes: tuple[ModeValues, ...], file: str, text: str) -> ModeValues:
    wanted = " ".join(name.upper().split())
    for values in modes:
        if values.mode.name.upper() == wanted:
            return values
    there = [values.mode.name for values in modes]
    hint = did_you_mean(name, there) or f"there is {', '.join(there)}"
    raise CircuitError((Fault("no-such-mode", f"the stage has no mode '{name}'", hint=hint),), file, text)


def _first_wrong(judged: list[list[Judgement]], place: int) -> int | None:
    for number, row in enumerate(judged):
        if row[place].outcome != HOLDS:
            return number
    return None


def _ranked(
    names: list[str], firsts: dict[str, int | None], operating: str | None, judged: list[list[Judgement]]
) -> list[str]:
    """Modes by how far the derivation gets; of equals those that can be judged, then the operating one."""

    def rank(name: str) -> tuple[int, bool, bool]:
        first = firsts[name]
        assert first is not None
        return first, judged[first][names.index(name)].outcome == WRONG, name == operating

    return sorted(names, key=rank, reverse=True)


def _most_telling(
    ranked: list[str],
    firsts: dict[str, int | None],
    judged: list[list[Judgement]],
    names: list[str],
    claims: list[Claim],
    provers: dict[str, Prover],
) -> tuple[str, tuple[Slip, ...]]:
    """The first of equally far modes in which a likely slip is found, else the first; with the slips."""
    furthest = firsts[ranked[0]]
    assert furthest is not None
    for name in ranked[:MOST_MODES]:
        if firsts[name] != furthest or judged[furthest][names.index(name)].outcome != WRONG:
            break
        slips = find_slips(claims[furthest], provers[name], provers)
        if slips:
            return name, slips
    return ranked[0], ()
