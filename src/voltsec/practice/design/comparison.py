"""Stages side by side for one task: each sized for the same ripples, built of the same parts."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from pathlib import PurePath

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.spelling import hint_among
from voltsec.practice.axes import read_value
from voltsec.practice.design.equipped import SameParts, ideal
from voltsec.practice.design.judged import CRITERIA, measure
from voltsec.practice.design.judging import Judged, judge
from voltsec.practice.design.specification import (
    OUT,
    BadSpecification,
    Limit,
    read_specification,
)
from voltsec.practice.sweep import Progress

COIL_RIPPLE = Limit(0.3, True)
CAPACITOR_RIPPLE = Limit(0.05, True)
OUTPUT_RIPPLE = Limit(0.01, True)
"""Ripples every stage is sized for unless told (common practice, no source)."""
_RIPPLE = re.compile(r"ripple\(\s*(\w+)\s*\)\s*=\s*(.+)")


@dataclass(frozen=True)
class Comparison:
    """Stages side by side; those that can do the job first, the best by the criterion first of all."""

    wanted: str
    """The specification as written; empty for structure and formulas alone."""
    criterion: str
    judged: tuple[Judged, ...]
    parts: SameParts
    ripples: dict[str, Limit]
    """``coils``, ``capacitors``, ``out``: what every stage is sized for."""

    def __repr__(self) -> str:
        return f"<comparison of {', '.join(one.name for one in self.judged)} for {self.wanted or 'any task'}>"

    def _repr_html_(self) -> str:
        from voltsec.report.comparison_text import comparison_lines  # only a notebook asks for it
        from voltsec.report.notebook import preformatted

        return preformatted(comparison_lines(self))

    @property
    def able(self) -> list[Judged]:
        """Those that can do the job."""
        return [one for one in self.judged if not one.why_not]

    @property
    def others(self) -> list[Judged]:
        """Those that cannot."""
        return [one for one in self.judged if one.why_not]

    def __getitem__(self, name: str) -> Judged:
        """The stage of that name; KeyError where there is none."""
        return {one.name: one for one in self.judged}[name]


def compare(
    circuits: Sequence[Circuit | str] | Mapping[str, Circuit],
    wanted: str = "",
    by: str = "",
    parts: SameParts | None = None,
    ripples: Mapping[str, Limit] | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare circuits, a list or by name, for a task such as ``"Vin=8:16, Vout=12, Iout=0.5:2, f=100k"``.

    ``by`` is one of :data:`~voltsec.practice.design.judged.CRITERIA`; the best then stands first.  Without
    ``wanted`` formulas and structure are told.  Raises :class:`BadSpecification`.
    """
    if by and by not in CRITERIA:
        raise BadSpecification(f"there is no criterion {by!r}; {hint_among(by, CRITERIA)}")
    if by and not wanted and by not in ("part_count", "order", "right_zeros"):
        raise BadSpecification(
            f"{by} needs a task: say what for, as in Vin=8:16, Vout=12, Iout=0.5:2, f=100k"
        )
    same = parts or SameParts()
    limits = {"coils": COIL_RIPPLE, "capacitors": CAPACITOR_RIPPLE, OUT: OUTPUT_RIPPLE, **(ripples or {})}
    named = _named(circuits)
    if not named:
        raise BadSpecification("no circuit is named to be compared")
    task, own = read_task(wanted)
    limits |= own
    _readable(named, task)
    judged = []
    for place, (name, circuit) in enumerate(named.items()):
        if progress is not None:
            progress(place, len(named))
        judged.append(judge(name, circuit, task, same, limits))
    return Comparison(wanted, by, tuple(_ordered(judged, by)), same, limits)


def read_task(wanted: str) -> tuple[str, dict[str, Limit]]:
    """What is wanted of every stage, and the ripples of ``ripple(coils)=30%``, ``capacitors`` and ``out``."""
    limits: dict[str, Limit] = {}
    rest = []
    for piece in re.split(r"[,;](?![^(]*\))", wanted):
        found = _RIPPLE.fullmatch(piece.strip())
        if found is None:
            rest.append(piece)
            continue
        word, value = found[1], found[2]
        if word not in ("coils", "capacitors", OUT):
            raise BadSpecification(
                f"ripple({word}): every stage has parts of its own; say ripple(coils), ripple(capacitors) "
                "or ripple(out)"
            )
        if word in limits:
            raise BadSpecification(f"ripple({word}) is given twice")
        relative = value.endswith("%")
        amount = read_value(f"ripple({word})", value, "1" if relative else "A" if word == "coils" else "V")
        if amount <= 0:
            raise BadSpecification(f"ripple({word}) must be above zero")
        limits[word] = Limit(amount, relative)
    return ",".join(rest), limits


def _readable(named: Mapping[str, Circuit], task: str) -> None:
    """Raise what is wrong with the specification where it fits none of the circuits."""
    problems = []
    for circuit in named.values():
        try:
            if task:
                read_specification(task, ideal(circuit))
            return
        except BadSpecification as problem:
            problems.append(problem)
    raise problems[0]


def _named(circuits: Sequence[Circuit | str] | Mapping[str, Circuit]) -> dict[str, Circuit]:
    if isinstance(circuits, Mapping):
        return dict(circuits)
    found: dict[str, Circuit] = {}
    for one in circuits:
        if isinstance(one, str):
            raise BadSpecification(f"{one!r} is a name; load it first, as in voltsec.load({one!r})")
        stem = PurePath(one.file).stem.strip("<>") or "stage"
        name, count = stem, 1
        while name in found:
            count += 1
            name = f"{stem} {count}"
        found[name] = one
    return found


def _ordered(judged: list[Judged], by: str) -> list[Judged]:
    if not by:
        return sorted(judged, key=lambda one: bool(one.why_not))
    sign = 1.0 if measure(by).best == "least" else -1.0

    def key(one: Judged) -> tuple[bool, float]:
        value = one.values.get(by)
        return bool(one.why_not), sign * value if isinstance(value, int | float) else inf

    return sorted(judged, key=key)
