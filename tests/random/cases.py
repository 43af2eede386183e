"""The number of a case -> its circuit.  The same number gives the same netlist everywhere.

Three families: shelf circuits changed several times ("mutated"), stages grown from cells and then changed
("grown"), and parts wired at random or grown stages with some ends moved ("wired").
"""

from __future__ import annotations

import random
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, CurrentSource, Diode, Inductor, Load, Resistor, Source
from voltsec.command.netlists import load, shipped_circuits
from voltsec.language.writer import write

from .additions import ADDITIONS, battery
from .cells import CELLS, Site
from .draft import Draft
from .parasitics import PARASITICS
from .values import chance, preferred
from .wiring import PERIODS, rewired, wired

FAMILIES = ("mutated", "grown", "wired")
TURN = ("mutated", "grown", "mutated", "wired", "grown")
"""The families of the numbers 0, 1, 2 ... in turn."""
MOST_ELEMENTS = 25
"""As many parts as a netlist has whose answer may be expected within the time limit."""
SLOW_SHELF = {
    "quad_boost",
    "quad_boost_lossy",
    "quad_buck",
    "boost_then_buck",
    "quad_bb_D2_1mD",
    "quad_sepic",
}
"""Shelf circuits whose answers take seconds."""

Change = Callable[[Draft, random.Random], bool]


@dataclass(frozen=True)
class Case:
    """One random circuit."""

    number: int
    family: str
    history: tuple[str, ...]
    """What it was made from and how."""
    circuit: Circuit

    @property
    def netlist(self) -> str:
        """The netlist's text, its history in a comment above it."""
        return f"# case {self.number}, {self.family}: {', '.join(self.history)}\n{write(self.circuit)}"


def family_of(number: int) -> str:
    """The family of a case."""
    return TURN[number % len(TURN)]


def make(number: int) -> Case:
    """The case with this number."""
    family = family_of(number)
    rng = random.Random(f"{family} {number}")
    draft, history = {"mutated": _from_the_shelf, "grown": _grown, "wired": _wired}[family](rng)
    return Case(number, family, tuple(history), draft.done())


def is_cheap(case: Case) -> bool:
    """Answered in about half a second: few devices, states and parasitic values (every fourth has more)."""
    circuit = case.circuit
    parts = circuit.of(Diode, Inductor, Capacitor)
    losses = sum(
        getattr(element, key, None) is not None
        for element in circuit.elements
        for key in ("resistance", "drop", "magnetizing")
    )
    resistors = [element for element in circuit.of(Resistor) if not isinstance(element, Load)]
    most = 4 if case.number % 4 else 7
    return len(parts) + losses + len(resistors) <= most and not SLOW_SHELF & set(case.history)


@cache
def shelf() -> dict[str, Circuit]:
    """The shipped circuits by name."""
    return {name: load(name) for name in sorted(shipped_circuits())}


def _from_the_shelf(rng: random.Random) -> tuple[Draft, list[str]]:
    draw = rng.random()
    # a circuit that joins the shelf takes over a few cases and leaves all others as they are
    name = max(shelf(), key=lambda one: random.Random(f"{draw} {one}").random())
    draft = Draft.of(shelf()[name])
    return _changed(draft, rng, rng.choice([1, 2, 2, 3, 3, 4]), [name])


def _grown(rng: random.Random) -> tuple[Draft, list[str]]:
    while True:
        draft, history = _cells(rng)
        if draft.works() and len(draft.elements) <= MOST_ELEMENTS:
            return _changed(draft, rng, rng.choice([0, 0, 1, 1, 2, 3]), history)


def _wired(rng: random.Random) -> tuple[Draft, list[str]]:
    if chance(rng, 0.5):
        return _changed(wired(rng), rng, rng.choice([0, 0, 1]), ["wired"])
    while True:
        draft, history = _cells(rng)
        if draft.works() and len(draft.elements) <= MOST_ELEMENTS and rewired(draft, rng):
            return _changed(draft, rng, rng.choice([0, 0, 1]), [*history, "rewired"])


def _cells(rng: random.Random) -> tuple[Draft, list[str]]:
    """A source, one or two cells, an output."""
    draft = Draft()
    draft.operating["T"] = preferred(rng, *PERIODS)
    draft.add(Source, "in", "gnd", Fraction(rng.choice([5, 12, 18, 24, 48])), name="Vg")
    ohm = float(preferred(rng, 2, 200))
    site = Site(draft, rng, ohm, chance(rng, 0.4))
    history, node, sign = [], "in", 1
    for _ in range(1 if chance(rng, 0.75) else 2):
        if history:
            site.capacitor(node, "gnd")
        cell = rng.choice(CELLS)
        history.append(cell.__name__)
        node, sign = cell(site, node)
        if sign < 0:
            break
    if not any(type(e) is Capacitor and set(e.nodes) == {node, "gnd"} for e in draft.elements):
        site.capacitor(node, "gnd")
    if chance(rng, 0.06):
        volts = float(draft.elements[0].quantity.value)
        ends = (node, "gnd") if sign > 0 else ("gnd", node)
        draft.add(CurrentSource, *ends, preferred(rng, 0.1 * volts / ohm, volts / ohm))
    else:
        draft.add(Load, node, "gnd", preferred(rng, ohm, ohm), name="R")
    return draft, history


def _changed(draft: Draft, rng: random.Random, times: int, history: list[str]) -> tuple[Draft, list[str]]:
    """``times`` changes, each kept where the circuit still passes its check and is not too large."""
    done = 0
    for _ in range(20 * times):
        change: Change = rng.choice(PARASITICS if chance(rng, 0.6) else ADDITIONS)
        trial = deepcopy(draft)
        if change is battery and len(trial.of_kind(Source)) > 1:
            continue
        if change(trial, rng) and trial.works() and len(trial.elements) <= MOST_ELEMENTS:
            draft = trial
            history.append(change.__name__)
            done += 1
        if done == times:
            break
    return draft, history
