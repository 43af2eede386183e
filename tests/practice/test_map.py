"""Maps of modes: the right mode in every cell, closed boundaries on the edges, pictures that are files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import voltsec
from voltsec.practice.map import NO_STEADY_STATE, NOT_DETERMINED, RegionMap, region_map
from voltsec.report.alphabet import ASCII, UNICODE
from voltsec.report.figure_face import write_figure
from voltsec.report.map_figure import draw_map
from voltsec.report.map_text import COLUMNS, MARK, ROWS, map_lines, marked_cell, round_values
from voltsec.results.solution import Solution


@pytest.fixture(scope="module")
def sepic() -> Solution:
    return voltsec.solve(voltsec.load("sepic"))


def names_at(areas: RegionMap) -> np.ndarray:
    return np.array([*areas.names, "no steady state", "not determined"])[areas.cells]


@pytest.mark.parametrize(
    ("name", "critical"),
    [
        # REFERENCES.md, section 2
        ("buck", lambda d: 1 - d),
        ("boost", lambda d: d * (1 - d) ** 2),
        ("buckboost", lambda d: (1 - d) ** 2),
        ("sepic", lambda d: (1 - d) ** 2),
        ("cuk", lambda d: (1 - d) ** 2),
        ("flyback", lambda d: (1 - d) ** 2),
    ],
)
def test_cells_against_the_published_boundary(name: str, critical) -> None:
    areas = region_map(voltsec.solve(voltsec.load(name)), columns=40, rows=30)
    x, y = np.meshgrid(areas.x.centres(40), areas.y.centres(30))
    assert areas.y.name == "K"
    assert (names_at(areas) == np.where(y >= critical(x), "CCM", "DCM")).all()
    (curve,) = areas.curves
    drawn = np.isfinite(curve.y)
    assert curve.y[drawn] == pytest.approx(critical(curve.x[drawn]))
    assert drawn.sum() > 100


def test_every_cell_is_what_the_engine_says(sepic: Solution) -> None:
    areas = region_map(sepic, "R", columns=7, rows=6)
    for row, resistance in enumerate(areas.y.centres(6)):
        for column, duty in enumerate(areas.x.centres(7)):
            assert names_at(areas)[row, column] == sepic.at(D=duty, R=resistance).mode


def test_the_operating_point(sepic: Solution) -> None:
    areas = region_map(sepic, columns=COLUMNS, rows=ROWS)
    assert areas.point == pytest.approx((0.4, 2 * 34e-6 / (10 * 10e-6)))
    row, column = marked_cell(areas)
    assert areas.x.edges(COLUMNS)[column] <= 0.4 + 1e-9 and areas.x.edges(COLUMNS)[column + 1] >= 0.4
    assert areas.y.edges(ROWS)[row] <= 0.68 <= areas.y.edges(ROWS)[row + 1]
    assert names_at(areas)[row, column] == sepic.numbers.mode


@pytest.mark.parametrize("over", ["K", "R", "L1", "T", "C1", "Vg"])
def test_over_any_symbol(sepic: Solution, over: str) -> None:
    areas = region_map(sepic, over, columns=12, rows=12)
    assert set(areas.names) <= {"CCM", "DCM"}
    assert (areas.cells >= 0).all()
    assert areas.y.name == over
    assert len(set(names_at(areas)[:, 4])) == (1 if over in ("C1", "Vg") else 2)


def test_beyond_the_largest_duty_there_is_no_steady_state() -> None:
    areas = region_map(voltsec.solve(voltsec.load("forward")), columns=20, rows=8)
    assert (areas.cells[:, 11:] == NO_STEADY_STATE).all()
    assert (areas.cells[:, :9] >= 0).all()
    assert areas.runaway == ("LM",)
    assert "LM grows without limit" in "\n".join(map_lines(areas, UNICODE))


def test_two_duties() -> None:
    text = """source Vg : in -> gnd = 12 V
    switch S1 : in -> a
    diode DA : gnd -> a
    inductor L : a -> b = 100 uH
    switch S2 : b -> gnd
    diode DB : b -> out
    capacitor Co : out -> gnd = 68 uF
    load R : out -> gnd = 12 ohm
    drive S1 at D1
    drive S2 at D2
    operate D1 = 0.6, D2 = 0.3, T = 10 us"""
    solution = voltsec.solve(voltsec.read(text))
    areas = region_map(solution, columns=20, rows=10)
    assert areas.x.name == "D1" and areas.fixed == {"D2": 0.3}
    other = region_map(solution, duty="D2", columns=20, rows=10)
    assert other.x.name == "D2" and other.fixed == {"D1": 0.6}
    plane = region_map(solution, over="D2", columns=15, rows=15)  # equal duties on the diagonal
    assert not plane.y.logarithmic
    assert (plane.cells != NOT_DETERMINED).mean() > 0.95
    with pytest.raises(ValueError, match="horizontal axis already"):
        region_map(solution, over="D1")


def test_a_synchronous_stage_has_one_region() -> None:
    areas = region_map(voltsec.solve(voltsec.load("sync_buck")), columns=12, rows=8)
    assert areas.names == ("CCM",) and (areas.cells == 0).all() and areas.curves == ()


def test_without_values() -> None:
    circuit = voltsec.read(
        "source Vg : in -> gnd\ninductor L : in -> a\nswitch S : a -> gnd\ndiode D1 : a -> out\n"
        "capacitor Co : out -> gnd\nload R : out -> gnd"
    )
    areas = region_map(voltsec.solve(circuit), columns=12, rows=12)
    assert areas.point is None and set(areas.names) == {"CCM", "DCM"}


@pytest.mark.parametrize(("over", "hint"), [("Q7", "there is"), ("l1", "'L1'"), ("k", "'K'"), ("RR", "'R'")])
def test_an_unknown_symbol(sepic: Solution, over: str, hint: str) -> None:
    with pytest.raises(ValueError, match="no symbol is called") as raised:
        region_map(sepic, over)
    assert hint in str(raised.value)


def test_an_unknown_duty(sepic: Solution) -> None:
    with pytest.raises(ValueError, match="there is D"):
        region_map(sepic, duty="D7")


@pytest.mark.parametrize("name", ["sepic", "quad_boost", "forward", "buck_current_load"])
@pytest.mark.parametrize("alphabet", [UNICODE, ASCII])
def test_the_text_fits(name: str, alphabet) -> None:
    areas = region_map(voltsec.solve(voltsec.load(name)), columns=COLUMNS, rows=ROWS)
    lines = list(map_lines(areas, alphabet))
    assert max(map(len, lines)) <= 80
    assert sum(MARK in line for line in lines) == 2  # on the map and in the legend
    if not alphabet.unicode:
        assert all(line.isascii() for line in lines)
    for mode in areas.names:
        assert any(f"  {mode}  " in line for line in lines)


def test_round_values(sepic: Solution) -> None:
    values = round_values(region_map(sepic, columns=5, rows=5).y)
    assert values == sorted(values) and 3 <= len(values) <= 10


@pytest.mark.parametrize("suffix", [".png", ".svg", ".PNG"])
def test_pictures(sepic: Solution, tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"map{suffix}"
    write_figure(draw_map(region_map(sepic, columns=60, rows=40)), path)
    start = path.read_bytes()[:200]
    assert start.startswith(b"\x89PNG") or b"<?xml" in start
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_the_same_map_gives_the_same_picture(sepic: Solution, tmp_path: Path) -> None:
    areas = region_map(sepic, columns=30, rows=20)
    for name in ("one.svg", "two.svg"):
        write_figure(draw_map(areas), tmp_path / name)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_a_failure_leaves_the_old_picture(
    sepic: Solution, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from matplotlib.figure import Figure

    path = tmp_path / "map.png"
    path.write_bytes(b"old")

    def fail(self: Figure, draft: Path, **options: object) -> None:
        Path(draft).write_bytes(b"half")
        raise OSError(28, "no space left")

    monkeypatch.setattr(Figure, "savefig", fail)
    with pytest.raises(OSError):
        write_figure(draw_map(region_map(sepic, columns=10, rows=8)), path)
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["map.png"]
