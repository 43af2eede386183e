"""What ``solve`` returns: modes with their formulas, as frozen values made of sympy expressions.

All symbols are plain positive ``sympy.Symbol``s named as in the netlist, plus the duty symbols, ``T`` and
the named quantities listed under a mode's ``definitions``.  Formulas are in SI units.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Source
from voltsec.circuit.fault import Fault, NoSteadyState


@dataclass(frozen=True)
class ModeInterval:
    """One interval of a mode: its share of the period, what conducts, what ends it, who feeds whom."""

    fraction: Expr
    conducting: tuple[str, ...]
    """Switches and diodes that conduct, in netlist order."""
    ends: str
    """``"switch"`` or the diodes that end it, ``"D1"`` or ``"D1, D2"``."""
    roles: dict[str, str]
    """Coil and capacitor names -> absorbs, supplies or idle (magnetizing inductances by symbol)."""


@dataclass(frozen=True)
class Stress:
    """Stress of one element; an entry is ``None`` where the model does not determine it."""

    voltage_peak: Expr | None = None
    current_average: Expr | None = None
    current_peak: Expr | None = None
    current_rms: Expr | None = None


@dataclass(frozen=True)
class Mode:
    """One way the circuit conducts, with its formulas and the region where it holds."""

    name: str
    """Short and unique: CCM, CCM 2, DCM, DCM 2 ..."""
    intervals: tuple[ModeInterval, ...]
    gain: Expr | None
    output_voltage: Expr | None
    capacitor_voltages: dict[str, Expr | None]
    inductor_currents: dict[str, Expr | None]
    source_currents: dict[str, Expr | None]
    ripple: dict[str, Expr | None]
    stress: dict[str, Stress]
    efficiency: Expr | None
    closed_form: bool
    condition: tuple[Expr, ...] | None
    """Implicit polynomials (each equal to zero) where no closed form is given."""
    definitions: dict[str, Expr]
    """Named quantities that occur in the formulas (K, d2, ...) -> what they stand for."""
    holds_when: Boolean | None
    """``None``: for all 0 < D < 1 and positive parameters."""
    proved: bool
    boundary: dict[str, Expr] = field(default_factory=dict)
    """Edge to the next mode where one is known: keys among K, R, and inductor names (least value)."""
    losses: dict[str, Expr | None] = field(default_factory=dict)
    """Conduction loss of every part with a resistance or drop, watt."""
    label: str = ""
    """The name for people: kind and what stops (``CCM, LM resets``, ``DCM: L2 stops first``)."""
    states: tuple[str, ...] = ()
    """Names by which formulas refer to the mode's coil currents, capacitor voltages and ripples."""

    @property
    def written(self) -> bool:
        """False for a mode of which only numbers are told, its exact formulas being too long."""
        return self.closed_form or self.condition is not None


@dataclass(frozen=True)
class PortNumbers:
    """How a port's current flows at one point."""

    continuous: bool
    """Flows during the whole period and makes no step; otherwise it is pulsating."""
    share: float
    """Share of the period in which it flows."""
    ripple: float
    """Peak to peak, ampere (coils' ramps included)."""


WHOLE = 1e-9
"""A current flows all the time where no more of the period than this is missing."""


@dataclass(frozen=True)
class Numbers:
    """Numbers at one operating point, SI units.

    ``mode`` is the mode whose formulas hold there, empty where none does.
    """

    mode: str
    point: dict[str, float]
    results: dict[str, float | None]
    """Every result of :mod:`voltsec.results.table` by name; None where it is not determined."""
    exact: bool = False
    """True for the exact periodic state, ripple included; False for what the formulas come to."""
    bounds: frozenset[str] = frozenset()
    """Results that are upper bounds (``stress.S.voltage_peak``): ideal parts leave open who takes what."""
    unbounded: frozenset[str] = frozenset()
    """Results without a value because charge or flux jumps in no time."""
    leaks: frozenset[str] = frozenset()
    """States such as ``V(Co)`` that ideal parts leave open and any leakage, however small, decides."""
    formulas: Numbers | None = None
    """The small-ripple formulas' values at the same point; None where no mode with formulas holds."""

    @property
    def gain(self) -> float | None:
        """Output over input voltage; None where it is not determined."""
        return self.results["gain"]

    @property
    def output_voltage(self) -> float | None:
        """Average output voltage, volt."""
        return self.results["output_voltage"]

    @property
    def efficiency(self) -> float | None:
        """Power taken over power given, 0 to 1; None without any power."""
        return self.results["efficiency"]

    @property
    def output_ripple(self) -> float | None:
        """Peak to peak, volt, with the drop over the output capacitor's series resistance."""
        return self.results["output_ripple"]

    @property
    def capacitor_voltages(self) -> dict[str, float | None]:
        """Average voltage of every capacitor, volt."""
        return self.group("capacitor_voltages")

    @property
    def inductor_currents(self) -> dict[str, float | None]:
        """Average current of every inductor (magnetizing inductances by symbol), ampere."""
        return self.group("inductor_currents")

    @property
    def source_currents(self) -> dict[str, float | None]:
        """Average current drawn from every source, ampere."""
        return self.group("source_currents")

    @property
    def ripple(self) -> dict[str, float | None]:
        """Peak to peak, of inductor currents (ampere), then capacitor voltages (volt)."""
        found = self.group("ripple")
        return {name: found[name] for name in (*self.inductor_currents, *self.capacitor_voltages)}

    @property
    def losses(self) -> dict[str, float | None]:
        """Conduction loss of every part with a resistance or drop, watt."""
        return self.group("losses")

    @property
    def other_losses(self) -> dict[str, float | None]:
        """Losses beside conduction that the netlist's properties tell, ``S.turn_on`` ..., watt."""
        return self.group("other_losses")

    @property
    def overall_efficiency(self) -> float | None:
        """Efficiency with the losses beside conduction; None without any."""
        return self.results.get("overall_efficiency")

    @property
    def stress(self) -> dict[str, dict[str, float | None]]:
        """For every part its ``voltage_peak``, ``current_average``, ``current_peak`` and ``current_rms``."""
        found: dict[str, dict[str, float | None]] = {}
        for name, value in self.group("stress").items():
            part, _, key = name.rpartition(".")
            found.setdefault(part, {})[key] = value
        return found

    @property
    def input_current(self) -> PortNumbers | None:
        """How the input's current flows; None where it is not determined."""
        return self._port("input")

    @property
    def output_current(self) -> PortNumbers | None:
        """How the current into load and output capacitors flows; None where it is not determined."""
        return self._port("output_current")

    def group(self, name: str) -> dict[str, float | None]:
        """Results whose name begins with ``name`` and a dot, by the rest of it."""
        start = f"{name}."
        return {key[len(start) :]: value for key, value in self.results.items() if key.startswith(start)}

    def _port(self, name: str) -> PortNumbers | None:
        share, step, ripple = (self.results.get(f"{name}_{what}") for what in ("share", "step", "ripple"))
        if share is None or ripple is None:
            return None
        return PortNumbers(share > 1 - WHOLE and step == 0, share, ripple)


@dataclass(frozen=True)
class Solution:
    """The answer for a circuit: every mode found, what stays open, numbers at the operating point."""

    circuit: Circuit
    modes: tuple[Mode, ...]
    symbols: dict[str, str]
    """Every symbol that occurs in a formula -> unit."""
    undetermined: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    numbers: Numbers | None = None
    without_formulas: Fault | None = None
    """Why there are no modes, only numbers; None where there are some."""
    engine: object = field(default=None, compare=False, repr=False)
    """What the modes were made by; :func:`voltsec.formulas.engine.engine_of` tells how to ask it."""
    evaluate: Callable[[dict[str, float]], Numbers | None] | None = field(
        default=None, compare=False, repr=False
    )
    """Numbers at a point that has a value for every symbol; None where there are none."""

    @property
    def gain(self) -> Expr | None:
        """Output over input in the first mode (continuous conduction where it exists)."""
        return self.modes[0].gain if self.modes else None

    @property
    def output_voltage(self) -> Expr | None:
        """Output voltage in the first mode; None without modes."""
        return self.modes[0].output_voltage if self.modes else None

    def need_modes(self) -> None:
        """Raise :class:`NoSteadyState` with the reason where there are no formulas to work with."""
        if not self.modes and self.without_formulas is not None:
            raise NoSteadyState((self.without_formulas,), self.circuit.file, self.circuit.text)

    def __repr__(self) -> str:
        lines = [f"<steady state of {self.circuit.name}"]
        for mode in self.modes:
            ratio = "" if mode.gain is None else f": V/{self.circuit.input.quantity.symbol} = {mode.gain}"
            lines.append(f"  {mode.label or mode.name}{ratio}")
        return "\n".join(lines) + ">"

    def _repr_latex_(self) -> str:
        from voltsec.report.notebook import latex  # only a notebook asks for it

        return latex(self)

    def _repr_html_(self) -> str:
        from voltsec.report.notebook import html

        return html(self)

    def at(self, **values: float) -> Numbers:
        """Numbers at a point: the netlist's values, changed by ``values`` (symbols, SI units).

        Raises ValueError where a symbol is unknown or lacks a value, LookupError where no periodic
        state could be verified at the point.
        """
        known = {symbol: float(value) for symbol, value in self.circuit.values.items()}
        needed = {quantity.symbol for quantity in self.circuit.quantities}
        unknown = set(values) - needed
        if unknown:
            raise ValueError(f"unknown symbols: {', '.join(sorted(unknown))}")
        point = known | {name: float(value) for name, value in values.items()}
        missing = needed - set(point)
        if missing:
            raise ValueError(f"values are missing for: {', '.join(sorted(missing))}")
        for coupling in self.circuit.couplings:
            if coupling.coefficient is not None and coupling.symbol not in values:
                pair = [point[self.circuit.symbol_of(name)] for name in (coupling.first, coupling.second)]
                product = pair[0] * pair[1]
                point[coupling.symbol] = float(coupling.coefficient) * math.sqrt(product)
        duties, phases = set(self.circuit.duty_symbols), set(self.circuit.phase_symbols)
        signed = {source.quantity.symbol for source in self.circuit.of(Source, CurrentSource)}
        for name in values:
            if name in duties and not 0 < point[name] < 1:
                raise ValueError(f"a duty lies between 0 and 1: {name} = {point[name]:g}")
            if name in phases and not 0 <= point[name] <= 1:
                raise ValueError(f"the start of an on-time lies in 0…1: {name} = {point[name]:g}")
            if name not in duties | phases | signed and not point[name] > 0:
                raise ValueError(f"a value above zero is needed: {name} = {point[name]:g}")
        numbers = None if self.evaluate is None else self.evaluate(point)
        if numbers is None:
            raise LookupError("no periodic state could be verified at this point")
        return numbers

    def startup(
        self,
        periods: int | None = None,
        start: str | None = None,
        steps: tuple[str, ...] = (),
        show: str | None = None,
        **values: float,
    ) -> Any:
        """The stage followed exactly from rest or another state: ``answer.startup(steps=("R: 10 -> 5",))``.

        See :func:`voltsec.practice.startup.startup`; ``values`` (symbols, SI units) change the operating
        point.
        """
        from voltsec.practice.startup import startup

        return startup(self.circuit, periods, start, steps, show, values)

    def sweep(self, quantities: tuple[str, ...] | None = None, executor: Any = None, **values: Any) -> Any:
        """Numbers at many points: ``answer.sweep(D=array, R=array).gain``.

        Arrays (SI units) broadcast against each other; the mode is chosen point by point.
        ``quantities`` are names such as ``stress.S.voltage_peak``, and ``executor`` any
        ``concurrent.futures.Executor`` to run the chunks on (see :mod:`voltsec.practice.sweep`).
        """
        from voltsec.practice.sweep import ORDINARY, sweep

        return sweep(self, values, ORDINARY if quantities is None else tuple(quantities), executor)

    def waves(self, show: Any = None, periods: int = 1, **values: float) -> Any:
        """Waveforms of the exact steady state: ``answer.waves("v(out), i(L1)", D=0.4)["i(L1)"].values``.

        ``show`` lists traces (see :mod:`voltsec.practice.traces_wanted`), ``values`` change the netlist's
        (symbols, SI units).  The :class:`voltsec.practice.waves.Waves` that comes back has ``time`` (n,) in
        seconds and for each trace ``values`` (n,) in volt or ampere; a notebook shows it as a figure.
        """
        from voltsec.practice.waves import waves

        return waves(self, show, periods, values)

    def transfer(self, control: str = "D", output: str = "V", form: str = "scipy") -> Any:
        """The response of ``output`` to ``control`` at the operating point, scipy's ``TransferFunction``.

        ``control`` is a duty, the input's symbol or ``Io`` (a current fed into the output); ``output`` is
        ``V``, ``I`` (the current drawn from the input) or a trace such as ``v(C1)``.  ``form="control"``
        gives a ``control.TransferFunction``, ``form="symbolic"`` the ratio in ``s`` and the circuit's
        symbols.  Raises ValueError for names that are not there.
        """
        from voltsec.practice.dynamics import transfer

        return transfer(self, control, output, form)
