"""The order in which results are told, shared by the terminal, LaTeX and notebook views."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from sympy import Abs, Basic, Expr, Mul, Piecewise, Symbol, factor

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.formulas.first_order import FirstOrder
from voltsec.formulas.mode_formulas import ModeFormulas
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.ports import input_current, output_current, output_ripple
from voltsec.results.solution import Mode, ModeInterval, Solution
from voltsec.results.table import output_capacitor
from voltsec.tableau import lengths

ROLES = ("absorbs", "supplies", "idle")
WORDS = {"CCM": "continuous conduction", "DCM": "discontinuous conduction"}
STRESS = (
    ("voltage_peak", "Vpeak", "blocks up to"),
    ("current_average", "Imean", "mean current"),
    ("current_peak", "Ipeak", "peak current"),
    ("current_rms", "Irms", "rms current"),
)

_ALL = tuple(attribute for attribute, _, _ in STRESS)
SIZED_BY = {
    "switch": _ALL,
    "diode": _ALL,
    "winding": ("voltage_peak", "current_peak", "current_rms"),
    "inductor": ("current_peak", "current_rms"),
    "capacitor": ("current_rms",),
    "source": ("current_rms",),
    "resistor": ("current_rms",),
    "load": (),
    "current": ("voltage_peak",),
}
"""What each kind of part is sized by; windings and magnetizing inductances are ``winding``."""


@dataclass(frozen=True)
class Row:
    """One formula: its label, the kind of quantity, the part it belongs to ("" for the whole stage)."""

    label: str
    letter: str
    part: str
    expression: Basic | None
    words: str = ""
    """What the formula says of a port's current (see :func:`port_rows`)."""
    symbol: str = ""
    """How other formulas of the mode refer to it, if they do."""

    @property
    def name(self) -> str:
        """The part, or the symbol where other formulas use one."""
        return shown_name(self.symbol) if self.symbol else self.part


def shown_name(symbol: str) -> str:
    """A symbol for people: ``dI_L1`` as ``ΔI_L1``, ``dV_C1`` as ``ΔV_C1``, ``Delta`` as ``Δ``."""
    if symbol.startswith(("dI_", "dV_")):
        return "Δ" + symbol[1:]
    return symbol.replace("Delta", "Δ") if symbol.startswith("Delta") else symbol


def named(mode: Mode) -> Iterator[tuple[str, Basic]]:
    """Named quantities of a mode, without those that are rows of the results anyway."""
    for name, expression in mode.definitions.items():
        if name not in mode.states:
            yield name, expression


def _symbol(mode: Mode, name: str) -> str:
    return next((state for state in mode.states if state.rstrip("_") == name), "")


def mode_words(mode: Mode) -> str:
    """What the mode's short name stands for."""
    return WORDS.get(mode.name.split()[0], "")


def shown_mode(mode: Mode) -> str:
    """The name with what stops: ``CCM, LM resets``, ``DCM 2: L2 stops``."""
    kind = mode.name.split()[0]
    return mode.name + mode.label.removeprefix(kind) if mode.label.startswith(kind) else mode.name


def parts_in(interval: ModeInterval, role: str) -> tuple[str, ...]:
    """Coils and capacitors that have ``role`` in ``interval``."""
    return tuple(name for name, played in interval.roles.items() if played == role)


def region_words(mode: Mode) -> str | None:
    """What stands in place of a region that has no condition; None where there is one."""
    if not mode.written:
        return "where the numbers say so (its conditions are too long to write)"
    return "always" if mode.holds_when is None else None


def leading_rows(leading: FirstOrder | None) -> Iterator[Row]:
    """Gain and efficiency of a mode to first order in the small resistances and drops."""
    if leading is None or leading.gain.count_ops() > lengths.ORDER_SHOWN:
        return
    yield Row("Gain, first order", "gain", "", leading.gain)
    if leading.efficiency is not None:
        yield Row("Efficiency, first order", "eta", "", leading.efficiency)
    for name, value in leading.definitions.items():
        yield Row("with", "symbol", name, value)


def result_rows(mode: Mode, circuit: Circuit) -> Iterator[Row]:
    """Gain, voltages, currents, ripple, the mode's boundary; least coils only for continuous conduction."""
    if not mode.written:
        return
    if mode.gain is not None:
        yield Row("Gain", "gain", "", mode.gain)
    yield Row("Output voltage", "V", "", mode.output_voltage)
    if mode.efficiency is not None:
        yield Row("Efficiency", "eta", "", mode.efficiency)
    for name, voltage in mode.capacitor_voltages.items():
        yield Row("Capacitor voltage", "V", name, voltage, symbol=_symbol(mode, f"V_{name}"))
    for name, current in mode.inductor_currents.items():
        yield Row("Coil current, mean", "I", name, current, symbol=_symbol(mode, f"I_{name}"))
    for name, current in mode.source_currents.items():
        yield Row("Drawn from source", "I", name, current)
    for name, ripple in mode.ripple.items():
        letter = "dV" if name in mode.capacitor_voltages else "dI"
        if letter == "dV":
            if isinstance(ripple, Piecewise):
                cases = [(_by_the_output(mode, circuit, name, case), when) for case, when in ripple.args]
                ripple = Piecewise(*cases, evaluate=False)
            else:
                ripple = _by_the_output(mode, circuit, name, ripple)
        yield Row("Ripple, peak-peak", letter, name, ripple, symbol=_symbol(mode, f"dI_{name}"))
    coils = {element.quantity.symbol for element in circuit.inductors}
    coils |= {t.magnetizing.symbol for t in circuit.transformers if t.magnetizing is not None}
    for name, edge in mode.boundary.items():
        if name not in coils:
            yield Row("At the boundary", "edge", name, edge)
    for name, least in mode.boundary.items():
        if name in coils and mode.name.startswith("CCM"):
            yield Row("Least inductance", "edge", name, least)


def _by_the_output(mode: Mode, circuit: Circuit, name: str, ripple: Expr | None) -> Expr | None:
    """An output capacitor's ripple by the output voltage, ``D*T*V/(R*C)``, where that is shorter."""
    voltage, output = mode.output_voltage, circuit.output
    capacitor = next((one for one in circuit.capacitors if one.name == name), None)
    if ripple is None or voltage is None or capacitor is None or voltage.is_zero:
        return ripple
    across = {capacitor.start, capacitor.end} == {output.start, output.end}
    taken = {quantity.symbol for quantity in circuit.quantities} | set(mode.definitions)
    sources = {Symbol(source.quantity.symbol, positive=True) for source in circuit.sources}
    if (
        not across
        or "V" in taken
        or ripple.count_ops() > lengths.RIPPLE_SHOWN
        or not sources & ripple.free_symbols
    ):
        return ripple
    found = _plain_product(factor(ripple / voltage), circuit.duty_symbols)
    if found is None or found[1].free_symbols & sources or found[1].count_ops() >= ripple.count_ops():
        return ripple
    sign, share = found
    return share * (Symbol("V", positive=True) if sign > 0 else Abs(Symbol("V")))


def _plain_product(expression: Expr, duties: tuple[str, ...]) -> tuple[int, Expr] | None:
    """Sign and size of a product of numbers, symbols and complements ``1 - D`` alone; else None."""
    complements = {Symbol(duty, positive=True) - 1: 1 - Symbol(duty, positive=True) for duty in duties}
    sign = 1
    factors: list[Expr] = []
    for part in Mul.make_args(expression):
        base, exponent = part.as_base_exp()
        if base in complements and exponent.is_Integer:
            sign *= (-1) ** int(exponent)
            factors.append(complements[base] ** exponent)
        elif base.is_Number and part.is_negative:
            sign = -sign
            factors.append(-part)
        elif base.is_Symbol or base.is_Number or base in complements.values():
            factors.append(part)
        else:
            return None
    return sign, Mul(*factors)


NO_RIPPLE = "continuous, no ripple to first order"
LONGEST_PORT_FORMULA = 200
"""Characters beyond which a port's formula is left to the JSON answer; its number is told all the same."""


def port_rows(mode: Mode, solution: Solution) -> Iterator[Row]:
    """What source and load see: how their currents flow, and the output's ripple.

    Letters are ``dI`` and ``share`` for the parts ``in`` and ``out``, and ``dV`` for ``out``.
    """
    builder = dict(getattr(solution.engine, "builders", ())).get(mode.name)
    if builder is not None:
        yield from in_time(lambda: list(_port_rows(mode, solution, builder))) or ()


def _port_rows(mode: Mode, solution: Solution, explicit: ModeBuilder) -> Iterator[Row]:
    builder: ModeFormulas = explicit
    if mode.states:
        from voltsec.formulas.states import states_of  # a lossy mode told by its states

        builder = states_of(explicit) or explicit
    currents = [("Input current", "in", input_current(builder, lengths.GLANCE))]
    if output_capacitor(solution.circuit) is not None:  # otherwise the load's own current, told elsewhere
        currents.append(("Output current", "out", output_current(builder, lengths.GLANCE)))
    for label, part, port in currents:
        if port is None:
            continue
        ripple = _short(port.ripple)
        if port.continuous:
            if ripple is None or ripple.is_zero:
                yield Row(label, "dI", part, None, "continuous" if ripple is None else NO_RIPPLE)
            else:
                yield Row(label, "dI", part, ripple, "continuous, ripple")
            continue
        yield Row(label, "share", part, port.share, "pulsating, share of T")
        if ripple is not None:
            yield Row(label, "dI", part, ripple, "peak to peak")
    swing = output_ripple(builder, lengths.GLANCE)
    listed = mode.ripple.values()  # without series resistance it is the capacitor's own
    if swing is not None and _is_the_capacitors(mode, solution.circuit, swing.expression):
        return
    if swing is not None and _short(swing.expression) is not None and swing.expression not in listed:
        yield Row("Output ripple", "dV", "out", swing.expression, "peak to peak")


def _is_the_capacitors(mode: Mode, circuit: Circuit, swing: Expr) -> bool:
    """Whether a swing told by states leaves out what the coils' ripple adds, as the capacitor's own does."""
    capacitor = output_capacitor(circuit)
    plain = capacitor is not None and capacitor.resistance is None
    rises = {name for name in mode.states if name.startswith("dI_")}
    return bool(mode.states) and plain and not rises & {str(free) for free in swing.free_symbols}


def _short(expression: Basic | None) -> Basic | None:
    return None if expression is None or len(str(expression)) > LONGEST_PORT_FORMULA else expression


def in_order_of_interest(names: Iterable[str], circuit: Circuit) -> list[str]:
    """Switches and diodes first, then coils, capacitors and windings, sources and loads last."""
    first = {element.name for element in (*circuit.switches, *circuit.diodes)}
    last = {element.name for element in (*circuit.sources, *circuit.loads)}
    return sorted(dict.fromkeys(names), key=lambda name: (name not in first) + (name in last))


def stress_rows(mode: Mode, circuit: Circuit) -> Iterator[Row]:
    """Voltage and currents part by part: switches and diodes, then what stores energy, then sources.

    What the model leaves open is left out, and so is what other rows say or nobody sizes a part by
    (the JSON answer has it all): a capacitor is told by its rms current, a coil by peak and rms.
    """
    kinds = {element.name: element.kind for element in circuit.elements}
    for name in in_order_of_interest(mode.stress, circuit):
        wanted = SIZED_BY.get(kinds.get(name, ""), SIZED_BY["winding"])
        for attribute, letter, label in STRESS:
            expression = getattr(mode.stress[name], attribute)
            if expression is not None and attribute in wanted:
                blocks = attribute != "voltage_peak" or kinds.get(name) in ("switch", "diode")
                yield Row(label if blocks else "peak voltage", letter, name, expression)
