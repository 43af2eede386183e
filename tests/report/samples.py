"""A SEPIC's answer written by hand (trade formulas), so that reports are tested without the solver."""

from __future__ import annotations

from fractions import Fraction

from sympy import Ge, Integer, Lt, Symbol, sqrt, symbols

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Diode, Inductor, Load, Quantity, Source, Switch
from voltsec.report.machine import STRESS_KEYS
from voltsec.results.solution import Mode, ModeInterval, Numbers, Solution, Stress


def sepic_circuit(volts: int = 18, farad: Fraction = Fraction(1, 10_000)) -> Circuit:
    """The circuit of ``circuits/sepic.topo``."""
    coil = Fraction(68, 1_000_000)
    return Circuit(
        elements=(
            Source("Vg", "in", "gnd", Quantity("Vg", "V", Fraction(volts))),
            Inductor("L1", "in", "a", Quantity("L1", "H", coil)),
            Switch("S", "a", "gnd"),
            Capacitor("C1", "a", "b", Quantity("C1", "F", Fraction(1, 100_000))),
            Inductor("L2", "gnd", "b", Quantity("L2", "H", coil)),
            Diode("D1", "b", "out"),
            Capacitor("Co", "out", "gnd", Quantity("Co", "F", farad)),
            Load("R", "out", "gnd", Quantity("R", "ohm", Fraction(10))),
        ),
        title="12 V bus from the solar panel",
        operating=(("D", Fraction(2, 5)), ("T", Fraction(1, 100_000))),
        file="sepic.topo",
    )


def sepic_solution(volts: int = 18, farad: Fraction = Fraction(1, 10_000)) -> Solution:
    """Both modes, and numbers at D = 0.4."""
    D, Vg, R, T, K = symbols("D Vg R T K", positive=True)
    L1, L2, Co, d2 = symbols("L1 L2 Co d2", positive=True)
    rest = 1 - D
    parallel = 2 * L1 * L2 / ((L1 + L2) * R * T)
    load = D * Vg / (rest * R)
    ripple = D * T * Vg * (L1 + L2) / (L1 * L2)
    on = {"L1": "absorbs", "L2": "absorbs", "C1": "supplies", "Co": "supplies"}
    off = {"L1": "supplies", "L2": "supplies", "C1": "absorbs", "Co": "absorbs"}
    continuous = Mode(
        name="CCM",
        intervals=(
            ModeInterval(D, ("S",), "switch", on),
            ModeInterval(rest, ("D1",), "switch", off),
        ),
        gain=D / rest,
        output_voltage=D * Vg / rest,
        capacitor_voltages={"C1": Vg, "Co": D * Vg / rest},
        inductor_currents={"L1": D * load / rest, "L2": load},
        source_currents={"Vg": D * load / rest},
        ripple={"L1": D * T * Vg / L1, "L2": D * T * Vg / L2, "Co": D**2 * T * Vg / (rest * R * Co)},
        stress={
            "S": Stress(
                Vg / rest,
                D * load / rest,
                load / rest + ripple / 2,
                sqrt(D * (load**2 / rest**2 + ripple**2 / 12)),
            ),
            "D1": Stress(Vg / rest, load, load / rest + ripple / 2, None),
        },
        efficiency=Integer(1),
        closed_form=True,
        condition=None,
        definitions={"K": parallel},
        holds_when=Ge(K, rest**2),
        proved=True,
        boundary={"K": rest**2, "R": 2 * L1 * L2 / ((L1 + L2) * T * rest**2)},
    )
    idle = {"L1": "idle", "L2": "idle", "C1": "idle", "Co": "supplies"}
    discontinuous = Mode(
        name="DCM",
        intervals=(
            ModeInterval(D, ("S",), "switch", on),
            ModeInterval(sqrt(K), ("D1",), "D1", off),
            ModeInterval(1 - D - sqrt(K), (), "switch", idle),
        ),
        gain=D / sqrt(K),
        output_voltage=D * Vg / sqrt(K),
        capacitor_voltages={"C1": Vg, "Co": D * Vg / sqrt(K)},
        inductor_currents={"L1": D**2 * Vg / (K * R), "L2": D * Vg / (sqrt(K) * R)},
        source_currents={"Vg": D**2 * Vg / (K * R)},
        ripple={"L1": D * T * Vg / L1, "L2": D * T * Vg / L2},
        stress={"S": Stress(Vg * (1 + D / sqrt(K)), None, ripple, ripple * sqrt(D / 3))},
        efficiency=Integer(1),
        closed_form=False,
        condition=(d2**2 - K, Symbol("d2", positive=True) - sqrt(K)),
        definitions={"K": parallel, "d2": sqrt(K)},
        holds_when=Lt(K, rest**2),
        proved=False,
    )
    numbers = Numbers(
        mode="CCM",
        point={"D": 0.4, "T": 1e-5, "Vg": volts, "R": 10.0},
        results={
            "gain": 2 / 3,
            "output_voltage": volts * 2 / 3,
            "efficiency": 1.0,
            "output_ripple": None,
            "capacitor_voltages.C1": float(volts),
            "capacitor_voltages.Co": volts * 2 / 3,
            "inductor_currents.L1": 0.8,
            "inductor_currents.L2": 1.2,
            "source_currents.Vg": 0.8,
            "ripple.L1": 1.0588,
            "ripple.L2": 1.0588,
            "ripple.C1": None,
            "ripple.Co": 0.048,
            **{
                f"stress.{part}.{key}": value
                for part, values in (
                    ("S", (volts / 0.6, 0.8, 3.06, 1.31)),
                    ("D1", (volts / 0.6, 1.2, 3.06, None)),
                    ("L1", (float(volts), 0.8, 1.33, 0.86)),
                    ("L2", (float(volts), 1.2, 1.73, 1.24)),
                    ("C1", (float(volts), 0.0, None, None)),
                    ("Co", (volts * 2 / 3, 0.0, None, None)),
                )
                for key, value in zip(STRESS_KEYS, values, strict=True)
            },
        },
        exact=True,
    )
    units = {"L1": "H", "L2": "H", "C1": "F", "Co": "F", "R": "ohm", "Vg": "V", "D": "1", "T": "s"}
    units |= {"K": "1", "d2": "1"}
    return Solution(
        circuit=sepic_circuit(volts, farad),
        modes=(continuous, discontinuous),
        symbols=units,
        undetermined=("V(C1) − V(C2): only the sum is fixed",),
        warnings=("the first load, R, was taken as the output",),
        numbers=numbers,
    )
