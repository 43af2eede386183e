"""The command line as a whole: help, version, errors, pipes."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time

import pytest

from tests.command.conftest import Run
from voltsec.command.main import COMMANDS, commands, run


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(voltsec: Run, name: str) -> None:
    done = voltsec(name, "--help")
    assert done.returncode == 0
    assert f"Example:  voltsec {name}" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_help_lists_every_command(voltsec: Run) -> None:
    done = voltsec("--help")
    assert done.returncode == 0
    for name in COMMANDS:
        assert re.search(rf"^  {name}  +\w", done.stdout, re.MULTILINE)
    assert "Example:  voltsec solve sepic" in done.stdout


def test_without_arguments_the_help_is_an_error(voltsec: Run) -> None:
    done = voltsec()
    assert (done.returncode, done.stdout) == (2, "")
    assert "Usage: voltsec" in done.stderr


def test_version(voltsec: Run) -> None:
    from importlib.metadata import version

    done = voltsec("--version")
    assert (done.returncode, done.stdout) == (0, f"voltsec {version('voltsec')}\n")


@pytest.mark.parametrize(
    "arguments", [("solv",), ("--bad",), ("solve",), ("solve", "--bad", "sepic"), ("solve", "a", "b")]
)
def test_a_wrong_command_line_is_status_2(voltsec: Run, arguments: tuple[str, ...]) -> None:
    done = voltsec(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Error: " in done.stderr
    assert "Traceback" not in done.stderr


def test_the_nearest_command_is_suggested(voltsec: Run) -> None:
    assert "did you mean 'solve'?" in voltsec("solv").stderr
    assert "there are solve" in voltsec("xyzzy").stderr


def test_a_wrong_command_line_with_json(voltsec: Run) -> None:
    done = voltsec("solve", "--json")
    assert done.returncode == 2
    assert "Missing argument" in done.stderr
    told = json.loads(done.stdout)
    assert told["format"] == 1
    assert told["errors"][0]["kind"] == "usage"


def test_a_fault_of_the_program_is_told_apart(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def break_down(*_: object, **__: object) -> None:
        raise RuntimeError("broken inside")

    monkeypatch.setattr(commands, "invoke", break_down)
    assert run(["solve", "sepic", "--json"]) == 70
    out, err = capsys.readouterr()
    assert "a fault of the program, not of the netlist" in err
    assert json.loads(out)["errors"][0] == {
        "line": None,
        "column": None,
        "kind": "internal",
        "message": "RuntimeError: broken inside",
        "elements": [],
        "hint": "",
    }


def test_a_reader_that_leaves_is_no_error() -> None:
    """``voltsec circuits | head -1`` ends quietly."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    done = subprocess.run(
        [sys.executable, "-c", "from voltsec.command.main import main; main()", "circuits"],
        stdout=write_end,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    os.close(write_end)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
def test_stopped_from_the_keyboard() -> None:
    """Waiting for standard input, an interrupt ends the program with 130 and one word."""
    process = subprocess.Popen(
        [sys.executable, "-c", "from voltsec.command.main import main; main()", "solve", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    time.sleep(2)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert (process.returncode, out, err.strip()) == (130, "", "stopped")
