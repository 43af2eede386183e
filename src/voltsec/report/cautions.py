"""Short cautions for whoever builds the circuit, each only where it applies.

The limits are those of table "Facts for cautions" in the project's references: 60 V d.c. as the usual
extra-low limit, 20 J as hazardous energy in a capacitor.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from math import isfinite, sqrt

from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.separation import blocking_capacitors
from voltsec.report.quantity import engineering
from voltsec.report.read_back import Writer
from voltsec.results.solution import Numbers, Solution

EXTRA_LOW_VOLTAGE = 60.0
HAZARDOUS_ENERGY = 20.0
NamedFunction = Callable[[Mapping[str, float]], float | None]
FUNCTIONS = {"__builtins__": {}, "sqrt": sqrt, "Max": max, "Min": min, "Abs": abs}
CLOSING = (
    "Formulas of an idealised circuit are no design approval: local codes and the judgement of a "
    "qualified practitioner come first."
)


def cautions(solution: Solution) -> tuple[str, ...]:
    """Every caution that applies to ``solution``; the closing one always does."""
    return (*_voltage(solution), *_energy(solution), *_open_output(solution), *_isolation(solution), CLOSING)


def cautions_at(circuit: Circuit, numbers: Numbers) -> tuple[str, ...]:
    """What can injure at one point: its voltages, the energy it stores."""
    return (*_reached(numbers), *_stored(circuit, numbers))


def _voltage(solution: Solution) -> Iterator[str]:
    numbers = solution.numbers
    if numbers is None:
        return
    reached = tuple(_reached(numbers))
    if reached:
        yield from reached
        return
    duty = _duty_passing(solution, EXTRA_LOW_VOLTAGE)
    if duty is not None:
        name = solution.circuit.duty_symbols[0]
        yield (f"The output passes 60 V DC, the usual extra-low limit, above {name} = {duty:.2f}.")


def _reached(numbers: Numbers) -> Iterator[str]:
    worst = max(_voltages(numbers), default=None)
    if worst is not None and worst[0] > EXTRA_LOW_VOLTAGE:
        yield voltage_caution(*worst)


def voltage_caution(volts: float, where: str) -> str:
    """What is said where ``where`` ("The output") reaches ``volts`` above the extra-low limit."""
    return (
        f"{where} reaches {engineering(volts, 'V', digits=3)}, above the usual extra-low limit "
        "of 60 V DC: treat it as able to injure."
    )


def energy_caution(joule: float, capacitor: str) -> str:
    """What is said where a capacitor stores more than the hazardous energy."""
    return (
        f"{capacitor} stores {engineering(joule, 'J', digits=3)} (more than 20 J) and keeps it "
        "after switch-off: bleed, measure, then touch."
    )


def _voltages(numbers: Numbers) -> Iterator[tuple[float, str]]:
    """Voltage magnitudes at the operating point with the place where they stand."""
    if numbers.output_voltage is not None:
        yield abs(numbers.output_voltage), "The output"
    for name, value in numbers.capacitor_voltages.items():
        if value is not None:
            yield abs(value), f"Capacitor {name}"
    for name, stress in numbers.stress.items():
        value = stress.get("voltage_peak")
        if value is not None:
            yield abs(value), f"The voltage across {name}"


def _energy(solution: Solution) -> Iterator[str]:
    if solution.numbers is not None:
        yield from _stored(solution.circuit, solution.numbers)


def _stored(circuit: Circuit, numbers: Numbers) -> Iterator[str]:
    values = {name: float(value) for name, value in circuit.values.items()} | numbers.point
    for capacitor in circuit.capacitors:
        voltage = numbers.capacitor_voltages.get(capacitor.name)
        size = values.get(capacitor.quantity.symbol)
        if voltage is None or size is None:
            continue
        energy = size * voltage**2 / 2
        if energy > HAZARDOUS_ENERGY:
            yield energy_caution(energy, capacitor.name)


def _open_output(solution: Solution) -> Iterator[str]:
    if solution.circuit.diodes and _steps_up_without_bound(solution):
        yield ("Do not run it without a load: the output of this stage then has no bound.")


def _isolation(solution: Solution) -> Iterator[str]:
    circuit = solution.circuit
    blocking = blocking_capacitors(circuit)
    if blocking:
        names = " and ".join(blocking)
        verb = "blocks" if len(blocking) == 1 else "block"
        yield f"{names} {verb} direct current only: this is no safety isolation."
    if len(circuit.grounds) > 1 and circuit.transformers:
        yield "Two grounds in a netlist do not make a safe isolation barrier."


def _point(solution: Solution) -> dict[str, float]:
    """Values for every symbol: the operating point, the netlist's values, 1 where nothing is given."""
    point = {name: float(value) for name, value in solution.circuit.values.items()}
    if solution.numbers is not None:
        point |= solution.numbers.point
    return point


def _function(expression: Expr, definitions: Mapping[str, Expr]) -> NamedFunction:
    """``expression`` as a fast function of named values; it gives ``None`` where that is no finite number."""
    for _ in definitions:
        named = [symbol for symbol in expression.free_symbols if str(symbol) in definitions]
        if not named:
            break
        expression = expression.xreplace({symbol: definitions[str(symbol)] for symbol in named})
    names = {str(symbol) for symbol in expression.free_symbols}
    # sympy's own way, lambdify, costs more time at start-up than all the rest of the report
    code = compile(Writer(names).text(expression), "<formula>", "eval")

    def value(point: Mapping[str, float]) -> float | None:
        try:
            number = eval(code, dict(FUNCTIONS), {name: point.get(name, 1.0) for name in names})
            return number if isfinite(number) else None
        except (ArithmeticError, ValueError, TypeError, NameError):
            return None

    return value


def _duty_passing(solution: Solution, limit: float) -> float | None:
    """The least duty, in hundredths, beyond which the first mode's output exceeds ``limit`` volts."""
    circuit = solution.circuit
    mode = solution.modes[0] if solution.modes else None
    if mode is None or mode.output_voltage is None or len(circuit.duty_symbols) != 1:
        return None
    if solution.numbers is None or mode.name != solution.numbers.mode:
        return None
    duty = circuit.duty_symbols[0]
    point = _point(solution)
    output = _function(mode.output_voltage, mode.definitions)
    for hundredth in range(1, 100):
        value = output(point | {duty: hundredth / 100})
        if value is not None and abs(value) > limit:
            return hundredth / 100 - 0.01
    return None


def _steps_up_without_bound(solution: Solution) -> bool:
    """Whether the output of a discontinuous mode grows without end as the load resistance does."""
    load = next((e for e in solution.circuit.loads if e.name == solution.circuit.output.element), None)
    if load is None:
        return False
    symbol = load.quantity.symbol
    point = _point(solution)
    for mode in solution.modes:
        if not mode.name.startswith("DCM") or mode.output_voltage is None:
            continue
        base = point.get(symbol, 1.0)
        output = _function(mode.output_voltage, mode.definitions)
        light = output(point | {symbol: base * 1e4})
        lighter = output(point | {symbol: base * 1e8})
        if light and lighter and abs(lighter) > 10 * abs(light):
            return True
    return False
