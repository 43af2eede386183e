"""Slips about the circumstances: losses left out, the other kind of conduction, a forgotten idle interval."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sympy
from mpmath import mpf
from sympy import Expr

from voltsec.formulas.modes import ModeBuilder
from voltsec.practice.names import Claim
from voltsec.practice.sampling import Undefined
from voltsec.practice.trial import Trial
from voltsec.practice.verdict import HOLDS, Slip
from voltsec.tableau.expression import symbol

NOTHING = mpf(10) ** -40
"""A resistance or a drop so small that fifty digits still tell what is left without it."""

NEARLY = mpf(10) ** -25


def condition_slips(claim: Claim, trial: Trial, provers: dict[Any, Any]) -> Iterator[Slip]:
    """Slips of this kind, each proved by a formula that then holds."""
    yield from _other_conduction(claim, trial, provers)
    yield from _idle_forgotten(claim, trial)
    yield from _losses(claim, trial)


def _other_conduction(claim: Claim, trial: Trial, provers: dict[Any, Any]) -> Iterator[Slip]:
    """It holds in another mode."""
    own = trial.mode.mode.name
    for name, prover in provers.items():
        if name == own or prover.judge(claim).outcome != HOLDS:
            continue
        if own.startswith("DCM") and name.startswith("CCM"):
            message = f"this is the formula of continuous conduction ({name}); in {own} it is discontinuous"
            yield Slip("continuous", message)
        elif own.startswith("CCM") and name.startswith("DCM"):
            message = f"this is the formula of discontinuous conduction ({name}); in {own} it is continuous"
            yield Slip("discontinuous", message)
        else:
            yield Slip("other-mode", f"it holds in {name}")
        return


def _idle_forgotten(claim: Claim, trial: Trial) -> Iterator[Slip]:
    """The conducting time is taken to last until the switch acts."""
    builder = trial.mode.builder
    for name, whole, rest in _idle(builder):
        own = symbol(name)
        shown = str(whole).replace("-", "−")
        message = f"the idle interval is forgotten: conduction lasts {own}, not {shown}"
        swap = {whole: own}
        candidates: list[tuple[Expr, Expr]] = []
        for left in (claim.left, claim.left.xreplace(swap)):
            for right in (claim.right, claim.right.xreplace(swap)):
                candidates.append((left, right))
        candidates = candidates[1:]
        busy = 1 - rest
        candidates += [(claim.left, claim.right * busy), (claim.left * busy, claim.right)]
        if any(trial.holds(*sides) for sides in candidates) or _holds_without(claim, trial, name, whole):
            yield Slip("idle-interval", message)
            return


def _idle(builder: ModeBuilder) -> Iterator[tuple[str, Expr, Expr]]:
    """Each unknown share, what it would be without the idle interval after it, and that interval's share."""
    fractions = builder.form.fractions
    places = list(fractions.unknown)
    for k in places:
        if k + 1 in places:
            continue
        rest = builder.form.share(builder.balance.sequence.fractions[k + 1])
        name = fractions.unknown[k]
        yield name, sympy.expand(rest + symbol(name)), rest


def _holds_without(claim: Claim, trial: Trial, name: str, whole: Expr) -> bool:
    """True where the line speaks of the share itself and would hold without an idle interval."""
    quantity = next((q for q in claim.quantities if q.kind == "defined" and q.part == name), None)
    if quantity is None:
        return False
    for point in trial.points:
        try:
            value = point.value(whole)
        except Undefined:
            return False
        if not trial.agrees(point, claim.left, claim.right, {quantity.placeholder.name: value}):
            return False
    return True


def _losses(claim: Claim, trial: Trial) -> Iterator[Slip]:
    """The line holds where the resistances and drops it does not mention are left out."""
    losses: dict[str, str] = {}
    for element in trial.mode.circuit.elements:
        for word, quantity in element.parasitics.items():
            losses[quantity.symbol] = f"the {word} of {element.name}"
    sides = [trial.prover.inserted(claim, side) for side in (claim.left, claim.right)]
    written = {free.name for side in (claim.left, claim.right) for free in side.free_symbols}
    needed = set(trial.prover.algebra(*sides).ring.names)
    missing = [name for name in losses if name in needed - written]
    if not missing:
        return
    for point in trial.points:
        ideal = point.with_values(dict.fromkeys(missing, NOTHING))
        try:
            left, right = (ideal.value(side) for side in sides)
        except Undefined:
            return
        if abs(left - right) > NEARLY * max(abs(left), abs(right)):
            return
    told = ", ".join(f"{name} ({losses[name]})" for name in missing)
    if len(missing) == len([name for name in losses if name in needed]):
        yield Slip("missing-loss", f"this is the ideal formula, but the stage has losses: {told}")
    else:
        yield Slip("missing-loss", f"a loss term is missing: {told}")
