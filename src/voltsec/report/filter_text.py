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

    def number(value: float, unit: str) -> str:
        return engineering(value, unit, alphabet)

    def prose(text: str) -> list[str]:
        return wrap(alphabet.plain(text), width, initial_indent="  ", subsequent_indent="  ")

    filter_ = found.found
    yield from prose(f"Filter: {', '.join(filter_.names)}, feeding the stage at node {filter_.node}")
    margin, hertz = found.worst
    top = int(np.argmax(np.abs(found.source)))
    rows = [
        ("Filter's impedance, highest", np.abs(found.source)[top], found.hertz[top]),
        ("Stage's, duty held, lowest", np.abs(found.held).min(), found.hertz[np.abs(found.held).argmin()]),
        (
            "Stage's, output held, lowest",
            np.abs(found.regulated).min(),
            found.hertz[np.abs(found.regulated).argmin()],
        ),
    ]
    for label, value, at in rows:
        yield f"  {label:<{LABEL}}{number(float(value), 'ohm')} at {number(float(at), 'Hz')}"
    told = f"{margin:.1f} dB".replace("-", "−") if np.isfinite(margin) else "none, nothing damps the filter,"
    yield alphabet.plain(f"  {'Least margin':<{LABEL}}{told} at {number(hertz, 'Hz')}")
    if margin >= COMFORTABLE:
        yield from prose(
            "Yes: the filter's impedance stays well below the stage's; it leaves a loop as it is."
        )
    elif margin > 0:
        yield from prose(
            f"Just so: the impedances do not cross, but less than {COMFORTABLE:.0f} dB lie between them "
            "(common practice): the filter changes the loop."
        )
    else:
        yield from prose(
            "No: the filter's impedance exceeds the stage's; a loop that holds the output may oscillate "
            "with it."
        )
    if found.damping is not None:
        one = found.damping
        yield from prose(
            f"Damping: {number(one.resistance, 'ohm')} in series with {number(one.capacitance, 'F')} across "
            f"{one.across} leaves {one.margin:.1f} dB."
        )
