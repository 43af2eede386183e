"""A response with numbers: a ratio of polynomials in s, its zeros and poles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import lcm, pi
from typing import Any

import numpy as np

REAL = 1e-9
"""A root with less imaginary part than this share of it is real."""


@dataclass(frozen=True)
class Transfer:
    """``numerator``/``denominator``: exact coefficients of the powers of s, lowest first, SI units."""

    numerator: tuple[Fraction, ...]
    denominator: tuple[Fraction, ...]

    @cached_property
    def zeros(self) -> tuple[complex, ...]:
        """Zeros, rad/s, the slowest first."""
        return roots(self.numerator)

    @cached_property
    def poles(self) -> tuple[complex, ...]:
        """Poles, rad/s, the slowest first."""
        return roots(self.denominator)

    @cached_property
    def coefficients(self) -> tuple[np.ndarray, np.ndarray]:
        """Both polynomials in floats, highest power first, the denominator's lowest coefficient one."""
        scale = next((c for c in self.denominator if c), Fraction(1))
        top, bottom = (
            np.array([float(c / scale) for c in reversed(part)] or [0.0])
            for part in (self.numerator, self.denominator)
        )
        return top, bottom

    @property
    def zero(self) -> bool:
        """True for a response that is zero at all frequencies."""
        return not any(self.numerator)

    @property
    def dc_gain(self) -> float:
        """The response at s = 0; infinite where that is a pole."""
        top, bottom = (part[0] if part else Fraction(0) for part in (self.numerator, self.denominator))
        return float(top / bottom) if bottom else (np.inf if top else np.nan)

    def at(self, hertz: np.ndarray) -> np.ndarray:
        """The response at frequencies in hertz."""
        s = 2j * pi * np.asarray(hertz, float)
        top, bottom = self.coefficients
        with np.errstate(all="ignore"):
            return np.polyval(top, s) / np.polyval(bottom, s)

    def scipy(self) -> Any:
        """A ``scipy.signal.TransferFunction``."""
        from scipy.signal import TransferFunction

        return TransferFunction(*self._stripped())

    def control(self) -> Any:
        """A ``control.TransferFunction``; ImportError where python-control is not installed."""
        from control import TransferFunction

        return TransferFunction(*self._stripped())

    def _stripped(self) -> tuple[np.ndarray, np.ndarray]:
        top, bottom = self.coefficients
        return np.trim_zeros(top, "f") if top.any() else np.zeros(1), np.trim_zeros(bottom, "f")


def roots(coefficients: Sequence[Fraction]) -> tuple[complex, ...]:
    """Roots of a polynomial with exact coefficients, lowest first: certain to the last digit."""
    import flint

    whole = lcm(*(c.denominator for c in coefficients)) if coefficients else 1
    polynomial = flint.fmpz_poly([int(c * whole) for c in coefficients])
    if polynomial.degree() < 1:
        return ()
    found: list[complex] = []
    pairs: list[Any] = list(polynomial.complex_roots())
    for root, times in pairs:
        value = complex(float(root.real.mid()), float(root.imag.mid()))
        if abs(value.imag) < REAL * abs(value):
            value = complex(value.real, 0.0)
        found += [value] * int(times)
    return tuple(sorted(found, key=lambda root: (abs(root), root.imag)))
