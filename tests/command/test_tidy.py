"""``voltsec tidy`` from the outside."""

from pathlib import Path

from tests.command.conftest import Run

UNTIDY = """source Vg:in->gnd=12V
inductor   L : in->a=100uH
switch S:a->gnd
diode D1:a->out
load R:out->gnd
"""


def test_the_result_is_stable(voltsec: Run) -> None:
    once = voltsec("tidy", "-", stdin=UNTIDY)
    assert (once.returncode, once.stderr) == (0, "")
    assert once.stdout != UNTIDY
    assert voltsec("tidy", "-", stdin=once.stdout).stdout == once.stdout


def test_check_and_in_place(voltsec: Run, tmp_path: Path) -> None:
    path = tmp_path / "stage.topo"
    path.write_text(UNTIDY, encoding="utf-8")
    path.chmod(0o640)
    checked = voltsec("tidy", str(path), "--check")
    assert (checked.returncode, checked.stdout) == (1, "")
    assert "would change" in checked.stderr
    assert path.read_text(encoding="utf-8") == UNTIDY
    written = voltsec("tidy", str(path), "--in-place")
    assert (written.returncode, written.stdout) == (0, "")
    assert path.read_text(encoding="utf-8") == voltsec("tidy", "-", stdin=UNTIDY).stdout
    assert path.stat().st_mode & 0o777 == 0o640
    assert [entry.name for entry in tmp_path.iterdir()] == ["stage.topo"]
    assert voltsec("tidy", str(path), "--check").returncode == 0


def test_in_place_needs_a_file(voltsec: Run) -> None:
    done = voltsec("tidy", "-", "--in-place", stdin=UNTIDY)
    assert done.returncode == 2
    assert "needs a file" in done.stderr


def test_a_bad_netlist(voltsec: Run) -> None:
    done = voltsec("tidy", "-", stdin="sorce Vg : in -> gnd\n")
    assert (done.returncode, done.stdout) == (2, "")
    assert "source" in done.stderr


def test_a_shipped_circuit_stays_itself(voltsec: Run) -> None:
    from voltsec.command.netlists import load
    from voltsec.language.reader import read

    for name in ("sepic", "forward", "boost_then_buck", "sepic_lossy"):
        assert read(voltsec("tidy", name).stdout) == load(name)
