"""What modes are called: CCM or DCM by whether the inductors conduct throughout, and what stops.

CCM is a mode in which no inductor rests.  The core of a transformer that only passes power on may be
reset, and a leakage inductance in series with a winding may run dry, while the inductors go on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sympy import Symbol
from sympy.core.relational import GreaterThan, Relational, StrictGreaterThan

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Inductor
from voltsec.formulas.resting import Rest, Solved, coupled_groups, resting, transforming
from voltsec.periodic.balance import Balance
from voltsec.periodic.stages import Stages
from voltsec.tableau.network import coils


@dataclass(frozen=True)
class ModeName:
    """A short and unique name, and a label for people."""

    name: str
    label: str


@dataclass(frozen=True)
class Conduction:
    """How a mode conducts: ``kind`` is CCM or DCM, ``words`` what is particular ("" where nothing is)."""

    kind: str
    words: str
    details: tuple[str, ...] = ()
    """What may be said besides, where a label is another mode's already: the next where that is no help.

    Diodes that conduct in every interval, diodes that stop or start by themselves, what conducts when.
    """

    @property
    def label(self) -> str:
        """Both together: ``CCM, LM resets``, ``DCM: L2 stops first, then L1``."""
        if not self.words:
            return self.kind
        return f"{self.kind}{':' if self.kind == 'DCM' else ','} {self.words}"


def name_modes(conductions: Sequence[Conduction]) -> list[ModeName]:
    """Names in order, numbered where there are several of a kind."""
    found: list[ModeName] = []
    counts: dict[str, int] = {}
    for one in conductions:
        counts[one.kind] = counts.get(one.kind, 0) + 1
        number = "" if counts[one.kind] == 1 else f" {counts[one.kind]}"
        found.append(ModeName(one.kind + number, _new_label(one, {earlier.label for earlier in found})))
    return found


def _new_label(one: Conduction, taken: set[str]) -> str:
    """A label that no other mode has; one on top of the last resort tells the same devices by a number."""
    label = one.label
    for detail in one.details:
        if label not in taken:
            break
        if detail == one.words:
            continue
        label = replace(one, words=", ".join(text for text in (detail, one.words) if text)).label
    plain, number = label, 2
    while label in taken:
        label, number = f"{plain} ({number})", number + 1
    return label


def conduction(solved: Solved, stages: Stages, several: bool) -> Conduction:
    """How a mode conducts, from its sequence solved at a point where it holds.

    With ``several`` orders of the switch edges the words say which one it is.
    """
    balance = solved.balance
    rests = resting(solved)
    storing = _storing(solved)
    events = _events(balance, rests, storing)
    stopped = [event for event in events if event.storing]
    kind = "DCM" if stopped else "CCM"
    words = _words(events, balance)
    if not words and balance.sequence.unknown:
        words = _changes(balance)
    if several:
        order = order_text(stages.conditions())
        words = f"{words}, {order}" if words and order else words or order
    details = (_throughout(balance), _changes(balance), _course(balance))
    return Conduction(kind, words, tuple(detail for detail in details if detail))


@dataclass(frozen=True)
class _Event:
    """Coils that begin to rest after interval ``place``."""

    place: int
    stage: int
    subjects: tuple[str, ...]
    """Coils that run dry, or the devices that stop where coil currents go on circulating."""
    resets: bool
    """A core is reset."""
    storing: bool
    """Among them is an inductor that ought to conduct throughout."""


def _storing(solved: Solved) -> frozenset[str]:
    """The coils that conduct throughout in CCM."""
    circuit = solved.balance.circuit
    every = frozenset(coil.name for coil in coils(circuit))
    passing = transforming(solved)
    return (every - passing - _leakages(circuit)) or (every - passing) or every


def _leakages(circuit: Circuit) -> frozenset[str]:
    """Inductors in series with a winding: a node that joins nothing but the two."""
    wound = {node for transformer in circuit.transformers for pair in transformer.windings for node in pair}
    cores = coupled_groups(circuit)
    found = set()
    for coil in circuit.inductors:
        own = next((group for group in cores if coil.name in group), frozenset({coil.name}))
        for node in coil.nodes:
            others = [one for one in circuit.elements if one is not coil and node in one.nodes]
            if len(others) != 1:
                continue
            other = others[0]
            coupled = any(other.name in group for group in cores) and other.name not in own
            if coupled or (not isinstance(other, Inductor) and node in wound):
                found.add(coil.name)
    return frozenset(found)


def _events(balance: Balance, rests: tuple[tuple[Rest, ...], ...], storing: frozenset[str]) -> list[_Event]:
    """What begins to rest, in the order of the intervals."""
    sequence = balance.sequence
    cores = {t.magnetizing.symbol for t in balance.circuit.transformers if t.magnetizing is not None}
    cores |= {name for group in coupled_groups(balance.circuit) for name in group} - storing
    order = [device.name for device in balance.circuit.devices]
    found = []
    for k, now in enumerate(rests):
        before = {name for rest in rests[k - 1] for name in rest.coils} if len(rests) > 1 else set()
        for rest in now:
            new = rest.coils - before
            if not new:
                continue
            stops, _ = sequence.ended_by((k - 1) % len(rests))
            dry = rest.empty or not stops
            subjects = sorted(new) if dry else [name for name in order if name in stops]
            found.append(
                _Event(
                    (k - 1) % len(rests),
                    sequence.intervals[k].stage,
                    tuple(subjects),
                    bool(new <= cores - storing),
                    bool(new & storing),
                )
            )
    return found


def _words(events: list[_Event], balance: Balance) -> str:
    """What stops, in order where one interval between switch edges sees it all."""
    if not events:
        return ""
    joined: list[tuple[bool, int, list[str]]] = []
    in_order = len({event.stage for event in events}) == 1
    for event in events:
        if joined and joined[-1][0] == event.resets and (joined[-1][1] == event.place or not in_order):
            joined[-1][2].extend(name for name in event.subjects if name not in joined[-1][2])
        else:
            joined.append((event.resets, event.place, list(event.subjects)))
    if not in_order:
        order = [coil.name for coil in coils(balance.circuit)]
        order += [device.name for device in balance.circuit.devices]
        for _, _, names in joined:
            names.sort(key=order.index)
    texts = []
    for number, (resets, _, names) in enumerate(joined):
        verb = ("reset" if resets else "stop") + ("s" if len(names) == 1 else "")
        same = number and joined[number - 1][0] == resets
        texts.append(_listed(names) if same and in_order else f"{_listed(names)} {verb}")
    if len(texts) == 1:
        return texts[0]
    if not in_order:
        return " and ".join(texts)
    first = f"{texts[0]} first" if joined[0][0] == joined[1][0] else texts[0]
    return ", then ".join([first, *texts[1:]])


def _changes(balance: Balance) -> str:
    """Diodes that stop or start by themselves while every coil goes on."""
    order = [device.name for device in balance.circuit.devices]
    texts = []
    for k in balance.sequence.unknown:
        stops, starts = balance.sequence.ended_by(k)
        names = [name for name in order if name in (stops or starts)]
        verb = ("stop" if stops else "start") + ("s" if len(names) == 1 else "")
        texts.append(f"{_listed(names)} {verb}")
    return ", then ".join(dict.fromkeys(texts))


def _throughout(balance: Balance) -> str:
    """Diodes that conduct in every interval."""
    intervals = balance.sequence.intervals
    names = [d.name for d in balance.circuit.diodes if all(d.name in i.conducting for i in intervals)]
    return f"{_listed(names)} conduct{'s' if len(names) == 1 else ''} throughout" if names else ""


def _course(balance: Balance) -> str:
    """The diodes that conduct in every interval: ``D1 D2, then D2, then none``."""
    names = [d.name for d in balance.circuit.diodes]
    intervals = balance.sequence.intervals
    told = [" ".join(name for name in names if name in one.conducting) or "no diode" for one in intervals]
    return f"with {', then '.join(told)}" if names else ""


def order_text(conditions: list[Relational]) -> str:
    """An order of switch edges: ``1/3 < D < 2/3``, ``D1 < D2``."""
    lower: dict[Symbol, str] = {}
    upper: dict[Symbol, str] = {}
    others: list[str] = []
    for condition in conditions:
        left, right = condition.lhs, condition.rhs
        if isinstance(condition, StrictGreaterThan | GreaterThan):
            left, right = right, left
        if isinstance(right, Symbol) and left.is_number:
            lower[right] = str(left)
        elif isinstance(left, Symbol) and right.is_number:
            upper[left] = str(right)
        else:
            others.append(f"{right} > {left}" if left.is_number else f"{left} < {right}")
    texts = []
    for name in dict.fromkeys((*lower, *upper)):
        if name in lower and name in upper:
            texts.append(f"{lower[name]} < {name} < {upper[name]}")
        elif name in upper:
            texts.append(f"{name} < {upper[name]}")
        else:
            texts.append(f"{name} > {lower[name]}")
    return " and ".join([*texts, *others])


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
