"""Write and read, tidy and read: the same circuit; tidying twice changes nothing more."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.language.netlists import circuits
from tests.language.test_words import EVERYTHING, EXAMPLE
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError
from voltsec.language.reader import read
from voltsec.language.writer import tidy, write

SHIPPED = sorted((Path(__file__).resolve().parents[2] / "circuits").glob("*.topo"))


def comments(text: str) -> list[str]:
    """What stands after the first # of every line without a title."""
    return [line.partition("#")[2].strip() for line in text.splitlines() if "#" in line and '"' not in line]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_circuits(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    circuit = read(text, str(path)).check()
    assert read(write(circuit)) == circuit
    tidied = tidy(text)
    assert read(tidied) == circuit
    assert tidy(tidied) == tidied
    assert comments(tidied) == comments(text)


def test_there_are_shipped_circuits() -> None:
    assert len(SHIPPED) > 30


@settings(deadline=None)
@given(circuits())
def test_any_circuit(circuit: Circuit) -> None:
    text = write(circuit)
    again = read(text)
    assert again == circuit
    assert write(again) == text
    assert tidy(text) == text


@settings(deadline=None)
@given(circuits(), st.randoms())
def test_tidying_any_text(circuit: Circuit, random) -> None:
    lines = []
    for line in write(circuit).splitlines():
        if random.random() < 0.3:
            lines.append("  # " + random.choice(["lamp", "#", "  far out", "\N{SNOWMAN}"]))
        if random.random() < 0.3:
            lines += ["", "   "]
        if '"' not in line:
            line = line.replace("  ", random.choice([" ", "\t "]))
            line = line.replace(", ", random.choice([",", " ,  "]))
        lines.append(line + random.choice(["", "#x", "  #   radio"]))
    text = random.choice(["\n", "\r\n"]).join(lines)
    tidied = tidy(text)
    assert read(tidied) == circuit
    assert tidy(tidied) == tidied
    assert comments(tidied) == comments(text)
    assert "\n\n\n" not in tidied


def test_the_example_is_tidy() -> None:
    assert tidy(EXAMPLE) == EXAMPLE
    assert write(read(EXAMPLE)) == EXAMPLE


def test_everything() -> None:
    circuit = read(EVERYTHING)
    assert read(write(circuit)) == circuit
    assert read(tidy(EVERYTHING)) == circuit


def test_tidy_keeps_comments_groups_and_order() -> None:
    text = """

#Panel side
source Vg:in->gnd=12V#the battery


  ### Lamp side
operate D=40%,f=100000 Hz # as measured
capacitor   Co : out->gnd = 0.1 mF{resistance R_Co=.008} # from the drawer
diode D1 : in -> out { drop 450 mV,  # a warm one
    # measured in August
    resistance rd }
switch S:out->gnd
couple M_A_B : A, B
inductor A : in -> out
inductor B : in -> out
#end

"""
    assert (
        tidy(text)
        == """\
# Panel side
source    Vg : in  -> gnd = 12 V  # the battery

### Lamp side
operate   D = 0.4, f = 100 kHz  # as measured
capacitor Co : out -> gnd = 100 uF { resistance 8 mohm }  # from the drawer
diode     D1 : in  -> out          { drop 0.45 V, resistance rd }  # a warm one; measured in August
switch    S  : out -> gnd
couple    A, B
inductor  A  : in  -> out
inductor  B  : in  -> out
# end
"""
    )


def test_tidy_of_a_duty_called_f() -> None:
    text = "switch S : a -> b\ndrive S at f\noperate f = 0.4, T = 5 us\n"
    assert read(tidy(text)) == read(text)


def test_a_period_without_a_decimal_form_is_written_as_its_frequency() -> None:
    circuit = read("switch S : a -> b\noperate f = 30 kHz\n")
    assert dict(circuit.operating)["T"] == Fraction(1, 30000)
    assert "f = 30 kHz" in write(circuit)
    assert read(write(circuit)) == circuit


def test_what_has_no_form_in_the_language() -> None:
    circuit = read(EXAMPLE)
    with pytest.raises(ValueError, match="decimal"):
        write(replace(circuit, operating=(("D", Fraction(1, 3)),)))
    with pytest.raises(ValueError, match="title"):
        write(replace(circuit, title='the "old" rail'))


def test_tidy_refuses_faulty_text() -> None:
    with pytest.raises(CircuitError):
        tidy("inducter L : a -> b")
