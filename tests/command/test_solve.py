"""``voltsec solve`` from the outside."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.command.conftest import Run

BOOST = """converter "Radio rail"
source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 24 ohm
operate D = 0.5, f = 100 kHz
"""


def test_a_shipped_name(voltsec: Run) -> None:
    done = voltsec("solve", "sepic")
    assert (done.returncode, done.stderr) == (0, "")
    assert "D·Vg/D′" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_json_is_alone_on_standard_output(voltsec: Run) -> None:
    done = voltsec("solve", "sepic", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert [mode["name"] for mode in told["modes"]] == ["CCM", "DCM"]
    assert told["modes"][0]["gain"] == "D/(1 - D)"
    assert told["numbers"]["formulas"]["output_voltage"] == pytest.approx(12.0)
    assert told["numbers"]["output_voltage"] == pytest.approx(12.0, rel=2e-3)  # ripple included


def test_latex(voltsec: Run) -> None:
    done = voltsec("solve", "sepic", "--latex")
    assert (done.returncode, done.stderr) == (0, "")
    assert r"\frac{V}{V_{g}} &= \frac{D}{D'} && \text{Gain}" in done.stdout


def test_a_file_and_standard_input_agree(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "radio.topo"
    path.write_text(BOOST, encoding="utf-8")
    from_file = voltsec("solve", str(path))
    from_pipe = voltsec("solve", "-", stdin=BOOST)
    assert from_file.returncode == from_pipe.returncode == 0
    assert from_file.stdout == from_pipe.stdout
    assert "Radio rail" in from_file.stdout


def test_a_file_comes_before_a_shipped_name(voltsec: Run, tmp_path: Path) -> None:
    (tmp_path / "sepic").write_text(BOOST, encoding="utf-8")
    (tmp_path / "buck").mkdir()
    assert "Radio rail" in voltsec("solve", "sepic", cwd=tmp_path).stdout
    assert voltsec("solve", "buck", cwd=tmp_path).returncode == 0


def test_an_ascii_terminal(voltsec: Run) -> None:
    done = voltsec("solve", "sepic", extra={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stdout.isascii()
    assert "D*Vg/D'" in done.stdout


@pytest.mark.parametrize(
    ("netlist", "expected"),
    [
        ("nosuch_at_all", "voltsec circuits"),
        ("sepiic", "sepic"),
        ("sepic.topo", "sepic"),
        (".", "directory"),
        ("deep/er/sepic", "sepic"),
    ],
)
def test_a_netlist_that_is_not_there(voltsec: Run, tmp_path: Path, netlist: str, expected: str) -> None:
    done = voltsec("solve", netlist, "--json", cwd=tmp_path)
    assert done.returncode == 2
    assert expected in done.stderr
    assert "Traceback" not in done.stderr
    told = json.loads(done.stdout)
    assert told["errors"][0]["kind"] == "cannot-read"


@pytest.mark.parametrize("data", [b"\x7fELF\0\0\1", b"\xff\xfe\x00x", b'converter "caf\xe9"'])
def test_a_file_that_is_no_text(voltsec: Run, tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "stage.topo"
    path.write_bytes(data)
    done = voltsec("solve", str(path), "--json")
    assert done.returncode == 2
    assert done.stderr and "Traceback" not in done.stderr
    assert json.loads(done.stdout)["errors"][0]["kind"] in ("not-text", "not-utf-8")


def test_bad_input_names_the_place(voltsec: Run) -> None:
    done = voltsec("solve", "-", "--json", stdin=BOOST.replace("100 uH", "100 uX"))
    assert done.returncode == 2
    assert "<stdin>:3:" in done.stderr
    fault = json.loads(done.stdout)["errors"][0]
    assert (fault["line"], fault["kind"]) == (3, "unknown-unit")


def test_no_steady_state_is_status_3(voltsec: Run) -> None:
    """A coil that only ever sees the source, whatever the switch does."""
    text = """source Vg : in -> gnd = 12 V
inductor L : in -> gnd = 100 uH
resistor Rs : in -> a = 1 ohm
switch S : a -> out
load R : out -> gnd = 24 ohm
"""
    done = voltsec("solve", "-", "--json", stdin=text)
    assert done.returncode == 3, done.stderr
    fault = json.loads(done.stdout)["errors"][0]
    assert fault["kind"] == "no-steady-state"
    assert "L" in fault["message"]


def test_nothing_heavy_is_loaded() -> None:
    """The way to the answer imports neither figures nor templates nor scipy."""
    code = (
        "import sys; from voltsec.command.main import run; run(['solve', 'sepic'])\n"
        "heavy = {'matplotlib', 'scipy', 'jinja2', 'pygments', 'asyncio'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8")
    assert done.stderr.strip() == "[]"


TWO_LEGS = str(Path(__file__).with_name("two_legs.topo"))


def test_brief_and_mode(voltsec: Run) -> None:
    brief = voltsec("solve", "sepic", "--brief")
    assert brief.returncode == 0 and "DCM: D1 stops" in brief.stdout and "Stress" not in brief.stdout
    assert len(brief.stdout.splitlines()) < 32
    alone = voltsec("solve", "sepic", "--mode", "dcm")
    assert alone.returncode == 0 and "── DCM: D1 stops" in alone.stdout and "CCM" not in alone.stdout
    told = json.loads(voltsec("solve", "sepic", "--mode", "DCM", "--json").stdout)
    assert [mode["name"] for mode in told["modes"]] == ["DCM"] and told["numbers"] is None


def test_an_unknown_mode_names_those_there_are(voltsec: Run) -> None:
    done = voltsec("solve", "sepic", "--mode", "DCM 2")
    assert done.returncode == 2 and done.stdout == ""
    assert "no mode 'DCM 2'" in done.stderr and "CCM, DCM" in done.stderr


@pytest.mark.parametrize(
    "options",
    [
        ("--brief", "--full"),
        ("--brief", "--json"),
        ("--full", "--latex"),
        ("--hold", "S=on", "--mode", "CCM"),
    ],
)
def test_options_that_make_no_sense_together(voltsec: Run, options: tuple[str, ...]) -> None:
    done = voltsec("solve", "sepic", *options)
    assert done.returncode == 2 and "Traceback" not in done.stderr


def test_a_wanted_output_comes_first(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("solve", "sepic", "--for", "Vout=24")
    assert done.stdout.splitlines()[0].startswith("D = 0.57139 gives 24 V: CCM")
    path = tmp_path / "radio.topo"
    path.write_text(BOOST.replace(", f = 100 kHz", ""), encoding="utf-8")
    without = voltsec("solve", str(path), "--for", "24", "--brief")
    assert without.returncode == 0
    first, second = without.stdout.splitlines()[:2]
    assert first == "T has no value: CCM is taken for granted."
    assert second.startswith("D = 0.50000 gives 24 V")
    told = json.loads(voltsec("solve", str(path), "--for", "24", "--json").stdout)["wanted"]
    assert told["missing"] == ["T"] and told["solutions"][0]["duty"] == pytest.approx(0.5)


def test_a_sweep_without_a_period(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "radio.topo"
    path.write_text(BOOST.replace("operate D = 0.5, f = 100 kHz\n", ""), encoding="utf-8")
    done = voltsec("sweep", str(path), "D=0.25,0.5")
    assert done.returncode == 0 and "T has no value: CCM is taken for granted" in done.stderr
    assert done.stdout.splitlines()[2].startswith("0.5,CCM,2,24,1")
    needed = voltsec("sweep", str(path), "D=0.25,0.5", "--plot", "ripple.L")
    assert needed.returncode == 2 and "values are missing for T" in needed.stderr


def test_two_legs(voltsec: Run, tmp_path: Path) -> None:
    done = voltsec("solve", TWO_LEGS, "--json")
    told = json.loads(done.stdout)
    assert [mode["label"] for mode in told["modes"]] == ["CCM, D < 1/2", "CCM, D > 1/2"]
    assert told["modes"][0]["intervals"][1]["fraction"] == "1/2 - D"
    text = Path(TWO_LEGS).read_text(encoding="utf-8").replace("from 0.5", "from phi")
    path = tmp_path / "shifted.topo"
    path.write_text(text, encoding="utf-8")
    swept = voltsec("sweep", str(path), "phi=0:1:3", "--plot", "gain", "D=0.3")
    assert swept.returncode == 0, swept.stderr
    assert [line.split(",")[-1] for line in swept.stdout.splitlines()[1:]] == ["0.3"] * 3
    outside = voltsec("sweep", str(path), "phi=0:1.5:3")
    assert outside.returncode == 2 and "lies in 0…1" in outside.stderr
    path.write_text(text.replace("from phi", "from 1.5"), encoding="utf-8")
    wrong = voltsec("solve", str(path))
    assert wrong.returncode == 2 and "[start-out-of-range]" in wrong.stderr


def test_what_is_doubted_is_said(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "radio.topo"
    path.write_text(BOOST.replace("100 uH", "47"), encoding="utf-8")
    done = voltsec("solve", str(path))
    assert done.returncode == 0 and "write 47 uH if that was meant" in done.stdout.replace("\n ", "")
    assert "47 uH" in json.loads(voltsec("solve", str(path), "--json").stdout)["warnings"][0]
    assert "write 47 uH" in voltsec("check", str(path), "Vout/Vg = 1/(1 - D)").stderr


@pytest.mark.parametrize(
    "name", ["forward", "quad_boost_lossy", "boost_then_buck", "charger_lossy", TWO_LEGS]
)
def test_a_screen_full(voltsec: Run, name: str) -> None:
    lines = voltsec("solve", name).stdout.splitlines()
    assert len(lines) <= 120 and max(map(len, lines)) <= 80
