"""What stands beside the parts of a drawn circuit: names, values, duties."""

from __future__ import annotations

from collections.abc import Callable

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Element, Switch, Transformer
from voltsec.practice.flows import IntervalFlow
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


def interval_caption(number: int, count: int, flow: IntervalFlow) -> tuple[str, ...]:
    """What stands above an interval's picture: when it is and what conducts, then who feeds whom."""
    conducting = ", ".join(flow.conducting) or "no device"
    verb = "conduct" if len(flow.conducting) > 1 else "conducts"
    when = f"{engineering(flow.start, 's')} to {engineering(flow.end, 's')}"
    told = []
    for role, several in (("absorbs", "absorb"), ("supplies", "supply")):
        parts = [name for name, played in flow.roles.items() if played == role]
        if parts:
            told.append(f"{', '.join(parts)} {role if len(parts) == 1 else several}")
    idle = "coils and capacitors idle"
    lines = (f"Interval {number} of {count}, {when}: {conducting} {verb}", "; ".join(told) or idle)
    jumps = ", ".join(name for name in flow.jumps)
    return (*lines, f"As it begins charge jumps through {jumps}") if jumps else lines
