"""Remarks on an answer in circuit terms: what it leaves open, and diodes that never turn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from voltsec.circuit.circuit import Circuit
from voltsec.formulas.engine import engine_of
from voltsec.periodic.balance import Balance
from voltsec.results.solution import Mode, Numbers, Solution
from voltsec.tableau.network import coils

OF_CURRENTS = "write their resistances into the netlist to have it decided"
OF_VOLTAGES = "write a resistor across each (its leakage or load) into the netlist to have it decided"
BY_RIPPLE = "; in the numbers ripple alone decides it"
BY_LEAKAGE = "; the numbers tell where any leakage, however small, leads"


def undetermined(balance: Balance) -> list[tuple[str, ...]]:
    """Capacitor voltages or coil currents that the equations do not fix, those that share together."""
    solved = balance.averages.solved
    names: dict[tuple[Any, ...], str] = {("V", c.name): f"V({c.name})" for c in balance.circuit.capacitors}
    names |= {("m", 0, ("i", c.name)): f"i({c.name})" for c in coils(balance.circuit)}
    one = balance.ring.one
    tied: dict[Any, Any] = {}
    for unknown, label in names.items():
        terms = solved[unknown][1] if unknown in solved else {unknown: one}
        for free in terms:
            if free is not None:
                tied.setdefault(free, []).append(label)
    return [tuple(labels) for labels in tied.values()]


def open_line(labels: Sequence[str]) -> str:
    """What is left open, such as ``i(L1), i(L2)``, and what settles it."""
    cure = OF_VOLTAGES if all(label.startswith("V(") for label in labels) else OF_CURRENTS
    if len(labels) == 1:
        return f"{labels[0]}: ideal parts leave it open; {cure}"
    return f"{', '.join(labels)}: ideal parts leave open how they share; {cure}"


def left_open(answer: Solution, numbers: Numbers) -> tuple[str, ...]:
    """The formulas' lines, and one for what only the exact state leaves open.

    What the formulas leave open and the numbers tell is decided there by ripple alone, which any resistance
    outweighs, or by whatever leaks; its line says so.
    """
    told = {f"V({name})": value for name, value in numbers.capacitor_voltages.items()}
    told |= {f"i({name})": value for name, value in numbers.inductor_currents.items()}
    groups = dict.fromkeys(
        group for _, builder in engine_of(answer).builders for group in undetermined(builder.balance)
    )
    lines = []
    for group in groups:
        decided = all(told.get(label) is not None for label in group)
        decides = BY_LEAKAGE if numbers.leaks & set(group) else BY_RIPPLE
        lines.append(open_line(group) + decides * decided)
    named = {label for group in groups for label in group}
    for kind in "Vi":
        more = [label for label, value in told.items() if value is None and label[0] == kind]
        more = [label for label in more if label not in named]
        if more:
            lines.append(open_line(more))
    leaky = [label for label in told if label in numbers.leaks - named]
    if leaky:
        lines.append(open_line(leaky) + BY_LEAKAGE)
    shared = [
        f"i({name.removeprefix('stress.').removesuffix('.current_average')})"
        for name, value in numbers.results.items()
        if value is None and name.endswith(".current_average") and name not in numbers.unbounded
    ]
    shared = [label for label in shared if label not in named and label not in told]
    if shared:
        lines.append(open_line(shared))
    parts = dict.fromkeys(
        name.split(".")[1]
        for name, value in numbers.results.items()
        if value is None and name.startswith(("stress.", "ripple.")) and name not in numbers.unbounded
    )
    if lines and parts:
        lines.append(
            f"what hangs on it is left open as well: ripple, peak or rms values of {', '.join(parts)}"
        )
    return tuple(lines)


def device_notes(circuit: Circuit, modes: Sequence[Mode]) -> list[str]:
    """One line for each diode that conducts in no interval of any mode, or all the time in some."""
    lines: list[str] = []
    for diode in circuit.diodes:
        never = [mode.name for mode in modes if not any(diode.name in i.conducting for i in mode.intervals)]
        always = [mode.name for mode in modes if all(diode.name in i.conducting for i in mode.intervals)]
        if modes and len(never) == len(modes):
            lines.append(f"{diode.name} conducts in no interval of any mode: it only blocks")
        elif len(always) == len(modes):
            lines.append(f"{diode.name} conducts all the time in every mode")
        elif always:
            lines.append(f"{diode.name} conducts all the time in {', '.join(always)}")
    return lines
