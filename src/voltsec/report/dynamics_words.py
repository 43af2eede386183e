"""How responses, their poles and zeros are told in words and numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, log10, pi

from voltsec.dynamics.averaged import PROBE
from voltsec.dynamics.model import Model, Response
from voltsec.dynamics.sampled import Link
from voltsec.report.alphabet import Alphabet
from voltsec.report.quantity import engineering

CROSSOVER = 5
"""A loop crosses over below the lowest right-half-plane zero by this factor (common practice, no source)."""
HIGHEST = 100.0
"""A zero above so many times half the switching frequency is none."""

WORDS = ("Duty", "Input", "Output")
"""Words that begin a title with a capital letter for that alone."""
KINDS = {
    "duty": "Duty to output",
    "input": "Input to output",
    "zout": "Output impedance",
    "zin": "Input impedance",
}


def title(link: Link, model: Model, output: str = "") -> str:
    """``Duty to output``, with the duty's name where there are several."""
    words = KINDS[link.kind]
    if output:
        words = words.replace("output", output)
    if link.kind == "duty" and len(model.circuit.timing_symbols) > 1:
        words = words.replace("Duty", link.control)
    return words


def decibels(value: float, unit: str) -> str:
    """A magnitude in decibels; of a dimension it is over one unit of it."""
    if value == 0 or value in (inf, -inf):
        return ""
    shown = {"ohm": "dBΩ", "V": "dBV", "A": "dBA", "1": "dB"}.get(unit, "dB")
    return f"{20 * log10(abs(value)):.1f} {shown}".replace("-", "−")


def in_sentence(name: str) -> str:
    """A title within a sentence: ``duty to output``; a duty's name keeps its letters."""
    return name[0].lower() + name[1:] if name.split()[0] in WORDS else name


def number_rows(response: Response, model: Model, alphabet: Alphabet) -> Iterator[tuple[str, str]]:
    """Label and text: the value at 0 Hz, zeros, poles; nothing without numbers.

    A label that would repeat is empty.
    """
    transfer = response.transfer
    if transfer is None or model.frequency is None:
        return
    unit = response.link.unit if response.link.unit != "A/V" else "A"
    value = transfer.dc_gain
    aside = decibels(value, response.link.unit)
    shown = engineering(value, unit, alphabet)
    yield "at 0 Hz", shown + (f" ({alphabet.plain(aside)})" if aside else "")
    for label, roots in (("zero", transfer.zeros), ("pole", transfer.poles)):
        lines = list(root_lines(roots, alphabet, HIGHEST * model.frequency / 2))
        for number, line in enumerate(lines):
            name = label + ("s" if len(lines) > 1 or "pair" in line.text else "")
            yield name if number == 0 else "", line.text


@dataclass(frozen=True)
class RootLine:
    """A zero or pole, or a pair: ``3.6 kHz, Q 4.1``."""

    text: str
    right: bool
    hertz: float


def root_lines(roots: tuple[complex, ...], alphabet: Alphabet, most: float = inf) -> Iterator[RootLine]:
    """Roots (rad/s) told in hertz, pairs once; those above ``most`` hertz are left out."""
    for root in roots:
        hertz = abs(root) / (2 * pi)
        if root.imag < 0 or hertz > most:
            continue
        right = root.real > 0
        side = ", right half-plane" if right else ""
        if root == 0:
            yield RootLine("at zero", False, 0.0)
        elif root.imag:
            damped = abs(root.real) > 1e-9 * abs(root)
            quality = f"Q {abs(root) / (2 * abs(root.real)):.4g}" if damped else "Q unbounded: undamped"
            yield RootLine(f"pair at {engineering(hertz, 'Hz', alphabet)}, {quality}{side}", right, hertz)
        else:
            yield RootLine(f"{engineering(hertz, 'Hz', alphabet)}{side}", right, hertz)


def lowest_right_zero(response: Response) -> float | None:
    """Hertz; None without a zero in the right half-plane."""
    transfer = response.transfer
    if transfer is None:
        return None
    found = [abs(zero) / (2 * pi) for zero in transfer.zeros if zero.real > 1e-9 * abs(zero)]
    return min(found, default=None)


def crossover_words(hertz: float, switching: float, alphabet: Alphabet) -> str | None:
    """What a right-half-plane zero limits; None where the switching frequency limits more."""
    if hertz > switching / 2:
        return None
    limit = engineering(hertz / CROSSOVER, "Hz", alphabet, digits=2)
    return (
        f"its lowest right-half-plane zero keeps a loop's crossover below about {limit}, a fifth of it "
        "(common practice)"
    )


def crossovers(model: Model, alphabet: Alphabet) -> Iterator[str]:
    """Sentences: what the right-half-plane zeros of the responses to duties limit."""
    for response in model.responses:
        lowest = lowest_right_zero(response)
        if response.link.kind != "duty" or lowest is None or model.frequency is None:
            continue
        words = crossover_words(lowest, model.frequency, alphabet)
        if words is not None:
            yield f"{title(response.link, model)}: {words}."


def control_name(link: Link) -> str:
    """The control as it is called in data: the probe is a current into the output."""
    return "io" if link.control == PROBE else link.control


def reduced_sentences(model: Model) -> Iterator[str]:
    """What a reduced model neglects, and how large the shares in it are that no formula tells."""
    if not model.reduced:
        return
    yield (
        "Reduced order: coil currents start from rest every period and are no states; good to about a tenth "
        "of the switching frequency."
    )
    for name, share in model.shares.items():
        if name not in model.definitions:
            yield f"At the operating point {name} is {share:.4g} of the period."
