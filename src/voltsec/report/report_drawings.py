"""The drawings of a report: the circuit, and the intervals of the steady state at the operating point."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from voltsec.report.drawing import Drawing, Panel, draw
from voltsec.results.solution import Solution

KEY = (
    "Strong: carries a current at the operating point; an arrow tells which way, none where it turns "
    "within the interval; + and −: polarity of the voltage."
)


@dataclass(frozen=True)
class Captioned:
    """One picture and what stands below it."""

    drawing: Drawing
    words: str


def circuit_drawing(solution: Solution) -> Captioned:
    """The circuit alone; pairs of coupled coils are told in words."""
    drawn = draw(solution.circuit)
    words = "".join(f" {note}." for note in drawn.notes)
    return Captioned(_plain(drawn.title, drawn.panels[0]), f"The circuit, drawn from the netlist.{words}")


def interval_drawings(solution: Solution) -> Iterator[Captioned]:
    """One picture for each interval at the operating point; nothing without numbers there."""
    if solution.numbers is None:
        return
    drawn = draw(solution, "all")
    for panel in drawn.panels:
        if panel.flow is not None:
            yield Captioned(_plain(drawn.title, panel), ". ".join(panel.caption) + ".")


def _plain(title: str, panel: Panel) -> Drawing:
    """One picture without lines of text above and below."""
    return Drawing(title, (Panel((), panel.picture, panel.flow),))
