"""A clamp for a switch that cuts off a leakage: resistor and capacitor from the energy, checked exactly.

The energy is not estimated: the stage is run with a source of the allowed voltage in the clamp's place, and
the charge that the diode brings to it every period is what the resistor must carry away.  The usual estimate,
half of the leakage inductance times the square of the peak current, times V/(V - Vr) with the clamp's and the
reflected voltage over the winding, comes to the same (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Diode, Element, Quantity, Resistor, Source
from voltsec.circuit.fault import Fault
from voltsec.formulas.solve import without_modes
from voltsec.practice.design.corners import Array, worst_places
from voltsec.practice.design.evaluated import Evaluated
from voltsec.practice.design.extremes import Corner, corner_at
from voltsec.practice.design.points import points_of
from voltsec.practice.design.preferred import at_least, at_most
from voltsec.practice.design.specification import BadSpecification, Specification

RIPPLE = 0.05
"""Of the clamp capacitor's voltage, peak to peak (common practice, no source)."""
RESISTORS, CAPACITORS = "E12", "E6"
TOO_MUCH = 0.5
"""Share of the input power beyond which the clamp carries what the stage should."""
NOTHING = 1e-9
STEPS = 12


@dataclass(frozen=True)
class Clamp:
    """Diode, resistor and capacitor that hold a switch's voltage."""

    switch: str
    allowed: float
    """Volt."""
    elements: tuple[Element, ...]
    """As they stand in the netlist; empty where there is nothing to clamp."""
    resistance: Fraction | None = None
    capacitance: Fraction | None = None
    energy: float = 0.0
    """Joule a period that the resistor must turn into heat at the worst point, at the allowed voltage."""
    power: float = 0.0
    """Watt in the resistor there."""
    at: Corner | None = None
    peak: float = 0.0
    """Volt across the switch with these parts at its worst point, on the exact state."""
    peak_at: Corner | None = None


def clamped(
    circuit: Circuit, specification: Specification, series: str | None = None
) -> tuple[Circuit, tuple[Clamp, ...]]:
    """The circuit with a clamp for every ``clamp( )`` of the specification, and what each is.

    Every coil and capacitor needs a value.  Raises :class:`BadSpecification`.
    """
    plain = replace(specification, ripples={}, clamps={})
    found = []
    for switch, allowed in specification.clamps.items():
        clamp = _proposed(circuit, plain, switch, allowed, series)
        found.append(clamp)
        circuit = replace(circuit, elements=(*circuit.elements, *clamp.elements))
    return circuit, tuple(found)


def _proposed(
    circuit: Circuit, specification: Specification, switch: str, allowed: float, series: str | None
) -> Clamp:
    names = _free_names(circuit)
    device = circuit.device(switch)
    middle = names["node"]
    low_side = device.end == circuit.input.end
    back = circuit.input.start if low_side else device.end
    hold = allowed / (1 + RIPPLE / 2)
    diode = Diode(names["diode"], device.start, middle)
    source = Source(
        names["source"], middle, device.end, Quantity(names["source"], "V", Fraction(f"{hold:.9g}"))
    )
    held = replace(circuit, elements=(*circuit.elements, diode, source), input_name=circuit.input.name)
    evaluated = _evaluated(held, specification)
    input_symbol = circuit.input.quantity.symbol

    def level(places: Array) -> Array:
        """(P,) volt of the input."""
        named = evaluated.points.values(places)
        known = float(circuit.values.get(input_symbol, 0))
        return named.get(input_symbol, np.full(len(places), known))

    def over(places: Array) -> Array:
        """(P,) volt across the resistor."""
        return hold - level(places) if low_side else np.full(len(places), hold)

    drawn = f"source_currents.{names['source']}"
    feed = f"source_currents.{circuit.input.name}"

    def evaluate(places: Array) -> dict[str, Array]:
        found = evaluated.at(places, (drawn, feed, f"stress.{switch}.voltage_peak"))
        current = np.maximum(-found[drawn], 0.0)
        with np.errstate(all="ignore"):
            return {
                "conductance": current / over(places),
                "current": current,
                "share": current * hold / np.abs(found[feed] * level(places)),
                "peak": found[f"stress.{switch}.voltage_peak"],
            }

    if low_side and (over(evaluated.points.box.corners()) <= 0).any():
        raise BadSpecification(
            f"clamp({switch})={allowed:g}V is not above the input voltage, which {switch} must block anyway: "
            "allow more"
        )
    corners = evaluate(evaluated.points.box.corners())
    if (corners["share"] > TOO_MUCH).any():
        raise _too_low(switch, allowed)
    worst = worst_places(evaluated.points.box, evaluate) if np.isfinite(corners["current"]).any() else {}
    if "conductance" not in worst:
        raise BadSpecification(
            f"clamp({switch}): no periodic state was found with {switch} held at {allowed:g} V; allow more"
        )
    if worst["conductance"].value * hold < NOTHING or worst["share"].value < NOTHING:
        return Clamp(switch, allowed, ())
    place = np.array(worst["conductance"].place, float)[None, :]
    there = evaluate(place)
    current = float(there["current"][0])
    period = float(evaluated.points.values(place).get("T", [float(circuit.values.get("T", 0))])[0])
    if worst["share"].value > TOO_MUCH:
        raise _too_low(switch, allowed)
    resistance = at_most(1 / worst["conductance"].value, series or RESISTORS)
    capacitance = at_least(current * period / (RIPPLE * hold), series or CAPACITORS)
    name = f"stress.{switch}.voltage_peak"
    for _ in range(STEPS):
        parts = (
            diode,
            Capacitor(names["capacitor"], middle, device.end, Quantity(names["capacitor"], "F", capacitance)),
            Resistor(names["resistor"], middle, back, Quantity(names["resistor"], "ohm", resistance)),
        )
        checked = _evaluated(replace(circuit, elements=(*circuit.elements, *parts)), specification)
        peak = worst_places(checked.points.box, partial(_peak, checked, name)).get(name)
        if peak is not None and peak.value <= allowed * (1 + 1e-6):
            return Clamp(
                switch,
                allowed,
                parts,
                resistance,
                capacitance,
                current * float(over(place)[0]) * period,
                current * float(over(place)[0]),
                corner_at(evaluated, worst["conductance"])[0],
                peak.value,
                corner_at(checked, peak)[0],
            )
        resistance = at_most(float(resistance) * (1 - 1e-6), series or RESISTORS)
    raise BadSpecification(f"clamp({switch}): no resistor was found that holds {switch} at {allowed:g} V")


def _peak(evaluated: Evaluated, name: str, places: Array) -> dict[str, Array]:
    return {name: evaluated.at(places, (name,))[name]}


def _too_low(switch: str, allowed: float) -> BadSpecification:
    return BadSpecification(
        f"clamp({switch})={allowed:g}V is at or below what {switch} blocks without any leakage, so that the "
        "clamp would take most of the power: allow more"
    )


def _evaluated(circuit: Circuit, specification: Specification) -> Evaluated:
    """Exact numbers alone: a clamp's formulas are not asked for."""
    points = points_of(circuit, specification)
    return Evaluated(without_modes(circuit, Fault("not-determined", "not asked for")), points, formulas=False)


def _free_names(circuit: Circuit) -> dict[str, str]:
    taken = {element.name for element in circuit.elements} | {q.symbol for q in circuit.quantities}
    taken |= set(circuit.nodes)

    def free(stem: str) -> str:
        name, count = stem, 1
        while name in taken:
            count += 1
            name = f"{stem}{count}"
        taken.add(name)
        return name

    stems = {
        "diode": "Dclamp",
        "capacitor": "Cclamp",
        "resistor": "Rclamp",
        "source": "Vclamp",
        "node": "clamp",
    }
    return {key: free(stem) for key, stem in stems.items()}
