"""Cautions appear only where they apply."""

from dataclasses import replace
from fractions import Fraction

from sympy import Symbol

from tests.report.samples import sepic_circuit, sepic_solution
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Diode, Inductor, Load, Quantity, Source, Switch, Transformer
from voltsec.report.cautions import CLOSING, blocking_capacitors, cautions


def bare(name: str, unit: str) -> Quantity:
    return Quantity(name, unit)


def boost() -> Circuit:
    return Circuit(
        (
            Source("Vg", "in", "gnd", bare("Vg", "V")),
            Inductor("L", "in", "a", bare("L", "H")),
            Switch("S", "a", "gnd"),
            Diode("D1", "a", "out"),
            Capacitor("Co", "out", "gnd", bare("Co", "F")),
            Load("R", "out", "gnd", bare("R", "ohm")),
        )
    )


def isolated() -> Circuit:
    """A flyback: its transformer, not a capacitor, parts input and output."""
    return Circuit(
        (
            Source("Vg", "in", "gnd", bare("Vg", "V")),
            Transformer("T1", (("in", "a"), ("sgnd", "b")), (Fraction(1), "n"), bare("LM", "H")),
            Switch("S", "a", "gnd"),
            Diode("D1", "b", "out"),
            Capacitor("Co", "out", "sgnd", bare("Co", "F")),
            Load("R", "out", "sgnd", bare("R", "ohm")),
        ),
        grounds=("gnd", "sgnd"),
    )


def text(solution: object) -> str:
    return "\n".join(cautions(solution))  # type: ignore[arg-type]


def test_within_the_extra_low_range_the_duty_that_leaves_it_is_named() -> None:
    told = text(sepic_solution())
    # 60 V = 18 V · D/(1 − D) at D = 0.769
    assert "passes 60 V DC, the usual extra-low limit, above D = 0.76." in told
    assert "reaches" not in told


def test_above_60_volts() -> None:
    told = text(sepic_solution(volts=48))
    assert "reaches 80 V, above the usual extra-low limit of 60 V DC" in told


def test_stored_energy() -> None:
    assert "stores" not in text(sepic_solution())
    told = text(sepic_solution(volts=300, farad=Fraction(1, 1000)))
    # 1000 µF at 200 V
    assert "Co stores 20 J" not in told
    told = text(sepic_solution(volts=330, farad=Fraction(1, 1000)))
    assert "Co stores 24.2 J (more than 20 J)" in told


def test_an_output_without_bound() -> None:
    assert "without a load" in text(sepic_solution())


def test_a_bounded_output() -> None:
    """In discontinuous conduction a step-down stage ends at its input voltage."""
    solution = sepic_solution()
    continuous, discontinuous = solution.modes
    K, Vg, D = (Symbol(name, positive=True) for name in ("K", "Vg", "D"))
    bounded = replace(discontinuous, output_voltage=2 * Vg / (1 + (1 + 4 * K / D**2) ** 0.5))
    assert "without a load" not in text(replace(solution, modes=(continuous, bounded)))


def test_no_numbers_no_voltage_caution() -> None:
    told = text(replace(sepic_solution(), numbers=None))
    assert "60 V" not in told


def test_the_last_word() -> None:
    assert cautions(sepic_solution())[-1] == CLOSING


def test_capacitors_in_the_path() -> None:
    assert blocking_capacitors(sepic_circuit()) == ("C1",)
    assert blocking_capacitors(boost()) == ()
    assert blocking_capacitors(isolated()) == ()


def test_two_grounds() -> None:
    solution = replace(sepic_solution(), circuit=isolated(), numbers=None)
    assert "do not make a safe isolation barrier" in text(solution)
    assert "isolation barrier" not in text(sepic_solution())
