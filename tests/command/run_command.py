"""A command line run as a user's, without a process of its own: to start one costs more than most answers."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence

import pytest

from voltsec.command.main import run


def run_command(
    arguments: Sequence[str],
    stdin: str = "",
    extra: Mapping[str, str] | None = None,
    cwd: str | os.PathLike[str] | None = None,
) -> subprocess.CompletedProcess[str]:
    """What ``voltsec`` prints 80 columns wide on either stream, and its exit status.

    ``extra`` adds to the environment; ``PYTHONIOENCODING`` is the terminal's.
    """
    encoding = dict(extra or {}).get("PYTHONIOENCODING", "utf-8")
    written = [io.BytesIO(), io.BytesIO()]
    out, err = (io.TextIOWrapper(stream, encoding, "replace", newline="\n") for stream in written)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "80")
        patch.delenv("FORCE_COLOR", raising=False)
        for name, value in dict(extra or {}).items():
            patch.setenv(name, value)
        if cwd is not None:
            patch.chdir(cwd)
        patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin.encode("utf-8")), "utf-8"))
        patch.setattr(sys, "stdout", out)
        patch.setattr(sys, "stderr", err)
        status = run(arguments)
        out.flush()
        err.flush()
    told = [stream.getvalue().decode(encoding) for stream in written]
    return subprocess.CompletedProcess(list(arguments), status, *told)
