"""A small-signal model as JSON: expressions that ``sympy.sympify`` reads back, numbers in SI units."""

from __future__ import annotations

from math import isfinite, pi
from typing import Any

from voltsec.dynamics.bode import curves, frequencies
from voltsec.dynamics.factored import Factor, Factored
from voltsec.dynamics.input_filter import Interaction
from voltsec.dynamics.model import Model, Response
from voltsec.dynamics.transfer import Transfer
from voltsec.report.dynamics_words import control_name, lowest_right_zero

POINTS = 60


def dynamics_json(model: Model, output: str = "", filter_: Interaction | None = None) -> dict[str, Any]:
    """One object; roots are [real, imaginary] in rad/s, curves over ``frequency`` in hertz."""
    found: dict[str, Any] = {
        "format": 1,
        "circuit": model.circuit.name,
        "mode": model.mode.name,
        "output": output or "V",
        "reduced": model.reduced,
        "definitions": {name: str(value) for name, value in model.definitions.items()},
        "responses": [_response(one, model) for one in model.responses],
        "multipliers": None,
        "curves": None,
        "input_filter": None if filter_ is None else _filter(filter_),
        "notes": list(model.notes),
    }
    if model.sampled is not None:
        found["multipliers"] = [_pair(complex(value)) for value in model.sampled.multipliers]
    if model.point is not None:
        hertz = frequencies(model, POINTS)
        found["curves"] = {
            "frequency": [float(f) for f in hertz],
            "responses": [
                {
                    "kind": curve.link.kind,
                    "control": control_name(curve.link),
                    "exact": curve.exact,
                    "decibels": [_number(float(value)) for value in curve.decibels],
                    "degrees": [_number(float(value)) for value in curve.degrees],
                }
                for curve in curves(model, hertz)
            ],
        }
    return found


def _filter(found: Interaction) -> dict[str, Any]:
    margin, hertz = found.worst
    damping = found.damping
    told: dict[str, Any] = {
        "parts": list(found.found.names),
        "node": found.found.node,
        "margin": _number(margin),
        "frequency": hertz,
        "damping": None,
    }
    if damping is not None:
        told["damping"] = {
            "across": damping.across,
            "resistance": damping.resistance,
            "capacitance": damping.capacitance,
            "margin": damping.margin,
        }
    return told


def _response(response: Response, model: Model) -> dict[str, Any]:
    link = response.link
    return {
        "kind": link.kind,
        "control": control_name(link),
        "unit": link.unit,
        "factored": None if response.factored is None else _factored(response.factored),
        "first_order": None if response.near is None else _factored(response.near),
        "averaged": _transfer(response.averaged),
        "fitted": _transfer(response.fitted),
        "lowest_right_half_plane_zero": lowest_right_zero(response),
    }


def _factored(found: Factored) -> dict[str, Any]:
    return {
        "gain": str(found.gain),
        "origin": found.origin,
        "zeros": [_factor(factor) for factor in found.zeros],
        "poles": [_factor(factor) for factor in found.poles],
    }


def _factor(factor: Factor) -> dict[str, Any]:
    return {
        "coefficients": [str(coefficient) for coefficient in factor.coefficients],
        "power": factor.power,
        "omega": None if factor.omega is None else str(factor.omega),
        "quality": None if factor.quality is None else str(factor.quality),
        "right_half_plane": factor.right,
    }


def _transfer(found: Transfer | None) -> dict[str, Any] | None:
    if found is None:
        return None
    top, bottom = found.coefficients
    return {
        "numerator": [float(c) for c in top],
        "denominator": [float(c) for c in bottom],
        "dc_gain": _number(found.dc_gain),
        "zeros": [_pair(root) for root in found.zeros],
        "poles": [_pair(root) for root in found.poles],
        "natural_frequencies": [abs(root) / (2 * pi) for root in found.poles],
    }


def _pair(root: complex) -> list[float]:
    return [root.real, root.imag]


def _number(value: float) -> float | None:
    return value if isfinite(value) else None
