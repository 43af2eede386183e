"""What may be measured of a stage: averages, peaks, swings, losses ... of voltages and currents.

Each is plain data, a sum of the network's unknowns and what is asked of it.  How it is told in formulas, in
floats at many points, and on exact waveforms stands in one place each (``formulas/mode_formulas.py``,
``periodic/reading_list.py``, ``waveforms/measures.py``).
"""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.tableau.network import Row, Unknown
from voltsec.tableau.ring import Polynomial, Ring, product

Terms = tuple[tuple[Unknown, int], ...]
"""A voltage or current: unknowns of the network with their signs."""


@dataclass(frozen=True)
class Average:
    """Mean over the period."""

    terms: Terms


@dataclass(frozen=True)
class RootMeanSquare:
    """Root of the mean square over the period."""

    terms: Terms


@dataclass(frozen=True)
class Peak:
    """Largest magnitude; of a device's voltage only while it blocks."""

    terms: Terms
    blocked_by: str | None = None


@dataclass(frozen=True)
class Charge:
    """What makes a voltage swing: the charge of capacitors in series, and drops over what lies in series.

    The voltage is that of one capacitor with the current :meth:`flow` and the product of all capacitances,
    and the :meth:`drops` besides: i1/C1 + i2/C2 = (C2 i1 + C1 i2)/(C1 C2).
    """

    capacitors: tuple[tuple[str, int, str], ...]
    """Name, sign by which it counts, and capacitance."""
    resistances: tuple[tuple[str, int, str], ...] = ()
    """Name of the part that carries the current, sign, and resistance."""

    @property
    def capacitances(self) -> tuple[str, ...]:
        """Symbols whose product is the capacitance."""
        return tuple(farad for _, _, farad in self.capacitors)

    def farad(self, ring: Ring) -> Polynomial:
        """The product of the capacitances."""
        return product([ring.one, *map(ring.symbol, self.capacitances)])

    def flow(self, ring: Ring) -> Row:
        """The current that charges it."""
        return {
            ("i", name): product([ring.one * sign, *(ring.symbol(c) for c in self.capacitances if c != own)])
            for name, sign, own in self.capacitors
        }

    def drops(self, ring: Ring) -> Row:
        """The voltage over the resistances; empty where there are none."""
        return {("i", name): sign * ring.symbol(ohm) for name, sign, ohm in self.resistances}


@dataclass(frozen=True)
class Swing:
    """Peak to peak.

    Formulas take the capacitors' voltages as constant; what makes this swing all the same is told besides.
    """

    terms: Terms
    charge: Charge | None = None
    """Of a voltage across capacitors in series."""
    voltage: Swing | None = None
    """Of a current through ``resistances`` alone: their voltage, which capacitors elsewhere swing."""
    resistances: tuple[str, ...] = ()


@dataclass(frozen=True)
class FlowShare:
    """Share of the period in which a current flows."""

    terms: Terms


@dataclass(frozen=True)
class Step:
    """Largest step of a current between two intervals, zero where it makes none."""

    terms: Terms


@dataclass(frozen=True)
class Gain:
    """Average of the output voltage over the input voltage."""

    terms: Terms
    source: str
    """Symbol of the input."""


@dataclass(frozen=True)
class Heat:
    """Resistance times mean square, and drop times average, of one current."""

    terms: Terms
    resistance: str | None
    drop: str | None
    by_ripple: bool = False
    """Ripple may be all that heats, so that it counts where formulas neglect it otherwise."""


@dataclass(frozen=True)
class Efficiency:
    """Power taken by loads, and sources that are fed, over power given."""

    loads: tuple[Heat, ...]
    ports: tuple[tuple[str, Terms], ...]
    """(symbol, quantity) of sources and constant currents: their product's average is the power taken."""


@dataclass(frozen=True)
class Turning:
    """Power lost as a device turns, estimated: energy of every such turn over the period.

    The voltage is that of the side on which the device blocks, the current that of the other one.
    """

    device: str
    voltage: Terms
    current: Terms
    closing: bool
    """At its turn-on; otherwise at its turn-off."""
    overlap: float = 0.0
    """Seconds in which voltage and current pass over in straight lines: half their product."""
    capacitance: float = 0.0
    """Farad, charged to the voltage: half its square."""
    charge: float = 0.0
    """Coulomb that the voltage moves, where a current was cut off."""


@dataclass(frozen=True)
class Gate:
    """Power that a drive takes: a charge a period from a voltage."""

    charge: float
    voltage: float


@dataclass(frozen=True)
class Core:
    """Power lost in a core: volume * k * f**alpha * B**beta (Steinmetz), B half the swing of flux density."""

    linkage: tuple[tuple[Terms, str], ...]
    """Currents and the symbols of their inductances: their products' sum is the flux linkage."""
    turns: float
    area: float
    volume: float
    k: float
    alpha: float
    beta: float


Beside = Turning | Gate | Core


@dataclass(frozen=True)
class OverallEfficiency:
    """Power taken over power given and lost beside conduction."""

    efficiency: Efficiency
    beside: tuple[Beside, ...]


Measure = (
    Average | RootMeanSquare | Peak | Swing | FlowShare | Step | Gain | Heat | Efficiency | Beside
    | OverallEfficiency
)  # fmt: skip


def one(unknown: Unknown) -> Terms:
    """One unknown as a quantity."""
    return ((unknown, 1),)


def is_voltage(terms: Terms) -> bool:
    """True for a voltage, False for a current."""
    return terms[0][0][0] in ("v", "V")
