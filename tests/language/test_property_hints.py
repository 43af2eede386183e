"""Hints know every property of the language, whichever there are."""

from __future__ import annotations

import pytest

import voltsec
from voltsec.circuit.fault import CircuitError
from voltsec.language.vocabulary import KINDS, PROPERTIES

STAGE = "source Vg : in -> gnd = 12 V\n{statement}\nload R : x -> gnd = 5 ohm\noperate D = 0.4, T = 10 us\n"
OWNER = {name: kind for kind, (_, _, own) in KINDS.items() for name in own}


def statement(name: str, rest: str) -> str:
    """An element that may have the property, written with ``rest`` behind it."""
    kind = OWNER[name]
    nodes = "in -> x, a -> b = 1 : 2" if kind == "transformer" else "in -> x"
    unit = KINDS[kind][1]
    return f"{kind} X1 : {nodes}{f' = 1 {unit}' if unit else ''} {rest}"


@pytest.mark.parametrize("name", PROPERTIES)
def test_a_property_without_braces(name: str) -> None:
    with pytest.raises(CircuitError) as caught:
        voltsec.read(STAGE.format(statement=statement(name, f"{name} 1")))
    (fault,) = (fault for fault in caught.value.faults if fault.kind == "missing-brace")
    assert f"{{ {name}" in fault.hint and fault.place is not None and fault.place.line == 2


@pytest.mark.parametrize("name", [name for name, (_, unit) in PROPERTIES.items() if unit != "1"])
def test_a_number_in_another_style_is_told_with_the_propertys_unit(name: str) -> None:
    with pytest.raises(CircuitError) as caught:
        voltsec.read(STAGE.format(statement=statement(name, f"{{ {name} 4n7 }}")))
    assert any(f"write 4.7 n{PROPERTIES[name][1]}" in fault.hint for fault in caught.value.faults)
