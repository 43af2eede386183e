"""A derivation as text, Markdown, LaTeX and HTML."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from tests.practice.solved import solved
from voltsec.practice.derive import derive
from voltsec.report.alphabet import ASCII
from voltsec.report.derivation_html import html_lines
from voltsec.report.derivation_latex import as_latex
from voltsec.report.derivation_text import as_markdown, as_text

SAMPLES = [
    ("sepic", "CCM"),
    ("sepic", "DCM"),
    ("boost_lossy", "CCM"),
    ("iso_cuk", "DCM"),
    ("boost_2x", "DCM"),
]


@pytest.mark.parametrize(("name", "mode"), SAMPLES)
def test_text_fits_eighty_columns(name: str, mode: str) -> None:
    text = as_text(derive(solved(name), mode))
    assert max(map(len, text.splitlines())) <= 80
    assert not any(line != line.rstrip() for line in text.splitlines())
    assert "(1)" in text


def test_text_in_plain_ascii() -> None:
    as_text(derive(solved("sepic"), "DCM"), alphabet=ASCII).encode("ascii")


def test_reason_and_number_stand_beside_a_short_line() -> None:
    text = as_text(derive(solved("sepic"), "CCM"))
    assert re.search(r"^    v\(L1\) = Vg +loop L1, S, Vg +\(1\)$", text, re.MULTILINE)
    assert text.rstrip().splitlines()[-1].split()[:3] == ["V/Vg", "=", "D/D′"]


@pytest.mark.parametrize(("name", "mode"), SAMPLES)
def test_latex_is_balanced(name: str, mode: str) -> None:
    text = as_latex(derive(solved(name), mode))
    assert text.count("{") - text.count(r"\{") == text.count("}") - text.count(r"\}")
    for word in set(re.findall(r"\\begin\{(\w+\*?)\}", text)):
        assert text.count(rf"\begin{{{word}}}") == text.count(rf"\end{{{word}}}")
    text.encode("ascii")


def test_markdown_displays_every_equation() -> None:
    derivation = derive(solved("sepic"), "CCM")
    text = as_markdown(derivation)
    assert text.count("$$") == 2 * (len(derivation.equations) + 1)
    assert r"v_{\mathrm{L1}} = V_{g} \tag{1}" in text
    assert r"\frac{D}{D'}" in text


@pytest.mark.parametrize(("name", "mode"), SAMPLES)
def test_html_is_well_formed_and_its_links_lead_somewhere(name: str, mode: str) -> None:
    lines = list(html_lines(derive(solved(name), mode), "line"))
    root = ElementTree.fromstring("<div>" + "".join(lines) + "</div>")
    anchors = {element.get("id") for element in root.iter() if element.get("id")}
    links = {(element.get("href") or "")[1:] for element in root.iter("a")}
    assert links and links <= anchors
