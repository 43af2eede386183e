"""What the README shows, and what the program says now.

``python -m tests.command.readme --write`` brings the README up to date.
"""

from __future__ import annotations

import re
import shlex
import sys
from functools import cache
from pathlib import Path

from .run_command import run_command

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
CONSOLE = re.compile(r"```console\n\$ voltsec ([^\n]*)\n(.*?)```", re.DOTALL)
CUT = re.compile(r"(.*) \| (head|tail) -n (\d+)")


def output_of(shown_command: str) -> str:
    """What ``voltsec`` prints on both streams, 80 columns wide, seen from the project's top level.

    ``| head -n 9`` and ``| tail -n 9``, one after the other, are understood.
    """
    match = CUT.fullmatch(shown_command)
    if match is None:
        return _whole_output(shown_command)
    lines = output_of(match[1]).splitlines(keepends=True)
    count = int(match[3])
    return "".join(lines[:count] if match[2] == "head" else lines[-count:])


@cache
def _whole_output(arguments: str) -> str:
    done = run_command(shlex.split(arguments), cwd=ROOT)
    return done.stdout + done.stderr


def shown() -> list[tuple[str, str]]:
    """Arguments and output of every console block."""
    return [(match[1], match[2]) for match in CONSOLE.finditer(README.read_text(encoding="utf-8"))]


def updated(text: str) -> str:
    """The README with the outputs of now."""
    return CONSOLE.sub(lambda match: f"```console\n$ voltsec {match[1]}\n{output_of(match[1])}```", text)


if __name__ == "__main__":
    fresh = updated(README.read_text(encoding="utf-8"))
    if "--write" in sys.argv[1:]:
        README.write_text(fresh, encoding="utf-8")
    else:
        print(fresh)
