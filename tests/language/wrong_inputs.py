"""Typical wrong inputs and the fault each must give.

Most rows replace one line of ``GAUGE``, the step-down stage behind the river gauge's battery, or add
one; the row names the fault's kind, the place, and the elements (and nodes) it must name.
"""

from __future__ import annotations

from dataclasses import dataclass

GAUGE = """\
converter "5 V for the river gauge"
source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L1 : a -> out = 47 uH
capacitor Co : out -> gnd = 47 uF
load R : out -> gnd = 5 ohm
operate D = 0.42, T = 5 us
"""

MAST = """\
parameter n = 1.5
source Vg : in -> gnd = 12 V
transformer X : in -> a, sgnd -> b = 1 : n { magnetizing LM = 60 uH }
switch S : a -> gnd
diode D1 : b -> out
capacitor Co : out -> sgnd
load R : out -> sgnd = 20 ohm
"""

PAIR = """\
source Vg : in -> gnd = 12 V
switch S1 : in -> a
switch S2 : a -> gnd
inductor L1 : a -> out = 47 uH
load R : out -> gnd = 5 ohm
drive S1 at D
drive S2 against S1
"""


@dataclass(frozen=True)
class Wrong:
    """One wrong input: ``text``, and the only fault it gives."""

    text: str
    kind: str
    line: int | None
    column: int | None
    elements: tuple[str, ...] = ()
    nodes: tuple[str, ...] = ()
    hint: str = ""
    """Part of the hint."""


def swap(old: str, new: str, text: str = GAUGE) -> str:
    """``text`` with one line changed."""
    assert text.count(old) == 1, old
    return text.replace(old, new)


def add(line: str, text: str = GAUGE) -> str:
    """``text`` with a line more at its end (the ninth in GAUGE, the eighth in MAST and PAIR)."""
    return text + line + "\n"


TWO_COILS = swap("load R", "inductor L2 : out -> gnd\nload R")

WRONG: dict[str, Wrong] = {
    # The form of a statement
    "kind misspelt": Wrong(
        swap("inductor", "inducter"), "unknown-statement", 5, 1, hint="did you mean 'inductor'?"
    ),
    "kind in capitals": Wrong(
        swap("source", "Source"), "unknown-statement", 2, 1, hint="did you mean 'source'?"
    ),
    "nonsense word": Wrong(add("hello there"), "unknown-statement", 9, 1, hint="converter, source"),
    "arrow missing": Wrong(swap("a -> out", "a out"), "missing-arrow", 5, 17, ("L1",), hint="NODE -> NODE"),
    "arrow with a blank": Wrong(swap("a -> out", "a - > out"), "missing-arrow", 5, 17, ("L1",)),
    "arrow of another kind": Wrong(swap("a -> out", "a → out"), "missing-arrow", 5, 17, ("L1",)),
    "second node missing": Wrong(swap("in -> gnd = 12 V", "in ->"), "missing-node", 2, 18, ("Vg",)),
    "node with a dash": Wrong(swap("a -> out", "a-b -> out"), "missing-arrow", 5, 16, ("L1",)),
    "colon missing": Wrong(swap("S : in", "S in"), "missing-colon", 3, 10),
    "name missing": Wrong(swap("load R :", "load :"), "missing-name", 7, 6),
    "name begins with a digit": Wrong(swap("L1 :", "1L :"), "bad-name", 5, 10),
    "name with an accent": Wrong(swap("L1 :", "Lé :"), "bad-character", 5, 11),
    "equals missing": Wrong(swap("= 5 ohm", "5 ohm"), "missing-equals", 7, 21, ("R",)),
    "value missing": Wrong(swap("= 5 ohm", "="), "missing-value", 7, 22, ("R",)),
    "value is a word": Wrong(swap("= 5 ohm", "= Rload"), "missing-value", 7, 23, ("R",)),
    "decimal comma": Wrong(swap("47 uH", "4,7 uH"), "unexpected-text", 5, 27, ("L1",), hint="decimal point"),
    "two numbers": Wrong(swap("47 uH", "4 7 uH"), "unexpected-text", 5, 28, ("L1",)),
    "text after the value": Wrong(swap("47 uH", "47 uH here"), "unexpected-text", 5, 32, ("L1",)),
    "two statements on a line": Wrong(
        swap("47 uH", "47 uH; load"), "unexpected-text", 5, 31, ("L1",), hint="one statement a line"
    ),
    "comment of another kind": Wrong(
        swap("47 uH", "47 uH // coil"), "unexpected-text", 5, 32, ("L1",), hint="comment begins with #"
    ),
    "braces forgotten": Wrong(
        swap("47 uH", "47 uH resistance 1 ohm"), "missing-brace", 5, 32, ("L1",), hint="{ resistance"
    ),
    "braces not closed": Wrong(swap("47 uH", "47 uH { resistance"), "missing-brace", 5, 44, ("L1",)),
    "braces not closed after a comma": Wrong(
        swap("gnd -> a", "gnd -> a { drop 0.4 V,"), "missing-brace", 4, 34, ("D1",)
    ),
    "line broken without a comma": Wrong(
        swap("gnd -> a", "gnd -> a { drop 0.4 V\n resistance 1 ohm }"),
        "missing-comma", 5, 2, ("D1",), hint="comma"
    ),
    "line broken before an equals sign too many": Wrong(
        swap("gnd -> a", "gnd -> a { drop\n 0.4\n V\n = 2 }"), "unexpected-text", 7, 2, ("D1",)
    ),
    "decimal comma of a duty": Wrong(swap("0.42", "0,42"), "unexpected-text", 8, 15, hint="write 0.42"),
    "decimal comma of a property": Wrong(
        swap("gnd -> a", "gnd -> a { drop 0,4 V }"), "unexpected-text", 4, 30, ("D1",), hint="write 0.4"
    ),
    "decimal comma of turns": Wrong(
        swap("1 : n", "1 : 0,5", MAST), "unexpected-text", 3, 43, ("X",), hint="write 0.5"
    ),
    "prefix as a decimal point": Wrong(
        swap("47 uF", "4u7"), "unexpected-text", 6, 31, ("Co",), hint="write 4.7 uF"
    ),
    "R as a decimal point": Wrong(swap("5 ohm", "4R7"), "unexpected-text", 7, 25, ("R",), hint="4.7 ohm"),
    "prefix as a decimal point in braces": Wrong(
        swap("gnd -> a", "gnd -> a { resistance 4m7 }"), "unexpected-text", 4, 36, ("D1",), hint="4.7 mohm"
    ),
    "trade word for a switch": Wrong(
        swap("switch S", "MOSFET S"), "unknown-statement", 3, 1, hint="write switch"
    ),
    "trade word for a coil": Wrong(
        swap("inductor L1", "choke L1"), "unknown-statement", 5, 1, hint="write inductor"
    ),
    "start above one": Wrong(
        swap("S1 at D", "S1 at D from 1.5", PAIR), "start-out-of-range", 6, 20, ("S1",), hint="fraction"
    ),
    "start below zero": Wrong(
        swap("S1 at D", "S1 at D from -0.5", PAIR), "start-out-of-range", 6, 20, ("S1",)
    ),
    "start in degrees": Wrong(
        swap("S1 at D", "S1 at D from 180", PAIR), "start-out-of-range", 6, 20, ("S1",), hint="are 0.5"
    ),
    "start in volts": Wrong(swap("S1 at D", "S1 at D from 0.5 V", PAIR), "wrong-unit", 6, 20, ("S1",)),
    "start over nothing": Wrong(swap("S1 at D", "S1 at D from 1/0", PAIR), "wrong-unit", 6, 20, ("S1",)),
    "start missing": Wrong(swap("S1 at D", "S1 at D from", PAIR), "missing-start", 6, 19, hint="from 0.5"),
    "start of a follower": Wrong(
        swap("against S1", "against S1 from 0.5", PAIR), "unexpected-text", 7, 21, hint="at DUTY from"
    ),
    "start called as the duty": Wrong(
        swap("S1 at D", "S1 at D from D", PAIR), "symbol-clash", 6, 7, ("S1",), hint="another name"
    ),
    "start called as an element": Wrong(
        swap("S1 at D", "S1 at D from L1", PAIR), "symbol-clash", 6, 7, ("S1", "L1")
    ),
    "start kept by Python": Wrong(
        swap("S1 at D", "S1 at D from lambda", PAIR), "reserved-word", 6, 20, ("S1",)
    ),
    "start set above one": Wrong(
        add("operate phi = 1.2", swap("S1 at D", "S1 at D from phi", PAIR)), "start-out-of-range", 8, 15
    ),
    "braces empty": Wrong(swap("47 uH", "47 uH { }"),
    "missing-name", 5, 34, ("L1",), hint="leave the braces"),
    "comma between properties missing": Wrong(
        swap("gnd -> a", "gnd -> a { drop 0.4 V resistance 1 ohm }"), "missing-comma", 4, 34, ("D1",)
    ),
    "title without quotes": Wrong(
        swap('"5 V for the river gauge"', "gauge"), "missing-title", 1, 11, hint='converter "title"'
    ),
    "title not closed": Wrong(swap('river gauge"', "river gauge"), "unclosed-title", 1, 11),
    "title with single quotes": Wrong(swap('"5 V for the river gauge"', "'gauge'"), "missing-title", 1, 11),
    "drive misspelt": Wrong(add("drive S att D"), "unknown-drive", 9, 9, hint="did you mean 'at'?"),
    "drive cut short": Wrong(add("drive S"), "unknown-drive", 9, 8, hint="at SYMBOL"),
    "couple of one": Wrong(add("couple L1"), "missing-comma", 9, 10, hint="couple L1, L2"),
    "operate without a value": Wrong(swap("D = 0.42", "D"), "missing-equals", 8, 10),
    "transformer's turns missing": Wrong(
        swap(" = 1 : n", "", MAST), "missing-turns", 3, 13, ("X",), hint="= 1 : n"
    ),
    # Values and properties
    "prefix without a unit": Wrong(swap("5 ohm", "5 k"), "unknown-unit", 7, 25, ("R",), hint="'kohm'"),
    "unit misspelt": Wrong(swap("5 ohm", "5 ohms"), "unknown-unit", 7, 25, ("R",), hint="'ohm'"),
    "unit in wrong letters": Wrong(swap("47 uH", "47 uh"), "unknown-unit", 5, 29, ("L1",), hint="'uH'"),
    "unit of another quantity": Wrong(swap("47 uH", "47 uF"), "wrong-unit", 5, 29, ("L1",), hint="in H"),
    "power for a load": Wrong(swap("5 ohm", "5 W"), "wrong-unit", 7, 25, ("R",), hint="in ohm"),
    "unit of a property": Wrong(
        swap("gnd -> a", "gnd -> a { drop 0.4 ohm }"), "wrong-unit", 4, 32, ("D1",), hint="in V"
    ),
    "period in hertz": Wrong(swap("T = 5 us", "T = 200 kHz"), "wrong-unit", 8, 27),
    "duty with a unit": Wrong(swap("D = 0.42", "D = 0.42 V"), "wrong-unit", 8, 18, hint="bare number"),
    "number of absurd size": Wrong(swap("47 uH", "1e999999999 H"), "number-out-of-range", 5, 26, ("L1",)),
    "number of absurd length": Wrong(
        swap("47 uH", "1" * 300 + " H"), "number-out-of-range", 5, 26, ("L1",)
    ),
    "resistance zero": Wrong(
        swap("47 uH", "47 uH { resistance 0 ohm }"),
        "not-positive", 5, 45, ("L1",), hint="leave resistance out"
    ),
    "drop negative": Wrong(
        swap("gnd -> a", "gnd -> a { drop -0.4 V }"), "not-positive", 4, 28, ("D1",), hint="leave drop out"
    ),
    "inductance zero": Wrong(swap("47 uH", "0 uH"), "not-positive", 5, 26, ("L1",)),
    "capacitance negative": Wrong(swap("47 uF", "-47 uF"), "not-positive", 6, 29, ("Co",)),
    "source negative": Wrong(swap("12 V", "-12 V"), "not-positive", 2, 25, ("Vg",), hint="turn the arrow"),
    "load zero": Wrong(swap("5 ohm", "0"), "not-positive", 7, 23, ("R",)),
    "turns negative": Wrong(swap("1 : n", "-1 : n", MAST), "not-positive", 3, 38, ("X",)),
    "parameter zero": Wrong(swap("n = 1.5", "n = 0", MAST), "not-positive", 1, 15, ("n",)),
    "period zero": Wrong(swap("T = 5 us", "T = 0 us"), "not-positive", 8, 23),
    "frequency negative": Wrong(swap("T = 5 us", "f = -1 kHz"), "not-positive", 8, 23),
    "switch with a value": Wrong(swap("in -> a", "in -> a = 5 ohm"), "no-value-here", 3, 22, ("S",)),
    "property misspelt": Wrong(
        swap("47 uH", "47 uH { resistence 1 ohm }"), "unknown-property", 5, 34, ("L1",), hint="'resistance'"
    ),
    "property of another kind": Wrong(
        swap("47 uH", "47 uH { drop 1 V }"), "wrong-property", 5, 34, ("L1",), hint="may have: resistance"
    ),
    "property of a load": Wrong(
        swap("5 ohm", "5 ohm { drop 1 V }"), "wrong-property", 7, 31, ("R",), hint="no properties"
    ),
    "half of a gate": Wrong(
        swap("switch S : in -> a", "switch S : in -> a { gate_charge 15 nC }"),
        "incomplete-loss", 3, 8, ("S",), hint="gate_charge, gate_voltage",
    ),
    "a core of two numbers": Wrong(
        swap("47 uH", "47 uH { core_turns 18, core_area 40 mm2 }"),
        "incomplete-loss", 5, 10, ("L1",), hint="steinmetz_beta",
    ),
    "a core without flux": Wrong(
        MAST.replace(
            "{ magnetizing LM = 60 uH }",
            "{ core_turns 9, core_area 40 mm2, core_volume 1 cm3,\n"
            "steinmetz_k 2, steinmetz_alpha 1.4, steinmetz_beta 2.5 }",
        ),
        "incomplete-loss", 3, 13, ("X",), hint="magnetizing",
    ),
    "switching time without a value": Wrong(
        swap("switch S : in -> a", "switch S : in -> a { turn_on }"), "missing-value", 3, 22, ("S",)
    ),
    "charge in the wrong unit": Wrong(
        swap("gnd -> a", "gnd -> a { recovery_charge 40 nF }"), "wrong-unit", 4, 42, ("D1",)
    ),
    "property twice": Wrong(
        swap("gnd -> a", "gnd -> a { drop 1 V, drop 2 V }"), "given-twice", 4, 33, ("D1",)
    ),
    "duty above one": Wrong(swap("0.42", "1.42"), "duty-out-of-range", 8, 13),
    "duty zero": Wrong(swap("0.42", "0"), "duty-out-of-range", 8, 13, hint="off or on"),
    "duty in per cent without the sign": Wrong(swap("0.42", "42"), "duty-out-of-range", 8, 13, hint="42 %"),
    # Names and symbols
    "name twice": Wrong(swap("load R", "load L1"), "duplicate-name", 7, 6, ("L1",)),
    "inductor called as the duty": Wrong(swap("L1", "D"), "symbol-clash", 5, 10, ("S", "D")),
    "load called as the period": Wrong(swap("load R", "load T"), "symbol-clash", 7, 6, ("T",)),
    "parameter called as a resistor": Wrong(add("parameter R"), "symbol-clash", 9, 11, ("R",)),
    "property's symbol taken": Wrong(
        swap("47 uH", "47 uH { resistance R }"), "symbol-clash", 7, 6, ("L1", "R")
    ),
    "element called as a property": Wrong(
        swap("load R :", "load R_L1 :", swap("47 uH", "47 uH { resistance }")),
        "symbol-clash", 7, 6, ("L1", "R_L1")
    ),
    "duty called as an element": Wrong(
        add("drive S at R", swap("operate D = 0.42, T = 5 us\n", "")), "symbol-clash", 8, 7, ("S", "R")
    ),
    "duty called as the period": Wrong(
        add("drive S at T", swap("operate D = 0.42, T = 5 us\n", "")), "symbol-clash", 8, 7, ("T", "S")
    ),
    "symbol kept by Python": Wrong(swap("L1", "lambda"), "reserved-word", 5, 10, ("lambda",), hint="lambda_"),
    "property's symbol kept by Python": Wrong(
        swap("47 uH", "47 uH { resistance is }"), "reserved-word", 5, 45, ("L1",)
    ),
    "symbol kept by sympy": Wrong(
        swap("L1", "Integer"), "reserved-word", 5, 10, ("Integer",), hint="Integer_"
    ),
    "parameter kept by sympy": Wrong(add("parameter Float"), "reserved-word", 9, 11),
    "parameter kept by Python": Wrong(add("parameter in"), "reserved-word", 9, 11),
    "couple with an unknown name": Wrong(
        add("couple L1, L3 = 0.5", TWO_COILS), "unknown-name", 10, 12, ("L3",)
    ),
    "couple with a capacitor": Wrong(add("couple L1, Co = 0.5"), "wrong-kind", 9, 12, ("Co",)),
    "couple with itself": Wrong(add("couple L1, L1 = 0.5"), "same-inductor", 9, 12, ("L1",)),
    "drive of an unknown switch": Wrong(
        add("drive S2 at D"), "unknown-name", 9, 7, ("S2",), hint="did you mean 'S'?"
    ),
    "drive of a diode": Wrong(add("drive D1 at D"), "wrong-kind", 9, 7, ("D1",), hint="need no drive"),
    "drive against a symbol": Wrong(swap("against S1", "against D", PAIR), "unknown-name", 7, 18, ("D",)),
    "drive twice": Wrong(add("drive S1 on", PAIR), "given-twice", 8, 7, ("S1",)),
    "drive missing": Wrong(
        swap("drive S2 against S1\n", "", PAIR), "missing-drive", 3, 8, ("S2",), hint="drive S2"
    ),
    "drive follows itself": Wrong(swap("S2 against S1", "S2 with S2", PAIR), "drive-loop", 7, 7, ("S2",)),
    "drives follow each other": Wrong(swap("S1 at D", "S1 against S2", PAIR),
    "drive-loop", 6, 7, ("S1", "S2")),
    "operate with an unknown symbol": Wrong(
        swap("D = 0.42", "Duty = 0.42"), "unknown-symbol", 8, 9, hint="D, T or f"
    ),
    "operate with an element": Wrong(
        swap("D = 0.42", "D = 0.42, R = 5"), "unknown-symbol", 8, 19, hint="its own statement"
    ),
    "operate with T and f": Wrong(swap("T = 5 us", "T = 5 us, f = 200 kHz"), "given-twice", 8, 29),
    "operate with a duty twice": Wrong(add("operate D = 0.3"), "given-twice", 9, 9),
    "input unknown": Wrong(add("input Vb"), "unknown-name", 9, 7, ("Vb",)),
    "input is no source": Wrong(add("input R"), "wrong-kind", 9, 7, ("R",)),
    "input twice": Wrong(add("input Vg\ninput Vg"), "given-twice", 10, 7),
    "output unknown": Wrong(add("output Rx"), "unknown-name", 9, 8, ("Rx",)),
    "output is a node": Wrong(add("output out"), "unknown-name", 9, 8, ("out",), hint="output out -> NODE"),
    "output at an unknown node": Wrong(
        add("output ouut -> gnd"), "unknown-node", 9, 8, nodes=("ouut",), hint="'out'"
    ),
    "output between equal nodes": Wrong(add("output out -> out"), "same-node", 9, 15, nodes=("out",)),
    "output is a transformer": Wrong(add("output X", MAST), "wrong-kind", 8, 8, ("X",)),
    "output twice": Wrong(add("output R\noutput R"), "given-twice", 10, 8),
    "ground unknown": Wrong(add("ground gnt"), "unknown-node", 9, 8, nodes=("gnt",), hint="'gnd'"),
    "ground twice": Wrong(add("ground gnd, gnd"), "given-twice", 9, 13, nodes=("gnd",)),
    "title twice": Wrong(add('converter "again"'), "given-twice", 9, 11),
    "parameter twice": Wrong(add("parameter n", MAST), "duplicate-name", 8, 11, ("n",)),
    "turns not declared": Wrong(
        swap("1 : n", "1 : m", MAST), "unknown-parameter", 3, 42, ("X",), hint="parameter m"
    ),
    "turns too many": Wrong(swap("1 : n", "1 : n : 2", MAST), "turns-mismatch", 3, 38, ("X",)),
    "one winding": Wrong(
        swap("in -> a, sgnd -> b = 1 : n", "in -> a = 1", MAST), "too-few-windings", 3, 17, ("X",)
    ),
    "element at one node": Wrong(swap("out -> gnd = 5", "out -> out = 5"),
    "same-node", 7, 17, ("R",), ("out",)),
    "coefficient above one": Wrong(
        add("couple L1, L2 = 1.2", TWO_COILS),
        "coefficient-out-of-range", 10, 17, ("L1", "L2"),
    ),
    "coefficient negative": Wrong(
        add("couple L1, L2 = -0.2", TWO_COILS),
        "coefficient-out-of-range", 10, 17, ("L1", "L2"), hint="turn the arrow",
    ),
    "coupling in volts": Wrong(
        add("couple L1, L2 = 2 V", TWO_COILS), "wrong-unit", 10, 19
    ),
    "coupled twice": Wrong(
        add("couple L1, L2\ncouple M : L2, L1", TWO_COILS),
        "given-twice", 11, 12, ("L2", "L1"),
    ),
    "mutual symbol taken": Wrong(
        add("couple Co : L1, L2", TWO_COILS), "symbol-clash", 10, 13, ("Co",)
    ),
    "nothing": Wrong("", "empty-netlist", 1, 1),
    "only comments": Wrong("# the gauge\n\n  # by the bridge\n", "empty-netlist", 1, 1),
}  # fmt: skip
