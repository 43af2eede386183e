"""The likely slip behind a wrong line: a change of the line, or of what it is said about, makes it hold.

Every candidate is a changed pair of sides that is tried at a few points; nothing is guessed from the look
of a formula.
"""

from __future__ import annotations

from collections.abc import Iterator

import sympy
from sympy import Add, Expr, Mul, Symbol

from voltsec.practice.equality import Prover
from voltsec.practice.names import Claim
from voltsec.practice.quantities import Quantity
from voltsec.practice.slip_conditions import condition_slips
from voltsec.practice.trial import Trial
from voltsec.practice.verdict import Slip
from voltsec.tableau.expression import symbol

MOST_SLIPS = 3
MOST_SUMS = 6
MOST_PARTS = 8
MEASURES = ("iavg", "ipeak", "irms")
MEASURE_WORDS = {"iavg": "the average", "ipeak": "the peak", "irms": "the rms value"}

Candidate = tuple[str, str, Expr, Expr]
"""Kind, message, and the changed sides."""


def find_slips(claim: Claim, prover: Prover, provers: dict[str, Prover]) -> tuple[Slip, ...]:
    """What would make ``claim`` hold in the mode of ``prover``, likeliest first."""
    trial = Trial(claim, prover)
    if not trial.points:
        return ()
    found: dict[str, Slip] = {}
    for slip in condition_slips(claim, trial, provers):
        found.setdefault(slip.kind, slip)
    for generate in (_whole, _constant, _of_turns, _exchanged, _inside, _other_quantity, _missing):
        for kind, message, left, right in generate(claim, trial):
            if kind in found or (kind == "constant" and found):
                continue
            if kind == "inverse" and "input-output" in found:
                continue
            if left != right and trial.holds(left, right):
                found[kind] = Slip(kind, message)
        if len(found) >= MOST_SLIPS or (found and generate is _other_quantity):
            break
    return tuple(found.values())[:MOST_SLIPS]


def _whole(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """Slips of a whole side: sign, D for 1 - D, upside down."""
    left, right = claim.left, claim.right
    yield "sign", "the sign is wrong", left, -right
    for duty in trial.duties:
        swap = {symbol(duty): 1 - symbol(duty)}
        message = f"{duty} and 1 − {duty} are exchanged"
        for sides in ((left, right.xreplace(swap)), (left.xreplace(swap), right)):
            if sides == (left, right):
                continue
            yield "complement", message, *sides
            yield "complement", f"{message}, and the sign is wrong", sides[0], -sides[1]
    if left != 0 and right != 0:
        source, output = symbol(trial.mode.circuit.input.quantity.symbol), Quantity("Vout").placeholder
        exchange = {source: output, output: source}
        if {source, output} <= left.free_symbols | right.free_symbols:
            message = f"{source} and the output voltage are exchanged"
            swapped = [side.xreplace(exchange) for side in (left, right)]
            yield "input-output", message, *swapped
        if any(quantity.kind == "gain" for quantity in claim.quantities):
            yield "input-output", "input and output are exchanged (this is the inverse)", left, 1 / right
        yield "inverse", "this is the inverse of the right formula", left, 1 / right


def _constant(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """A constant factor."""
    for sign, words in ((1, ""), (-1, ", and the sign is wrong")):
        for factor, text in ((2, "two"), (4, "four")):
            written = f"a factor of {text}: the right side is {{}} what it must be{words}"
            yield "factor", written.format(_times(factor)), claim.left, sign * claim.right / factor
            yield "factor", written.format(f"1/{factor} of"), claim.left, sign * claim.right * factor
    root = sympy.sqrt(2)
    for power in (1, -1):
        yield "factor", "a factor of two under the root", claim.left, claim.right * root**power
    ratio = trial.constant_ratio()
    if ratio is not None:
        number = f"{float(ratio):.6g}"
        near = sympy.nsimplify(number, rational=True, tolerance=1e-9)
        factor = near if near.q < 1000 else sympy.Float(ratio, 30)
        turns = trial.turns_behind(ratio)
        if turns:
            yield "turns", f"a factor of the turns ratio ({turns}) is wrong", claim.left, claim.right * factor
        message = f"left over right is {near if near.q < 1000 else number} everywhere"
        yield "constant", message, claim.left, claim.right * factor


def _times(factor: int) -> str:
    return "twice" if factor == 2 else f"{factor} times"


def _of_turns(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """A factor of a turns ratio."""
    for parameter in trial.mode.circuit.parameters:
        n = symbol(parameter.symbol)
        for sign, words in ((1, ""), (-1, ", and the sign is wrong")):
            for power, text in ((1, f"{n}"), (-1, f"{n}"), (2, f"{n}²"), (-2, f"{n}²")):
                verb = "is missing" if power > 0 else "is too much"
                message = f"a factor of {text} (turns) {verb}{words}"
                yield "turns", message, claim.left, sign * claim.right * n**power
        swap = {n: 1 / n}
        yield "turns", f"{n} is upside down", claim.left, claim.right.xreplace(swap)


def _exchanged(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """Two duties, or two parts of one kind, exchanged."""
    circuit = trial.mode.circuit
    groups = [trial.duties]
    groups += [[e.name for e in kind] for kind in (circuit.inductors, circuit.capacitors, circuit.loads)]
    for names in groups:
        symbols = [symbol(name) for name in names[:MOST_PARTS]]
        for place, one in enumerate(symbols):
            for other in symbols[place + 1 :]:
                swap = {one: other, other: one}
                message = f"{one} and {other} are exchanged"
                kind = "duties" if names is groups[0] else "other-part"
                yield kind, message, claim.left, claim.right.xreplace(swap)
                yield kind, message, claim.left.xreplace(swap), claim.right


def _inside(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """Slips in one term of a sum or one factor of a product."""
    for place, side in enumerate((claim.left, claim.right)):
        for node, changed, kind, message in _changes(side, trial):
            replaced = changed if node == side else side.xreplace({node: changed})
            sides = (replaced, claim.right) if place == 0 else (claim.left, replaced)
            yield kind, message, *sides


def _changes(side: Expr, trial: Trial) -> Iterator[tuple[Expr, Expr, str, str]]:
    """A node of ``side``, what to put there, and what that would mean."""
    turns = [symbol(parameter.symbol) for parameter in trial.mode.circuit.parameters]
    sums = [node for node in sympy.preorder_traversal(side) if isinstance(node, Add)]
    for node in list(dict.fromkeys(sums))[:MOST_SUMS]:
        for term in node.args[:MOST_PARTS]:
            rest = node - term
            shown = _shown(term)
            yield node, rest - term, "sign", f"the sign of the term {shown} is wrong"
            yield node, rest + 2 * term, "factor", f"a factor of two is missing at the term {shown}"
            yield node, rest + term / 2, "factor", f"the term {shown} is twice too large"
            for n in turns:
                for power in (1, -1, 2, -2):
                    message = f"a factor of {n} is wrong at the term {shown}"
                    yield node, rest + term * n**power, "turns", message
            for duty in trial.duties:
                swap = {symbol(duty): 1 - symbol(duty)}
                message = f"{duty} and 1 − {duty} are exchanged at the term {shown}"
                if symbol(duty) in term.free_symbols:
                    yield node, rest + term.xreplace(swap), "complement", message
    if isinstance(side, Mul):
        for factor in side.args[:MOST_PARTS]:
            for duty in trial.duties:
                if symbol(duty) in factor.free_symbols:
                    other = factor.xreplace({symbol(duty): 1 - symbol(duty)})
                    message = f"{duty} and 1 − {duty} are exchanged at the factor {_shown(factor)}"
                    yield side, side / factor * other, "complement", message


def _shown(expression: Expr) -> str:
    """A short piece of the line as it was written."""
    text = str(expression)
    for free in expression.free_symbols:
        if free.name.startswith("["):
            text = text.replace(free.name, free.name[1:-1])
    return text if len(text) <= 40 else text[:39] + "…"


def _other_quantity(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """The value of another part, interval or measure."""
    parts = trial.parts
    for quantity in claim.quantities:
        for other, kind, message in _others(quantity, parts, len(trial.mode.mode.intervals)):
            swap: dict[Symbol, Expr] = {quantity.placeholder: other.placeholder}
            yield kind, message, claim.left.xreplace(swap), claim.right
            yield kind, message, claim.left, claim.right.xreplace(swap)
    if any(quantity.interval is not None for quantity in claim.quantities):
        for k in range(1, len(trial.mode.mode.intervals) + 1):
            swap = {
                q.placeholder: Quantity(q.kind, q.part, k).placeholder
                for q in claim.quantities
                if q.interval is not None and q.kind != "share"
            }
            message = f"it holds in interval {k}"
            yield "other-interval", message, claim.left.xreplace(swap), claim.right.xreplace(swap)
    elif any(quantity.kind in ("v", "i") for quantity in claim.quantities):
        for k in range(1, len(trial.mode.mode.intervals) + 1):
            for drop_capacitors in (True, False):
                swap = {
                    q.placeholder: Quantity(q.kind, q.part, k).placeholder
                    for q in claim.quantities
                    if q.kind in ("v", "i")
                    and not (drop_capacitors and q.kind == "v" and parts.get(q.part) == "capacitor")
                }
                message = (
                    f"it holds in interval {k} (say --interval {k}); without one, v( ) and i( ) are averages "
                    "over the period"
                )
                yield "other-interval", message, claim.left.xreplace(swap), claim.right.xreplace(swap)


def _others(quantity: Quantity, parts: dict[str, str], intervals: int) -> Iterator[tuple[Quantity, str, str]]:
    if quantity.kind in MEASURES or (quantity.kind == "i" and quantity.interval is None):
        own = "iavg" if quantity.kind == "i" else quantity.kind
        for kind in MEASURES:
            if kind != own:
                words = f"{MEASURE_WORDS[kind]} of {quantity.part}'s current, not {MEASURE_WORDS[own]}"
                message = f"this is {words}"
                yield Quantity(kind, quantity.part), "other-measure", message
        if own == "ipeak":
            yield Quantity("ripple", quantity.part), "other-measure", "this is the ripple, not the peak"
    if quantity.kind == "ripple" and parts.get(quantity.part) == "inductor":
        yield Quantity("ipeak", quantity.part), "other-measure", "this is the peak, not the ripple"
    if quantity.part and quantity.kind != "defined":
        fits = [name for name, kind in parts.items() if kind == parts.get(quantity.part)]
        for name in fits[:MOST_PARTS]:
            if name != quantity.part:
                message = f"{quantity.part} and {name} are exchanged: it holds for {name}"
                yield Quantity(quantity.kind, name, quantity.interval), "other-part", message


def _missing(claim: Claim, trial: Trial) -> Iterator[Candidate]:
    """A voltage or a current left out of a law."""
    kinds = {quantity.kind for quantity in claim.quantities}
    interval = claim.interval
    terms: list[tuple[str, Expr]] = []
    if "v" in kinds:
        source = trial.mode.circuit.input.quantity.symbol
        terms += [("Vout", Quantity("Vout").placeholder), (source, symbol(source))]
        names = [name for name, kind in trial.parts.items() if kind in ("capacitor", "inductor")]
        terms += [(f"v({name})", Quantity("v", name, interval).placeholder) for name in names[:MOST_PARTS]]
    if "i" in kinds:
        names = [name for name, kind in trial.parts.items() if kind in ("inductor", "load", "capacitor")]
        terms += [(f"i({name})", Quantity("i", name, interval).placeholder) for name in names[:MOST_PARTS]]
    for name, term in terms:
        for sign in (1, -1):
            if term not in claim.left.free_symbols | claim.right.free_symbols:
                message = f"{name} is missing on the right side"
                yield "missing-term", message, claim.left, claim.right + sign * term
