"""Where the files that travel with the package are: the grammar, the language's reference, the shelf."""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path


def shipped_folder(name: str) -> Traversable:
    """The folder ``grammar`` or ``circuits``: of the installed package, or of the source tree beside it."""
    try:
        return resources.files(f"voltsec.{name}")
    except ModuleNotFoundError:  # a source tree that is not installed
        return Path(__file__).resolve().parents[3] / name


def shipped_text(name: str) -> str:
    """The text of one file of ``grammar``; raises :class:`FileNotFoundError` where there is none."""
    return shipped_folder("grammar").joinpath(name).read_text(encoding="utf-8")
