"""Cells from which stages are grown: each takes power at one node and gives it at another.

A cell is an arrangement of coil, switch, diode and capacitor that can carry power by itself; what follows
it, and what is done to it afterwards, is left to chance.  ``node`` and what a cell returns are counted
against ground; a cell that turns the sign returns a node below ground.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from voltsec.circuit.elements import Capacitor, Diode, Inductor, Resistor, Switch

from .draft import Draft
from .values import chance, duty, preferred

Cell = Callable[["Site", str], "tuple[str, int]"]
"""(site, input node) -> output node and the sign of its voltage."""


@dataclass
class Site:
    """Where a cell is built: the draft, the source of chance, and what tells large from small."""

    draft: Draft
    rng: random.Random
    ohm: float
    """The load's resistance."""
    small: bool
    """Draw coils so small that currents run dry in some cells."""

    def coil(self, start: str, end: str, scale: float = 1.0) -> str:
        """A coil whose 2 L/(R T) spreads from deep discontinuous to smooth conduction."""
        unit = scale * self.ohm * self.draft.period()
        low, high = (0.01, 0.6) if self.small else (0.3, 30.0)
        return self.draft.add(Inductor, start, end, preferred(self.rng, low * unit, high * unit))

    def capacitor(self, start: str, end: str) -> str:
        """A capacitor of some to some hundred periods' charge."""
        unit = self.draft.period() / self.ohm
        return self.draft.add(Capacitor, start, end, preferred(self.rng, 3 * unit, 300 * unit))

    def switch(self, start: str, end: str) -> str:
        """A switch driven with, or at another duty than, those that are there."""
        draft, rng = self.draft, self.rng
        others = draft.of_kind(Switch)
        name = draft.add(Switch, start, end)
        if not others:
            draft.drive(name, "at", "D", duty(rng))
        elif chance(rng, 0.6):
            draft.drive(name, rng.choice(["with", "with", "against"]), rng.choice(others).name)
        else:
            symbol = next(s for s in ("Da", "Db", "Dc", "Dd") if s not in draft.operating)
            draft.drive(name, "at", symbol, duty(rng))
        return name

    def rectifier(self, start: str, end: str, switch: str) -> None:
        """A diode, or a switch in its place that is driven against ``switch``."""
        if chance(self.rng, 0.12):
            name = self.draft.add(Switch, start, end)
            self.draft.drive(name, "against", switch)
        else:
            self.draft.add(Diode, start, end)

    def turns(self) -> Fraction:
        """A turns ratio."""
        return Fraction(self.rng.choice(["0.25", "0.5", "1", "1", "1.5", "2", "3"]))

    def node(self) -> str:
        """A new node."""
        return self.draft.node()


def down(site: Site, node: str) -> tuple[str, int]:
    """Step-down: switch, diode to ground, coil."""
    a = site.node()
    switch = site.switch(node, a)
    site.rectifier("gnd", a, switch)
    out = site.node()
    site.coil(a, out)
    return out, 1


def up(site: Site, node: str) -> tuple[str, int]:
    """Step-up: coil, switch to ground, diode."""
    a = site.node()
    site.coil(node, a)
    switch = site.switch(a, "gnd")
    out = site.node()
    site.rectifier(a, out, switch)
    return out, 1


def turning(site: Site, node: str) -> tuple[str, int]:
    """Inverting step-up/down: switch, coil to ground, diode from the output."""
    a = site.node()
    switch = site.switch(node, a)
    site.coil(a, "gnd")
    out = site.node()
    site.rectifier(out, a, switch)
    return out, -1


def capacitive(site: Site, node: str) -> tuple[str, int]:
    """Coil, switch, coupling capacitor, then diode and coil in either order (both signs of output)."""
    a = site.node()
    site.coil(node, a)
    switch = site.switch(a, "gnd")
    b = site.node()
    site.capacitor(a, b)
    out = site.node()
    if chance(site.rng, 0.5):
        site.coil("gnd", b)
        site.rectifier(b, out, switch)
        return out, 1
    site.rectifier(b, "gnd", switch)
    site.coil(out, b)
    return out, -1


def switched_capacitor_coil(site: Site, node: str) -> tuple[str, int]:
    """Switch, coil to ground, capacitor, diode, coil: step-up/down with a smooth output."""
    a = site.node()
    switch = site.switch(node, a)
    site.coil(a, "gnd")
    b = site.node()
    site.capacitor(b, a)
    site.rectifier("gnd", b, switch)
    out = site.node()
    site.coil(b, out)
    return out, 1


def two_coils_on_one_core(site: Site, node: str) -> tuple[str, int]:
    """Coupled coils, energy stored while the switch is closed and given off at the other winding."""
    a, b, out = site.node(), site.node(), site.node()
    first = site.coil(node, a)
    switch = site.switch(a, "gnd")
    second = site.coil("gnd", b)
    ratio = site.turns()
    first_coil, second_coil = site.draft.find(first), site.draft.find(second)
    site.draft.set_value(second_coil, first_coil.quantity.value * ratio**2)
    site.draft.couple(first, second, Fraction(site.rng.choice(["1", "1", "0.999", "0.98", "0.9"])))
    if site.rng.random() < 0.8 and site.draft.couplings[-1].coefficient != 1:
        _clamp(site, a, node)
    site.rectifier(b, out, switch)
    return out, 1


def through_a_transformer(site: Site, node: str) -> tuple[str, int]:
    """The same with an ideal transformer, its magnetizing inductance storing the energy."""
    a, b, out = site.node(), site.node(), site.node()
    unit = site.ohm * site.draft.period()
    core = preferred(site.rng, 0.02 * unit, 20 * unit)
    ratio = site.turns()
    site.draft.add_transformer([(node, a), ("gnd", b)], [Fraction(1), ratio], core)
    switch = site.switch(a, "gnd")
    site.rectifier(b, out, switch)
    return out, 1


def forward_through_a_transformer(site: Site, node: str) -> tuple[str, int]:
    """Power passes while both switches are closed; two diodes give the core's energy back."""
    a, b, x, y, out = site.node(), site.node(), site.node(), site.node(), site.node()
    unit = site.ohm * site.draft.period()
    core = preferred(site.rng, unit, 50 * unit) if chance(site.rng, 0.8) else None
    site.draft.add_transformer([(a, b), (x, "gnd")], [Fraction(1), site.turns()], core)
    high = site.switch(node, a)
    low = site.draft.add(Switch, b, "gnd")
    site.draft.drive(low, "with", high)
    site.draft.add(Diode, "gnd", a)
    site.draft.add(Diode, b, node)
    site.draft.add(Diode, x, y)
    site.draft.add(Diode, "gnd", y)
    site.coil(y, out)
    return out, 1


def squared(site: Site, node: str) -> tuple[str, int]:
    """Two step-up coils, one switch."""
    a, m, c, out = site.node(), site.node(), site.node(), site.node()
    site.coil(node, a)
    site.draft.add(Diode, a, m)
    site.capacitor(m, "gnd")
    site.coil(m, c)
    site.draft.add(Diode, a, c)
    switch = site.switch(c, "gnd")
    site.rectifier(c, out, switch)
    return out, 1


def legs(site: Site, node: str) -> tuple[str, int]:
    """Two step-up or step-down legs side by side, the second driven against the first."""
    out = site.node()
    rising = chance(site.rng, 0.5)
    before = ""
    for _ in range(2):
        a = site.draft.node()
        if rising:
            site.coil(node, a)
            ends = (a, "gnd")
        else:
            site.coil(a, out)
            ends = (node, a)
        if before:
            switch = site.draft.add(Switch, *ends)
            site.draft.drive(switch, "against", before)
        else:
            before = switch = site.switch(*ends)
        if rising:
            site.rectifier(a, out, switch)
        else:
            site.rectifier("gnd", a, switch)
    if chance(site.rng, 0.5) and "D" in site.draft.operating:
        site.draft.operating["D"] = Fraction(1, 2)
    return out, 1


def tapped(site: Site, node: str) -> tuple[str, int]:
    """A step-up or step-down cell whose coil is tapped, both parts on one core."""
    a, tap, out = site.node(), site.node(), site.node()
    rising = chance(site.rng, 0.5)
    if rising:
        first = site.coil(node, a)
        second = site.coil(a, tap)
        switch = site.switch(a, "gnd")
        site.rectifier(tap, out, switch)
    else:
        first = site.coil(a, tap)
        second = site.coil(tap, out)
        switch = site.switch(node, a)
        site.rectifier("gnd", tap if chance(site.rng, 0.5) else a, switch)
    ratio = site.turns()
    site.draft.set_value(site.draft.find(second), site.draft.find(first).quantity.value * ratio**2)
    site.draft.couple(first, second, Fraction(site.rng.choice(["1", "1", "0.999", "0.95"])))
    return out, 1


def multiplied(site: Site, node: str) -> tuple[str, int]:
    """A step-up cell with a diode-capacitor cell on its switch node."""
    a, x, y, out = site.node(), site.node(), site.node(), site.node()
    site.coil(node, a)
    switch = site.switch(a, "gnd")
    site.draft.add(Diode, a, x)
    site.capacitor(x, "gnd")
    site.draft.add(Diode, x, y)
    site.capacitor(y, a)
    site.rectifier(y, out, switch)
    return out, 1


def _clamp(site: Site, node: str, to: str) -> None:
    """Diode into capacitor and resistor: takes what leakage holds when the switch opens."""
    c = site.draft.node()
    site.draft.add(Diode, node, c)
    site.capacitor(c, to)
    site.draft.add(Resistor, c, to, preferred(site.rng, 5 * site.ohm, 200 * site.ohm))


CELLS: tuple[Cell, ...] = (
    down,
    up,
    turning,
    capacitive,
    switched_capacitor_coil,
    two_coils_on_one_core,
    through_a_transformer,
    forward_through_a_transformer,
    squared,
    legs,
    tapped,
    multiplied,
)
