"""A ratio of polynomials that follows the exact response where no averaged model is told."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from voltsec.dynamics.sampled import Link, Sampled
from voltsec.dynamics.transfer import Transfer

FIT = 0.1
"""A fitted response follows the exact one up to this share of the switching frequency."""
FITTED = 60
"""Frequencies of a fit."""
NEAR = 0.01
"""One with so little left is good enough."""
CLOSE = 0.3
"""A fitted response that is off by more than this share somewhere is none."""


def fitted_transfer(sampled: Sampled, link: Link) -> Transfer | None:
    """Poles of the period map, and the numerator that fits the exact response best up to a tenth of fs.

    None where that does not describe the response.
    """
    switching = 1.0 / float(sampled.network.point["T"][0])
    try:
        poles = sampled.poles
    except np.linalg.LinAlgError:
        return None
    poles = poles[np.abs(poles) < 2 * np.pi * switching]
    unit = 2 * np.pi * switching
    bottom = np.real(np.poly(poles / unit))
    hertz = np.geomspace(1e-5, FIT, FITTED) * switching
    wanted = sampled.at(hertz)[link.key]
    s = 1j * hertz / switching
    known = np.polyval(bottom, s) * wanted
    right = np.concatenate([np.ones(len(s)), np.zeros(len(s))])
    for degree in range(len(bottom)):  # no more zeros than are needed
        rows = s[:, None] ** np.arange(degree + 1) / known[:, None]
        table = np.concatenate([rows.real, rows.imag])
        if not np.isfinite(table).all():
            return None
        top, *_ = np.linalg.lstsq(table, right, rcond=1e-12)
        off = np.abs(rows @ top - 1).max()
        if off < NEAR:
            break
    if not off < CLOSE:
        return None
    numerator = tuple(Fraction(float(c)) / Fraction(unit) ** k for k, c in enumerate(top))
    denominator = tuple(Fraction(float(c)) / Fraction(unit) ** k for k, c in enumerate(bottom[::-1]))
    return Transfer(denominator, numerator) if link.inverse else Transfer(numerator, denominator)
