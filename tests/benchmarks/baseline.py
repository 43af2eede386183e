"""The same linear systems, solved the way a general library offers it, to compare with."""

from __future__ import annotations

from functools import cache

import sympy
from sympy.polys.domains import ZZ
from sympy.polys.matrices import DomainMatrix

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.graph import references
from voltsec.periodic.balance import Balance
from voltsec.tableau.assembly import average_rows, period_rows, ring_for
from voltsec.tableau.interval import Interval, Sequence
from voltsec.tableau.network import Network
from voltsec.tableau.ring import Polynomial

DEVICES = {
    "buck": ("S", "D1"),
    "boost": ("S", "D1"),
    "buckboost": ("S", "D1"),
    "cuk": ("S", "D1"),
    "sepic": ("S", "D1"),
    "zeta": ("S", "D1"),
    "flyback": ("S", "D1"),
    "iso_sepic": ("S", "D1"),
    "quad_boost": ("S D2", "D1 D3"),
    "sepic_lossy": ("S", "D1"),
    "quad_boost_lossy": ("S D2", "D1 D3"),
    "multiplier_lossy": ("S D2", "D1 D3 D4"),
}
"""What conducts during the on-time and during the off-time in continuous conduction."""

MULTIPLIER = """
converter "Step-up stage with a multiplier cell and an auxiliary rail: four diodes, fourteen losses"
source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH { resistance 80 mohm }
switch S : a -> gnd { resistance 40 mohm }
diode D1 : a -> x { drop 0.45 V, resistance 30 mohm }
capacitor C1 : x -> gnd = 22 uF { resistance 10 mohm }
diode D2 : x -> y { drop 0.45 V, resistance 30 mohm }
capacitor C2 : y -> a = 22 uF { resistance 10 mohm }
diode D3 : y -> out { drop 0.45 V, resistance 30 mohm }
capacitor Co : out -> gnd = 47 uF { resistance 10 mohm }
diode D4 : a -> aux { drop 0.45 V, resistance 30 mohm }
capacitor Ca : aux -> gnd = 47 uF { resistance 10 mohm }
load R : out -> gnd = 96 ohm
load Raux : aux -> gnd = 200 ohm
output R
operate D = 0.52, f = 100 kHz
"""


@cache
def circuit_of(name: str) -> Circuit:
    """A shipped circuit, or the four-diode multiplier."""
    return voltsec.read(MULTIPLIER) if name == "multiplier_lossy" else voltsec.load(name)


def continuous(name: str) -> Sequence:
    """Its two intervals in continuous conduction."""
    return two_intervals(*DEVICES[name])


def two_intervals(on: str, off: str) -> Sequence:
    """A sequence of an on-time and an off-time; device names are parted by blanks."""
    return Sequence((Interval(0, frozenset(on.split())), Interval(1, frozenset(off.split()))))


def averages(circuit: Circuit, sequence: Sequence) -> tuple[Polynomial, Polynomial] | None:
    """The exact elimination alone, down to the voltage of the last capacitor."""
    balance = Balance(circuit, sequence, references(circuit))
    assert not balance.averages.conditions
    return balance.capacitor_voltage(circuit.capacitors[-1].name)


def means_and_ramps(circuit: Circuit, sequence: Sequence) -> object:
    """The exact elimination of the whole period: means and ramps together."""
    return Balance(circuit, sequence, references(circuit)).full


System = tuple[sympy.Matrix, sympy.Matrix, list[sympy.Symbol]]
"""A matrix, a right-hand side and the unknowns' symbols."""


def system(circuit: Circuit, sequence: Sequence, ramps: bool = False) -> System:
    """The rows that :func:`averages` solves, with ``ramps`` those of :func:`means_and_ramps`."""
    ring = ring_for(circuit, sequence)
    network = Network(circuit, ring, references(circuit))
    rows = (period_rows if ramps else average_rows)(circuit, sequence, network)
    unknowns = sorted({unknown for row in rows for unknown in row if unknown is not None}, key=repr)
    places = {unknown: place for place, unknown in enumerate(unknowns)}
    symbols = [sympy.Symbol(name.replace("#", "share")) for name in ring.names]
    matrix = sympy.zeros(len(rows), len(unknowns))
    right = sympy.zeros(len(rows), 1)
    for number, row in enumerate(rows):
        for unknown, polynomial in row.items():
            entry = sympy.Add(
                *(
                    int(coefficient) * sympy.prod(s ** int(p) for s, p in zip(symbols, powers, strict=True))
                    for powers, coefficient in polynomial.to_dict().items()
                )
            )
            if unknown is None:
                right[number] = -entry
            else:
                matrix[number, places[unknown]] = entry
    return matrix, right, [sympy.Dummy(f"x{place}") for place in range(len(unknowns))]


def by_linsolve(matrix: sympy.Matrix, right: sympy.Matrix, symbols: list[sympy.Symbol]) -> object:
    """The library's own solver of linear systems."""
    return sympy.linsolve((matrix, right), symbols)


def by_row_reduction(matrix: sympy.Matrix, right: sympy.Matrix) -> object:
    """Reduced row echelon form over the field of rational functions with integer coefficients."""
    whole = matrix.row_join(right)
    field = ZZ.frac_field(*sorted(whole.free_symbols, key=str))
    return DomainMatrix.from_Matrix(whole).convert_to(field).rref()
