"""Losses beside conduction: what each is, the formula it is estimated by, its source, and the table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.quantity import engineering, percent
from voltsec.results.solution import Solution

HEADING = ("Part", "Beside conduction", "Formula", "Loss", "of input")


@dataclass(frozen=True)
class Kind:
    """One kind of loss."""

    words: str
    formula: str
    latex: str
    note: str
    """What is assumed."""


_OVERLAP = (
    "Turn-on and turn-off: V blocked and I conducted next to the turn, as the exact state has them without "
    "ringing, pass over in straight lines within the time"
)
SOURCE = (
    "Turning devices after Erickson, Maksimović, Fundamentals of Power Electronics, section 4.3, cores after "
    "Steinmetz, On the law of hysteresis, 1892 (both from memory); gate drive is common practice, no source"
)
KINDS = {
    "turn_on": Kind("turn-on", "t_on·V·I·f/2", r"\tfrac12 t_{on} V I f", _OVERLAP),
    "turn_off": Kind("turn-off", "t_off·V·I·f/2", r"\tfrac12 t_{off} V I f", _OVERLAP),
    "output_capacitance": Kind(
        "output capacitance",
        "C_oss·V²·f/2",
        r"\tfrac12 C_{oss} V^2 f",
        "Output capacitance: taken as constant and charged to the V that the switch blocks as it turns on",
    ),
    "gate": Kind(
        "gate drive",
        "Q_g·V_g·f",
        "Q_g V_g f",
        "Gate drive: taken from the drive's own supply, counted as drawn all the same",
    ),
    "recovery": Kind(
        "diode recovery",
        "Q_rr·V·f",
        "Q_{rr} V f",
        "Diode recovery: the whole charge is moved by the V that the diode blocks next, where its current "
        "was cut off and not where it had run dry; most of it heats the switch",
    ),
    "core": Kind(
        "core",
        "k·f^alpha·(ΔB/2)^beta·V_e",
        r"k f^{\alpha} (\Delta B/2)^{\beta} V_e",
        "Core: the fit holds for a sinusoid of half the swing of flux density, that of L·i/(N·A_e), in watt, "
        "hertz, tesla and cubic metre; the triangle of a converter loses more where D is far from 0.5",
    ),
}
"""By the last part of a result's name, ``other_losses.S.turn_on``."""


def loss_words(name: str) -> str:
    """``S, turn-on`` for ``other_losses.S.turn_on``; nothing for the name of another result."""
    group, _, rest = name.partition(".")
    part, _, key = rest.rpartition(".")
    return f"{part}, {KINDS[key].words}" if group == "other_losses" else ""


def drawn_power(solution: Solution) -> float:
    """Watt that the sources give at the operating point; the solution has numbers."""
    numbers = solution.numbers
    assert numbers is not None
    return sum(
        numbers.point[source.quantity.symbol] * max(numbers.source_currents.get(source.name) or 0.0, 0.0)
        for source in solution.circuit.sources
    )


def other_loss_rows(solution: Solution, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, ...]]:
    """The heading, then part, kind, formula, watt and share of the input power; nothing without any."""
    numbers = solution.numbers
    found = {} if numbers is None else numbers.other_losses
    if not found or numbers is None:
        return
    drawn = drawn_power(solution)

    def told(loss: float | None) -> tuple[str, str]:
        share = None if loss is None or not drawn else loss / drawn
        return engineering(loss, "W", alphabet), percent(share, alphabet)

    yield HEADING
    for name, loss in found.items():
        part, _, key = name.rpartition(".")
        yield part, KINDS[key].words, KINDS[key].formula, *told(loss)
    open_ = any(loss is None for loss in found.values())
    yield "all", "", "", *told(None if open_ else sum(loss or 0.0 for loss in found.values()))


def other_loss_notes(solution: Solution) -> list[str]:
    """What the estimates assume, with their sources; nothing without any."""
    found = () if solution.numbers is None else solution.numbers.other_losses
    kinds = dict.fromkeys(KINDS[name.rpartition(".")[2]].note for name in found)
    first = (
        "Losses beside conduction are estimates from the exact state's waveforms; they do not act back on "
        "them; the overall efficiency counts them as drawn from the input as well"
    )
    return [first, *kinds, SOURCE] if kinds else []
