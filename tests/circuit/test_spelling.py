"""The nearest names, as a person would take them."""

from __future__ import annotations

import pytest

from voltsec.circuit.spelling import did_you_mean, hint_among, nearest

NAMES = ("gain", "output_voltage", "stress.S.voltage_peak", "R_L", "Co")


@pytest.mark.parametrize(
    ("word", "meant"),
    [("gian", "gain"), ("GAIN", "gain"), ("r_l", "R_L"), ("output_voltge", "output_voltage"), ("Cx", "Co")],
)
def test_a_slip_finds_its_name(word: str, meant: str) -> None:
    """Letters turned round, another case, a letter left out, one of two letters wrong."""
    assert nearest(word, NAMES)[:1] == [meant]
    assert did_you_mean(word, NAMES) == f"did you mean '{meant}'?"


def test_the_end_of_a_dotted_name_is_enough() -> None:
    assert hint_among("voltage_peak", NAMES) == "did you mean 'stress.S.voltage_peak'?"


def test_what_there_is_where_nothing_is_near() -> None:
    assert nearest("quite different", NAMES) == []
    assert hint_among("quite different", NAMES) == f"there is {', '.join(NAMES)}"
    assert hint_among("?", [f"name{k}" for k in range(20)]).endswith(" and more")
