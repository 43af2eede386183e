"""An input filter against its stage, in words."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

import numpy as np

from voltsec.dynamics.input_filter import COMFORTABLE, Interaction
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.quantity import engineering

LABEL = 34


def filter_lines(found: Interaction, width: int = 80, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """All lines but a heading."""

    def prose(text: str) -> list[str]:
        return wrap(text, width, initial_indent="  ", subsequent_indent="  ")

    first, *others = filter_sentences(found, alphabet)
    yield from prose(first.rstrip("."))
    for label, text in filter_rows(found, alphabet):
        yield f"  {alphabet.plain(label):<{LABEL}}{text}"
    for sentence in others:
        yield from prose(sentence)


def filter_rows(found: Interaction, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, str]]:
    """Label and value of the impedances that meet, and of the least margin."""

    def at(value: float, hertz: float) -> str:
        return f"{engineering(value, 'ohm', alphabet)} at {engineering(hertz, 'Hz', alphabet)}"

    rows = [
        ("Filter's impedance, highest", found.source, np.argmax),
        ("Stage's, duty held, lowest", found.held, np.argmin),
        ("Stage's, output held, lowest", found.regulated, np.argmin),
    ]
    for label, values, end in rows:
        place = int(end(np.abs(values)))
        yield label, at(float(np.abs(values)[place]), float(found.hertz[place]))
    margin, hertz = found.worst
    told = f"{margin:.1f} dB".replace("-", "−") if np.isfinite(margin) else "none, nothing damps the filter,"
    yield "Least margin", alphabet.plain(f"{told} at {engineering(hertz, 'Hz', alphabet)}")


def filter_sentences(found: Interaction, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """What the filter is, whether the criterion is met, and what would damp the filter."""
    filter_, (margin, _) = found.found, found.worst
    told = [f"Filter: {', '.join(filter_.names)}, feeding the stage at node {filter_.node}."]
    if margin >= COMFORTABLE:
        told.append("Yes: the filter's impedance stays well below the stage's; it leaves a loop as it is.")
    elif margin > 0:
        told.append(
            f"Just so: the impedances do not cross, but less than {COMFORTABLE:.0f} dB lie between them "
            "(common practice): the filter changes the loop."
        )
    else:
        told.append(
            "No: the filter's impedance exceeds the stage's; a loop that holds the output may oscillate "
            "with it."
        )
    if found.damping is not None:
        one = found.damping
        told.append(
            f"Damping: {engineering(one.resistance, 'ohm', alphabet)} in series with "
            f"{engineering(one.capacitance, 'F', alphabet)} across {one.across} leaves {one.margin:.1f} dB."
        )
    yield from map(alphabet.plain, told)
