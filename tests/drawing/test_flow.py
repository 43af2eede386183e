"""Pictures of intervals against what is known of the stages: who conducts, which way, who feeds whom.

Conducting devices and directions: R. W. Erickson and D. Maksimovic, *Fundamentals of Power Electronics*, 2nd
ed., chapters 2 and 6 (from memory).  A part absorbs where its current enters the positive end (passive sign
convention, IEC 60375, from memory).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import voltsec
from voltsec.drawing.flow import flow_of
from voltsec.drawing.picture import Part
from voltsec.report.drawing import Drawing, Panel, UnknownInterval, draw

STAGES = {
    # name: for each interval what carries a current, what absorbs, what supplies
    "buck": (("Vg S L Co R", "L", ""), ("D1 L Co R", "", "L")),
    "boost": (("Vg L S Co R", "L", "Co"), ("Vg L D1 Co R", "Co", "L")),
    "sepic": (
        ("Vg L1 S C1 L2 Co R", "L1 L2", "C1 Co"),
        ("Vg L1 C1 L2 D1 Co R", "C1 Co", "L1 L2"),
    ),
    "cuk": (("Vg L1 S C1 L2 Co R", "L1 L2", "C1"), ("Vg L1 C1 D1 L2 Co R", "C1", "L1 L2")),
    "flyback": (("Vg T.1 S Co R", "T.1", "Co"), ("T.2 D1 Co R", "Co", "T.2")),
}
UP, DOWN = (0.0, -1.0), (0.0, 1.0)


def drawn(name: str) -> Drawing:
    """Every interval of a circuit of the shelf."""
    return draw(voltsec.load(name), "all")


def entering(panel: Panel, part: Part) -> int | None:
    """The end (0 or 1) at which the current enters by the arrow on a lead; None without an arrow."""
    assert panel.flow is not None
    found = set()
    for (x, y), along in panel.flow.arrows:
        for end, terminal in enumerate(part.terminals):
            other = part.terminals[1 - end]
            inwards = tuple(np.sign(round(a - b, 6)) for a, b in zip(other, terminal, strict=True))
            # the part's own leads lie in line with it, beyond its terminals, a few points away
            away = (terminal[0] - x) * inwards[0] + (terminal[1] - y) * inwards[1]
            aside = abs((terminal[0] - x) * inwards[1]) + abs((terminal[1] - y) * inwards[0])
            if aside < 1e-6 and 0 < away <= 12.0:
                found.add(end if along == inwards else 1 - end)
    assert len(found) <= 1, f"arrows on {part.name} disagree"
    return found.pop() if found else None


@pytest.mark.parametrize("name", STAGES)
def test_who_conducts_and_who_feeds_whom(name: str) -> None:
    panels = drawn(name).panels
    assert len(panels) == len(STAGES[name])
    for panel, (active, absorbing, supplying) in zip(panels, STAGES[name], strict=True):
        flow = panel.flow
        assert flow is not None
        assert flow.active == set(active.split())
        told: dict[bool, set[str]] = {True: set(), False: set()}
        for part in panel.picture.parts:
            end = entering(panel, part)
            if part.name in flow.polarity and end is not None:
                positive = 0 if flow.polarity[part.name] > 0 else 1
                told[end == positive].add(part.name)
        assert told == {True: set(absorbing.split()), False: set(supplying.split())}


@pytest.mark.parametrize("name", ["boost", "buck", "flyback"])
def test_arrows_go_round(name: str) -> None:
    """The source gives: its current leaves the positive end; diodes carry it forward; the load takes it."""
    for panel in drawn(name).panels:
        flow = panel.flow
        assert flow is not None
        for part in panel.picture.parts:
            end = entering(panel, part)
            if part.name not in flow.active or end is None:
                continue
            assert end == {"source": 1, "diode": 0, "load": 0}.get(part.kind, end), part.name


@pytest.mark.parametrize("name", ["sepic", "flyback"])
def test_currents_of_wires_obey_the_current_law(name: str) -> None:
    """A wire between two points of a net carries what the parts on one side of it bring (Kirchhoff)."""
    for panel in drawn(name).panels:
        flow, picture = panel.flow, panel.picture
        assert flow is not None
        for k, wire in enumerate(picture.wires):
            rest = [w for w in picture.wires if w != wire and w.net == wire.net]
            side = {wire.start}
            while True:
                more = {p for w in rest if {w.start, w.end} & side for p in (w.start, w.end)} - side
                if not more:
                    break
                side |= more
            there = {part.name for part in picture.parts for p in part.terminals if p in side}
            if len(there & flow.active) == 1:
                assert flow.wires[k], f"{wire} feeds {there & flow.active} alone"
            if not there & flow.active:
                assert not flow.wires[k], f"{wire} leads to nothing that conducts"


def test_a_current_that_turns_has_no_arrow() -> None:
    picture = draw(voltsec.load("buck")).panels[0].picture
    names = [part.name for part in picture.parts]
    ramp = {name: np.linspace(-1.0, 1.0, 5) for name in names}
    flow = flow_of(picture, ramp, dict.fromkeys(names, 1.0), (1.0, 1.0), frozenset({"S"}))
    assert flow.active == set(names) and not flow.arrows


def test_charge_that_jumps_is_told() -> None:
    """Two capacitors joined by a diode share their charge at once; the picture alone would not tell."""
    captions = [" ".join(panel.caption) for panel in drawn("boost_2x").panels]
    assert "charge jumps through" in captions[0] and "D2" in captions[0]
    assert not any("jumps" in line for panel in drawn("sepic").panels for line in panel.caption)


def test_intervals_by_number_and_by_what_conducts() -> None:
    answer = voltsec.load("forward")
    whole = draw(answer, "all")
    assert [panel.caption[0].split(": ")[1] for panel in whole.panels] == [
        "S, D1 conduct",
        "DR, D2 conduct",
        "D2 conducts",
    ]
    assert draw(answer, 2).panels == draw(answer, "D2, DR").panels == whole.panels[1:2]
    with pytest.raises(UnknownInterval, match="'1: S, D1', '2: DR, D2', '3: D2'"):
        draw(answer, "D3")


def test_without_an_operating_point_the_plain_circuit_with_a_note(tmp_path: Path) -> None:
    text = voltsec.load("buck").text.replace("operate   D = 0.417, f = 200 kHz", "")
    told = draw(voltsec.read(text), "all")
    assert len(told.panels) == 1 and told.panels[0].flow is None
    assert "there is no operating point: D, T have no value" in told.notes[-1]
    told.save(tmp_path / "logger.svg")
    assert "no operating point" in (tmp_path / "logger.svg").read_text(encoding="utf-8")


def test_blocking_parts_are_faint_and_named_so() -> None:
    first, second = drawn("buck").svg.split("Interval 2")
    assert 'data-part="D1" data-state="blocks"' in first and 'data-part="S" data-state="conducts"' in first
    assert 'data-part="D1" data-state="conducts"' in second and 'data-part="S" data-state="blocks"' in second


def test_what_blocks_carries_nothing_where_ideal_parts_leave_currents_open() -> None:
    """The push-pull stage's magnetizing current repeats at any level; who conducts is known all the same."""
    stage = """
    ground gnd, m
    parameter n = 2
    source Vg : in -> gnd = 12 V
    transformer T : a -> in, in -> b, c -> m, m -> d = 1 : 1 : n : n { magnetizing LM = 200 uH }
    switch S1 : a -> gnd
    switch S2 : b -> gnd
    diode D1 : c -> x
    diode D2 : d -> x
    inductor L : x -> out = 47 uH
    capacitor Co : out -> m = 100 uF
    load R : out -> m = 10 ohm
    drive S1 at D
    drive S2 at D from 0.5
    operate D = 0.35, f = 100 kHz
    """
    panels = draw(voltsec.read(stage), "all").panels
    active = [panel.flow.active for panel in panels if panel.flow is not None]
    assert {"S1", "T.1"} <= active[0] and not {"S2", "T.2"} & active[0]
    assert not {"Vg", "S1", "S2", "T.1", "T.2"} & active[1]
    assert {"S2", "T.2"} <= active[2] and not {"S1", "T.1"} & active[2]
