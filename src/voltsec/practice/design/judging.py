"""One stage judged for a task: sized for given ripples, built of given parts, measured at its worst."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import inf, isfinite
from typing import Any

import numpy as np
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Diode, Switch
from voltsec.circuit.fault import CircuitError
from voltsec.circuit.separation import blocking_capacitors, separating_windings
from voltsec.circuit.values import with_values
from voltsec.held.held import held_state
from voltsec.practice.asked import BadValues
from voltsec.practice.design.corners import Array, worst_places
from voltsec.practice.design.equipped import SameParts, equipped, ideal
from voltsec.practice.design.evaluated import Evaluated
from voltsec.practice.design.extremes import Corner, corner_at
from voltsec.practice.design.inverted import continuous_mode
from voltsec.practice.design.least_sizes import least_sizes
from voltsec.practice.design.points import Points, at_words, points_of
from voltsec.practice.design.specification import (
    OUT,
    BadSpecification,
    Limit,
    Specification,
    read_specification,
    sized_symbol,
)
from voltsec.practice.dynamics import told_of
from voltsec.practice.solve import solve
from voltsec.results.solution import Mode, Solution
from voltsec.results.table import inductances

FLOWS = {"input": "input", "output": "output_current"}
DEVICE = ("voltage_peak", "current_rms")
ALONE = 1e-9
"""Less than this of the period without current is none."""
CURVE = 41
"""Points of each curve over the input range."""
PATIENCE = 10.0
"""Seconds of computing time for the formulas of each stage."""


@dataclass(frozen=True)
class Judged:
    """One stage of a comparison."""

    name: str
    circuit: Circuit
    """As it was given; what it is compared as has no losses but those of the same parts."""
    why_not: str
    """Why it cannot do the job; empty where it can."""
    values: dict[str, float | str | Expr | None]
    """By key of :data:`~voltsec.practice.design.judged.MEASURES`; SI units.  ``None``: not determined,
    infinite: no bound.  Keys that do not apply are left out."""
    at: dict[str, Corner] = field(default_factory=dict)
    """Where the numbers lie."""
    sizes: dict[str, float] = field(default_factory=dict)
    """Coils and capacitors that the comparison sized: symbol -> SI units."""
    kept: tuple[str, ...] = ()
    """Those that keep the netlist's values, no formula of a ripple being there to size them."""
    curves: dict[str, Array] = field(default_factory=dict)
    """``input`` (volt), ``duty`` and ``stress`` over the input range at the largest load."""


def judge(name: str, circuit: Circuit, wanted: str, parts: SameParts, limits: Mapping[str, Limit]) -> Judged:
    """One stage; what keeps it from the job is told and not raised, but for a specification without sense."""
    stage = ideal(circuit)
    values: dict[str, float | str | Expr | None] = dict(_structure(stage))
    try:
        specification = read_specification(wanted, stage) if wanted else None
        stage.check()
        solution = solve(_bare(stage), PATIENCE)
        mode = continuous_mode(solution.modes) or next(iter(solution.modes), None)
        if mode is not None and mode.gain is not None:
            values["gain"] = mode.gain
        if specification is None:
            values |= _small_signals(solve(stage, PATIENCE), {}, mode)
            return Judged(name, circuit, "", values)
        return _Stage(name, circuit, stage, solution, specification, parts, limits, values).judged()
    except CircuitError as problem:
        return Judged(name, circuit, problem.faults[0].message, values)
    except BadValues as problem:
        return Judged(name, circuit, str(problem), values)


def _bare(stage: Circuit) -> Circuit:
    """Without values of coils and capacitors: formulas for every value of them."""
    symbols = [q.symbol for e in stage.elements for q in e.quantities if q.unit in ("H", "F")]
    return with_values(stage, dict.fromkeys(symbols))


def _structure(stage: Circuit) -> dict[str, str | float]:
    """What is told without solving anything."""
    counts = {
        "switch": len(stage.switches),
        "diode": len(stage.diodes),
        "coil": len(stage.inductors),
        "capacitor": len(stage.capacitors),
        "transformer": len(stage.transformers),
    }
    words = [f"{count} {kind}{'' if count == 1 else 's'}" for kind, count in counts.items() if count]
    windings, blocking = separating_windings(stage), blocking_capacitors(stage)
    separation = "none"
    if windings:
        separation = f"galvanic, by {', '.join(windings)}"
    elif blocking:
        separation = f"direct current, by {', '.join(blocking)}"
    return {
        "parts": ", ".join(words),
        "part_count": float(sum(counts.values())),
        "separation": separation,
        "held_off": _held_off(stage),
    }


def _held_off(stage: Circuit) -> str:
    """Whether the input feeds the output through switches that stay off."""
    try:
        state = held_state(stage, {switch.name: "off" for switch in stage.switches})
    except CircuitError:
        return "not determined"
    if state.shorts:
        return "input shorted"
    if state.reaches is None:
        return "not determined"
    return "input feeds the output" if state.reaches else "output off"


def _small_signals(
    solution: Solution, point: Mapping[str, float], mode: Mode | None
) -> dict[str, float | None]:
    """Poles, and zeros in the right half plane, of the output's response to the duty."""
    found: dict[str, float | None] = {"order": None, "right_zeros": None}
    if mode is None or not solution.circuit.duty_symbols:
        return found
    try:
        told = told_of(solution, point, None, mode.name, ("duty",))
    except (ValueError, CircuitError):
        return found
    response = told.model.response("duty", solution.circuit.duty_symbols[0])
    transfer = None if response is None else response.averaged
    if transfer is not None:
        scale = max((abs(zero) for zero in transfer.poles), default=1.0)
        found["order"] = float(len(transfer.poles))
        found["right_zeros"] = float(sum(zero.real > ALONE * scale for zero in transfer.zeros))
    return found


@dataclass
class _Stage:
    name: str
    circuit: Circuit
    stage: Circuit
    solution: Solution
    specification: Specification
    parts: SameParts
    limits: Mapping[str, Limit]
    values: dict[str, float | str | Expr | None]
    kept: tuple[str, ...] = ()

    def judged(self) -> Judged:
        """All measures."""
        points, sizes = self._sized()
        worn = equipped(self.stage, self.parts)
        points = replace(points, circuit=worn, sizes=sizes)
        evaluated = Evaluated(self.solution, points, formulas=False)
        corners = points.box.corners()
        if points.duty is not None:
            self._reached(evaluated, corners)
        at = self._numbers(evaluated)
        self._flows(evaluated, corners)
        self._signals(evaluated, corners)
        return Judged(self.name, self.circuit, "", self.values, at, sizes, self.kept, self._curves(evaluated))

    def _sized(self) -> tuple[Points, dict[str, float]]:
        """Coils and capacitors for the same ripples; those without a formula keep their values."""
        stage = self.stage
        coils = inductances(stage)
        wanted: dict[str, Limit] = {part: self.limits["coils"] for part in coils}
        across = sized_symbol(OUT, stage)
        for capacitor in stage.capacitors:
            out = capacitor.quantity.symbol == across
            wanted[OUT if out else capacitor.name] = self.limits[OUT if out else "capacitors"]
        wanted = {
            part: limit
            for part, limit in wanted.items()
            if sized_symbol(part, stage) not in self.specification.ranges
        }
        while True:
            sought = {part: str(sized_symbol(part, stage)) for part in wanted}
            specification = replace(self.specification, ripples=wanted)
            points = points_of(stage, specification, tuple(sought.values()))
            try:
                _, chosen = least_sizes(self.solution, points, sought, lambda part, value: Fraction(value))
                return points, {sought[part]: float(value) for part, value in chosen.items()}
            except BadSpecification as problem:
                part = next((p for p in wanted if str(problem).startswith(f"ripple({p})")), None)
                if part is None or sought[part] not in stage.values:
                    raise
                del wanted[part]
                self.kept = (*self.kept, sought[part])

    def _reached(self, evaluated: Evaluated, corners: Array) -> None:
        found = evaluated.duties(corners)
        if np.isfinite(found).all():
            return
        place = corners[~np.isfinite(found)][0]
        target = evaluated.points.target(place[None, :])
        volts = 0.0 if target is None else float(target[0])
        raise BadSpecification(
            f"{at_words(evaluated.points, place)}no duty was found that gives {volts:.4g} V with the losses "
            "of these parts"
        )

    def _numbers(self, evaluated: Evaluated) -> dict[str, Corner]:
        """Numbers at their worst points."""
        points = evaluated.points
        stresses = {
            kind: [element.name for element in points.circuit.of(cls)]
            for kind, cls in (("switch", Switch), ("diode", Diode), ("capacitor", Capacitor))
        }
        coils = inductances(points.circuit)
        names = [
            f"stress.{p}.{k}"
            for p in (*stresses["switch"], *stresses["diode"])
            for k in ("voltage_peak", "current_rms")
        ]
        names += [f"stress.{p}.current_rms" for p in stresses["capacitor"]]
        names += [f"stress.{p}.current_peak" for p in coils]
        names += [f"source_currents.{s.name}" for s in points.circuit.sources] + [
            "efficiency",
            "output_voltage",
        ]
        henry = {name: self._henry(name, points) for name in coils}

        def evaluate(places: Array) -> dict[str, Array]:
            found = evaluated.at(places, tuple(names))
            table = {name: found[name] for name in names if name.startswith("stress.")}
            table["efficiency"] = found["efficiency"]
            drawn = sum(
                np.maximum(found[f"source_currents.{s.name}"], 0.0)
                * self._volts(s.quantity.symbol, places, points)
                for s in points.circuit.sources
            )
            table["losses"] = drawn * (1 - found["efficiency"])
            table["power"] = drawn * found["efficiency"]
            table["energy"] = sum(
                (henry[n] * found[f"stress.{n}.current_peak"] ** 2 / 2 for n in coils), np.zeros(len(places))
            )
            table["capacitor_current"] = sum(
                (found[f"stress.{n}.current_rms"] for n in stresses["capacitor"]), np.zeros(len(places))
            )
            if points.duty is not None:
                duty = evaluated.duties(places)
                table |= {"duty_least": duty, "duty_largest": duty}
            return table

        worst = worst_places(points.box, evaluate, ("efficiency", "duty_least"))
        at: dict[str, Corner] = {}
        for key in ("efficiency", "losses", "energy", "capacitor_current", "duty_least", "duty_largest"):
            self.values[key] = None
            if key in worst:
                self.values[key] = worst[key].value
                at[key] = corner_at(evaluated, worst[key])[0]
        for kind in ("switch", "diode"):
            for word, key in (("voltage", "voltage_peak"), ("current", "current_rms")):
                pairs = [(worst[n], n) for p in stresses[kind] if (n := f"stress.{p}.{key}") in worst]
                self.values[f"{kind}_{word}"] = None
                if pairs and len(pairs) == len(stresses[kind]):
                    most = max(pairs, key=lambda pair: pair[0].value)[0]
                    self.values[f"{kind}_{word}"] = most.value
                    at[f"{kind}_{word}"] = corner_at(evaluated, most)[0]
        total = 0.0
        for part in stresses["switch"]:
            both = [worst.get(f"stress.{part}.{key}") for key in DEVICE]
            total += inf if None in both else both[0].value * both[1].value  # type: ignore[union-attr]
        if stresses["diode"] == []:
            self.values.pop("diode_voltage"), self.values.pop("diode_current")
        self.values["stress"] = total if isfinite(total) else None
        power = worst.get("power")
        self.values["utilisation"] = (
            power.value / total if power is not None and isfinite(total) and total else None
        )
        return at

    def _henry(self, name: str, points: Points) -> float:
        known = {symbol: float(value) for symbol, value in self.stage.values.items()} | points.sizes
        return known[str(sized_symbol(name, self.stage))]

    def _volts(self, symbol: str, places: Array, points: Points) -> Array | float:
        named = points.values(places)
        return named[symbol] if symbol in named else float(self.stage.values[symbol])

    def _flows(self, evaluated: Evaluated, corners: Array) -> None:
        """Polarity, and how the ports' currents flow at the largest load."""
        full = evaluated.points.full_load(corners)
        known = [
            f"{port}_{what}"
            for port in FLOWS.values()
            for what in ("share", "step")
            if f"{port}_{what}" in evaluated.table
        ]
        found = evaluated.at(full, ("output_voltage", *known))
        self.values["polarity"] = "inverting" if (found["output_voltage"] < 0).all() else "same as the input"
        for key, port in FLOWS.items():
            if f"{port}_share" not in known:
                self.values[key] = "not determined"
                continue
            share, step = found[f"{port}_share"], found[f"{port}_step"]
            if not (np.isfinite(share).all() and np.isfinite(step).all()):
                self.values[key] = "not determined"
            else:
                smooth = (share > 1 - ALONE).all() and (step == 0).all()
                self.values[key] = "continuous" if smooth else "pulsating"

    def _signals(self, evaluated: Evaluated, corners: Array) -> None:
        """Zeros and poles at the largest load, where most of them lie right."""
        points = evaluated.points
        point: dict[str, Any] = {n: float(v) for n, v in self.stage.values.items()}
        full = points.full_load(corners)[:1]
        point |= {name: float(value[0]) for name, value in points.values(full).items()}
        if points.duty is not None:
            point[points.duty] = float(evaluated.duties(full)[0])
        own = {q.symbol for q in self.stage.quantities}
        mode = continuous_mode(self.solution.modes)
        self.values |= _small_signals(self.solution, {n: v for n, v in point.items() if n in own}, mode)

    def _curves(self, evaluated: Evaluated) -> dict[str, Array]:
        """Gain's input, duty and switch stress over the input range at the largest load."""
        points = evaluated.points
        source = points.circuit.input.quantity.symbol
        axes = [axis.name for axis in points.box.axes]
        if source not in axes:
            return {}
        number = axes.index(source)
        axis = points.box.axes[number]
        places = np.repeat(points.full_load(points.box.corners()[:1]), CURVE, axis=0)
        places[:, number] = np.linspace(axis.low, axis.high, CURVE)
        names = [
            f"stress.{s.name}.{k}" for s in points.circuit.switches for k in ("voltage_peak", "current_rms")
        ]
        found = evaluated.at(places, (*names, "output_voltage"))
        stress = sum(
            found[f"stress.{s.name}.voltage_peak"] * found[f"stress.{s.name}.current_rms"]
            for s in points.circuit.switches
        )
        curves = {"input": places[:, number], "gain": found["output_voltage"] / places[:, number]}
        curves["stress"] = np.asarray(stress)
        if points.duty is not None:
            curves["duty"] = evaluated.duties(places)
        return curves
