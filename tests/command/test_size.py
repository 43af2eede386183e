"""``voltsec size`` and ``voltsec solve --worst`` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import voltsec as package
from tests.command.conftest import Run

WANTED = "Vin=9:16, Vout=24, Iout=0.1:0.5, f=100k, ripple(L)=40%, ripple(out)=50mV"


def test_sizes_as_text_json_and_netlist(voltsec: Run, tmp_path: Path) -> None:
    """All three tell the same values."""
    path = tmp_path / "radio.topo"
    told = voltsec("size", "boost", "--for", WANTED, "-o", str(path))
    assert told.returncode == 0 and told.stderr == f"written to {path}\n"
    assert all(len(line) <= 80 for line in told.stdout.splitlines())
    machine = json.loads(voltsec("size", "boost", "--for", WANTED, "--json").stdout)
    sized = {size["symbol"]: size["value"] for size in machine["sizes"]}
    written = package.load(path).values
    assert {name: float(written[name]) for name in sized} == pytest.approx(sized)
    assert machine["duty"]["formula"] == "-(Vg - Vout)/Vout"
    peak = machine["worst"]["stress.S.current_peak"]
    assert f"{peak['value']:.4g} A" in told.stdout
    assert "L ≥" in told.stdout and "D·T·Vg/ΔI_L" in told.stdout


def test_worst(voltsec: Run) -> None:
    told = voltsec("solve", "boost", "--worst", "Vin=8:16, R=40:400", "--for", "Vout=24")
    assert (told.returncode, told.stderr) == (0, "")
    assert all(len(line) <= 80 for line in told.stdout.splitlines())
    machine = json.loads(
        voltsec("solve", "boost", "--worst", "Vin=8:16, R=40:400", "--for", "24", "--json").stdout
    )
    worst = machine["worst"]["stress.L.current_peak"]
    assert worst["at"]["values"]["Vg"] == 8 and worst["at"]["corner"]
    assert f"{worst['value']:.4g} A" in told.stdout


@pytest.mark.parametrize(
    "netlist, wanted, words",
    [
        ("boost", "Vin=16:9, Vout=24", "write Vin=9:16"),
        ("boost", "Vin=9:16, Vout=24, Vout=25", "Vout is given twice"),
        ("boost", "Vin=9:16, Vg=12, Vout=24", "Vin and Vg say the same"),
        ("boost", "Vin=9ohm, Vout=24", "Vin is in V"),
        ("boost", "Vin=9:16, Vout=24, Iout=1, R=5", "both say what the output's load is"),
        ("boost", "Vin=9:16, Iout=1", "give Vout too"),
        ("boost", "Vin=9:16, Vout=24, D=0.5", "both given"),
        ("boost", "Vin=9:16, Vout=24, Iout=0:1", "above zero"),
        ("boost", "Vin=9:16, Vout=24, ripple(L)=30%, L=10uH", "leave out one of them"),
        ("boost", "Vin=9:16, Vout=24, ripple(out)=1%, ripple(Co)=1%", "both size Co"),
        ("boost", "Vin=9:16, Vout=24, ripple(L)=50mV", "is in A"),
        ("boost", "Vin=9:16, Vout=24, ripple(L2)=50mA", "did you mean 'L'?"),
        ("boost", "Vin=9:16, Vaut=24", "did you mean 'Vout'?"),
        ("boost", "Vin=9:16, Vout", "NAME=VALUE"),
        ("boost", "", "nothing is specified"),
        ("boost", "Vin=9:16, Vout=8, Iout=0.5, f=100k, ripple(L)=30%", "no duty gives 8 V"),
        ("buck", "Vin=9:16, Vout=12, Iout=0.5, f=100k", "the gain only approaches 1"),
        ("boost", "Vin=9:16, Vout=-24, Iout=0.5, f=100k", "positive at every duty"),
        ("boost", "Vin=9:16, Vout=24, clamp(L)=5V", "no switch or diode L"),
        ("boost", "Vin=9:16, Vout=24, f=100k:50k", "write f=50k:100k"),
    ],
)
def test_bad_specifications(voltsec: Run, netlist: str, wanted: str, words: str) -> None:
    told = voltsec("size", netlist, "--for", wanted)
    assert told.returncode == 2 and told.stdout == ""
    assert words in " ".join(told.stderr.split()), told.stderr
    assert "Traceback" not in told.stderr


def test_missing_values_are_named(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "bare.topo"
    path.write_text(
        "source Vg : in -> gnd\nswitch S : in -> a\ninductor L : a -> out\ndiode D1 : gnd -> a\n"
        "capacitor Co : out -> gnd\nload R : out -> gnd\n"
    )
    told = voltsec("size", str(path), "--for", "Vout=5")
    assert told.returncode == 2
    words = " ".join(told.stderr.split())
    assert "Vg, L, Co, R, T have no value" in words and "Vin=8:16, ripple(L)=30%" in words


def test_a_second_duty_is_asked_for(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "two.topo"
    path.write_text(
        "source Vg : in -> gnd = 12 V\ninductor L1 : in -> a = 1 mH\nswitch S1 : a -> gnd\n"
        "diode D1 : a -> m\ncapacitor C1 : m -> gnd = 1 mF\nswitch S2 : m -> b\ndiode D2 : gnd -> b\n"
        "inductor L2 : b -> out = 1 mH\ncapacitor Co : out -> gnd = 1 mF\nload R : out -> gnd = 10 ohm\n"
        "drive S1 at Da\ndrive S2 at Db\noperate T = 10 us\n"
    )
    told = voltsec("size", str(path), "--for", "Vin=9:16, Vout=12")
    assert told.returncode == 2 and "give Db too" in told.stderr


@pytest.mark.parametrize(
    "ranges, words",
    [
        ("Vin=12", "nothing varies"),
        ("Vin=8:16, ripple(L)=3%", "which is what size does"),
        ("Q=1:2", "called Q"),
    ],
)
def test_bad_ranges(voltsec: Run, ranges: str, words: str) -> None:
    told = voltsec("solve", "boost", "--worst", ranges)
    assert told.returncode == 2 and words in " ".join(told.stderr.split())
