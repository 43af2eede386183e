"""Names of traces: what they mean, and what is said of those that mean nothing."""

from __future__ import annotations

import pytest

import voltsec
from voltsec.circuit.fault import CircuitError
from voltsec.practice.asked import BadValues
from voltsec.practice.stated_point import read_point, stated_point
from voltsec.practice.traces_wanted import MOST_BY_DEFAULT, default_traces, read_traces

FLYBACK = """source Vg : in -> gnd = 24 V
transformer T1 : in -> sw, 0 -> b = 3 : 1 { magnetizing LM = 500 uH }
switch S : sw -> gnd
diode D1 : b -> out
capacitor out : out -> 0 = 200 uF
load R : out -> 0 = 5 ohm
ground gnd, 0
output R
operate D = 0.385, f = 40 kHz
"""


def terms(text: str, netlist: str = FLYBACK) -> dict[str, tuple]:
    return {one.text: one.terms for one in read_traces(text, voltsec.read(netlist))}


def test_what_names_mean() -> None:
    """Voltages and currents along the arrows of the netlist, as ``voltsec check`` has them."""
    found = terms(" v( sw ), v(in,sw),v(D1) ,i(LM), i(T1.1), i(T1.2),v(T1.2), Iin,Vout, Io")
    assert found == {
        "v(sw)": ((("v", "sw"), 1),),
        "v(in,sw)": ((("v", "in"), 1), (("v", "sw"), -1)),
        "v(D1)": ((("v", "b"), 1), (("v", "out"), -1)),
        "i(LM)": ((("i", "LM"), 1),),
        # into the winding's terminal, the magnetizing current included
        "i(T1.1)": ((("i", "T1", 0), 1), (("i", "LM"), 1)),
        "i(T1.2)": ((("i", "T1", 1), 1),),
        "v(T1.2)": ((("v", "0"), 1), (("v", "b"), -1)),
        "Iin": ((("i", "Vg"), -1),),
        "Vout": ((("v", "out"), 1), (("v", "0"), -1)),
        "Io": ((("i", "R"), 1),),
    }


def test_a_name_of_an_element_and_a_node_is_the_element() -> None:
    found = terms("v(out), v(out,0)")
    capacitor = ((("v", "out"), 1), (("v", "0"), -1))
    assert found == {"v(out)": capacitor, "v(out,0)": capacitor}
    assert [one.part for one in read_traces("v(out),v(out,0)", voltsec.read(FLYBACK))] == ["out", ""]


def test_a_symbol_of_the_netlist_is_no_port() -> None:
    netlist = FLYBACK.replace("load R", "load Vout").replace("output R", "output Vout")
    with pytest.raises(CircuitError) as caught:
        terms("Vout", netlist)
    assert caught.value.faults[0].hint == "write v(Vout) or i(Vout)"


@pytest.mark.parametrize(
    ("text", "kind", "column", "words"),
    [
        ("", "no-trace", None, "such as"),
        ("   ", "no-trace", None, "such as"),
        ("v(sw),,i(S)", "no-trace", 7, "between two commas"),
        ("v(sw),", "no-trace", 7, "between two commas"),
        ("v(sw", "unclosed-bracket", 2, "not closed"),
        ("v sw)", "unclosed-bracket", 5, "closes none"),
        ("v(sv)", "unknown-trace", 1, "did you mean v(sw)"),
        ("i(s)", "unknown-trace", 1, "did you mean i(S)"),
        ("i(sw)", "bad-trace", 1, "i(T1.1), i(T1.2), i(S)"),
        ("V(sw)", "bad-trace", 1, "did you mean v(sw)"),
        ("p(S)", "bad-trace", 1, "neither a voltage v( ) nor a current i( )"),
        ("S", "bad-trace", 1, "write v(S) or i(S)"),
        ("sw", "bad-trace", 1, "write v(sw)"),
        ("Vuot", "unknown-trace", 1, "did you mean 'Vout"),
        ("v(T1)", "bad-trace", 1, "v(T1.1) or v(T1.2)"),
        ("v(gnd)", "bad-trace", 1, "zero by definition"),
        ("v(sw,b)", "bad-trace", 1, "nothing connects sw and b"),
        ("v(sw,sw)", "same-node", 1, "one node"),
        ("v(sw,bb)", "unknown-trace", 1, "did you mean 'b"),
        ("v(a,b,c)", "bad-trace", 1, "two nodes"),
        ("i(S,R)", "bad-trace", 1, "one element"),
        ("v()", "bad-trace", 1, "a name or two nodes"),
        ("v(sw) i(S)", "bad-trace", 1, "part traces by commas"),
        ("i(S), i( S )", "given-twice", 7, "asked for twice"),
        ("i(S)" * 2000, "too-many-traces", None, "longer than"),
        ("\x00\n(", "unclosed-bracket", 3, "not closed"),
    ],
)
def test_what_means_nothing(text: str, kind: str, column: int | None, words: str) -> None:
    with pytest.raises(CircuitError) as caught:
        terms(text)
    fault = caught.value.faults[0]
    assert fault.kind == kind
    assert (fault.place and fault.place.column) == column
    assert fault.hint, "a remedy is missing"
    assert words in f"{fault.message}; {fault.hint}"


def test_everything_wrong_is_told_at_once() -> None:
    with pytest.raises(CircuitError) as caught:
        terms("v(sw), foo, i(out2), v(in")
    assert [fault.place.column for fault in caught.value.faults if fault.place] == [8, 13, 23]


def test_what_is_shown_by_default() -> None:
    names = [one.text for one in default_traces(voltsec.read(FLYBACK))]
    assert names == ["i(LM)", "i(S)", "i(D1)", "v(S)", "v(D1)", "v(out,0)"]


def test_many_devices_leave_room_for_coils_and_output() -> None:
    legs = "".join(
        f"switch S{k} : in -> a{k}\ndiode D{k} : gnd -> a{k}\ninductor L{k} : a{k} -> out = 10 uH\n"
        f"drive S{k} at D from {k}/9\n"
        for k in range(9)
    )
    circuit = voltsec.read(
        f"source Vg : in -> gnd = 12 V\n{legs}capacitor C : out -> gnd = 1 mF\nload R : out -> gnd = 1 ohm\n"
    )
    names = [one.text for one in default_traces(circuit)]
    assert len(names) == MOST_BY_DEFAULT and names[-1] == "v(out)"
    assert [f"i(L{k})" for k in range(9)] == names[:9]


def test_an_operating_point_may_be_changed() -> None:
    circuit = voltsec.read(FLYBACK)
    point = stated_point(circuit, read_point(("D=0.3", "R=10ohm"), circuit))
    assert (point["D"], point["R"], point["LM"]) == (0.3, 10.0, 5e-4)
    for text, words in (
        ("D=0.1:0.3", "one value"),
        ("D=1.5", "between 0 and 1"),
        ("Q=1", "no symbol called Q"),
        ("R=-1", "above zero"),
        ("R", "NAME="),
        ("R=5 H", "does not fit"),
    ):
        with pytest.raises(BadValues, match=words):
            stated_point(circuit, read_point((text,), circuit))


def test_missing_values_are_named_and_where_they_go() -> None:
    circuit = voltsec.read(FLYBACK.replace("operate D = 0.385, f = 40 kHz", "").replace(" = 5 ohm", ""))
    with pytest.raises(CircuitError) as caught:
        stated_point(circuit, {"D": 0.4})
    fault = caught.value.faults[0]
    assert fault.kind == "no-operating-point" and "R, T have no value" in fault.message
    assert "operate T = 10 us" in fault.hint and "R=10ohm" in fault.hint
