"""``voltsec startup`` from the outside."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.command.conftest import Run
from voltsec.command.main import run


def test_the_summary_fits_a_terminal(voltsec: Run) -> None:
    done = voltsec("startup", "buck_lossy", "--ledger")
    assert (done.returncode, done.stderr) == (0, "")
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    for words in ("Settled to 1 %", "Overshoot", "Inrush from Vg", "Largest on the way", "Lost in", "Beware"):
        assert words in done.stdout
    assert "in the steady state the efficiency is" in " ".join(done.stdout.split())


def test_plain_characters(voltsec: Run) -> None:
    done = voltsec("startup", "buck", "--periods", "30", "--ledger", extra={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stdout.isascii()
    assert "?" not in done.stdout


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str) -> None:
    path = tmp_path / f"start.{ending}"
    assert run(["startup", "buck", "--periods", "300", "-o", str(path)]) == 0
    assert capsys.readouterr().err == f"written to {path}\n"
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]
    if ending == "svg":
        text = path.read_text(encoding="utf-8")
        assert "v(out): peak 8.66 V" in text
        assert "what each period spans" in text


@pytest.mark.parametrize(("periods", "columns"), [(20, 3), (300, 7)])
def test_tables(tmp_path: Path, periods: int, columns: int) -> None:
    path = tmp_path / "start.csv"
    assert run(["startup", "buck", "--periods", str(periods), "-o", str(path)]) == 0
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    assert len(rows[0]) == columns
    assert rows[0][0] == ("time (s)" if periods == 20 else "period begins (s)")
    assert len(rows) == 301 if periods == 300 else len(rows) > 20 * 16
    assert all(len(row) == columns for row in rows)


@pytest.mark.parametrize("periods", [20, 300])
def test_a_table_holds_the_charge_that_jumps(tmp_path: Path, periods: int) -> None:
    path = tmp_path / "start.csv"
    assert run(["startup", "boost_2x", "--periods", str(periods), "-o", str(path), "--show", "i(C2)"]) == 0
    with path.open(encoding="utf-8", newline="") as stream:
        head, *rows = list(csv.reader(stream))
    place = head.index("i(C2) charge that jumps (C)")
    amounts = [float(row[place]) for row in rows]
    assert max(map(abs, amounts)) > 0


def test_json(voltsec: Run) -> None:
    done = voltsec(
        "startup",
        "sepic_lossy",
        "--step",
        "R: 10 ohm -> 5 ohm",
        "--periods",
        "400",
        "--window",
        "0:1 ms",
        "--json",
    )
    told = json.loads(done.stdout)
    assert told["periods"] == 400
    assert len(told["time"]) == 401
    assert [len(trace["mean"]) for trace in told["traces"]] == [400] * 3
    (section,) = told["sections"]
    assert section["steps"] == [{"symbol": "R", "unit": "ohm", "before": 10.0, "after": 5.0}]
    assert section["before"] > section["final"] > section["lowest"]["value"]
    ledger = told["ledger"]
    parts = sum(sum(ledger[key].values()) for key in ("loads", "lost", "jumps", "stored"))
    assert ledger["given"] == pytest.approx(parts, rel=1e-9)


def test_a_window_past_the_end_goes_on(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["startup", "charger_lossy", "--window", "0:20 ms", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["end"] >= 20e-3 * (1 - 1e-9)
    assert told["ledger"]["to"] == 20e-3


def test_high_voltage_on_the_way_is_warned_of(capsys: pytest.CaptureFixture[str]) -> None:
    """A step-up stage to 48 V overshoots 60 V."""
    assert run(["startup", "boost_2x", "--periods", "100", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert any("extra-low limit of 60 V DC" in one for one in told["cautions"])


def test_jumps_of_charge_are_told_beside_the_curve(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["startup", "boost_inv_pump", "--show", "i(Co)", "--periods", "30"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "i(Co): charge jumps besides" in said


MISTAKES = (
    (("boost", "--periods", "0"), "1 to 100,000 can"),
    (("boost", "--periods", "1000000"), "1 to 100,000 can"),
    (("boost", "--step", "RX: 24 -> 12"), "did you mean 'R'?"),
    (("boost", "--step", "R: 30 ohm -> 12 ohm"), "R is 24 ohm then"),
    (("boost", "--from", "v(Cx)=1"), "did you mean 'Co'?"),
    (("boost", "--show", "v(nowhere)"), "nowhere"),
    (("boost", "--periods", "5", "--window", "0:1 s"), "ends after the last period"),
    (("boost", "-o", "start.txt"), "ends in .svg, .png, .pdf or .csv"),
    (("boost", "-o", "no/such/place.svg"), "no directory"),
    (("boost", "D=1.2"), "between 0 and 1"),
)


@pytest.mark.parametrize(("arguments", "told"), MISTAKES)
def test_bad_input_is_told_and_leaves_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    status = run(["startup", *arguments])
    said = capsys.readouterr()
    assert (status, said.out) == (2, "")
    assert told in " ".join(said.err.split())
    assert "Traceback" not in said.err
    assert not list(tmp_path.iterdir())


def test_missing_values(voltsec: Run) -> None:
    text = "source Vg : in -> gnd\ninductor L : in -> a = 1 uH\nswitch S : a -> gnd\ndiode D1 : a -> out\n"
    text += "capacitor C : out -> gnd = 1 uF\nload R : out -> gnd = 5 ohm\noperate D = 0.5, T = 1 us\n"
    done = voltsec("startup", "-", stdin=text)
    assert done.returncode == 2
    assert "Vg has no value" in done.stderr
    assert "write the values of Vg" in done.stderr
