"""A drawn circuit as people get it: one picture or several below each other, in every form it can be written.

>>> import voltsec
>>> drawing = voltsec.draw(voltsec.load("sepic"))
>>> drawing.svg[:4]
'<svg'
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from voltsec.circuit.circuit import Circuit
from voltsec.drawing.draw import picture
from voltsec.drawing.picture import Picture
from voltsec.report.drawing_labels import coupling_notes, labels
from voltsec.report.machine import circuit_name
from voltsec.report.output_file import draft_of, ending_of

SUFFIXES = (".svg", ".png", ".pdf")
"""Endings of the files a drawing can be written to."""


@dataclass(frozen=True)
class Panel:
    """One picture with the line above it, empty where there is none."""

    caption: str
    picture: Picture


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


def draw(circuit: Circuit) -> Drawing:
    """``circuit`` drawn: source left, load right, reference nodes at the bottom, placed by itself.

    The same circuit gives the same drawing.
    """
    return Drawing(
        circuit_name(circuit), (Panel("", picture(circuit, labels(circuit))),), coupling_notes(circuit)
    )
