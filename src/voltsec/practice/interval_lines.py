"""The first part of a derivation: each interval's conducting devices, loops, voltages and currents."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from sympy import Basic, Expr, Integer, Mul

from voltsec.practice.blackboard import Blackboard
from voltsec.practice.derivation import Prose
from voltsec.practice.intervals import current_name, loop_of, nodes_of, voltage_name
from voltsec.practice.setting import Setting
from voltsec.practice.solving import Pending
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio


@dataclass
class IntervalLines:
    """Numbers of the lines written for the intervals."""

    voltages: dict[tuple[int, str], int] = field(default_factory=dict)
    currents: dict[tuple[int, str], int] = field(default_factory=dict)
    ties: list[Pending] = field(default_factory=list)


def write_intervals(setting: Setting, blackboard: Blackboard) -> IntervalLines:
    """Write every interval; lines that fail their check are replaced by a sentence."""
    written = IntervalLines()
    blackboard.heading("Intervals")
    for piece in _conventions(setting):
        blackboard.say(*piece)
    for k in range(setting.count):
        _one(setting, blackboard, k, written)
    return written


def _conventions(setting: Setting) -> list[tuple[str | Basic, ...]]:
    circuit = setting.circuit
    found: list[tuple[str | Basic, ...]] = [
        (
            "Voltages are counted along each element's arrow and currents flow along it. "
            "Ripple is small: each capacitor voltage is taken as constant over the period, "
            "and its charge must balance.",
        )
    ]
    if setting.discontinuous:
        found.append(
            (
                "Coil currents are straight lines in each interval: i1(L) stands for the mean of L's "
                "current in interval 1, rise1(L) for its rise over interval 1, and so on.",
            )
        )
    if any(coil.resistance is not None for coil in circuit.inductors):
        found.append(
            (
                "A coil's voltage is the part across its inductance; "
                "the drop of its winding stands on the other side.",
            )
        )
    if any(capacitor.resistance is not None for capacitor in circuit.capacitors):
        found.append(
            ("A capacitor's voltage is the part across its capacitance, without its series resistance.",)
        )
    return found


def _one(setting: Setting, blackboard: Blackboard, k: int, written: IntervalLines) -> None:
    circuit = setting.circuit
    interval = setting.sequence.intervals[k]
    shown = setting.mode.intervals[k]
    blocking = [d.name for d in (*circuit.switches, *circuit.diodes) if d.name not in interval.conducting]
    conducting = ", ".join(shown.conducting) or "no switch or diode"
    verb = "conduct" if len(shown.conducting) > 1 else "conducts"
    sentence: list[str | Basic] = [f"Interval {k + 1}, share ", _share(setting, k), f": {conducting} {verb}"]
    if blocking:
        sentence.append(f"; {', '.join(blocking)} {'block' if len(blocking) > 1 else 'blocks'}")
    sentence.append("." if shown.ends == "switch" else f". It ends when {shown.ends} changes by itself.")
    blackboard.say(*sentence)
    if not setting.locals[k].holds():
        blackboard.doubt("The network of this interval could not be verified; its lines are left out.")
        return
    _write_ties(setting, blackboard, k, written)
    for coil in coils(circuit):
        left = _left(setting, k, ("u", coil.name), voltage_name(coil.name))
        if left is None:
            continue
        value = setting.unknown(k, ("u", coil.name))
        way = loop_of(circuit, interval, coil.start, coil.end)
        reason: Prose = ("voltage law" if way is None else f"loop {coil.name}, {', '.join(way)}",)
        if way == ():
            reason = ("both ends at one node",)
        number = blackboard.identity(left, setting.board.write_linear(value), reason, value)
        if number is not None:
            written.voltages[k, coil.name] = number
    for capacitor in circuit.capacitors:
        left = _left(setting, k, ("i", capacitor.name), current_name(capacitor.name))
        if left is None:
            continue
        value = setting.unknown(k, ("i", capacitor.name))
        nodes = nodes_of(circuit, interval, capacitor)
        if nodes is None or circuit.transformers:
            reason = ("current law",) if not circuit.transformers else ("current law, turns ratio",)
        else:
            reason = (f"current law at {'node' if len(nodes) == 1 else 'nodes'} {', '.join(nodes)}",)
        number = blackboard.identity(left, setting.board.write_linear(value), reason, value)
        if number is not None:
            written.currents[k, capacitor.name] = number


def _share(setting: Setting, k: int) -> Expr:
    return setting.share(k)


def _left(setting: Setting, k: int, unknown: tuple[Any, ...], plain: str) -> Expr | None:
    """The left side; ``None`` for what the interval leaves open by itself."""
    return None if unknown in setting.locals[k].eliminated.free else symbol(plain)


def _write_ties(setting: Setting, blackboard: Blackboard, k: int, written: IntervalLines) -> None:
    ring = setting.board.ring
    for tie in setting.ties(k):
        names = [name for name in setting.board.states if ring.degree(tie, name) == 1]
        if not names:
            blackboard.doubt("This interval asks more of the sources than they can give.")
            continue
        currents = all(name.startswith("i") for name in names)
        words = "no current has a way" if len(names) == 1 else "a cutset of coils"
        kind = words if currents else "a loop of capacitors"
        name = names[0]
        constant, linear = ring.coefficients(tie, name)
        value = Ratio(-constant, linear)
        number = blackboard.identity(
            symbol(name), setting.board.write_linear(value), (f"this interval ties them: {kind}",), value
        )
        if number is not None:
            written.ties.append(Pending(number, "the tie", tie))
    opened = [u for u in setting.locals[k].eliminated.free if u[0] in ("u", "i")]
    if opened:
        shown = ", ".join(setting.open_name(k, unknown) for unknown in opened)
        verb = "stay" if len(opened) > 1 else "stays"
        blackboard.say(f"{shown} {verb} open within this interval; the balance over the period decides.")


def write_balances(setting: Setting, blackboard: Blackboard, written: IntervalLines) -> list[Pending]:
    """Volt-second balance of every coil, charge balance of every capacitor."""
    blackboard.heading("Balance over a period")
    found: list[Pending] = []
    for name in setting.coils:
        found += _balance(setting, blackboard, name, "u", written)
    for name in setting.capacitors:
        found += _balance(setting, blackboard, name, "i", written)
    return found


def _balance(
    setting: Setting, blackboard: Blackboard, name: str, letter: str, written: IntervalLines
) -> list[Pending]:
    ring = setting.board.ring
    kind = "volt-second" if letter == "u" else "charge"
    lines = written.voltages if letter == "u" else written.currents
    total = Ratio(ring.zero, ring.one)
    terms: list[Expr] = []
    cites = []
    for k in range(setting.count):
        unknown = (letter, name)
        value = setting.unknown(k, unknown)
        if value.is_zero:
            continue
        total = total + (value * setting.fractions[k])
        shown = setting.board.write_linear(value)
        share = _share(setting, k)
        terms.append(Mul(share, shown))
        if (k, name) in lines:
            cites.append(lines[k, name])
    if total.is_zero:
        return []
    left = _sum(terms)
    number = blackboard.balance(left, (f"{kind} balance of {name}",), total, tuple(cites))
    if number is None:
        return []
    return [Pending(number, f"the {kind} balance of {name}", total.numerator)]


def _sum(terms: list[Expr]) -> Expr:
    total: Expr = Integer(0)
    for term in terms:
        total = total + term
    return total
