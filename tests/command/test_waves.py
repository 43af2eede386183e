"""``voltsec waves`` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command.conftest import Run


def test_table_and_plots(voltsec: Run) -> None:
    done = voltsec("waves", "sepic", "--show", "i(L1),v(out)", "D=0.45", "R=9ohm")
    assert (done.returncode, done.stderr) == (0, "")
    assert "One period of the exact steady state, CCM: D = 0.45, T = 10 µs (100 kHz)" in done.stdout
    assert done.stdout.count("formula") == 2 and "└─" in done.stdout


def test_discontinuous_conduction_and_several_periods(voltsec: Run) -> None:
    done = voltsec("waves", "sepic", "R=100", "--show", "i(D1)", "--periods", "2")
    assert done.returncode == 0, done.stderr
    assert "2 periods of the exact steady state, DCM" in done.stdout and "20 µs" in done.stdout


@pytest.mark.parametrize("ending", ["svg", "pdf", "csv"])
def test_files(voltsec: Run, tmp_path: Path, ending: str) -> None:
    done = voltsec("waves", "boost", "-o", f"radio.{ending}", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == f"written to radio.{ending}\n"
    assert "i(L)" in done.stdout and "└" not in done.stdout
    assert [entry.name for entry in tmp_path.iterdir()] == [f"radio.{ending}"]
    content = (tmp_path / f"radio.{ending}").read_bytes()
    begins = {"svg": b"<?xml", "pdf": b"%PDF", "csv": b"time (s),conducts,i(L) (A),"}
    assert content.startswith(begins[ending])


def test_json(voltsec: Run) -> None:
    done = voltsec("waves", "boost", "--show", "i(L)", "--json")
    assert done.returncode == 0
    told = json.loads(done.stdout)
    assert told["traces"][0]["name"] == "i(L)" and len(told["time"]) == len(told["traces"][0]["values"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--show", "v(uot)"], "--show:1:1: there is no node or element called 'uot' [unknown-trace]"),
        (["--show", "v(uot)"], "did you mean v(out)?"),
        (["--show", ""], "no trace is asked for"),
        (["--show", "i(S),i(S)"], "asked for twice"),
        (["--periods", "0"], "0 cannot be shown, 1 to 100 can"),
        (["--periods", "1000000"], "1000000 cannot be shown"),
        (["--periods", "x"], "not a valid integer"),
        (["D=0.1:0.9"], "takes one value"),
        (["D=2"], "between 0 and 1"),
        (["Q=2"], "no symbol called Q"),
        (["-o", "x.doc"], "ends in .svg, .png, .pdf or .csv"),
        (["-o", "/no/such/place/x.csv"], "there is no directory"),
    ],
)
def test_bad_input(voltsec: Run, arguments: list[str], words: str, tmp_path: Path) -> None:
    done = voltsec("waves", "boost", *arguments, cwd=tmp_path)
    assert done.returncode == 2 and done.stdout == ""
    assert words in " ".join(done.stderr.split()) and "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


def test_no_operating_point(voltsec: Run) -> None:
    netlist = "source Vg : in -> gnd = 12 V\nswitch S : in -> a\ndiode D1 : gnd -> a\n"
    netlist += "inductor L : a -> out = 1 mH\ncapacitor C : out -> gnd = 1 mF\nload R : out -> gnd\n"
    done = voltsec("waves", "-", "--json", stdin=netlist)
    assert done.returncode == 2
    (error,) = json.loads(done.stdout)["errors"]
    assert error["kind"] == "no-operating-point" and "R, D, T have no value" in error["message"]
    assert voltsec("waves", "-", "R=10", "D=0.4", "T=10us", stdin=netlist).returncode == 0
