"""Parts wired at random: stages nobody drew, kept where the circuit's own check finds no fault."""

from __future__ import annotations

import random
from fractions import Fraction

import networkx as nx

from voltsec.circuit.elements import Capacitor, Diode, Inductor, Load, Source, Switch, Transformer
from voltsec.circuit.graph import graph_of

from .draft import Draft
from .values import decimal, duty, preferred

TRIALS = 2000
PERIODS = (2e-6, 2e-5)


def wired(rng: random.Random) -> Draft:
    """One source, one or two switches, a few diodes, coils and capacitors between five to seven nodes."""
    for _ in range(TRIALS):
        draft = _parts(rng)
        if draft.works() and _sensible(draft):
            return draft
    raise RuntimeError("no wiring that passes the check was found")


def rewired(draft: Draft, rng: random.Random) -> bool:
    """One to three ends of parts moved to other nodes; False where no such circuit passes the check."""
    elements = list(draft.elements)
    for _ in range(TRIALS // 10):
        for _ in range(rng.randint(1, 3)):
            part = rng.choice([e for e in draft.elements if type(e) not in (Source, Load, Transformer)])
            node = rng.choice([n for n in draft.nodes() if n not in part.nodes])
            draft.move(part, rng.choice(part.nodes), node)
        if draft.works() and _sensible(draft):
            return True
        draft.elements = list(elements)
    return False


def _parts(rng: random.Random) -> Draft:
    draft = Draft()
    draft.operating["T"] = preferred(rng, *PERIODS)
    ohm, volts = preferred(rng, 3, 100), Fraction(rng.choice([5, 12, 18, 24, 48]))
    unit, period = float(ohm), float(draft.operating["T"])
    inner = [f"m{n}" for n in range(1, rng.randint(2, 4) + 1)]
    nodes = ["gnd", "in", "out", *inner]
    draft.add(Source, "in", "gnd", volts, name="Vg")

    def ends() -> tuple[str, str]:
        # inner nodes are drawn twice as often: a part between two rails does little
        first = rng.choice([*nodes, *inner])
        return first, rng.choice([n for n in [*nodes, *inner] if n != first])

    for count in range(rng.choice([1, 1, 1, 2])):
        name = draft.add(Switch, *ends())
        if count:
            kind = rng.choice(["with", "against", "at"])
            if kind == "at":
                draft.drive(name, "at", "Da", duty(rng))
            else:
                draft.drive(name, kind, draft.of_kind(Switch)[0].name)
        else:
            draft.drive(name, "at", "D", duty(rng))
    for _ in range(rng.randint(1, 4)):
        draft.add(Diode, *ends())
    for _ in range(rng.randint(1, 3)):
        draft.add(Inductor, *ends(), preferred(rng, 0.02 * unit * period, 20 * unit * period))
    for _ in range(rng.randint(0, 2)):
        draft.add(Capacitor, *ends(), preferred(rng, 2 * period / unit, 200 * period / unit))
    draft.add(Capacitor, "out", "gnd", preferred(rng, 5 * period / unit, 300 * period / unit))
    draft.add(Load, "out", "gnd", decimal(unit))
    return draft


def _sensible(draft: Draft) -> bool:
    """Every part lies on a loop with the source, and no coil, capacitor or diode lies across it."""
    graph = nx.Graph(graph_of(draft.done()))
    if not nx.is_biconnected(graph):
        return False
    source = set(draft.of_kind(Source)[0].nodes)
    pairs = [frozenset(e.nodes) for e in draft.elements if type(e) in (Inductor, Capacitor, Diode, Switch)]
    across = any(set(pair) == source for pair in pairs)
    return not across and len(set(pairs)) > len(pairs) - 2
