"""What is built on to a stage: filters, outputs, batteries, legs, pumps, taps and couplings.

Each change takes a draft and a source of chance and says whether it found a place.
"""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

from voltsec.circuit.circuit import Output
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Inductor,
    Load,
    Resistor,
    Source,
    Switch,
    Transformer,
)

from .draft import Draft
from .values import chance, decimal, duty, preferred

COUPLINGS = ("1", "1", "0.999", "0.99", "0.95", "0.9", "0.7", "0.4", "0.1")


def input_filter(draft: Draft, rng: random.Random) -> bool:
    """Coil and capacitor behind the source, with or without a damping branch."""
    source = rng.choice(draft.of_kind(Source))
    behind, plus = draft.node(), source.start
    for element in draft.at_node(plus):
        if element.name != source.name:
            draft.move(element, plus, behind)
    ohm, period = draft.load(), draft.period()
    draft.add(Inductor, plus, behind, preferred(rng, 0.003 * ohm * period, 1 * ohm * period))
    farad = preferred(rng, 1 * period / ohm, 30 * period / ohm)
    draft.add(Capacitor, behind, source.end, farad)
    if chance(rng, 0.5):
        between = draft.node()
        draft.add(Resistor, behind, between, preferred(rng, 0.02 * ohm, 1 * ohm))
        draft.add(Capacitor, between, source.end, preferred(rng, 2 * float(farad), 10 * float(farad)))
    return True


def output_filter(draft: Draft, rng: random.Random) -> bool:
    """Coil and capacitor in front of a load."""
    loads = draft.of_kind(Load, CurrentSource)
    if not loads or draft.output_choice is not None:
        return False
    load = rng.choice(loads)
    behind = draft.node()
    start = load.start
    draft.put(load, start=behind)
    ohm, period = draft.load(), draft.period()
    draft.add(Inductor, start, behind, preferred(rng, 0.003 * ohm * period, 1 * ohm * period))
    series = {"resistance": preferred(rng, 1e-3 * ohm, 3e-2 * ohm)} if chance(rng, 0.6) else {}
    draft.add(Capacitor, behind, load.end, preferred(rng, 1 * period / ohm, 100 * period / ohm), **series)
    return True


def second_output(draft: Draft, rng: random.Random) -> bool:
    """A diode from the anode of another one to an output of its own."""
    diodes = draft.of_kind(Diode)
    loads = draft.of_kind(Load)
    if not diodes or not loads:
        return False
    diode, load = rng.choice(diodes), loads[0]
    top = draft.node()
    if chance(rng, 0.7):
        draft.add(Diode, diode.start, top)
        ends = (top, load.end)
    else:
        draft.add(Diode, top, diode.end)
        ends = (top, load.end)
    ohm, period = draft.load(), draft.period()
    draft.add(Capacitor, *ends, preferred(rng, 3 * period / ohm, 300 * period / ohm))
    if chance(rng, 0.85):
        draft.add(Load, *ends, preferred(rng, 1 * ohm, 10 * ohm))
    return True


def battery(draft: Draft, rng: random.Random) -> bool:
    """A battery: across a load, in series with the source, or beside it."""
    source = draft.of_kind(Source)[0]
    volts, ohm = abs(float(source.quantity.value)), draft.load()
    inner = {"resistance": preferred(rng, 1e-3 * ohm, 5e-2 * ohm)}
    draft.input_name = draft.input_name or source.name
    place = rng.random()
    if place < 0.6 and draft.of_kind(Load):
        load = rng.choice(draft.of_kind(Load))
        ends = (load.start, load.end) if chance(rng, 0.75) else (load.end, load.start)
        draft.add(Source, *ends, decimal(volts * rng.uniform(0.3, 2.0), 2), **inner)
    elif place < 0.8:
        between, minus = draft.node(), source.end
        draft.put(source, end=between)
        properties = inner if chance(rng, 0.5) else {}
        draft.add(Source, between, minus, decimal(volts * rng.uniform(0.3, 1.5), 2), **properties)
    else:
        if source.resistance is None:
            draft.give(source, **inner)
        other = {"resistance": preferred(rng, 1e-3 * ohm, 5e-2 * ohm)}
        draft.add(Source, source.start, source.end, decimal(volts * rng.uniform(0.9, 1.1), 3), **other)
    return True


def no_load(draft: Draft, rng: random.Random) -> bool:
    """An output without load current."""
    loads = draft.of_kind(Load)
    if not loads or draft.output_choice is not None:
        return False
    load = rng.choice(loads)
    first = loads[0] is load
    draft.remove(load.name)
    if first:
        draft.output_choice = Output(load.start, load.end)
    return True


def coupled_coils(draft: Draft, rng: random.Random) -> bool:
    """Two coils on one core."""
    free = [coil for coil in draft.of_kind(Inductor) if not draft.coupled(coil.name)]
    if len(free) < 2:
        return False
    first, second = rng.sample(free, 2)
    if chance(rng, 0.5):
        draft.put(second, start=second.end, end=second.start)
    draft.couple(first.name, second.name, Fraction(rng.choice(COUPLINGS)))
    return True


def split_coil(draft: Draft, rng: random.Random) -> bool:
    """Two coils in series or side by side for one, on one core or on two."""
    free = [coil for coil in draft.of_kind(Inductor) if not draft.coupled(coil.name)]
    if not free:
        return False
    coil = rng.choice(free)
    value = coil.quantity.value * Fraction(rng.choice(["1", "0.47", "2.2"]))
    if chance(rng, 0.5):
        between, end = draft.node(), coil.end
        draft.put(coil, end=between)
        second = draft.add(Inductor, between, end, value)
    else:
        second = draft.add(Inductor, coil.start, coil.end, value)
    if chance(rng, 0.7):
        draft.couple(coil.name, second, Fraction(rng.choice(COUPLINGS)))
    return True


def tap(draft: Draft, rng: random.Random) -> bool:
    """A coil split in two on one core, a device at one of its ends moved to the tap."""
    free = [coil for coil in draft.of_kind(Inductor) if not draft.coupled(coil.name)]
    rng.shuffle(free)
    for coil in free:
        for node in rng.sample(coil.nodes, 2):
            devices = [e for e in draft.at_node(node) if type(e) in (Switch, Diode)]
            if len(devices) < 2:
                continue
            between, end = draft.node(), coil.end
            draft.put(coil, end=between)
            ratio = Fraction(rng.choice(["0.25", "1", "2.2"]))
            second = draft.add(Inductor, between, end, coil.quantity.value * ratio)
            draft.couple(coil.name, second, Fraction(rng.choice(["1", "1", "0.999", "0.95"])))
            device = rng.choice(devices)
            draft.move(device, node, between)
            return True
    return False


def second_leg(draft: Draft, rng: random.Random) -> bool:
    """The parts at a switch node once more, driven against the first ones."""
    draft.settle_drives()
    for switch in rng.sample(draft.of_kind(Switch), len(draft.of_kind(Switch))):
        for node in rng.sample(switch.nodes, 2):
            parts = draft.at_node(node)
            kinds = {type(part) for part in parts}
            plain = all(not draft.coupled(part.name) for part in parts)
            if len(parts) > 4 or kinds & {Source, Transformer, Load} or Inductor not in kinds or not plain:
                continue
            other, copies = draft.node(), {}
            for part in parts:
                ends = [other if n == node else n for n in (part.start, part.end)]
                value = part.quantity.value if hasattr(part, "quantity") else None
                properties = {
                    key: getattr(part, key).value
                    for key in ("resistance", "drop")
                    if getattr(part, key, None) is not None and type(part) is not Resistor
                }
                copies[part.name] = draft.add(type(part), *ends, value, **properties)
            for name, copy in copies.items():
                if isinstance(draft.find(copy), Switch):
                    _drive_copy(draft, rng, name, copy, copies)
            if chance(rng, 0.5):
                for symbol in draft.operating:
                    if symbol != "T":
                        draft.operating[symbol] = Fraction(1, 2)
            return True
    return False


def _drive_copy(draft: Draft, rng: random.Random, name: str, copy: str, copies: dict[str, str]) -> None:
    """Against the switch it was copied from; a switch that follows a copied one follows its copy."""
    own = next((d for d in draft.drives if d.switch == name), None)
    if own is not None and own.kind in ("with", "against") and own.argument in copies:
        draft.drive(copy, own.kind, copies[own.argument])
    elif own is not None and own.kind in ("on", "off"):
        draft.drive(copy, own.kind)
    else:
        draft.drive(copy, "against" if chance(rng, 0.8) else "with", name)


def multiplier_cell(draft: Draft, rng: random.Random) -> bool:
    """A diode-capacitor cell between a diode's cathode and where that led."""
    diodes = draft.of_kind(Diode)
    if not diodes:
        return False
    diode = rng.choice(diodes)
    x, y = draft.node(), draft.node()
    end = diode.end
    ground = draft.grounds[0]
    draft.put(diode, end=x)
    farads = [float(c.quantity.value) for c in draft.of_kind(Capacitor)] or [1e-5]
    draft.add(Capacitor, x, ground, preferred(rng, min(farads), max(farads)))
    draft.add(Diode, x, y)
    draft.add(Capacitor, y, diode.start, preferred(rng, min(farads), max(farads)))
    draft.add(Diode, y, end)
    return True


def pump(draft: Draft, rng: random.Random) -> bool:
    """A capacitor from a switch node and two diodes: a rail pumped up or below ground."""
    switch = rng.choice(draft.of_kind(Switch))
    node, x, rail = rng.choice(switch.nodes), draft.node(), draft.node()
    ground = draft.grounds[0]
    unit = draft.period() / draft.load()
    if node == ground:
        return False
    draft.add(Capacitor, node, x, preferred(rng, 1 * unit, 100 * unit))
    if chance(rng, 0.5):
        draft.add(Diode, x, ground)
        draft.add(Diode, rail, x)
    else:
        base = rng.choice([s.start for s in draft.of_kind(Source)])
        draft.add(Diode, base, x)
        draft.add(Diode, x, rail)
    draft.add(Capacitor, rail, ground, preferred(rng, 1 * unit, 100 * unit))
    ohm = draft.load()
    draft.add(Load if draft.of_kind(Load) else Resistor, rail, ground, preferred(rng, 2 * ohm, 50 * ohm))
    return True


def flying_capacitor(draft: Draft, rng: random.Random) -> bool:
    """A device split in two with a capacitor from the middle to somewhere else."""
    device = rng.choice(draft.of_kind(Switch, Diode))
    between, end = draft.node(), device.end
    others = [n for n in draft.nodes() if n not in (between, end, device.start)]
    if not others:
        return False
    draft.settle_drives()
    draft.put(device, end=between)
    if isinstance(device, Switch):
        second = draft.add(Switch, between, end)
        draft.drive(second, rng.choice(["with", "against"]), device.name)
    else:
        draft.add(Diode, between, end)
    unit = draft.period() / draft.load()
    draft.add(Capacitor, between, rng.choice(others), preferred(rng, 1 * unit, 100 * unit))
    return True


def diode_by_switch(draft: Draft, rng: random.Random) -> bool:
    """A switch driven against the others in place of a diode, or a diode beside a switch."""
    diodes = draft.of_kind(Diode)
    draft.settle_drives()
    switch = rng.choice(draft.of_kind(Switch))
    if not diodes or chance(rng, 0.3):
        draft.add(Diode, switch.end, switch.start)
        return True
    diode = rng.choice(diodes)
    ends = (diode.start, diode.end)
    draft.remove(diode.name)
    name = draft.add(Switch, *ends)
    draft.drive(name, "against", switch.name)
    return True


def own_duty(draft: Draft, rng: random.Random) -> bool:
    """A switch that followed another one gets a duty of its own."""
    following = [d for d in draft.drives if d.kind in ("with", "against")]
    if not following:
        return False
    one = rng.choice(following)
    symbol = next(s for s in ("Dx", "Dy", "Dz", "Dw", "Dv") if s not in draft.operating)
    draft.drives[draft.drives.index(one)] = replace(one, kind="at", argument=symbol)
    draft.operating = {symbol: duty(rng)} | draft.operating
    return True


ADDITIONS = (
    input_filter,
    input_filter,
    output_filter,
    second_output,
    second_output,
    battery,
    no_load,
    coupled_coils,
    coupled_coils,
    split_coil,
    tap,
    second_leg,
    multiplier_cell,
    pump,
    flying_capacitor,
    diode_by_switch,
    own_duty,
)
"""Changes to draw from; what stands twice is drawn twice as often."""
