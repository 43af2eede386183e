"""Waveforms as text, figure, CSV and JSON: the same numbers in each, readable where they are shown."""

from __future__ import annotations

import csv
import io
import json
import re
from functools import cache

import numpy as np
import pytest
from rich.cells import cell_len

import voltsec
from voltsec.circuit.fault import NoSteadyState
from voltsec.practice.waves import Waves
from voltsec.report.figure_face import svg_text
from voltsec.report.machine import json_text
from voltsec.report.waves_csv import write_rows
from voltsec.report.waves_figure import waves_figure
from voltsec.report.waves_machine import waves_json
from voltsec.report.waves_panels import panelled
from voltsec.report.waves_text import show_waves
from voltsec.report.waves_words import table_rows
from voltsec.waveforms import exact

SHARING = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> x
diode D2 : x -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 50 ohm
operate D = 0.5, T = 10 us
"""


@cache
def answer(name: str) -> voltsec.Solution:
    return voltsec.solve(voltsec.read(name) if "\n" in name else voltsec.load(name))


def rows(waves: Waves) -> list[dict[str, str]]:
    stream = io.StringIO()
    write_rows(waves, stream)
    return list(csv.DictReader(io.StringIO(stream.getvalue())))


class Screen(io.StringIO):
    """What is printed, for a terminal of one encoding."""

    def __init__(self, encoding: str) -> None:
        super().__init__()
        self.known = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self.known


def printed(
    waves: Waves, monkeypatch: pytest.MonkeyPatch, encoding: str = "utf-8", plots: bool = True
) -> str:
    monkeypatch.setenv("COLUMNS", "80")
    screen = Screen(encoding)
    show_waves(waves, plots, screen)
    return screen.getvalue()


def test_csv_holds_every_sample_and_both_sides_of_each_step() -> None:
    waves = answer("sepic").waves("v(S), i(D1), Vout", periods=2)
    told = rows(waves)
    assert list(told[0]) == ["time (s)", "conducts", "v(S) (V)", "i(D1) (A)", "Vout (V)"]
    assert len(told) == len(waves.time)
    for name, column in (("v(S)", "v(S) (V)"), ("i(D1)", "i(D1) (A)"), ("Vout", "Vout (V)")):
        read = np.array([float(row[column]) for row in told])
        assert read == pytest.approx(waves[name].values, rel=1e-11, abs=1e-12)
    edge = [row for row in told if float(row["time (s)"]) == pytest.approx(4e-6, rel=1e-12)]
    assert [row["conducts"] for row in edge] == ["S", "D1"]
    assert [float(row["i(D1) (A)"]) for row in edge] == pytest.approx([0.0, 3.0524], rel=1e-4)


def test_csv_of_charge_that_jumps_and_of_open_shares() -> None:
    told = rows(answer("superlift_po").waves("i(D1)", periods=2))
    jumps = [(float(row["time (s)"]), row["i(D1) charge that jumps (C)"]) for row in told]
    assert [time for time, charge in jumps if charge] == pytest.approx([0.0, 10e-6])
    assert float(jumps[0][1]) == pytest.approx(4.99e-6, rel=1e-3)
    told = rows(answer(SHARING).waves("v(D1), v(S)"))
    assert list(told[0])[2:] == ["v(D1) (V)", "v(D1) least (V)", "v(D1) most (V)", "v(S) (V)"]
    blocked = [row for row in told if row["conducts"] == "S"]
    assert all(row["v(D1) (V)"] == "" for row in blocked)
    assert {round(float(row["v(D1) least (V)"])) for row in blocked} == {-24}
    assert {float(row["v(D1) most (V)"]) for row in blocked} == {0.0}


def test_json_is_the_same_and_strict() -> None:
    waves = answer("superlift_po").waves("i(D1), v(out)")
    told = json.loads(json_text(waves_json(waves)))
    first, second = told["traces"]
    assert (told["periods"], told["mode"], told["point"]["D"]) == (1, "CCM", 0.667)
    assert first["unbounded"] == ["rms", "peak_to_peak", "largest"] and first["rms"] is None
    assert first["impulses"][0]["unit"] == "C"
    assert second["values"] == waves["v(out)"].values.tolist() and len(told["time"]) == len(waves.time)
    assert second["average"] == waves["v(out)"].average and second["formulas"]["average"] > 48
    assert [i["conducting"] for i in told["intervals"]] == [["S", "D1"], ["D2"]]
    shared = json.loads(json_text(waves_json(answer(SHARING).waves("v(D1)"))))["traces"][0]
    assert shared["average"] is None and shared["values"][0] is None and shared["bounds"] == ["rms"]
    assert shared["low"][0] == pytest.approx(-24, rel=1e-2)


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
@pytest.mark.parametrize("name", ["sepic", "superlift_po", "flyback", SHARING])
def test_text_fits_a_terminal(name: str, encoding: str, monkeypatch: pytest.MonkeyPatch) -> None:
    waves = answer(name).waves()
    told = printed(waves, monkeypatch, encoding)
    assert max(cell_len(line) for line in told.splitlines()) <= 80
    assert told.isascii() or encoding == "utf-8"
    for trace in waves.traces[:8]:
        assert f"\n  {trace.name}\n" in told
    assert printed(waves, monkeypatch, encoding, plots=False) in told


def test_a_plot_shows_the_waveform(monkeypatch: pytest.MonkeyPatch) -> None:
    """In ASCII a square wave of 40 % of the period is high in its columns, low in the others."""
    told = printed(answer("sepic").waves("v(S)"), monkeypatch, "ascii").splitlines()
    frame = [line.split("|", 1)[1].ljust(66) for line in told if "|" in line]
    assert len(frame) == 6
    assert re.fullmatch(r" {26}\*{40}", frame[0]) and re.fullmatch(r"\*{27} {39}", frame[-1])
    assert "30.2 V" in next(line for line in told if "|" in line)


def test_the_table_has_the_formulas_beside_the_exact_values() -> None:
    """Means and ripple of the textbook step-up stage: V = Vg/(1 - D) (REFERENCES.md, section 1)."""
    solution = answer("boost")
    waves = solution.waves("v(out), i(L), Iin")
    numbers = solution.numbers
    assert numbers is not None and numbers.formulas is not None
    assert waves["v(out)"].formulas["average"] == pytest.approx(24.0)
    assert waves["i(L)"].formulas["peak_to_peak"] == numbers.formulas.ripple["L"]
    assert waves["i(L)"].average == pytest.approx(numbers.inductor_currents["L"], rel=1e-9)
    assert waves["i(L)"].rms == pytest.approx(numbers.stress["L"]["current_rms"], rel=1e-9)
    assert waves["v(out)"].peak_to_peak == pytest.approx(numbers.output_ripple, rel=1e-6)
    assert waves["Iin"].formulas["average"] == numbers.formulas.source_currents["Vg"]
    cells = list(table_rows(waves))
    assert cells[0] == ("Trace", "Mean", "Rms", "Pk-pk", "Least", "Largest")
    assert [row[0] for row in cells[1:4]] == ["v(out)", "  formula", "  off by"]


def test_every_trace_is_in_the_figure() -> None:
    waves = answer("sepic").waves(R=100.0, periods=2)
    figure = waves_figure(waves)
    told = svg_text(figure)
    for trace in waves.traces:
        assert f"{trace.name}: " in told
    assert told.count(">D1</text>") == 2 and ">none</text>" in told
    assert svg_text(waves_figure(waves)) == told
    assert len(figure.axes) == 1 + len(panelled(waves))


def test_twenty_traces_stay_apart() -> None:
    """A panel has four traces at most, none too small beside the others to be seen."""
    names = "i(L1),i(L2),i(S),i(D1),i(C1),i(Co),i(Vg),i(R),v(L1),v(L2),v(S),v(D1),v(C1),v(Co),v(R),v(a),v(b),"
    waves = answer("sepic").waves(names + "v(a,b),Vout,Iin")
    groups = panelled(waves)
    assert sorted(trace.name for group in groups for trace in group) == sorted(waves.names)
    for group in groups:
        assert len(group) <= 4 and len({trace.unit for trace in group}) == 1
        height = max(t.values.max() for t in group) - min(t.values.min() for t in group)
        for trace in group:
            swing = np.ptp(trace.values)
            assert swing > 0.1 * height or swing <= 1e-9 * max(height, 1e-300)
    figure = waves_figure(waves)
    sizes = [axes.get_position().height * figure.get_figheight() for axes in figure.axes[1:]]
    assert min(sizes) > 0.8  # inch


def test_without_a_steady_state_there_is_nothing_to_show(monkeypatch: pytest.MonkeyPatch) -> None:
    """A forward stage's core with equal windings is not reset above D = 1/2 (M1, from memory)."""
    monkeypatch.setattr(exact, "SEARCHING", 0.3)
    with pytest.raises(NoSteadyState, match="no state was found that repeats"):
        answer("forward").waves(D=0.7)


def test_a_notebook_shows_figure_and_table() -> None:
    told = answer("boost").waves("i(L)")._repr_html_()
    assert told.startswith("<svg") and "<th>Pk-pk</th>" in told and "<td>i(L)</td>" in told


def test_danger_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    waves = answer("boost").waves("v(out)", D=0.9)
    assert "above the usual extra-low limit of 60 V DC" in " ".join(printed(waves, monkeypatch).split())
    assert any("60 V DC" in warning for warning in waves_json(waves)["warnings"])
