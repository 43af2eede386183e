"""A start-up as one JSON object (see DEVELOPERS.md, "Results as JSON")."""

from __future__ import annotations

from math import isfinite
from typing import Any

import numpy as np

from voltsec.practice.startup_result import Largest, Section, Startup
from voltsec.report.machine import FORMAT, Json
from voltsec.report.startup_words import cautions, remarks
from voltsec.waveforms.ledger import Ledger


def startup_json(start: Startup, window: tuple[float, float] | None = None) -> Json:
    """``start`` as plain values; with the ledger of ``window`` (second) where it is asked for."""
    found: Json = {
        "format": FORMAT,
        "circuit": start.circuit.name,
        "from": start.start,
        "periods": len(start.time) - 1,
        "end": start.end,
        "stopped": start.stopped or None,
        "sections": [_section(section) for section in start.sections],
        "sources": [_largest(one) for one in start.sources],
        "coils": [_largest(one) for one in start.coils],
        "voltages": [_largest(one) for one in start.voltages],
        "moved": {name: {"before": old, "after": new} for name, (old, new) in start.moved.items()},
        "steady_efficiency": start.steady_efficiency,
        "ledger": None if window is None else _ledger(start.ledger(*window), window),
        "time": start.time.tolist(),
        "traces": [
            {
                "name": trace.text,
                "unit": trace.unit,
                "mean": _list(start[trace.text].mean),
                "lowest": _list(start[trace.text].low),
                "highest": _list(start[trace.text].high),
                "jumped": _list(start[trace.text].jumped),
            }
            for trace in start.traces
        ],
        "notes": list(remarks(start)),
        "cautions": list(cautions(start)),
    }
    return found


def _section(section: Section) -> Json:
    told = section.response
    rate = told.rate
    return {
        "begin": section.periods.begin,
        "end": section.periods.end,
        "steps": [
            {"symbol": s.symbol, "unit": s.unit, "before": s.before, "after": s.after} for s in section.steps
        ],
        "point": dict(section.point),
        "final": told.final,
        "before": told.before,
        "last": told.last,
        "settled": told.settled,
        "overshoot": told.overshoot,
        "undershoot": told.undershoot,
        "highest": {"value": told.highest.value, "time": told.highest.time},
        "lowest": {"value": told.lowest.value, "time": told.lowest.time},
        "missing": told.missing,
        "swing": told.swing,
        "undamped": None if rate is None else rate.undamped,
        "factor_per_period": None if rate is None else rate.factor,
    }


def _largest(one: Largest) -> Json:
    return {
        "name": one.name,
        "part": one.part,
        "value": _plain(one.value),
        "time": _plain(one.time),
        "steady_peak": one.steady,
        "jumped": one.jumped,
    }


def _ledger(ledger: Ledger, window: tuple[float, float]) -> Json:
    return {
        "from": window[0],
        "to": window[1],
        "sources": ledger.sources,
        "loads": ledger.loads,
        "lost": ledger.lost,
        "jumps": ledger.jumps,
        "stored": ledger.stored,
        "given": ledger.given,
        "taken": ledger.taken,
        "into_storage": ledger.into_storage,
        "residual": ledger.residual,
        "ratio": ledger.ratio,
    }


def _list(values: np.ndarray) -> list[Any]:
    return [_plain(value) for value in values.tolist()]


def _plain(value: float) -> float | None:
    return value if isfinite(value) else None
