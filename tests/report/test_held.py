"""A held switch on the terminal and as JSON."""

from __future__ import annotations

import json

import pytest
from sympy import Symbol, sympify

import voltsec
from voltsec.held.held import held_state
from voltsec.held.state import HeldState
from voltsec.report.alphabet import ASCII, UNICODE, Alphabet
from voltsec.report.held import held_json, held_lines
from voltsec.report.machine import json_text


def lines_of(state: HeldState, alphabet: Alphabet = UNICODE) -> list[str]:
    return list(held_lines(state, alphabet))


@pytest.mark.parametrize("name", ["boost", "sepic_lossy", "quad_boost_lossy", "forward", "charger_lossy"])
@pytest.mark.parametrize("word", ["on", "off"])
@pytest.mark.parametrize("alphabet", [UNICODE, ASCII])
def test_nothing_is_wider_than_the_terminal(name: str, word: str, alphabet: Alphabet) -> None:
    lines = lines_of(held_state(voltsec.load(name), {"S": word}), alphabet)
    assert max(map(len, lines)) <= 80
    if not alphabet.unicode:
        assert all(line.isascii() for line in lines)


def test_the_sentences() -> None:
    text = " ".join(" ".join(lines_of(held_state(voltsec.load("boost"), {"S": "off"}))).split())
    assert "Vg reaches the output through L, D1: V = Vg = 12 V." in text
    assert "S takes the voltage: Vg = 12 V." in text
    text = " ".join(" ".join(lines_of(held_state(voltsec.load("boost"), {"S": "on"}))).split())
    assert "Vg is shorted through coil L (Vg, L, S): nothing limits the current" in text
    assert "Vg does not reach the output: V = 0 V." in text


def test_ordinary_values_are_owned_up_to() -> None:
    circuit = voltsec.read(
        "source Vg : in -> gnd\ninductor L : in -> a\nswitch S : a -> gnd\ndiode D1 : a -> out\n"
        "capacitor Co : out -> gnd\nload R : out -> gnd"
    )
    state = held_state(circuit, {"S": "off"})
    assert state.ordinary_values == ("R", "Vg")
    assert "no value for R, Vg" in " ".join(lines_of(state))


@pytest.mark.parametrize(("name", "word"), [("sepic_lossy", "on"), ("boost", "on"), ("boost", "off")])
def test_formulas_read_back(name: str, word: str) -> None:
    circuit = voltsec.load(name)
    state = held_state(circuit, {"S": word})
    told = json.loads(json_text(held_json(state)))
    names = {symbol: Symbol(symbol, positive=True) for symbol in told["symbols"]}
    assert sympify(told["output_voltage"]["formula"], locals=names) == state.output.formula
    for part, figure in state.blocking.items():
        assert sympify(told["blocking"][part]["formula"], locals=names) == figure.formula
    assert told["held"] == {"S": word}


def test_the_periodic_answer_comes_along() -> None:
    told = held_json(held_state(voltsec.load("buckboost_two_switch"), {"S2": "off"}))
    assert told["state"] == "periodic"
    assert told["solution"]["modes"][0]["gain"] == "D"
