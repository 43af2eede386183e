"""A switch that is stuck, on or off: does the input still reach the output, and what does it cost?

Where no switch keeps switching the answer is a direct-current state; where others do, it is the
periodic answer of the circuit that is left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Switch
from voltsec.circuit.fault import CircuitError, Fault, NoSteadyState
from voltsec.circuit.graph import find_faults
from voltsec.circuit.separation import blocking_capacitors, separating_windings
from voltsec.circuit.spelling import did_you_mean
from voltsec.circuit.states import possible_states
from voltsec.circuit.timing import Schedule
from voltsec.held.current_paths import loops_through_coils
from voltsec.held.direct import direct_states
from voltsec.held.direct_answer import describe
from voltsec.held.state import Figure, HeldState, Short

WORDS = {"on": True, "off": False}
MEANT = {"closed": "on", "close": "on", "shorted": "on", "short": "on", "open": "off", "broken": "off"}


@dataclass(frozen=True)
class StuckCircuit(Circuit):
    """A circuit with some switches held whatever their drives say; switches that follow them do not stick."""

    stuck: tuple[tuple[str, bool], ...] = ()

    def schedule(self, switch: str) -> Schedule:
        """As :class:`Circuit`'s, but for the stuck switches."""
        for name, on in self.stuck:
            if name == switch:
                return Schedule(None, on)
        return super().schedule(switch)


def held_state(circuit: Circuit, held: Mapping[str, str]) -> HeldState:
    """The state of ``circuit`` with each switch of ``held`` stuck ``"on"`` or ``"off"``.

    Raises :class:`CircuitError` for an unknown switch or word and for a circuit that cannot work
    to begin with.
    """
    check_held(circuit, held)
    circuit.check()
    stuck = tuple((name, WORDS[word]) for name, word in held.items())
    values = {f.name: getattr(circuit, f.name) for f in fields(Circuit)}
    left = StuckCircuit(**values, stuck=stuck)
    shorts = _hard_shorts(left)
    if shorts:
        reason = _hard_reason(shorts)
        return _with_separation(HeldState(left, dict(held), "none", shorts=shorts, reason=reason))
    state = _periodic(left, dict(held)) if left.duty_symbols else _direct(left, dict(held))
    return _with_separation(state)


def check_held(circuit: Circuit, held: Mapping[str, str]) -> None:
    """:class:`CircuitError` with every name that is no switch and every word that is neither on nor off."""
    faults = []
    names = [switch.name for switch in circuit.switches]
    elements = {element.name: element for element in circuit.elements}
    for name, word in held.items():
        if name in elements and not isinstance(elements[name], Switch):
            kind = elements[name].kind
            hint = f"switches: {', '.join(names)}"
            message = f"{name} is a {kind}, not a switch, and cannot be held"
            faults.append(Fault("wrong-kind", message, None, (name,), (), hint))
        elif name not in elements:
            hint = did_you_mean(name, names) or f"switches: {', '.join(names)}"
            faults.append(Fault("unknown-name", f"no switch is called {name!r}", None, (name,), (), hint))
        if word not in WORDS:
            meant = MEANT.get(word.lower()) or (word.lower() if word.lower() in WORDS else None)
            hint = f"did you mean {name}={meant}?" if meant else f"write {name}=on or {name}=off"
            message = f"{name} cannot be held {word!r}: a held switch is on or off"
            faults.append(Fault("unknown-drive", message, None, (name,), (), hint))
    if faults:
        raise CircuitError(tuple(faults), circuit.file)


def _with_separation(state: HeldState) -> HeldState:
    return replace(
        state,
        blocking_capacitors=blocking_capacitors(state.circuit),
        separating_windings=separating_windings(state.circuit),
    )


def _hard_shorts(circuit: Circuit) -> tuple[Short, ...]:
    """Loops of sources and switches that are closed together now and were not before."""
    faults = [fault for fault in find_faults(circuit) if fault.kind == "source-loop"]
    return tuple(Short(fault.elements, (), None) for fault in faults)


def _hard_reason(shorts: tuple[Short, ...]) -> str:
    loops = "; ".join(", ".join(short.loop) for short in shorts)
    return f"a source is shorted with nothing but switches in the loop: {loops}"


def _direct(circuit: StuckCircuit, held: dict[str, str]) -> HeldState:
    closed = frozenset(name for name, on in _standing(circuit).items() if on)
    states = direct_states(circuit, closed)
    if not states:
        return HeldState(circuit, held, "none", reason="no direct-current state satisfies the equations")
    return describe(circuit, held, states)


def _standing(circuit: Circuit) -> dict[str, bool]:
    """Every switch that stands still, and whether it is on."""
    schedules = {switch.name: circuit.schedule(switch.name) for switch in circuit.switches}
    return {name: one.first for name, one in schedules.items() if one.duty is None}


def _periodic(circuit: StuckCircuit, held: dict[str, str]) -> HeldState:
    """Other switches keep switching: the periodic answer, or why there is none."""
    from voltsec.formulas.solve import solve

    try:
        solution = solve(circuit)
    except NoSteadyState as error:
        # a coil that is cut off is an element of its fault as well, and does not grow
        grows = [fault for fault in error.faults if "grow" in fault.message]
        runaway = tuple(name for fault in grows for name in fault.elements)
        return _without_state(circuit, held, runaway, _reason(error))
    except CircuitError as error:
        return HeldState(circuit, held, "none", reason=_reason(error))
    mode = solution.modes[0]
    if solution.numbers is not None:
        mode = next(m for m in solution.modes if m.name == solution.numbers.mode)
    voltage = mode.output_voltage
    source = circuit.input.quantity.symbol
    reaches = None if voltage is None else source in {str(s) for s in _in_full(voltage, mode.definitions)}
    number = None if solution.numbers is None else solution.numbers.output_voltage
    return HeldState(
        circuit,
        held,
        "periodic",
        reaches=reaches,
        output=Figure(voltage, number),
        solution=solution,
    )


def _without_state(
    circuit: StuckCircuit, held: dict[str, str], runaway: tuple[str, ...], reason: str
) -> HeldState:
    """No periodic state exists: with the loop that shorts a source, where that is why."""
    states = possible_states(circuit)
    shorts: tuple[Short, ...] = ()
    for closed in (frozenset.intersection(*states), *states):
        loops = loops_through_coils(circuit, closed)
        shorts = tuple(Short(loop, coils, None) for loop, coils in loops if set(coils) & set(runaway))
        if shorts:
            break
    return HeldState(circuit, held, "none", shorts=shorts, runaway=runaway, reason=reason)


def _in_full(expression: Expr, definitions: Mapping[str, Expr]) -> set[Any]:
    """Symbols of an expression and of the definitions it uses."""
    found = set(expression.free_symbols)
    for name, definition in definitions.items():
        if any(str(symbol) == name for symbol in found):
            found |= definition.free_symbols
    return found


def _reason(error: CircuitError) -> str:
    return "; ".join(fault.message.removeprefix("there is no steady state: ") for fault in error.faults)
