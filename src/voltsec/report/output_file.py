"""Writing a result to a file: all of it or nothing."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path


class CannotWrite(ValueError):
    """A file cannot be written as asked, and why."""


def ending_of(path: str | os.PathLike[str], endings: Sequence[str]) -> str:
    """The ending of ``path``, one of ``endings``, in small letters.

    Raises :class:`CannotWrite` before any work is done where the file has another ending or could not be
    written.
    """
    target = Path(path)
    ending = target.suffix.lower()
    if ending not in endings:
        *most, last = endings
        known = f"{', '.join(most)} or {last}" if most else last
        raise CannotWrite(f"-o takes a file that ends in {known}, not {target}")
    if target.is_dir():
        raise CannotWrite(f"{target} cannot be written: it is a directory")
    if not target.absolute().parent.is_dir():
        raise CannotWrite(f"{target} cannot be written: there is no directory {target.parent}")
    present = [target.absolute().parent, *([target] if target.exists() else [])]
    if not all(os.access(one, os.W_OK) for one in present):
        raise CannotWrite(f"{target} cannot be written: permission denied")
    return ending


@contextmanager
def draft_of(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A temporary file beside ``path`` that takes its place when the block ends well.

    Nothing is left behind when it does not, and a file that stood at ``path`` stays as it was.
    Raises OSError, with ``path`` as its file name, where the file cannot be written.
    """
    target = Path(path)
    if target.is_dir():
        raise IsADirectoryError(21, "this is a directory", str(target))
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{target.name[:100]}.", suffix=target.suffix, dir=target.parent or Path()
        )
    except OSError as problem:  # told with the name the user gave
        raise OSError(problem.errno, problem.strerror, str(target)) from None
    os.close(handle)
    draft = Path(name)
    try:
        yield draft
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_mask()
        draft.chmod(mode)
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)


def _mask() -> int:
    """The process's file mode mask (which can only be read by setting it)."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
