"""No kind of element can be forgotten: every place that tells kinds apart knows them all.

Read off the classes themselves: a kind that is added makes these fail until each place has an answer for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

import pytest

import voltsec
from voltsec.circuit.elements import Element, Quantity, Transformer, TwoTerminal
from voltsec.circuit.graph import references
from voltsec.drawing.symbols import HALF_WIDTHS
from voltsec.language.habits import TRADE_WORDS
from voltsec.language.vocabulary import KINDS
from voltsec.report.outline import SIZED_BY
from voltsec.results.table import results_of
from voltsec.tableau.network import Network
from voltsec.tableau.ring import Ring

EVERY = """source Vg : in -> gnd = 12 V
inductor L : in -> a
switch S : a -> b
resistor Rs : b -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd
transformer X : out -> gnd, c -> gnd = 1 : 2 { magnetizing LM }
load R : c -> gnd
current I : out -> gnd
"""


@dataclass(frozen=True)
class Varistor(TwoTerminal):
    """A kind that nobody knows."""

    kind = "varistor"


def every_class() -> set[type]:
    found, waiting = set(), [TwoTerminal]
    while waiting:
        for kind in waiting.pop().__subclasses__():
            waiting.append(kind)
            if kind.__module__ == TwoTerminal.__module__:
                found.add(kind)
    return found


def kinds() -> set[str]:
    return {kind.kind for kind in get_args(Element)}


def test_the_union_holds_every_class() -> None:
    assert set(get_args(Element)) == every_class() | {Transformer}


def test_the_circuit_here_holds_every_kind() -> None:
    assert {element.kind for element in voltsec.read(EVERY).elements} == kinds()


def test_the_language_knows_every_kind() -> None:
    assert set(KINDS) | {"transformer"} == kinds()
    assert set(TRADE_WORDS) >= kinds()


def test_views_know_every_kind() -> None:
    """A transformer is told winding by winding."""
    pieces = (kinds() - {"transformer"}) | {"winding"}
    assert set(SIZED_BY) == pieces
    assert set(HALF_WIDTHS) == pieces


def test_every_kind_is_in_the_table_of_results() -> None:
    circuit = voltsec.read(EVERY)
    told = {
        name[len("stress.") : name.rindex(".")] for name in results_of(circuit) if name.startswith("stress.")
    }
    for element in circuit.elements:
        windings = [f"{element.name}.{number + 1}" for number in range(len(element.nodes) // 2)]
        assert element.name in told or told >= set(windings), element.name


def test_an_unknown_kind_has_no_equations() -> None:
    circuit = voltsec.read(EVERY)
    object.__setattr__(circuit, "elements", (*circuit.elements, Varistor("RV", "out", "gnd")))
    ring = Ring(tuple(quantity.symbol for quantity in circuit.quantities))
    with pytest.raises(AssertionError, match="Varistor"):
        Network(circuit, ring, references(circuit))


@pytest.mark.parametrize("kind", sorted(every_class(), key=lambda one: one.__name__))
def test_resistance_and_drop_are_the_same_for_all(kind: type[TwoTerminal]) -> None:
    own = {"quantity": Quantity("X", "V")} if "quantity" in kind.__dataclass_fields__ else {}
    ohm, volt = Quantity("R_X", "ohm"), Quantity("V_X", "V")
    element = kind("X", "a", "b", resistance=ohm, drop=volt, **own)
    assert element.parasitics == {"resistance": ohm, "drop": volt}
    assert element.quantities == (*own.values(), ohm, volt)
