"""How the exact elimination grows: a ladder of quadratic step-up cells, one switch for all of them."""

from __future__ import annotations

import time

import pytest

import voltsec
from voltsec.circuit.graph import references
from voltsec.periodic.balance import Balance

from .baseline import two_intervals

CELLS = range(1, 7)
TARGETS = {False: {1: 0.05}, True: {1: 1.0}}
"""Seconds, where one was set: the ideal quadratic stage, and the one with eleven losses."""
RUNS = 3


def ladder(cells: int, lossy: bool) -> str:
    """Netlist: each cell is a coil, a diode to its capacitor and a diode to the common switch."""

    def part(statement: str, *properties: str) -> str:
        return statement + (f" {{ {', '.join(properties)} }}" if lossy and properties else "")

    lines = ["source Vg : in -> gnd"]
    node = "in"
    for k in range(1, cells + 1):
        lines += [
            part(f"inductor L{k} : {node} -> a{k}", "resistance"),
            part(f"diode DC{k} : a{k} -> b{k}", "resistance", "drop"),
            part(f"diode DS{k} : a{k} -> c", "resistance", "drop"),
            part(f"capacitor C{k} : b{k} -> gnd", "resistance"),
        ]
        node = f"b{k}"
    lines += [
        part(f"inductor L{cells + 1} : {node} -> c", "resistance"),
        part("switch S : c -> gnd", "resistance"),
        part("diode DO : c -> out", "resistance", "drop"),
        part("capacitor Co : out -> gnd", "resistance"),
        "load R : out -> gnd",
    ]
    return "\n".join(lines)


def measured(cells: int, lossy: bool) -> tuple[float, int, int, Balance]:
    """Seconds, unknowns, terms of the output voltage, and the balance solved last."""
    circuit = voltsec.read(ladder(cells, lossy))
    numbers = range(1, cells + 1)
    sequence = two_intervals(
        " ".join(["S", *(f"DS{k}" for k in numbers)]), " ".join(["DO", *(f"DC{k}" for k in numbers)])
    )
    best = float("inf")
    for _ in range(RUNS):
        start = time.perf_counter()
        balance = Balance(circuit, sequence, references(circuit))
        output = balance.capacitor_voltage("Co")
        best = min(best, time.perf_counter() - start)
    assert output is not None
    return best, len(balance.averages.solved), sum(map(len, output)), balance


@pytest.mark.parametrize("lossy", [False, True], ids=["ideal", "lossy"])
def test_growth_with_the_number_of_cells(lossy: bool, capfd: pytest.CaptureFixture) -> None:
    rows = []
    for cells in CELLS:
        seconds, unknowns, terms, balance = measured(cells, lossy)
        rows.append((cells, seconds, unknowns, terms))
        if not lossy:
            # one ideal cell multiplies by 1/(1 - D), here 1/#2 with #1 + #2 = 1; so does the last stage
            top, bottom = balance.capacitor_voltage("Co")
            shares = {"#1": 0.4, "#2": 0.6, "Vg": 1.0}
            point = dict.fromkeys(balance.ring.names, 1.0) | shares
            gain = balance.ring.value(top, point) / balance.ring.value(bottom, point)
            assert gain == pytest.approx(0.6 ** -(cells + 1))
    with capfd.disabled():
        print(f"\n{'lossy' if lossy else 'ideal'} ladder\ncells  unknowns  terms   seconds   target")
        for cells, seconds, unknowns, terms in rows:
            target = TARGETS[lossy].get(cells)
            beside = "" if target is None else f"{target:9.2f}"
            print(f"{cells:5}  {unknowns:8}  {terms:5}  {seconds:8.4f}{beside}")
    # six cells have three times the unknowns of one; a dense elimination grows far faster than this
    assert rows[-1][1] < 2000 * max(rows[0][1], 1e-3)
