"""What modes are called: CCM, DCM, numbered where there are several of a kind."""

from __future__ import annotations

from voltsec.tableau.interval import Sequence


def name_modes(sequences: list[Sequence]) -> list[str]:
    """CCM for sequences that end by switch edges alone, DCM for the others, numbered where several."""
    names = []
    counts = {"CCM": 0, "DCM": 0}
    for sequence in sequences:
        kind = "DCM" if sequence.unknown else "CCM"
        counts[kind] += 1
        names.append(kind if counts[kind] == 1 else f"{kind} {counts[kind]}")
    return names
