"""The state a start begins with: ``rest``, ``steady``, or ``v(Co)=5, i(L1)=2``."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.spelling import hint_among
from voltsec.practice.asked import BadValues
from voltsec.practice.axes import read_value
from voltsec.results.table import inductances
from voltsec.waveforms.network import PeriodNetwork
from voltsec.waveforms.state import state_from

REST, STEADY = "rest", "steady"
_ONE = re.compile(r"\s*([vi])\s*\(\s*([^()\s]*)\s*\)\s*=\s*([^,=]+?)\s*")


def read_state(text: str, circuit: Circuit) -> dict[str, float] | None:
    """Voltages of capacitors and currents of coils by name, SI units; None for the steady state.

    Whatever is not named is zero.  Raises :class:`BadValues`.
    """
    if text.strip() == REST:
        return {}
    if text.strip() == STEADY:
        return None
    capacitors = [capacitor.name for capacitor in circuit.capacitors]
    coils = list(inductances(circuit))
    such = _such(capacitors, coils)
    found: dict[str, float] = {}
    for piece in text.split(","):
        match = _ONE.fullmatch(piece)
        if match is None:
            raise BadValues(f"--from takes rest, steady or values such as {such}, not {piece.strip()!r}")
        letter, name, value = match.groups()
        known, kind, other = (capacitors, "capacitor", coils)
        if letter == "i":
            known, kind, other = (coils, "coil", capacitors)
        if name in other:
            right, holds = ("i", "current") if letter == "v" else ("v", "voltage")
            raise BadValues(
                f"--from: {name} begins with a {holds}, {right}({name}), not with {letter}({name})"
            )
        if name not in known:
            hint = hint_among(name, known) if known else f"there is no {kind}"
            raise BadValues(f"--from: no {kind} is called {name or '()'}; {hint}")
        if name in found:
            raise BadValues(f"--from: {letter}({name}) is given twice")
        found[name] = read_value(f"--from: {letter}({name})", value, "V" if letter == "v" else "A")
    return found


def _such(capacitors: list[str], coils: list[str]) -> str:
    parts = [f"v({capacitors[-1]})=5"] if capacitors else []
    parts += [f"i({coils[0]})=2"] if coils else []
    return '"' + ", ".join(parts) + '"'


def start_state(network: PeriodNetwork, values: Mapping[str, float]) -> np.ndarray:
    """(n,): the state in energy coordinates with ``values`` by name, SI units."""
    point = network.point
    found = []
    for flux in network.fluxes:
        coil = float(point[flux.coil.symbol][0])
        symbols = {name: network.circuit.element(name).quantities[0].symbol for name, _ in flux.windings[1:]}
        turns = {name: np.sqrt(float(point[symbol][0]) / coil) for name, symbol in symbols.items()}
        found.append(sum(values.get(name, 0.0) * turns.get(name, 1.0) for name, _ in flux.windings))
    found += [values.get(capacitor.name, 0.0) for capacitor in network.circuit.capacitors]
    return state_from(network, np.array(found))
