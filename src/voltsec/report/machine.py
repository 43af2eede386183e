"""The answer as one JSON object, in the form a program reads back (see DEVELOPERS.md, "Results as JSON").

Every expression is a string that reads back (:mod:`voltsec.report.read_back`), given the names under
``symbols`` as plain symbols in ``locals``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from math import isfinite
from typing import Any

from voltsec.circuit.circuit import Circuit
from voltsec.report.losses import losses_json
from voltsec.report.notes import notes
from voltsec.report.read_back import Writer, symbol_units
from voltsec.report.rounding import cleaned
from voltsec.results.solution import Mode, ModeInterval, Numbers, Solution, Stress

FORMAT = 1
STRESS_KEYS = ("voltage_peak", "current_average", "current_peak", "current_rms")
EXACT_KEYS = ("output_voltage", "efficiency", "inductor_currents", "capacitor_voltages")
"""Averages that ``exact`` holds."""

Json = dict[str, Any]


def as_json(solution: Solution) -> Json:
    """``solution`` as plain values, ready for :func:`json.dumps`."""
    circuit = solution.circuit
    output = circuit.output
    write = Writer(symbol_units(solution))
    beyond = losses_json(solution)
    numbers = None
    if solution.numbers is not None:
        told = cleaned(solution.numbers, circuit)
        numbers = _numbers(told, circuit)
        numbers["exact"] = {key: numbers[key] for key in EXACT_KEYS}
        numbers["formulas"] = None if told.formulas is None else _numbers(told.formulas, circuit)
        numbers["bounds"] = sorted(told.bounds)
        numbers["unbounded"] = sorted(told.unbounded)
    return {
        "format": FORMAT,
        "circuit": circuit.name,
        "input": circuit.input.name,
        "output": {"element": output.element, "from": output.start, "to": output.end},
        "duty_symbols": list(circuit.duty_symbols),
        "phase_symbols": list(circuit.phase_symbols),
        "symbols": symbol_units(solution),
        "modes": [_mode(mode, write) | beyond.get(mode.name, {}) for mode in solution.modes],
        "undetermined": list(solution.undetermined),
        "warnings": list(notes(solution)),
        "numbers": numbers,
    }


def json_text(value: Json) -> str:
    """``value`` as the text that goes out (strict JSON, never NaN or Infinity)."""
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)


def _mode(mode: Mode, write: Writer) -> Json:
    condition: str | list[str] | None = None
    if mode.condition:
        polynomials = [write.text(polynomial) for polynomial in mode.condition]
        condition = polynomials[0] if len(polynomials) == 1 else polynomials
    return {
        "name": mode.name,
        "label": mode.label,
        "intervals": [_interval(interval, write) for interval in mode.intervals],
        "gain": write(mode.gain),
        "output_voltage": write(mode.output_voltage),
        "capacitor_voltages": _each(mode.capacitor_voltages, write),
        "inductor_currents": _each(mode.inductor_currents, write),
        "source_currents": _each(mode.source_currents, write),
        "ripple": _each(mode.ripple, write),
        "stress": {name: _stress(stress, write) for name, stress in mode.stress.items()},
        "efficiency": write(mode.efficiency),
        "losses": _each(mode.losses, write),
        "closed_form": mode.closed_form,
        "condition": condition,
        "definitions": _each(mode.definitions, write),
        "boundary": _each(mode.boundary, write),
        "holds_when": write(mode.holds_when),
        "proved": mode.proved,
        "states": list(mode.states),
    }


def _interval(interval: ModeInterval, write: Writer) -> Json:
    return {
        "fraction": write(interval.fraction),
        "conducting": list(interval.conducting),
        "ends": interval.ends,
        "roles": dict(interval.roles),
    }


def _stress(stress: Stress, write: Writer) -> dict[str, str | None]:
    return {key: write(getattr(stress, key)) for key in STRESS_KEYS}


def _each(group: Mapping[str, Any], write: Writer) -> dict[str, str | None]:
    return {name: write(expression) for name, expression in group.items()}


def _numbers(numbers: Numbers, circuit: Circuit) -> Json:
    result: Json = {"mode": numbers.mode or None}
    fields: Json = {
        "gain": finite(numbers.gain),
        "output_voltage": finite(numbers.output_voltage),
        "efficiency": finite(numbers.efficiency),
        "capacitor_voltages": _finite_each(numbers.capacitor_voltages),
        "inductor_currents": _finite_each(numbers.inductor_currents),
        "source_currents": _finite_each(numbers.source_currents),
        "ripple": _finite_each(numbers.ripple),
        "stress": {name: _finite_each(stress) for name, stress in numbers.stress.items()},
        "input_current": None if numbers.input_current is None else asdict(numbers.input_current),
        "output_current": None if numbers.output_current is None else asdict(numbers.output_current),
        "output_ripple": finite(numbers.output_ripple),
        "losses": _finite_each(numbers.losses),
        **_other_losses(numbers),
        "point": _finite_each(numbers.point),
    }
    for name in (*circuit.timing_symbols, "T"):
        if name in numbers.point and name not in fields and name != "mode":
            result[name] = finite(numbers.point[name])
    return result | fields


def _other_losses(numbers: Numbers) -> Json:
    """Losses beside conduction, where the netlist's properties tell any."""
    if not numbers.other_losses:
        return {}
    return {
        "other_losses": _finite_each(numbers.other_losses),
        "overall_efficiency": finite(numbers.overall_efficiency),
    }


def finite(value: float | None) -> float | None:
    """A plain float; ``None`` for what is not a finite number."""
    if value is None:
        return None
    number = float(value)
    return number if isfinite(number) else None


def _finite_each(group: Mapping[str, float | None] | Mapping[str, float]) -> dict[str, float | None]:
    return {name: finite(value) for name, value in group.items()}
