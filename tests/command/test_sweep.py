"""``voltsec sweep``, and ``voltsec solve`` with ``--for`` and ``--order``, from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command.conftest import Run


def test_a_table_on_standard_output(voltsec: Run) -> None:
    done = voltsec("sweep", "boost", "D=0.25:0.5:2")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == "D,mode,gain,output_voltage (V),efficiency"
    assert done.stdout.splitlines()[2] == "0.5,CCM,1.99989510567,23.998741268,1"


@pytest.mark.parametrize("ending", ["svg", "png", "csv"])
def test_files(voltsec: Run, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"radio.{ending}"
    done = voltsec(
        "sweep",
        "boost_lossy",
        "D=0.05:0.95:40",
        "R=10:1000:3:log",
        "--plot",
        "gain,efficiency",
        "-o",
        str(path),
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]
    if ending == "svg":
        text = path.read_text(encoding="utf-8")
        assert text.rstrip().endswith("</svg>")
    if ending == "csv":
        assert path.read_text().splitlines()[0] == "D,R (ohm),mode,gain,efficiency"
        assert len(path.read_text().splitlines()) == 1 + 40 * 3


def test_empty_points_are_counted(voltsec: Run) -> None:
    """A forward stage's core with equal windings is not reset above D = 1/2 (M1, from memory)."""
    done = voltsec("sweep", "forward", "D=0.1:0.8:8")
    assert done.returncode == 0
    assert "3 of 8 points are left empty" in done.stderr
    assert voltsec("sweep", "sepic", "D=0.1:0.8:8").stderr == ""


def test_tolerances_are_repeatable(voltsec: Run) -> None:
    line = ("sweep", "boost_lossy", "--tolerance", "L=20%,R=5%", "--draws", "2000", "--seed", "3")
    one, two = voltsec(*line), voltsec(*line)
    assert one.returncode == 0 and one.stdout == two.stdout
    assert "2000 draws (seed 3)" in one.stdout and "efficiency" in one.stdout


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["D=0.9:0.1"], "upwards"),
        (["D=x:0.9"], "no number"),
        (["Rr=1:2"], "no symbol called Rr"),
        (["R=-5:10"], "above zero"),
        (["V_D1=1:20"], "not below the input"),
        ([], "nothing is swept"),
        (["D=0.1:0.9", "--plot", "gian"], "did you mean 'gain"),
        (["D=0.1:0.9", "-o", "/no/such/place/x.csv"], "cannot be written"),
        (["D=0.1:0.9", "-o", "x.doc"], "ends in"),
        (["--tolerance", "L9=20%"], "no part or symbol called L9"),
        (["--tolerance", "L=20%", "--draws", "0"], "at least one draw"),
        (["--tolerance", "L=20%", "--draws", "999999999999"], "too many"),
        (["--tolerance", "L"], "PART=PER CENT"),
        (["D=0.1:0.9", "--tolerance", "L=20%"], "one value"),
    ],
)
def test_bad_input(voltsec: Run, arguments: list[str], words: str) -> None:
    done = voltsec("sweep", "boost_lossy", *arguments)
    assert done.returncode == 2 and done.stdout == ""
    assert words in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr


def test_a_file_that_cannot_be_replaced_stays(voltsec: Run, tmp_path: Path) -> None:
    directory = tmp_path / "x.csv"
    directory.mkdir()
    done = voltsec("sweep", "boost", "D=0.1:0.9:5", "-o", str(directory))
    assert done.returncode == 2 and "directory" in done.stderr
    assert [entry.name for entry in tmp_path.iterdir()] == ["x.csv"]


def test_duty_for_an_output(voltsec: Run) -> None:
    done = voltsec("solve", "boost_lossy", "--for", "Vout=30")
    text = " ".join(done.stdout.split())
    assert done.returncode == 0
    assert "D = 0.61933 gives 30 V" in text and "(stable side)" in text and "(not the stable side)" in text
    assert "gain 6.804" in text


def test_unreachable_output(voltsec: Run) -> None:
    done = voltsec("solve", "boost_lossy", "--for", "300", "--json")
    assert done.returncode == 3
    (error,) = json.loads(done.stdout)["errors"]
    assert error["kind"] == "unreachable-output" and "largest gain is 6.8038" in error["message"]


@pytest.mark.parametrize("value", ["Vout=", "Vout=much", "Q=3", "Vout=0", "Vout=1A"])
def test_bad_wanted_output(voltsec: Run, value: str) -> None:
    done = voltsec("solve", "boost_lossy", "--for", value)
    assert done.returncode == 2 and "Traceback" not in done.stderr


def test_first_order_and_losses(voltsec: Run) -> None:
    done = voltsec("solve", "boost_lossy", "--order", "first")
    assert "to first order" in done.stdout
    told = json.loads(voltsec("solve", "boost_lossy", "--json").stdout)
    assert set(told["modes"][0]["losses"]) == {"L", "S", "D1"}
    numbers = told["numbers"]
    drawn = 12 * numbers["source_currents"]["Vg"]
    assert (drawn - sum(numbers["losses"].values())) / drawn == pytest.approx(numbers["efficiency"])
