"""Waveforms as one JSON object (see DEVELOPERS.md, "Results as JSON")."""

from __future__ import annotations

from math import isinf
from typing import Any

import numpy as np

from voltsec.practice.waves import Trace, Waves
from voltsec.report.cautions import cautions_at
from voltsec.report.machine import FORMAT, Json, finite
from voltsec.report.waves_words import IMPULSE_UNITS, remarks


def waves_json(waves: Waves) -> Json:
    """``waves`` as plain values, ready for :func:`voltsec.report.machine.json_text`."""
    return {
        "format": FORMAT,
        "circuit": waves.circuit.name,
        "mode": waves.mode or None,
        "point": dict(waves.point),
        "periods": waves.periods,
        "intervals": [
            {"start": start, "end": end, "conducting": list(conducting)}
            for start, end, conducting in waves.intervals
        ],
        "time": waves.time.tolist(),
        "warnings": [*remarks(waves), *cautions_at(waves.circuit, waves.numbers)],
        "traces": [_trace(trace) for trace in waves.traces],
    }


def _trace(trace: Trace) -> Json:
    measures = {
        "average": trace.average,
        "rms": trace.rms,
        "peak_to_peak": trace.peak_to_peak,
        "least": trace.least,
        "largest": trace.largest,
    }
    found: Json = {
        "name": trace.name,
        "unit": trace.unit,
        **{name: finite(value) for name, value in measures.items()},
        "unbounded": [name for name, value in measures.items() if value is not None and isinf(value)],
        "bounds": ["rms"] if trace.rms_is_bound else [],
        "formulas": dict(trace.formulas),
        "impulses": [
            {"time": one.time, "amount": finite(one.amount), "unit": IMPULSE_UNITS[trace.unit]}
            for one in trace.impulses
        ],
        "values": _list(trace.values),
    }
    if trace.open:
        found |= {"low": _list(trace.low), "high": _list(trace.high)}
    return found


def _list(values: np.ndarray) -> list[Any]:
    return [finite(value) for value in values.tolist()]
