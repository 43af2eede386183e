"""Fixtures of the report tests."""

import pytest

from tests.report.samples import sepic_solution
from voltsec.results.solution import Solution


@pytest.fixture
def solution() -> Solution:
    """The hand-written answer of a SEPIC."""
    return sepic_solution()
