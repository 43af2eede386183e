"""Bad files, and files of absurd size: an error at once, never a traceback or a long wait."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from tests.language.wrong_inputs import GAUGE
from voltsec.circuit.fault import CircuitError
from voltsec.language.complaints import render
from voltsec.language.reader import read, read_bytes, read_file

SEEDED = random.Random(7)
NOISE = bytes(SEEDED.randrange(1, 256) for _ in range(100_000)) * 100


def kind_of(action) -> tuple[str, tuple[int, int] | None]:
    """Kind and place of the first fault; the error must be quick and must render."""
    start = time.process_time()  # of this process: other work on the machine does not count
    with pytest.raises(CircuitError) as caught:
        action()
    assert len(render(caught.value)) < 20_000
    assert time.process_time() - start < 2
    fault = caught.value.faults[0]
    return fault.kind, (fault.place.line, fault.place.column) if fault.place else None


def test_a_good_file(tmp_path: Path) -> None:
    path = tmp_path / "gauge.topo"
    path.write_text(GAUGE, encoding="utf-8")
    circuit = read_file(path)
    assert circuit == read(GAUGE)
    assert (circuit.file, circuit.text) == (str(path), GAUGE)
    assert read_file(str(path)) == circuit


def test_byte_order_mark_and_line_ends() -> None:
    circuit = read(GAUGE)
    assert read_bytes(b"\xef\xbb\xbf" + GAUGE.encode()) == circuit
    assert read("\ufeff" + GAUGE) == circuit
    assert read_bytes(GAUGE.replace("\n", "\r\n").encode()) == circuit
    assert read_bytes(GAUGE.replace("\n", "\r").encode()) == circuit
    assert read_bytes(GAUGE.rstrip("\n").encode()) == circuit
    assert kind_of(lambda: read("\ufeffinducter L : a -> b")) == ("unknown-statement", (1, 1))
    assert kind_of(lambda: read("# x\r\nload R : a b\r\n")) == ("missing-arrow", (2, 12))


def test_no_file(tmp_path: Path) -> None:
    (tmp_path / "gauge.topo").write_text(GAUGE, encoding="utf-8")
    assert kind_of(lambda: read_file(tmp_path / "gage.topo")) == ("cannot-read", None)
    with pytest.raises(CircuitError) as caught:
        read_file(tmp_path / "gage.topo")
    assert caught.value.faults[0].hint == "did you mean 'gauge.topo'?"
    assert kind_of(lambda: read_file(tmp_path)) == ("cannot-read", None)
    assert kind_of(lambda: read_file(tmp_path / "gauge.topo" / "x")) == ("cannot-read", None)
    assert kind_of(lambda: read_file("a\0b")) == ("cannot-read", None)
    assert kind_of(lambda: read_file("x" * 5000)) == ("cannot-read", None)


@pytest.mark.parametrize(
    ("data", "kind", "place"),
    [
        (b"", "empty-netlist", (1, 1)),
        (b"\n\n\n", "empty-netlist", (1, 1)),
        (b"source Vg\0", "not-text", (1, 10)),
        (b"\x7fELF\x02\x01\0\0", "not-text", (1, 7)),
        (GAUGE.encode("utf-16"), "not-utf-8", (1, 1)),
        (b"# r\xe4dio\n", "not-utf-8", (1, 4)),
        (b"load R : a -> b\n# \xff", "not-utf-8", (2, 3)),
        (NOISE[:1000], "not-utf-8", (1, 1)),
        (NOISE, "too-long", (1, 1)),
    ],
)
def test_bad_bytes(data: bytes, kind: str, place: tuple[int, int]) -> None:
    found = kind_of(lambda: read_bytes(data))
    assert found[0] == kind
    if data[:10] != NOISE[:10]:
        assert found[1] == place


@pytest.mark.parametrize(
    "text",
    [
        "x" * 10_000_000,
        "x y\n" * 2_500_000,
        "x y\n" * 249_000,
        "a " * 499_000,
        '"' * 999_999,
        '"a#' * 333_000,
        "{,\n" * 333_000,
        "switch S : a -> b {,\n" + " ,\n" * 300_000,
        "source Vg : in -> gnd = " + "9" * 999_000,
        "((((" * 2000,
        NOISE.decode("latin-1")[:999_999],
        "\n".join(f"load R{count} : a -> b\ncouple X{count}, Y{count}" for count in range(4_000)),
    ],
    ids=range(12),
)
def test_garbage(text: str) -> None:
    kind_of(lambda: read(text))


def large(stages: int) -> str:
    """A chain of stages, four elements each."""
    lines = ["source Vg : n0 -> gnd = 12 V"]
    for count in range(stages):
        lines += [
            f"inductor L{count} : n{count} -> a{count} = 10 uH {{ resistance 5 mohm }}",
            f"switch S{count} : a{count} -> gnd {{ resistance 5 mohm }}",
            f"diode D{count} : a{count} -> n{count + 1} {{ drop 0.4 V }}",
            f"capacitor C{count} : n{count + 1} -> gnd = 10 uF",
            f"drive S{count} at d{count}" if count % 2 == 0 else f"drive S{count} with S{count - 1}",
        ]
    return "\n".join([*lines, f"load R : n{stages} -> gnd = 10 ohm"])


def test_five_hundred_elements() -> None:
    start = time.process_time()  # of this process: other work on the machine does not count
    circuit = read(large(130)).check()
    assert len(circuit.elements) == 522
    assert time.process_time() - start < 2


def test_five_hundred_faulty_elements() -> None:
    text = large(130).replace("uH", "uX").replace("drive", "drve")
    assert kind_of(lambda: read(text))[0] == "unknown-unit"
