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
    assert told["numbers"]["output_voltage"] == pytest.approx(12.0)


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
