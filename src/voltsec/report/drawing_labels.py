"""What stands beside the parts of a drawn circuit: names, values, duties."""

from __future__ import annotations

from collections.abc import Callable

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Element, Switch, Transformer
from voltsec.report.quantity import engineering


def labels(circuit: Circuit) -> Callable[[str], tuple[str, ...]]:
    """Lines of the label of an element or winding by its name, the name first."""
    found: dict[str, tuple[str, ...]] = {}
    for element in circuit.elements:
        if isinstance(element, Transformer):
            turns = " : ".join(str(turn) for turn in element.turns)
            for count in range(1, len(element.windings) + 1):
                name = f"{element.name}.{count}"
                found[name] = (name, turns) if count == 1 else (name,)
        else:
            found[element.name] = tuple(filter(None, (element.name, _value(element, circuit))))
    return found.__getitem__


def _value(element: Element, circuit: Circuit) -> str:
    if isinstance(element, Switch):
        return _drive(element, circuit)
    quantity = getattr(element, "quantity", None)
    if quantity is None or quantity.value is None:
        return ""
    return engineering(float(quantity.value), quantity.unit)


def _drive(switch: Switch, circuit: Circuit) -> str:
    """The share of the period in which a switch conducts."""
    schedule = circuit.schedule(switch.name)
    if schedule.duty is None:
        return "on" if schedule.first else "off"
    return schedule.duty if schedule.first else f"1 − {schedule.duty}"


def coupling_notes(circuit: Circuit) -> tuple[str, ...]:
    """A line for each pair of coupled coils, whose dots alone do not tell who belongs to whom."""
    found = []
    for coupling in circuit.couplings:
        strength = ""
        if coupling.coefficient is not None:
            strength = f", k = {float(coupling.coefficient):g}"
        elif coupling.mutual is not None:
            strength = f", {coupling.symbol} = {engineering(float(coupling.mutual), 'H')}"
        found.append(f"{coupling.first} and {coupling.second} are coupled{strength}")
    return tuple(found)
