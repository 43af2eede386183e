"""Cases of a capacitor's charge: by definition a current without a ramp has one sign in its interval."""

from __future__ import annotations

import numpy as np
import pytest

from voltsec.formulas.charge import Stretch, _ends
from voltsec.formulas.choices import Choices


class _Open:
    """No sign is proved; at the sample points the currents have the values given."""

    def __init__(self, *values: list[float]) -> None:
        self.values = np.array(values)
        self.long = True

    def sign(self, total: object) -> int | None:
        return None

    def numeric(self, total: tuple[tuple[int, int], ...]) -> np.ndarray:
        return sum(factor * self.values[place] for place, factor in total)


@pytest.mark.parametrize("first", [0.0, np.nan, 1.0])
def test_both_ends_of_a_current_without_a_ramp_are_one(first: float) -> None:
    """Also where it is zero, or no number, at a sample point."""
    stretch = Stretch((None, None), mean=0, ramp=None)  # type: ignore[arg-type]
    choices: Choices = _Open([first, -1.0, 1.0])  # type: ignore[assignment]
    ends = _ends([stretch], choices)
    assert ends is not None
    assert len(ends.open) == 1
    assert ends.at(0, (1,)) == ends.at(1, (1,))
