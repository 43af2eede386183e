"""The HTML report without a browser: whole, self-contained, and safe against what a netlist may hold."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

import voltsec
from tests.practice.solved import SLOW, every_circuit, solved
from voltsec.report.chart import chart_inside, shares, span, ticks
from voltsec.report.page import page

VOID = {"meta", "input", "br", "hr", "img", "link"}


class Nesting(HTMLParser):
    """Complains about a tag that is closed out of order, and collects anchors and links."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.anchors: set[str] = set()
        self.links: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if found.get("id"):
            assert found["id"] not in self.anchors, f"two elements are called {found['id']}"
            self.anchors.add(found["id"] or "")
        if tag == "a":
            self.links.add((found.get("href") or "")[1:])
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        return

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-1:]}"
        self.open.pop()


def parsed(text: str) -> Nesting:
    """``text`` looked through; every tag closed, every link with its target."""
    nesting = Nesting()
    nesting.feed(text)
    assert nesting.open == []
    assert nesting.links <= nesting.anchors
    return nesting


@pytest.mark.parametrize("name", [n for n in every_circuit() if n not in SLOW])
def test_every_shipped_circuit(name: str) -> None:
    text = page(solved(name))
    parsed(text)
    # namespaces are names, not addresses that anybody fetches
    visited = re.sub(r'xmlns(:\w+)?="[^"]*"', "", text)
    assert not re.search(r'(src|href)="(?!#|data:)', visited)
    assert "Cautions" in text and "NaN" not in re.sub(r"<script>.*</script>", "", text, flags=re.S)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SLOW))
def test_every_slow_circuit(name: str) -> None:
    parsed(page(solved(name)))


def test_the_sections() -> None:
    found = parsed(page(solved("sepic")))
    assert {"circuit", "point", "modes", "derivation", "cautions", "part-numbers"} <= found.anchors


def test_losses_and_efficiency_are_shown() -> None:
    text = page(solved("boost_lossy"))
    assert "Conduction losses" in text and 'data-curve="eta"' in text


def test_no_operating_point_no_sliders() -> None:
    text = page(voltsec.solve(voltsec.read(NETLIST.format(title="Bare", operate=""))))
    parsed(text)
    assert 'type="range"' not in text and "<script>" not in text


def test_a_title_cannot_break_out() -> None:
    title = "</title><script>alert(1)</script>"
    text = page(
        voltsec.solve(voltsec.read(NETLIST.format(title=title, operate="operate D = 0.4, T = 10 us")))
    )
    parsed(text)
    assert "<script>alert" not in text


def test_axes() -> None:
    assert ticks(0, 2) == [0, 0.5, 1.0, 1.5, 2.0]
    assert span([None, None], None) == (0.0, 1.0)
    assert span([0.0, -1.0, -90.0], -1.0) == (-3.0, 0.0)
    inside = chart_inside([None] * len(shares()), 0.5, None, "Gain", "D", (0.0, 1.0))
    assert 'd=""' in inside and "circle" not in inside


NETLIST = """converter "{title}"
source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = 100 uH
capacitor C : out -> gnd = 100 uF
load R : out -> gnd = 5 ohm
{operate}
"""
