"""How faults are shown to people and to machines, and that every kind is documented."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

import voltsec
from tests.language.wrong_inputs import WRONG, swap
from voltsec.circuit.fault import CircuitError
from voltsec.language.complaints import KINDS, MOST_SHOWN, as_objects, render
from voltsec.language.reader import read

SOURCE = Path(voltsec.__file__).parent


def error_of(text: str, file: str = "gauge.topo") -> CircuitError:
    with pytest.raises(CircuitError) as caught:
        read(text, file).check()
    return caught.value


def test_a_fault_for_people() -> None:
    assert render(error_of(swap("47 uH", "47 uX"))) == (
        "gauge.topo:5:29: 'uX' is not a unit [unknown-unit]\n"
        "    inductor L1 : a -> out = 47 uX\n"
        "                                ^\n"
        "    elements: L1\n"
        "    hint: write it in H, with a prefix f p n u m k M G T or none"
    )


def test_the_caret_stands_under_the_place_behind_tabs() -> None:
    shown = render(error_of(swap("switch S : in -> a", "switch\tS\t: in a"))).splitlines()
    assert shown[1].index("in a") + 3 == shown[2].index("^")
    assert shown[2].count("\t") == 2


def test_a_fault_for_machines() -> None:
    (told,) = as_objects(error_of(swap("47 uH", "47 uX")))
    assert told == {
        "line": 5,
        "column": 29,
        "kind": "unknown-unit",
        "message": "'uX' is not a unit",
        "elements": ["L1"],
        "nodes": [],
        "hint": "write it in H, with a prefix f p n u m k M G T or none",
        "file": "gauge.topo",
    }
    json.dumps(told)


def test_a_fault_without_a_place() -> None:
    text = swap("switch S : in -> a", "resistor S : in -> a").replace("operate D = 0.42, T = 5 us", "")
    error = error_of(text)
    assert [fault.kind for fault in error.faults] == ["no-switch"]
    assert as_objects(error)[0]["line"] is None
    assert render(error).startswith("gauge.topo: the circuit has no switch")


def test_many_faults_are_counted() -> None:
    error = error_of("switch S : a\n" * (MOST_SHOWN + 7))
    assert len(error.faults) == MOST_SHOWN + 7
    assert render(error).endswith("\nand 7 more")
    assert len(as_objects(error)) == MOST_SHOWN + 1
    assert as_objects(error)[-1]["kind"] == "more-faults"


def test_long_lines_are_cut_around_the_place() -> None:
    text = "ground " + ", ".join(f"n{count}" for count in range(1000)) + " $"
    shown = render(error_of(text)).splitlines()
    assert len(shown[1]) < 120
    assert shown[1][shown[2].index("^")] == "$"


def test_control_characters_do_not_reach_the_terminal() -> None:
    shown = render(error_of("switch S : a -> \x1b[2Jb\x07"))
    assert "\x1b" not in shown
    assert "\x07" not in shown


@pytest.mark.parametrize("name", WRONG)
def test_every_fault_shows_its_line(name: str) -> None:
    error = error_of(WRONG[name].text)
    place = error.faults[0].place
    assert place is not None
    shown = render(error).splitlines()
    assert shown[0].startswith(f"gauge.topo:{place.line}:{place.column}: ")
    if WRONG[name].text:
        assert shown[2].strip() == "^"


def kinds_in_code() -> dict[str, str]:
    """Every literal kind given to a Fault, or to one of the functions that make one -> module."""
    found: dict[str, str] = {}
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            called = ast.unparse(node.func).split(".")[-1]
            first = node.args[0]
            makes = called == "Fault" or (called in ("add", "_add", "fault") and len(node.args) > 2)
            if makes and isinstance(first, ast.Constant) and isinstance(first.value, str):
                found[first.value] = path.name
    return found


def test_every_kind_is_documented() -> None:
    used = kinds_in_code()
    assert len(used) > 40
    assert not {kind: module for kind, module in used.items() if kind not in KINDS}


def test_every_documented_kind_exists() -> None:
    text = "".join(path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.py"))
    for kind in KINDS:
        assert text.count(f'"{kind}"') > 1, f"{kind} is documented but never used"
