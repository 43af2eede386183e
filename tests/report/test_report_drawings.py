"""The drawings of a report: the circuit in its section, intervals with the mode at the operating point."""

from __future__ import annotations

import re

import pytest

import voltsec
from voltsec.report.drawing_figure import drawing_figure
from voltsec.report.page import page
from voltsec.report.report_drawings import circuit_drawing, interval_drawings
from voltsec.report.report_latex import circuit_latex, intervals_latex


def test_the_page_shows_the_circuit_and_its_intervals() -> None:
    text = page(voltsec.solve(voltsec.load("buck")))
    sections = {
        name: body
        for name, body in re.findall(r'<section id="([\w-]+)">(.*?)(?=<section|</main)', text, re.S)
    }
    parts = re.findall(r'data-part="(\w+)"', sections["circuit"])
    assert parts == ["Vg", "S", "D1", "L", "Co", "R"]
    assert "data-state" not in sections["circuit"]
    assert text.count('data-part="S" data-state="conducts"') == 1
    assert text.count('data-part="D1" data-state="conducts"') == 1
    holding = next(body for name, body in sections.items() if "data-state" in body)
    assert "CCM" in holding and "Interval 2 of 2" in holding


def test_without_numbers_the_circuit_alone() -> None:
    circuit = voltsec.load("buck")
    bare = voltsec.solve(voltsec.read(circuit.text.replace("operate   D = 0.417, f = 200 kHz", "")))
    assert bare.numbers is None and list(interval_drawings(bare)) == []
    assert 'data-part="S"' in circuit_drawing(bare).drawing.svg


def test_coupled_coils_are_told_in_words() -> None:
    answer = voltsec.solve(voltsec.load("sepic_coupled"))
    assert "L1 and L2 are coupled, k = 0.9." in circuit_drawing(answer).words


def test_latex_has_them_inside() -> None:
    answer = voltsec.solve(voltsec.load("buck"))
    circuit, intervals = "\n".join(circuit_latex(answer)), "\n".join(intervals_latex(answer))
    assert circuit.count(r"\begin{tikzpicture}") == 1 and intervals.count(r"\begin{tikzpicture}") == 2
    for name in ("Vg", "S", "D1", "L", "Co", "R"):
        assert f" {name}}}" in circuit
    assert "Interval 2 of 2" in intervals and "L absorbs" in intervals


def test_what_is_too_wide_is_made_smaller() -> None:
    drawing = voltsec.draw(voltsec.load("sepic"))
    assert drawing_figure(drawing).get_figwidth() > 2.0
    assert drawing_figure(drawing, 2.0).get_figwidth() == pytest.approx(2.0)
