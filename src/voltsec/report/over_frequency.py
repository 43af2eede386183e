"""What a report shows over frequency: the small-signal model, its curves, an input filter against it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from voltsec.circuit.fault import CircuitError
from voltsec.dynamics.chosen_mode import NotTold
from voltsec.dynamics.input_filter import Interaction
from voltsec.dynamics.model import Model, Response
from voltsec.dynamics.validity import exactly_zero
from voltsec.practice.asked import BadValues
from voltsec.practice.dynamics import told_of
from voltsec.report.dynamics_words import reduced_sentences
from voltsec.report.outline import shown_mode
from voltsec.results.solution import Solution

CURVES = (
    (("duty",), "Duty to output"),
    (("input",), "Input to output"),
    (("zout", "zin"), "Output and input impedance"),
)
"""Responses that share a figure, and what it is called."""


@dataclass(frozen=True)
class OverFrequency:
    """The model of the mode at the operating point, or of the usual mode where there is none."""

    model: Model
    filter_: Interaction | None

    @property
    def lead(self) -> str:
        """What is told, in a sentence or two."""
        model = self.model
        told = [f"Small changes of the output over those of a control, in {shown_mode(model.mode)}."]
        told += reduced_sentences(model)
        if model.sampled is not None:
            told.append(
                "In the exact response nothing is averaged; the duty is sampled at the edge it moves."
            )
        return " ".join(told)

    @property
    def figures(self) -> list[tuple[tuple[str, ...], str]]:
        """Kinds of responses of each figure, and its name; none without an operating point."""
        if self.model.point is None:
            return []
        there = {
            one.link.kind
            for one in self.model.responses
            if (one.averaged is not None or self.model.sampled is not None) and not self._none(one)
        }
        return [(kinds, name) for kinds, name in CURVES if there & set(kinds)]

    def _none(self, response: Response) -> bool:
        """True for a response that is zero: there is no curve."""
        if response.averaged is None or not response.averaged.zero:
            return False
        return self.model.sampled is None or exactly_zero(self.model.sampled, response.link.key)

    @property
    def notes(self) -> Iterator[str]:
        """Sentences."""
        for note in self.model.notes:
            yield f"{note[0].upper()}{note[1:]}."


def over_frequency(solution: Solution) -> OverFrequency | None:
    """The model; None where there are no modes, or it could not be told."""
    if not solution.modes or not solution.circuit.timing_symbols:
        return None
    try:
        told = told_of(solution, {})
        return OverFrequency(told.model, told.interaction)
    except (NotTold, CircuitError, BadValues):
        return None
