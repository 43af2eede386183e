"""Damaged netlists: always a circuit or a CircuitError, whose places lie in the text."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.language.test_words import EVERYTHING, EXAMPLE
from tests.language.wrong_inputs import GAUGE, MAST, PAIR
from voltsec.circuit.fault import CircuitError
from voltsec.circuit.graph import references
from voltsec.language.complaints import KINDS, as_objects, render
from voltsec.language.reader import read
from voltsec.language.splitting import lines_of
from voltsec.language.writer import tidy, write

PIECES = (
    *' \t\n\r#:,={}->"%;\0\x1bµé→',
    *(
        "->",
        " = 0 ",
        " -1 ",
        "1e-9",
        "{ resistance }",
        "{ drop 1 V,\n",
        "in",
        "gnd",
        "S",
        "D",
        "T",
        "f",
        "kohm",
    ),
    *("lambda", "drive S with S", "output a -> b\n", "ground out\n", "couple L1, L1\n"),
    *("switch Z : in -> gnd\n", "source Y : in -> out\n", "current X9 : a -> a\n", "inductor D : a -> b\n"),
)


@st.composite
def damaged(draw: st.DrawFn) -> str:
    """A good netlist with some pieces cut out and others put in."""
    text = draw(st.sampled_from([GAUGE, MAST, PAIR, EXAMPLE, EVERYTHING]))
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, len(text)))
        cut = draw(st.integers(0, 12))
        text = text[:at] + draw(st.sampled_from(("", *PIECES))) + text[at + cut :]
    return text


def examine(text: str) -> None:
    try:
        circuit = read(text)
        assert read(tidy(text)) == circuit
        assert read(write(circuit)) == circuit
        assert references(circuit)
        circuit.check()
    except CircuitError as error:
        lines = lines_of(text)
        assert error.faults
        for fault in error.faults:
            assert fault.kind in KINDS
            assert fault.message
            if fault.place is not None:
                assert 1 <= fault.place.line <= len(lines)
                assert 1 <= fault.place.column <= len(lines[fault.place.line - 1]) + 1
        assert render(error)
        assert as_objects(error)


@settings(max_examples=400, deadline=None)
@given(damaged())
def test_damaged_netlists(text: str) -> None:
    examine(text)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=300))
def test_any_text(text: str) -> None:
    examine(text)
