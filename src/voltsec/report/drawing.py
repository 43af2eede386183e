"""A drawn circuit as people get it: one picture or several below each other, in every form it can be written.

>>> import voltsec
>>> drawing = voltsec.draw(voltsec.load("sepic"))
>>> drawing.svg[:4]
'<svg'
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError
from voltsec.drawing.draw import picture
from voltsec.drawing.flow import Flow, flow_of
from voltsec.drawing.picture import Picture
from voltsec.practice.flows import interval_flows
from voltsec.report.drawing_labels import coupling_notes, interval_caption, labels
from voltsec.report.output_file import draft_of, ending_of
from voltsec.results.solution import Solution

SUFFIXES = (".svg", ".png", ".pdf")
"""Endings of the files a drawing can be written to."""
KEY = (
    "Strong: carries a current. Arrow: which way it flows,",
    "none where it flows both ways within the interval.",
)


class UnknownInterval(ValueError):
    """An interval that the steady state does not have."""


@dataclass(frozen=True)
class Panel:
    """One picture with the lines above it."""

    caption: tuple[str, ...]
    picture: Picture
    flow: Flow | None = None
    """What flows in an interval; None for the plain circuit."""


@dataclass(frozen=True)
class Drawing:
    """A circuit's pictures, one below the other; shows itself in a notebook."""

    title: str
    panels: tuple[Panel, ...]
    notes: tuple[str, ...] = ()
    """Lines below the last picture."""

    @property
    def svg(self) -> str:
        """An ``<svg>`` element: text as text, dark colours where the reader's screen is dark."""
        from voltsec.report.drawing_svg import drawing_svg

        return drawing_svg(self)

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write it to ``path``, all of it or nothing; the ending (.svg, .png, .pdf) says the form.

        Raises :class:`~voltsec.report.output_file.CannotWrite` for another ending and for a place that cannot
        be written to.
        """
        if ending_of(path, SUFFIXES) == ".svg":
            with draft_of(path) as draft:
                head = '<?xml version="1.0" encoding="utf-8"?>\n'
                draft.write_text(head + self.svg, encoding="utf-8")
            return
        from voltsec.report.drawing_figure import write_drawing

        write_drawing(self, Path(path))

    def _repr_svg_(self) -> str:
        return self.svg


def draw(what: Circuit | Solution, interval: str | int | None = None) -> Drawing:
    """A circuit drawn: source left, load right, reference nodes at the bottom; placed by itself.

    With ``interval`` its steady state at the operating point is drawn, one picture for each interval:
    ``"all"``, one by its number from 1, or by what conducts (``"S"``, ``"D1, D2"``, ``"none"``).  What
    carries a current is strong, the rest faint; where there is no operating point, the plain circuit and
    a note why.  The same circuit gives the same drawing.

    Raises :class:`UnknownInterval` for an interval that is not there and :class:`CircuitError` for a circuit
    that cannot work.
    """
    circuit = (what.circuit if isinstance(what, Solution) else what).check()
    drawn, notes = picture(circuit, labels(circuit)), coupling_notes(circuit)
    plain = (Panel((), drawn),)
    if interval is None:
        return Drawing(circuit.name, plain, notes)
    try:
        panels = _interval_panels(what, drawn)
    except CircuitError as problem:
        why = "; ".join(fault.message for fault in problem.faults)
        return Drawing(circuit.name, plain, (*notes, f"No pictures of the intervals: {why}"))
    return Drawing(circuit.name, _chosen(panels, str(interval)), (*notes, *KEY))


def _interval_panels(what: Circuit | Solution, drawn: Picture) -> dict[str, Panel]:
    """What conducts -> the picture of that interval; ``1: S`` before ``2: D1``."""
    flows = interval_flows(what)
    currents = [values for one in flows for values in one.currents.values()]
    voltages = np.array([abs(value) for one in flows for value in one.voltages.values()])
    levels = (
        max(float(np.nanmax(np.abs(values), initial=0.0)) for values in currents),
        float(np.nanmax(voltages, initial=0.0)),
    )
    found = {}
    for number, one in enumerate(flows, 1):
        flow = flow_of(drawn, one.currents, one.voltages, levels, frozenset(one.conducting))
        key = f"{number}: {', '.join(one.conducting) or 'none'}"
        found[key] = Panel(interval_caption(number, len(flows), one), drawn, flow)
    return found


def _chosen(panels: dict[str, Panel], wanted: str) -> tuple[Panel, ...]:
    """The panels that ``wanted`` names."""
    if wanted == "all":
        return tuple(panels.values())
    names = set(re.split(r"[\s,]+", wanted.strip()))
    found = []
    for key, panel in panels.items():
        number, _, devices = key.partition(": ")
        if wanted.strip() == number or names == set(devices.split(", ")):
            found.append(panel)
    if not found:
        raise UnknownInterval(
            f"there is no interval {wanted!r}; there are {', '.join(repr(key) for key in panels)} "
            "(take the number or what conducts, or 'all')"
        )
    return tuple(found)
