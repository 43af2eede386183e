"""The common face of figures: files, colours of both themes, text that stays text."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matplotlib.colors import to_rgb

from voltsec.report.figure_face import (
    CURVES,
    DARK,
    INK,
    PAPER,
    SUFFIXES,
    engineering_axis,
    panels,
    svg_text,
    write_figure,
)
from voltsec.report.output_file import CannotWrite, ending_of


def drawing():
    figure, (upper, lower) = panels(2)
    upper.plot([0, 1e-5], [0, 2], color=CURVES[0])
    upper.set_title("current of L1 < 2 A & more")
    lower.plot([0, 1e-5], [5, 4], color=CURVES[1])
    engineering_axis(lower.xaxis, "s")
    return figure


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 (W3C), from memory."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colour", [INK, *CURVES])
def test_colours_stand_out_in_both_themes(colour: str) -> None:
    """Text 4.5 : 1, curves 3 : 1 (WCAG 2.1, 1.4.3 and 1.4.11; from memory)."""
    least = 4.5 if colour == INK else 3.0
    assert contrast(colour, PAPER) >= least
    assert contrast(DARK[colour], DARK[PAPER]) >= least


def test_no_two_colours_are_one() -> None:
    for one, other in combinations(DARK, 2):
        assert one != other and not (one in CURVES and other in CURVES and DARK[one] == DARK[other])


def test_svg_keeps_text_and_follows_the_theme() -> None:
    text = svg_text(drawing())
    root = ElementTree.fromstring(text)
    told = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "current of L1 < 2 A & more" in told
    assert "10\N{NO-BREAK SPACE}µs" in told
    assert "prefers-color-scheme: dark" in text and "date" not in text.lower()
    drawn = set(re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", text[text.index("</style>") :]))
    assert drawn <= set(DARK), "a colour has no counterpart on a dark screen"


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_the_same_figure_gives_the_same_file(suffix: str, tmp_path: Path) -> None:
    files = [tmp_path / f"{name}{suffix}" for name in ("one", "two")]
    for path in files:
        write_figure(drawing(), path)
    assert files[0].read_bytes() == files[1].read_bytes()
    assert len(files[0].read_bytes()) > 1000


@pytest.mark.parametrize(
    ("name", "reason"),
    [("x.doc", "ends in .svg, .png or .pdf"), ("folder.svg", "a directory"), ("none/x.svg", "no directory")],
)
def test_what_cannot_be_written_is_told_first(name: str, reason: str, tmp_path: Path) -> None:
    (tmp_path / "folder.svg").mkdir()
    with pytest.raises(CannotWrite, match=reason):
        ending_of(tmp_path / name, SUFFIXES)
