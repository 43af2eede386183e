"""What a search for sequences has found, and at which sample points it looked."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from voltsec.periodic.balance import Balance
from voltsec.periodic.fractions import Fractions
from voltsec.periodic.numeric_mode import NumericMode
from voltsec.periodic.row_mode import RowMode
from voltsec.periodic.stages import Stages
from voltsec.tableau.interval import Sequence

Point = dict[str, float]
"""A value for every symbol, SI units."""


@dataclass
class Found:
    """A sequence that holds at some of the sample points."""

    stages: Stages
    balance: Balance
    fractions: Fractions
    holds: np.ndarray
    """Mask over the sample points."""
    witness: Point
    """A sample point well inside, with the fraction variables ``#1 ...``."""
    margin: np.ndarray = field(default_factory=lambda: np.zeros(0))
    """How far inside each sample point lies (0 at an edge)."""
    shares: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    """Fractions at the sample points, intervals x points."""

    @property
    def sequence(self) -> Sequence:
        """The intervals and what conducts in them."""
        return self.balance.sequence

    @property
    def terms(self) -> int:
        """Terms of all sign conditions."""
        return sum(len(part) for condition in self.balance.sign_conditions for part in condition.ratio.parts)


@dataclass
class Search:
    """What was found for one order of the switch edges."""

    stages: Stages
    points: dict[str, np.ndarray]
    found: list[Found] = field(default_factory=list)
    open_points: list[int] = field(default_factory=list)
    """Sample points where no sequence could be verified."""
    no_state: list[int] = field(default_factory=list)
    """Sample points where the complementarity problem has no solution."""
    runaway: set[str] = field(default_factory=set)
    """Coils and capacitors that grow without limit at those points."""
    cut_off: set[str] = field(default_factory=set)
    """Coils whose current loses its path at those points."""
    numeric: list[NumericMode] = field(default_factory=list)
    """Sequences whose exact formulas are too long to write, verified from numbers."""
    numeric_holds: list[np.ndarray] = field(default_factory=list)
    """Masks of these over the sample points."""
    examples: dict[Sequence, tuple[Point, np.ndarray]] = field(default_factory=dict)
    """A point and the fractions there, for each sequence in ``numeric``."""
    rows: dict[Sequence, RowMode] = field(default_factory=dict)
    """Sequences ready to be solved in floats."""
    balances: dict[tuple[Sequence, frozenset[str]], Balance] = field(default_factory=dict)
    """Sequences solved exactly, each with the turns ratios that were taken as one."""
    shorted: bool = False
    """Switches closed together short a source in this order of the edges: nothing is looked for."""
    unfinished: bool = False
    """The computing time was spent before all sample points were looked at."""
    rejected: Counter[Sequence] = field(default_factory=Counter)
    """How often a sequence did not hold where it was met."""
    alike: frozenset[str] = frozenset()
    """Turns ratios of coils of one flux that have to be one, as the circuit puts such coils in parallel."""

    @property
    def count(self) -> int:
        """How many sample points there are."""
        return len(self.points["T"])

    @property
    def labels(self) -> np.ndarray:
        """The mode that holds at each sample point, -1 for none.

        Found modes have even numbers, numeric ones odd ones, so that a mode keeps its own when more come.
        """
        label = np.full(self.count, -1)
        found = [(2 * k, one.holds) for k, one in enumerate(self.found)]
        for number, holds in [*found, *((2 * k + 1, holds) for k, holds in enumerate(self.numeric_holds))]:
            label[holds & (label < 0)] = number
        return label

    def point(self, place: int) -> Point:
        """The values of one sample point."""
        return {name: float(values[place]) for name, values in self.points.items()}

    def listed(self, sequence: Sequence) -> bool:
        """True for a sequence that is among the modes."""
        return sequence in self.examples or any(sequence == found.sequence for found in self.found)


def numeric_mode_of(found: Found) -> NumericMode:
    """A solved sequence as one to be solved anew from its equations."""
    balance = found.balance
    return NumericMode(balance.circuit, found.stages, balance.sequence, tuple(balance.network.references))
