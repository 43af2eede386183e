"""Where netlists come from: a file, standard input, or a circuit shipped with the package."""

from __future__ import annotations

import os
import sys
from importlib.resources.abc import Traversable
from pathlib import Path

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.circuit.shipped_files import shipped_folder

STANDARD_INPUT = "-"
SUFFIX = ".topo"


def load(source: str | os.PathLike[str]) -> Circuit:
    """The circuit in the file ``source``, or the shipped one of that name (``"sepic"``).

    A file that exists comes first; ``"-"`` is standard input.  Raises
    :class:`~voltsec.circuit.fault.CircuitError` with every fault that was found.
    """
    from voltsec.language.reader import LARGEST_FILE, read_bytes, read_file

    name = os.fspath(source)
    if name == STANDARD_INPUT:
        return read_bytes(sys.stdin.buffer.read(4 * LARGEST_FILE + 1), "<stdin>")
    shipped = shipped_circuits() if not os.path.isfile(name) else {}
    if os.path.exists(name) and name not in shipped:
        return read_file(name)
    if name in shipped:
        return read_bytes(shipped[name].read_bytes(), f"{name}{SUFFIX}")
    raise CircuitError((_unknown(name, list(shipped)),), name)


def load_aloud(source: str) -> Circuit:
    """The circuit as :func:`load`'s; what was hardly meant so is said on standard error."""
    circuit = load(source)
    for doubt in circuit.doubts:
        print(f"{circuit.file}: warning: {doubt}", file=sys.stderr)
    return circuit


def shipped_circuits() -> dict[str, Traversable]:
    """The circuits that come with the package: name -> netlist file, in alphabetical order."""
    entries = sorted(shipped_folder("circuits").iterdir(), key=lambda entry: entry.name.removesuffix(SUFFIX))
    return {entry.name.removesuffix(SUFFIX): entry for entry in entries if entry.name.endswith(SUFFIX)}


def first_comment(entry: Traversable) -> str:
    """The comment on a netlist's first line, which says what the circuit is."""
    with entry.open(encoding="utf-8") as lines:
        line = lines.readline().strip()
    return line.removeprefix("#").strip() if line.startswith("#") else ""


def _unknown(source: str, names: list[str]) -> Fault:
    """The fault of a name that is neither a file nor on the shelf, with the nearest one as a hint."""
    from voltsec.circuit.spelling import did_you_mean

    path = Path(source)
    stem = path.name.removesuffix(SUFFIX)
    if stem in names:
        hint = f"the shipped circuit is called {stem}"
    else:
        hint = did_you_mean(stem, names, 3) or "voltsec circuits lists the shipped ones"
    return Fault("cannot-read", "there is no such file and no shipped circuit of that name", hint=hint)
