"""The shelf of shipped circuits."""

from pathlib import Path

from tests.command.conftest import Run
from voltsec.command.netlists import first_comment, load, shipped_circuits

SHELF = Path(__file__).resolve().parents[2] / "circuits"


def test_every_file_is_listed_with_its_comment(voltsec: Run) -> None:
    done = voltsec("circuits")
    assert done.returncode == 0
    lines = dict(line.split(maxsplit=1) for line in done.stdout.splitlines())
    assert set(lines) == {path.stem for path in SHELF.glob("*.topo")}
    assert lines["sepic"].startswith("SEPIC")
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_every_shipped_circuit_says_what_it_is_and_reads() -> None:
    shelf = shipped_circuits()
    assert len(shelf) > 20
    for name, entry in shelf.items():
        assert first_comment(entry), name
        assert load(name).elements, name
