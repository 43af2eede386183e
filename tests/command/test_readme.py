"""The README is kept true."""

import doctest
import re

import pytest

from tests.command.readme import README, ROOT, output_of, shown

TEXT = README.read_text(encoding="utf-8")


@pytest.mark.parametrize(("arguments", "output"), shown(), ids=[arguments for arguments, _ in shown()])
def test_the_outputs_shown_are_those_of_now(arguments: str, output: str) -> None:
    now = output_of(arguments)
    assert now == output, "python -m tests.command.readme --write brings the README up to date"


def test_the_netlist_shown_is_the_shipped_one() -> None:
    assert (ROOT / "circuits" / "sepic.topo").read_text(encoding="utf-8").strip() in TEXT


def test_the_python_shown_runs() -> None:
    block = re.search(r"```python\n(.*?)```", TEXT, re.DOTALL)
    assert block is not None
    test = doctest.DocTestParser().get_doctest(block[1], {}, "README", str(README), 0)
    runner = doctest.DocTestRunner(verbose=False)
    runner.run(test)
    assert runner.failures == 0
    assert runner.tries > 4


def test_the_package_docstring_runs() -> None:
    import voltsec

    assert doctest.testmod(voltsec).failed == 0


def test_two_commands_do_all_the_set_up() -> None:
    commands = re.findall(r"^python3 -m venv .*$", TEXT, re.MULTILINE)
    assert len(commands) == 2
    assert commands[0].endswith("voltsec solve sepic")
    assert commands[1].endswith("-m pytest -n auto")


def test_every_command_is_told() -> None:
    from voltsec.command.main import COMMANDS

    for name in COMMANDS:
        assert f"`voltsec {name}" in TEXT or f"$ voltsec {name}" in TEXT, name


def test_it_is_read_in_one_sitting() -> None:
    assert TEXT.count("\n") <= 200
