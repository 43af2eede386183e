"""Every wrong input of the table gives its fault, that one only."""

from __future__ import annotations

import pytest

from tests.language.wrong_inputs import GAUGE, MAST, PAIR, WRONG, add, swap
from voltsec.circuit.fault import CircuitError
from voltsec.language.reader import read


def faults_of(text: str):
    with pytest.raises(CircuitError) as caught:
        read(text).check()
    return caught.value.faults


@pytest.mark.parametrize("text", [GAUGE, MAST, PAIR])
def test_the_right_inputs_are_right(text: str) -> None:
    read(text).check()


@pytest.mark.parametrize("name", WRONG)
def test_wrong_input(name: str) -> None:
    wrong = WRONG[name]
    (fault,) = faults_of(wrong.text)
    place = (fault.place.line, fault.place.column) if fault.place else (None, None)
    assert (fault.kind, place) == (wrong.kind, (wrong.line, wrong.column))
    if wrong.elements:
        assert fault.elements == wrong.elements
    if wrong.nodes:
        assert fault.nodes == wrong.nodes
    assert wrong.hint in fault.hint
    for name in (*fault.elements, *fault.nodes):
        assert name in fault.message or name in wrong.text


def test_all_faults_are_reported_together() -> None:
    text = swap("a -> out", "a out")
    text = swap("47 uF", "47 uX", text)
    text = swap("0.42", "1.42", text)
    text = add("input Vx", text)
    assert [fault.kind for fault in faults_of(text)] == [
        "missing-arrow", "unknown-unit", "duty-out-of-range", "unknown-name",
    ]  # fmt: skip


def test_faults_of_language_and_circuit_are_reported_together() -> None:
    text = add("resistor Rx : out -> nowhere", swap("47 uF", "47 uX"))
    assert [fault.kind for fault in faults_of(text)] == ["unknown-unit", "loose-node"]


@pytest.mark.parametrize(
    "text",
    [
        swap("L1 :", "L1", add("couple L1, L1x = 0.5", swap("load R", "inductor L1x : out -> gnd\nload R"))),
        swap("switch S2 :", "switch S2", PAIR),
        swap("drive S2 against", "drive S2 againt", PAIR),
        swap("parameter n =", "parameter n :", MAST),
        add("operate Dx = 0.5", swap("S1 at D", "S1 att Dx", PAIR)),
        swap("source Vg :", "source Vg", add("input Vg")),
        swap("47 uH", "47 uH { resistance 1 ohm,\n resistance"),
    ],
)
def test_a_line_that_cannot_be_read_gives_no_second_fault(text: str) -> None:
    assert len(faults_of(text)) == 1


def test_a_faulty_drive_gives_no_fault_of_the_circuit() -> None:
    text = swap("S2 against S1", "S3 against S1", PAIR)
    assert [fault.kind for fault in faults_of(text)] == ["unknown-name"]


def test_place_counts_from_the_line_of_a_broken_statement() -> None:
    text = swap("gnd -> a", "gnd -> a { drop 0.4 V, # warm\n\n    resistance 5 mV }")
    (fault,) = faults_of(text)
    assert (fault.kind, fault.place.line, fault.place.column) == ("wrong-unit", 6, 18)
