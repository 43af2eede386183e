"""A start of 5000 periods: all of it, against following each period by its events alone."""

from __future__ import annotations

import time

import numpy as np
import pytest

import voltsec
from tests.waveforms.following import by_events, ready
from voltsec.practice.startup import startup
from voltsec.waveforms.transient import transient

PERIODS = 5000
ONE_BY_ONE = 100
TARGET = 2.0
"""Seconds of the processor, which the project set itself; printed, not held."""
STAGES = ("buck", "boost_lossy", "sepic_lossy", "sepic", "boost_mult1_lossy", "modified_sepic")


@pytest.mark.parametrize("name", STAGES)
def test_five_thousand_periods(capsys, name: str) -> None:
    circuit = voltsec.load(name)
    network, switching = ready(circuit)
    by_events(circuit, 2)
    began = time.process_time()
    by_events(circuit, ONE_BY_ONE)
    alone = (time.process_time() - began) / ONE_BY_ONE * PERIODS
    began = time.process_time()
    runs = list(transient(network, switching, np.zeros(network.count), PERIODS))
    together = time.process_time() - began
    began = time.process_time()
    found = startup(circuit, PERIODS)
    whole = time.process_time() - began
    assert sum(len(run.start) for run in runs) == PERIODS
    assert found.responses[0].final is not None
    with capsys.disabled():
        print(
            f"\n{name:<20} {PERIODS} periods {together:6.2f} s, with all that is told {whole:6.2f} s "
            f"(target {TARGET:g} s); one by one {alone:6.1f} s: ratio {alone / together:.0f}"
        )
    assert alone > 2 * together
