"""What the graph of a circuit shows to be wrong with it, and its reference nodes."""

from __future__ import annotations

import random

import pytest

from tests.language.wrong_inputs import GAUGE, MAST, PAIR, add, swap
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Load, Quantity, Source
from voltsec.circuit.fault import CircuitError
from voltsec.circuit.graph import check, find_faults, graph_of, references
from voltsec.language.reader import read


def faults_of(text: str) -> list[tuple]:
    """Kind, line and column, elements and nodes of every fault."""
    with pytest.raises(CircuitError) as caught:
        read(text).check()
    return [
        (
            fault.kind,
            (fault.place.line, fault.place.column) if fault.place else None,
            fault.elements,
            fault.nodes,
        )
        for fault in caught.value.faults
    ]


def without(name: str, text: str = GAUGE) -> str:
    return "".join(line for line in text.splitlines(True) if f" {name} :" not in line)


def test_a_good_circuit_is_returned() -> None:
    circuit = read(GAUGE)
    assert check(circuit) is circuit
    assert circuit.check() is circuit


def test_graph() -> None:
    graph = graph_of(read(MAST))
    assert set(graph["in"]["a"]) == {"X.1"}
    assert set(graph["out"]["sgnd"]) == {"Co", "R"}
    assert graph.edges["sgnd", "b", "X.2"]["element"].name == "X"


def test_nothing_to_convert() -> None:
    assert faults_of(without("Vg"))[0] == ("no-source", None, (), ())
    assert faults_of(without("S"))[0] == ("no-switch", None, (), ())
    assert faults_of(without("R")) == [("no-load", None, (), ())]
    read(add("output out -> gnd", without("R"))).check()
    read(add("current I1 : out -> gnd", without("R"))).check()


def test_a_node_with_one_connection() -> None:
    assert faults_of(swap("a -> out", "a -> Out")) == [("loose-node", (5, 20), ("L1",), ("Out",))]
    with pytest.raises(CircuitError) as caught:
        read(swap("a -> out", "a -> Out")).check()
    assert caught.value.faults[0].hint == "did you mean 'out'?"
    assert faults_of(swap("b -> out", "bb -> out", MAST)) == [
        ("loose-node", (3, 34), ("X",), ("b",)),
        ("loose-node", (5, 12), ("D1",), ("bb",)),
    ]


def test_a_part_without_a_source() -> None:
    lamp = "load Lamp : x -> y\ncapacitor Cx : x -> y"
    assert faults_of(add(lamp)) == [("part-without-source", (9, 6), ("Lamp", "Cx"), ("x", "y"))]


@pytest.mark.parametrize(
    "link",
    [
        "source Vb : x -> y",
        "transformer X : out -> gnd, x -> y = 1 : 2",
        "inductor Lx : x -> y\ncouple L1, Lx = 0.9",
    ],
)
def test_a_separate_part_with_a_source(link: str) -> None:
    read(add("load Lamp : x -> y\ncapacitor Cx : x -> y\n" + link)).check()


def test_sources_in_a_loop() -> None:
    assert faults_of(add("source Vb : in -> gnd = 12 V")) == [
        ("source-loop", (9, 8), ("Vg", "Vb"), ("in", "gnd"))
    ]
    assert faults_of(add("source V1 : in -> mid\nsource V2 : mid -> gnd")) == [
        ("source-loop", (10, 8), ("Vg", "V1", "V2"), ("in", "mid", "gnd"))
    ]
    read(add("source Vb : in -> gnd = 12 V { resistance 0.1 ohm }")).check()


def test_a_switch_that_shorts_a_source() -> None:
    short = [("source-loop", (3, 8), ("Vg", "S"), ("in", "gnd"))]
    text = swap(
        "in -> a", "in -> gnd", GAUGE.replace("gnd -> a", "gnd -> in").replace("a -> out", "in -> out")
    )
    assert faults_of(text) == short
    assert faults_of(text.replace("in -> gnd\n", "in -> gnd { resistance 25 mohm }\n")) == short


def test_switches_that_short_a_source_together() -> None:
    read(PAIR).check()
    for drive in ("with S1", "on", "at D"):
        assert faults_of(swap("against S1", drive, PAIR)) == [
            ("source-loop", (3, 8), ("Vg", "S1", "S2"), ("in", "a", "gnd"))
        ]
    read(swap("against S1", "off", PAIR)).check()
    read(swap("S1 at D", "S1 on", PAIR)).check()


def test_states_between_edges_count_where_the_duties_have_values() -> None:
    """S1 conducts up to D1, S2 after D2: together only where D2 comes first."""
    text = swap("against S1", "against S3", swap("S1 at D", "S1 at D1", PAIR))
    text += "switch S3 : in -> out\ndrive S3 at D2\n"
    read(text).check()
    read(text + "operate D1 = 0.4, D2 = 0.5\n").check()
    assert [fault[0] for fault in faults_of(text + "operate D1 = 0.5, D2 = 0.4\n")] == ["source-loop"]


def test_sources_joined_by_a_switch() -> None:
    text = "source Vb : panel -> gnd\nswitch S2 : panel -> in\ndrive S at D\ndrive S2 with S"
    assert faults_of(add(text))[0][:3] == ("source-loop", (10, 8), ("Vg", "S2", "Vb"))
    read(add(text.replace("-> in", "-> in { resistance 20 mohm }"))).check()


def test_capacitors_in_a_loop_with_a_source_are_the_solvers_business() -> None:
    read(add("capacitor Ci : in -> gnd = 10 uF")).check()
    read(add("capacitor Cs : in -> a\ncapacitor C2 : in -> a")).check()


@pytest.mark.parametrize("coil", ["inductor L9", "current I9"])
def test_a_current_without_a_path(coil: str) -> None:
    text = add(f"{coil} : in -> x\nswitch S2 : x -> gnd\nload R2 : in -> x\ndrive S at D\ndrive S2 off")
    read(text).check()  # the load takes it
    text = text.replace("load R2 : in -> x", "switch S3 : x -> out").replace("S2 off", "S2 off\ndrive S3 off")
    assert faults_of(text) == [
        ("no-current-path", (9, coil.index("9")), (coil[-2:], "S2", "S3"), ("in", "x"))
    ]
    read(text.replace("drive S3 off", "drive S3 at D")).check()


def test_inductors_in_series_are_the_solvers_business() -> None:
    read(swap("a -> out", "a -> m", add("inductor L2 : m -> out"))).check()
    read(swap("a -> out", "a -> m", add("current I2 : m -> out"))).check()


def test_constant_currents_in_series() -> None:
    found = faults_of(add("current I1 : in -> m = 1 A\ncurrent I2 : m -> gnd = 2 A"))
    assert found == [("no-current-path", (9, 9), ("I1", "I2"), ("in", "m"))]


def test_a_loose_coil_gives_one_fault() -> None:
    assert [fault[0] for fault in faults_of(add("inductor L9 : in -> x"))] == ["loose-node"]


def test_ground_nodes() -> None:
    assert faults_of(add("ground gnd, out")) == [("two-grounds", (9, 13), (), ("gnd", "out"))]
    read(add("ground gnd, sgnd", MAST)).check()


def test_a_coupling_stronger_than_full() -> None:
    coils = "inductor L2 : out -> gnd = 188 uH\n"
    read(add(coils + "couple M : L1, L2 = 94 uH")).check()
    assert faults_of(add(coils + "couple M : L1, L2 = 95 uH")) == [
        ("coupling-not-passive", (10, 12), ("L1", "L2"), ())
    ]
    read(add(coils.replace(" = 188 uH", "") + "couple M : L1, L2 = 95 uH")).check()


def coupled(*couplings: str) -> str:
    return add("inductor L2 : out -> gnd\ninductor L3 : out -> gnd\n" + "\n".join(couplings))


def test_a_set_of_couplings_that_is_not_passive() -> None:
    read(coupled("couple L1, L2 = 1", "couple L2, L3 = 1", "couple L1, L3 = 1")).check()
    read(coupled("couple L1, L2 = 0.7", "couple L2, L3 = 0.7")).check()
    read(coupled("couple L1, L2 = 0.9", "couple L2, L3")).check()
    read(coupled("couple L1, L2 = 0.9", "couple L2, L3 = 0.9", "couple L1, L3")).check()
    for couplings in (
        ("couple L1, L2 = 0.9", "couple L2, L3 = 0.9"),
        ("couple L1, L2 = 0.9", "couple L2, L3 = 0.9", "couple L1, L3 = 0.5"),
        ("couple L1, L2 = 1", "couple L2, L3 = 1", "couple L1, L3 = 0.99"),
    ):
        (fault,) = faults_of(coupled(*couplings))
        assert (fault[0], fault[2]) == ("coupling-not-passive", ("L1", "L2", "L3"))


def test_references() -> None:
    assert references(read(GAUGE)) == ("gnd",)
    assert references(read(add("ground gnd, sgnd", MAST))) == ("gnd", "sgnd")
    assert references(read(MAST)) == ("gnd", "sgnd")
    assert references(read(GAUGE.replace("gnd", "minus"))) == ("minus",)
    assert references(read(MAST.replace("sgnd", "minus").replace("gnd", "0"))) == ("0", "minus")
    stated = add("ground sgnd", MAST)
    assert references(read(stated)) == ("sgnd", "gnd")


def test_references_do_not_depend_on_the_order_of_statements() -> None:
    lines = MAST.replace("sgnd", "q").replace("gnd", "p").splitlines()
    lines += ["transformer Y : in -> a, u -> v = 1 : 2", "resistor R7 : u -> v", "resistor R8 : v -> u"]
    expected = references(read("\n".join(lines)))
    assert expected == ("p", "q", "u")
    shuffled = random.Random(3)
    for _ in range(20):
        shuffled.shuffle(lines)
        assert references(read("\n".join(lines))) == expected


def test_circuits_without_text() -> None:
    circuit = Circuit(
        (Source("Vg", "in", "gnd", Quantity("Vg", "V")), Load("R", "in", "x", Quantity("R", "ohm"))),
        grounds=("gnd", "earth"),
    )
    assert [(fault.kind, fault.place) for fault in find_faults(circuit)] == [
        ("no-switch", None),
        ("unknown-node", None),
        ("loose-node", None),
        ("loose-node", None),
    ]


def test_faults_of_a_circuit_name_elements_or_nodes_that_exist() -> None:
    texts = [add("source Vb : in -> gnd"), swap("a -> out", "a -> Out"), swap("against S1", "on", PAIR)]
    for text in texts:
        circuit = read(text)
        for fault in find_faults(circuit):
            assert set(fault.elements) <= {element.name for element in circuit.elements}
            assert set(fault.nodes) <= set(circuit.nodes)
            assert fault.elements or fault.nodes
