"""Clamps and the damping of an input filter, as ``size`` proposes them, in words."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import TYPE_CHECKING

from voltsec.practice.design.clamp import Clamp
from voltsec.practice.design.filter_damping import FilterDamping

if TYPE_CHECKING:
    from voltsec.report.design_text import DesignView


def clamp_lines(view: DesignView, clamps: tuple[Clamp, ...]) -> Iterator[str]:
    """Resistor, capacitor and what they were made from."""
    for one in clamps:
        yield view.rule(f"Clamp of {one.switch}, {view.number(one.allowed, 'V')} allowed")
        if not one.elements or one.at is None or one.peak_at is None:
            yield from view.prose(
                f"None is needed: {one.switch} cuts off no current that a clamp would have to take."
            )
            yield ""
            continue
        diode, capacitor, resistor = one.elements
        assert one.resistance is not None and one.capacitance is not None
        yield from view.prose(
            f"{diode.name}: {diode.nodes[0]} → {diode.nodes[1]}; {capacitor.name}: {capacitor.nodes[0]} → "
            f"{capacitor.nodes[1]} = {view.number(float(one.capacitance), 'F')}; {resistor.name}: "
            f"{resistor.nodes[0]} → {resistor.nodes[1]} = {view.number(float(one.resistance), 'ohm')}"
        )
        yield from view.prose(
            f"Held at the allowed voltage it must turn {view.number(one.energy, 'J')} a period into heat, "
            f"{view.number(one.power, 'W')} in {resistor.name} ({view.letters.letter(one.at)}). "
            f"With these parts {one.switch} reaches {view.number(one.peak, 'V')} "
            f"({view.letters.letter(one.peak_at)})."
        )
        yield ""


def damping_lines(view: DesignView, found: FilterDamping | None) -> Iterator[str]:
    """The input filter at its worst corner."""
    if found is None:
        return
    yield view.rule("Input filter")
    margin = f"{found.margin:.1f} dB".replace("-", "−") if isfinite(found.margin) else "none, undamped"
    at = f" at {view.letters.values(found.at)}" if found.at else ""
    yield from view.prose(f"Least margin to the stage's impedance: {margin}{at}.")
    if found.resistance is not None and found.capacitance is not None:
        left = "not determined" if found.damped is None else f"{found.damped:.1f} dB at the worst corner"
        yield from view.prose(
            f"Damping across {found.across}: {view.number(float(found.resistance), 'ohm')} in series with "
            f"{view.number(float(found.capacitance), 'F')}; with it {left}."
        )
    yield ""
