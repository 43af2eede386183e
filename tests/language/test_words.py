"""Every word of the language is accepted and means what it should."""

from __future__ import annotations

import keyword
from fractions import Fraction

import pytest
import sympy

from tests.language.wrong_inputs import GAUGE, PAIR, swap
from voltsec.circuit import elements
from voltsec.circuit.circuit import Coupling, Drive, Output
from voltsec.circuit.elements import Quantity
from voltsec.circuit.fault import CircuitError
from voltsec.language.reader import read
from voltsec.language.statements import WORDS

EXAMPLE = """\
converter "Step-up/down stage for a 12 V rail"

source    Vg : in  -> gnd = 12 V
inductor  L1 : in  -> a   = 68 uH  { resistance 40 mohm }
switch    S  : a   -> gnd          { resistance 25 mohm }
capacitor C1 : a   -> b   = 10 uF
inductor  L2 : gnd -> b   = 68 uH
diode     D1 : b   -> out          { drop 0.45 V }
capacitor C2 : out -> gnd = 100 uF { resistance rc = 8 mohm }
load      R  : out -> gnd = 10 ohm

couple    L1, L2 = 0.95
operate   D = 0.4, T = 20 us
"""

EVERYTHING = """\
# The mast's two rails.
converter "Rails of the mast # both"   # a title may hold a hash
ground gnd, 0
parameter n
parameter m = 3
source Vg : in -> gnd = 12 V { resistance Rs = 50 mohm }
current Ilamp : out -> 0 = 0.7 A
inductor L1 : in -> a = 68uH { resistance }
inductor L2 : in -> a = .1 mH { resistance rw }
inductor L3 : in -> a
resistor Rd : in -> a = 1e3
capacitor C1 : a -> gnd = 10 \N{MICRO SIGN}F
capacitor C2 : a -> gnd = 10 \N{GREEK SMALL LETTER MU}F
switch S : a -> gnd { drop 0.1 V, resistance 25 m\N{GREEK CAPITAL LETTER OMEGA} }
switch S2 : a -> gnd
switch S3 : a -> gnd
switch S4 : a -> gnd
switch S5 : a -> gnd { resistance ron = 25 m\N{OHM SIGN} }
transformer T : a -> gnd, 1 -> 0, out2 -> 0 = 1 : n : 2.5 { magnetizing LM = 60 uH }
diode D : 1 -> out { drop 0.45 V,   # a warm one
                     resistance 30 mohm }
load R : out -> 0 = 20 ohm
load R2 : out2 -> 0
couple L1, L2 = 95 %
couple M : L1, L3 = 20 uH
couple L2, L3
drive S at D
drive S2 against S
drive S3 with S2
drive S4 on
drive S5 off
operate D = 40 %, f = 50 kHz
input Vg
output out -> 0
"""


def test_the_example() -> None:
    circuit = read(EXAMPLE).check()
    assert circuit.title == "Step-up/down stage for a 12 V rail"
    assert [element.name for element in circuit.elements] == ["Vg", "L1", "S", "C1", "L2", "D1", "C2", "R"]
    assert circuit.element("L1").resistance == Quantity("R_L1", "ohm", Fraction(40, 1000))
    assert circuit.element("C2").resistance == Quantity("rc", "ohm", Fraction(8, 1000))
    assert circuit.element("D1").drop == Quantity("V_D1", "V", Fraction(45, 100))
    assert circuit.couplings == (Coupling("M_L1_L2", "L1", "L2", Fraction(95, 100)),)
    assert circuit.operating == (("D", Fraction(4, 10)), ("T", Fraction(20, 10**6)))
    assert circuit.duty_symbols == ("D",)
    assert circuit.output == Output("out", "gnd", "R")


def test_everything() -> None:
    circuit = read(EVERYTHING)
    assert circuit.title == "Rails of the mast # both"
    assert circuit.grounds == ("gnd", "0")
    assert circuit.parameters == (Quantity("n", "1"), Quantity("m", "1", Fraction(3)))
    assert circuit.element("L1").quantity.value == Fraction(68, 10**6)
    assert circuit.element("L1").resistance == Quantity("R_L1", "ohm")
    assert circuit.element("L2").quantity.value == Fraction(1, 10**4)
    assert circuit.element("L2").resistance == Quantity("rw", "ohm")
    assert circuit.element("L3").quantity == Quantity("L3", "H")
    assert circuit.element("Rd").quantity.value == 1000
    assert circuit.element("C1").quantity.value == circuit.element("C2").quantity.value == Fraction(1, 10**5)
    assert circuit.element("S").resistance.value == circuit.element("S5").resistance.value == Fraction(1, 40)
    transformer = circuit.element("T")
    assert transformer.windings == (("a", "gnd"), ("1", "0"), ("out2", "0"))
    assert transformer.turns == (1, "n", Fraction(5, 2))
    assert transformer.magnetizing == Quantity("LM", "H", Fraction(6, 10**5))
    assert circuit.element("D").drop.value == Fraction(45, 100)
    assert circuit.element("D").resistance.value == Fraction(3, 100)
    assert circuit.couplings == (
        Coupling("M_L1_L2", "L1", "L2", Fraction(95, 100)),
        Coupling("M", "L1", "L3", None, Fraction(2, 10**5)),
        Coupling("M_L2_L3", "L2", "L3"),
    )
    assert circuit.drives == (
        Drive("S", "at", "D"),
        Drive("S2", "against", "S"),
        Drive("S3", "with", "S2"),
        Drive("S4", "on"),
        Drive("S5", "off"),
    )
    assert circuit.operating == (("D", Fraction(2, 5)), ("T", Fraction(1, 50000)))
    assert circuit.input.name == "Vg"
    assert circuit.output == Output("out", "0")


def test_every_word_is_in_the_texts_above() -> None:
    assert {
        line.split()[0] for line in EVERYTHING.splitlines() if line[0] in "abcdefghijklmnopqrstuvwxyz"
    } == set(WORDS)


def test_the_whole_file_follows_the_grammar() -> None:
    from voltsec.language.parsing import parser

    for text in (EXAMPLE, EVERYTHING, GAUGE, "", "\n\n# nothing\n", "  " + GAUGE.strip()):
        assert parser().parse(text, start="netlist").data == "netlist"


@pytest.mark.parametrize(
    "kind", ["source", "current", "resistor", "load", "inductor", "capacitor", "switch", "diode"]
)
def test_kinds(kind: str) -> None:
    (element,) = read(f"{kind} X : a -> b").elements
    assert (element.kind, element.name, element.nodes) == (kind, "X", ("a", "b"))
    assert type(element).__name__.lower().startswith(kind[:4])
    assert isinstance(element, elements.TwoTerminal)


@pytest.mark.parametrize(
    "name", ["E", "I", "N", "S", "Q", "O", "pi", "beta", "gamma", "zoo", "oo", "Basic", "f"]
)
def test_a_name_is_a_plain_symbol(name: str) -> None:
    circuit = read(swap("L1", name).replace("switch S ", "switch S1 ")).check()
    assert circuit.element(name).quantity.symbol == name


@pytest.mark.parametrize(
    "word", [*keyword.kwlist, "Integer", "Float", "Rational", "Symbol", "Function", "Max", "Min", "Abs"]
)
def test_words_of_python_and_sympy_may_name_nodes_but_not_symbols(word: str) -> None:
    circuit = read(GAUGE.replace("in ->", f"{word} ->")).check()
    assert word in circuit.nodes
    for text in (
        swap("L1", word),
        swap("47 uH", f"47 uH {{ resistance {word} }}"),
        f"{GAUGE}parameter {word}",
    ):
        with pytest.raises(CircuitError) as caught:
            read(text)
        assert [fault.kind for fault in caught.value.faults] == ["reserved-word"]


@pytest.mark.parametrize("word", [*WORDS, "at", "against", "with", "on", "off", "resistance", "drop"])
def test_no_word_of_the_language_is_reserved(word: str) -> None:
    text = GAUGE.replace("-> out", f"-> {word}").replace("out ->", f"{word} ->") + f"output {word} -> gnd\n"
    assert word in read(text).check().nodes
    if not keyword.iskeyword(word):
        assert read(swap("L1", word)).element(word).name == word


def test_switches_diodes_and_transformers_have_no_symbol() -> None:
    assert read(swap("diode D1", "diode D")).check().element("D").kind == "diode"
    assert read(swap("switch S", "switch D")).check().schedule("D").duty == "D"
    assert read(swap("diode D1", "diode T")).check().element("T").kind == "diode"
    assert read(swap("diode D1", "diode lambda")).check().element("lambda").kind == "diode"


def test_names_are_case_sensitive() -> None:
    circuit = read(PAIR + "inductor l1 : a -> out\n")
    assert (circuit.element("L1").kind, circuit.element("l1").kind) == ("inductor", "inductor")


def test_any_symbol_may_stand_for_the_duty() -> None:
    for symbol in ("d", "delta", "D1", "E", "f", "n"):
        circuit = read(swap("S1 at D", f"S1 at {symbol}", PAIR) + f"operate {symbol} = 0.3\n")
        assert circuit.duty_symbols == (symbol,)
        assert circuit.operating == ((symbol, Fraction(3, 10)),)


def test_statements_in_any_order() -> None:
    lines = EVERYTHING.replace("# a warm one\n", "").replace(",   ", ", ").splitlines()
    assert {element.name for element in read("\n".join(reversed(lines))).elements} == {
        element.name for element in read(EVERYTHING).elements
    }


def test_no_drive_for_a_lone_switch() -> None:
    circuit = read(GAUGE)
    assert circuit.drives == ()
    assert circuit.duty_symbols == ("D",)


def test_places() -> None:
    circuit = read("# hills\n  load  R : a -> b # lamp\n")
    assert circuit.element("R").place == elements.Place(2, 9)


def test_blanks_do_not_matter() -> None:
    tight = "source Vg:in->gnd=12V{resistance r=1ohm}"
    assert read(tight) == read("\t source\tVg : in  ->  gnd = 12 V { resistance r = 1 ohm } \t")


@pytest.mark.parametrize("part", range(8))
def test_every_other_name_of_sympy_reads_back(part: int) -> None:
    """sympy's own parser decides: no other name of its namespace spoils a formula that holds it."""
    formulas = "({0}*2/3 + 1.5*{0}**2, sqrt({0} + R)/2, Max({0}, R), Abs({0} - R), {0} >= 2)"
    plain = sympy.sympify(formulas.format("x"), locals={name: sympy.Symbol(name) for name in ("x", "R")})
    for word in dir(sympy)[part::8]:
        if not word.isidentifier() or keyword.iskeyword(word) or word == "sqrt":  # sqrt is written as a power
            continue
        try:
            read(f"{GAUGE}parameter {word}\n")
        except CircuitError as error:
            (kind,) = {fault.kind for fault in error.faults}
            assert kind in ("reserved-word", "duplicate-name", "symbol-clash"), word
            continue
        names = {name: sympy.Symbol(name) for name in (word, "R")}
        told = sympy.sympify(formulas.format(word), locals=names)
        for one, expected in zip(told, plain, strict=True):
            assert one.xreplace({names[word]: sympy.Symbol("x")}) == expected, word


def test_lines_break_anywhere_inside_braces() -> None:
    whole = "diode D1 : gnd -> a { drop 0.4 V, resistance rd = 4 mohm }"
    words = whole[whole.index("{") :].split(" ")
    for place in range(1, len(words)):
        broken = " ".join(words[:place]) + "\n   # where it is warm\n\n  " + " ".join(words[place:])
        text = swap("diode D1 : gnd -> a", whole[: whole.index("{")] + broken)
        assert read(text) == read(swap("diode D1 : gnd -> a", whole)), broken
    every = whole[: whole.index("{")] + "\n".join(words).replace(",", "\n,")
    assert read(swap("diode D1 : gnd -> a", every)) == read(swap("diode D1 : gnd -> a", whole))


def test_a_symbol_may_be_called_as_a_statement() -> None:
    text = swap("diode D1 : gnd -> a", "diode D1 : gnd -> a {\n drop\n load = 0.4 V }")
    assert read(text).element("D1").drop == Quantity("load", "V", Fraction(2, 5))  # type: ignore[union-attr]


def test_starts_of_on_times() -> None:
    starts = {
        "": Fraction(0),
        " from 0": Fraction(0),
        " from 1": Fraction(0),
        " from 0.5": Fraction(1, 2),
        " from 50 %": Fraction(1, 2),
        " from 1/3": Fraction(1, 3),
        " from phi": "phi",
        " from from": "from_",
    }
    for written, start in starts.items():
        text = swap("S1 at D", f"S1 at D{written.replace('from from', 'from from_')}", PAIR)
        circuit = read(text)
        assert circuit.drives[0] == Drive("S1", "at", "D", start), written
        assert circuit.schedule("S2").start == start and not circuit.schedule("S2").first
        assert circuit.phase_symbols == ((start,) if isinstance(start, str) else ())


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("47 uH", "47", "L1 = 47 on line 5 is read as 47 H; write 47 uH if that was meant"),
        ("47 uF", "100", "Co = 100 on line 6 is read as 100 F; write 100 uF if that was meant"),
        ("47 uH", "0.5", "0.5 uH"),
    ],
)
def test_an_absurd_bare_number_is_doubted(old: str, new: str, told: str) -> None:
    (doubt,) = read(swap(old, new)).doubts
    assert told in doubt


@pytest.mark.parametrize(
    ("old", "new"),
    [("47 uH", "47 H"), ("47 uH", "0.047"), ("47 uF", "1 F"), ("47 uF", "4.7e-5"), ("5 ohm", "5")],
)
def test_what_is_written_out_or_usual_is_not_doubted(old: str, new: str) -> None:
    assert read(swap(old, new)).doubts == ()


def test_a_magnetizing_inductance_is_doubted_too() -> None:
    (doubt,) = read("transformer T : a -> b, c -> d = 1 : 2 { magnetizing LM = 60 }").doubts
    assert "the magnetizing of T = 60" in doubt and "60 uH" in doubt
