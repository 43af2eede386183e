"""The page in a real browser: it computes what the solver computes, and it fits a telephone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import voltsec
from tests.practice.solved import solved
from tests.report.browsing import resize, start_browser
from voltsec.report.contents import figures, loads, number_rows
from voltsec.report.page import page
from voltsec.results.solution import Solution

SET = """
for (const [name, value] of Object.entries(arguments[0])) {
  const slider = document.querySelector(`input[data-symbol="${name}"]`);
  slider.value = value;
  slider.dispatchEvent(new Event("input"));
}
const found = {mode: document.querySelector("[data-mode]").textContent};
document.querySelectorAll("[data-value]").forEach(cell => { found[cell.dataset.value] = cell.textContent; });
return found;
"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """One browser for all tests of this module."""
    found = start_browser(tmp_path_factory.mktemp("profile"))
    yield found
    found.quit()


def opened(browser: Any, folder: Path, name: str, width: int = 1100) -> Solution:
    """The page of a shipped circuit, open in the browser."""
    solution = solved(name)
    path = folder / f"{name}.html"
    path.write_text(page(solution), encoding="utf-8")
    resize(browser, width, 900)
    browser.get_log("browser")
    browser.get(path.as_uri())
    return solution


def expected(solution: Solution, formulas: bool = False, **values: float) -> dict[str, str]:
    """The texts that ``solve`` gives at a point, of the exact state or of the formulas."""
    numbers = solution.at(**values)
    assert numbers is not None
    there = replace(solution, numbers=numbers.formulas if formulas else numbers)
    assert there.numbers is not None
    found = {"mode": there.numbers.mode}
    found |= {figure.key: figure.shown.removesuffix(" peak to peak") for figure in figures(there)}
    found |= {cell.key: cell.shown for row in number_rows(there) for cell in row.cells if cell.key}
    return found


@pytest.mark.parametrize(
    "name", ["sepic", "boost", "flyback", "boost_lossy", "buck_current_load", "watkins_johnson"]
)
def test_sliders_show_what_solve_gives(browser: Any, tmp_path: Path, name: str) -> None:
    solution = opened(browser, tmp_path, name)
    assert solution.numbers is not None
    load = loads(solution.circuit)[0].symbol
    modes = set()
    for duty in (0.31, 0.55, 0.7):
        for decade in (-0.6, 0.0, 1.3):
            shown = browser.execute_script(SET, {"D": duty, load: decade})
            ohms = solution.numbers.point[load] * 10**decade
            wanted = expected(solution, formulas=True, **{"D": duty, load: ohms})
            del wanted["output_ripple"]  # no formula the page could evaluate
            modes.add(wanted["mode"])
            different = {k: (shown[k], v) for k, v in wanted.items() if shown[k].strip("−") != v.strip("−")}
            assert not different, (duty, decade)
    assert browser.get_log("browser") == []
    if name == "sepic":
        assert modes == {"CCM", "DCM"}


def test_the_first_numbers_are_the_operating_points(browser: Any, tmp_path: Path) -> None:
    """Written by the tool, computed again by the page, and the same again after a reset."""
    solution = opened(browser, tmp_path, "sepic")
    assert solution.numbers is not None
    wanted = expected(solution)
    before = browser.execute_script(SET, {})
    before["output_ripple"] = before["output_ripple"].removesuffix(" peak to peak")
    assert {key: before[key] for key in wanted} == wanted
    curve = "return document.querySelector('svg[data-curve] path.curve').getAttribute('d')"
    path = browser.execute_script(curve)
    browser.execute_script(SET, {"R": 1.2})
    assert browser.execute_script(curve) != path
    browser.execute_script("document.getElementById('reset').click()")
    after = browser.execute_script(SET, {})
    after["output_ripple"] = after["output_ripple"].removesuffix(" peak to peak")
    assert {key: after[key] for key in wanted} == wanted
    assert places(browser.execute_script(curve)) == pytest.approx(places(path), abs=0.11)


def places(path: str) -> list[float]:
    """The coordinates of an SVG path; both programs round them to a tenth."""
    return [float(number) for number in re.findall(r"[\d.]+", path)]


@pytest.mark.parametrize("name", ["sepic", "boost_lossy", "quad_boost", "iso_cuk"])
def test_nothing_scrolls_sideways_on_a_telephone(browser: Any, tmp_path: Path, name: str) -> None:
    opened(browser, tmp_path, name, width=360)
    browser.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 360


def test_equations_are_drawn(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, "sepic")
    browser.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    sizes = browser.execute_script(
        "return Array.from(document.querySelectorAll('math')).map(m => {"
        "const box = m.getBoundingClientRect(); return [box.width, box.height]; })"
    )
    assert len(sizes) > 50
    assert all(width > 3 and height > 3 for width, height in sizes)


def test_light_and_dark(browser: Any, tmp_path: Path) -> None:
    colours = []
    for scheme in ("light", "dark"):
        opened(browser, tmp_path, "sepic")
        feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
        colours.append(browser.execute_script("return getComputedStyle(document.body).backgroundColor"))
    assert colours[0] != colours[1]


def test_sliders_step_through_computed_points(browser: Any, tmp_path: Path) -> None:
    """Where no formula is written the page shows the nearest computed point, and says which."""
    from tests.report.test_computed_points import CLAMPED
    from voltsec.report.computed_points import computed_points

    solution = voltsec.solve(voltsec.read(CLAMPED))
    grid = computed_points(solution)
    assert grid is not None
    path = tmp_path / "clamped.html"
    path.write_text(page(solution), encoding="utf-8")
    browser.get_log("browser")
    browser.get(path.as_uri())
    shown = browser.execute_script(SET, {"D": 0.551, "R": 0.42})
    wanted = expected(solution, D=grid.axes["D"][14], R=grid.axes["R"][3])
    assert grid.axes["D"][14] == pytest.approx(0.54)
    different = {k: (shown[k], v) for k, v in wanted.items() if shown[k].strip("−") != v.strip("−")}
    assert not different
    hints = "return Array.from(document.querySelectorAll('[data-numbers]:not([hidden])'), h => h.innerText)"
    told = " ".join(browser.execute_script(hints))
    assert "nearest computed point, D = 0.54, R = 25.3 Ω" in told
    assert browser.execute_script("return document.querySelectorAll('svg[data-curve] .dot').length") > 20
    assert browser.get_log("browser") == []


def test_numbers_become_cards_on_a_telephone(browser: Any, tmp_path: Path) -> None:
    """No number stands beyond the edge of the screen."""
    opened(browser, tmp_path, "sepic", width=360)
    cells = "document.querySelectorAll('#part-numbers td')"
    rights = browser.execute_script(f"return Array.from({cells}, c => c.getBoundingClientRect().right)")
    assert len(rights) > 20 and max(rights) <= 360
