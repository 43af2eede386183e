"""Names, statement order and arrows say nothing: the answer is the same but for names and signs."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import voltsec
from voltsec.circuit.circuit import Circuit

from .evaluation import assert_same_answer, builders
from .variants import QUICK, generated, made_up, renamed, shuffled, solved, turned

WAYS = {"renamed": renamed, "shuffled": shuffled, "turned": turned}
SEEDS = st.integers(0, 2**32)


@pytest.mark.parametrize("way", WAYS)
@settings(generated, max_examples=12)
@given(name=st.sampled_from(QUICK), seed=SEEDS)
def test_of_shipped_circuits(way: str, name: str, seed: int) -> None:
    source = random.Random(seed)
    answer = solved(name)
    circuit, pairing = WAYS[way](answer.circuit, source)
    assert_same_answer(answer, voltsec.solve(circuit), pairing, source, same_names=way != "shuffled")


@pytest.mark.parametrize("way", WAYS)
@settings(generated, max_examples=4)
@given(circuit=made_up(), seed=SEEDS)
def test_of_made_up_circuits(way: str, circuit: Circuit, seed: int) -> None:
    source = random.Random(seed)
    changed, pairing = WAYS[way](circuit, source)
    first, second = voltsec.solve(circuit), voltsec.solve(changed)
    assert_same_answer(first, second, pairing, source, same_names=way != "shuffled")


@pytest.mark.parametrize("name", ["K", "K2", "d2", "d3", "Le"])
def test_no_definition_takes_a_name_of_the_circuit(name: str) -> None:
    """A load may be called like a quantity that the tool defines; the definition then has to give way."""
    text = """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 100 uH
        diode D1 : a -> b
        diode D2 : a -> c
        capacitor C1 : b -> gnd = 22 uF
        inductor L2 : b -> c = 220 uH
        switch S : c -> gnd
        diode D3 : c -> out
        capacitor Co : out -> gnd = 47 uF
        load LOAD : out -> gnd = 96 ohm
        operate D = 0.5, f = 100 kHz
    """
    answer = voltsec.solve(voltsec.read(text.replace("LOAD", name)))
    for mode in answer.modes:
        assert name not in mode.definitions, f"{mode.name}: {name} = {mode.definitions[name]}"
    for builder in builders(answer).values():
        assert name not in builder.found.fractions.unknown.values()
