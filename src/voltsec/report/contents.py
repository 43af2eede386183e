"""What every form of the report tells: parts, figures, numbers, derivations, losses, the map of modes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

from sympy import Basic

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time, limited, seconds_left
from voltsec.circuit.elements import CurrentSource, Element, Load, Quantity, Transformer
from voltsec.formulas.engine import engine_of
from voltsec.practice.derivation import Derivation
from voltsec.practice.derive import NoSuchMode, derive
from voltsec.report.numbers_table import number_text, part_names, part_results
from voltsec.report.quantity import engineering, percent
from voltsec.results.solution import Mode, Solution

MAP_CELLS = (90, 64)
"""Columns and rows of the map: each cell is asked of the exact sign conditions."""
FEWER_CELLS = (45, 32)
"""The same where the equations of a mode are solved anew in every cell."""
MAP_SHARE = 0.5
"""Share of the computing time that is left, for the map."""
MAP_WIDTH = 5.0
"""Inches: on a narrow screen the type stays legible."""

MOST_DERIVATIONS = 3


@dataclass(frozen=True)
class Part:
    """A row of the parts list."""

    name: str
    kind: str
    nodes: str
    value: str
    further: str


@dataclass(frozen=True)
class Cell:
    """A number shown at the operating point; ``key`` names its formula in the page's script."""

    key: str
    unit: str
    shown: str


@dataclass(frozen=True)
class NumberRow:
    """One part's numbers."""

    name: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Figure:
    """One of the few numbers that come first."""

    label: str
    key: str
    unit: str
    shown: str


def parts(circuit: Circuit) -> Iterator[Part]:
    """The parts list, couplings included."""
    for element in circuit.elements:
        if isinstance(element, Transformer):
            nodes = ", ".join(f"{one} → {other}" for one, other in element.windings)
            turns = " : ".join(str(turn) for turn in element.turns)
            yield Part(element.name, element.kind, nodes, turns, ", ".join(_further(element)))
            continue
        own = getattr(element, "quantity", None)
        value = "" if own is None else _value(own)
        yield Part(
            element.name,
            element.kind,
            f"{element.start} → {element.end}",
            value,
            ", ".join(_further(element)),
        )
    for coupling in circuit.couplings:
        strength = "" if coupling.coefficient is None else f"k = {float(coupling.coefficient):g}"
        if coupling.mutual is not None:
            strength = engineering(float(coupling.mutual), "H")
        yield Part(coupling.symbol, "coupling", f"{coupling.first}, {coupling.second}", strength, "")


def _further(element: Element) -> Iterator[str]:
    """The properties of an element with their values, ``resistance 40 mΩ``."""
    listed = dict(element.parasitics)
    if isinstance(element, Transformer) and element.magnetizing is not None:
        listed["magnetizing"] = element.magnetizing
    for word, quantity in (*listed.items(), *element.beside):
        yield f"{word.replace('_', ' ')} {_value(quantity)}"


def _value(quantity: Quantity) -> str:
    if quantity.value is None:
        return quantity.symbol
    return engineering(float(quantity.value), quantity.unit)


def purpose(circuit: Circuit) -> str:
    """The comment on the netlist's first line, which says what the circuit is."""
    first = circuit.text.lstrip("\ufeff").splitlines()[:1]
    return first[0].lstrip("# ").strip().rstrip(".") if first and first[0].startswith("#") else ""


def lead(solution: Solution) -> str:
    """Input and output in one line."""
    circuit = solution.circuit
    output = circuit.output
    name = f" {output.element}," if output.element else ""
    return f"Input {circuit.input.name}, output{name} from {output.start} to {output.end}"


def figures(solution: Solution) -> Iterator[Figure]:
    """The first few numbers; the solution has some."""
    numbers = solution.numbers
    assert numbers is not None
    if numbers.gain is not None:
        yield Figure("Gain", "gain", "", engineering(numbers.gain, "1"))
    yield Figure("Output voltage", "V", "V", engineering(numbers.output_voltage, "V"))
    if numbers.efficiency is not None:
        yield Figure("Efficiency", "eta", "%", percent(numbers.efficiency))
    if numbers.output_ripple is not None:
        ripple = f"{engineering(numbers.output_ripple, 'V')} peak to peak"
        yield Figure("Output ripple", "output_ripple", "V", ripple)
    for name, current in numbers.source_currents.items():
        yield Figure(f"Drawn from {name}", f"from:{name}", "A", engineering(current, "A"))


def number_rows(solution: Solution) -> Iterator[NumberRow]:
    """Part by part, columns as in :data:`voltsec.report.numbers_table.PART_HEADING`."""
    numbers = solution.numbers
    assert numbers is not None
    for name in part_names(solution):
        cells = []
        for key in part_results(numbers, name):
            shown = number_text(numbers, key)
            cells.append(
                Cell(slider_key(key), "V" if shown.endswith("V") else "A", shown)
                if shown
                else Cell("", "", "")
            )
        yield NumberRow(name, tuple(cells))


def slider_key(key: str) -> str:
    """What a result is called by the page's script."""
    group, _, rest = key.partition(".")
    if not rest:
        return {"output_voltage": "V", "efficiency": "eta"}.get(key, key)
    if group == "stress":
        part, _, measure = rest.rpartition(".")
        return f"{measure}:{part}"
    short = {"capacitor_voltages": "v", "inductor_currents": "i", "source_currents": "from"}
    return f"{short.get(group, group)}:{rest}"


def loads(circuit: Circuit) -> list[Quantity]:
    """Quantities of the loads: resistances and constant currents."""
    return [element.quantity for element in circuit.of(Load, CurrentSource)]


def shown_losses(mode: Mode) -> dict[str, Basic]:
    """Losses of the mode's parts that are not nothing."""
    return {n: e for n, e in mode.losses.items() if e is not None and e != 0}


def derivations(solution: Solution) -> list[Derivation]:
    """Derivations of the mode at the operating point and of the first few others."""
    names = [name for name, _ in engine_of(solution).builders]
    current = None if solution.numbers is None else solution.numbers.mode
    names.sort(key=lambda name: name != current)
    found = []
    for name in names[:MOST_DERIVATIONS]:
        with suppress(NoSuchMode):  # one that is too long to derive
            derived = in_time(partial(derive, solution, name))
            found += [] if derived is None else [derived]
    return found


def map_svg(solution: Solution) -> tuple[str, str] | None:
    """The map of modes as inline SVG and a caption; ``None`` where there is nothing to draw."""
    if not solution.circuit.duty_symbols or len(solution.modes) < 2:
        return None
    from voltsec.practice.map import region_map
    from voltsec.report.figure_face import svg_text
    from voltsec.report.map_figure import draw_map

    try:
        cells = FEWER_CELLS if engine_of(solution).numeric else MAP_CELLS
        with limited(seconds_left() * MAP_SHARE):
            areas = in_time(partial(region_map, solution, None, None, *cells))
    except ValueError:
        return None
    if areas is None:
        return None
    return (
        svg_text(draw_map(areas, MAP_WIDTH)),
        f"Which mode holds where, over {areas.x.name} and {areas.y.name}; the operating point is marked.",
    )


def title(solution: Solution) -> str:
    """The circuit's name."""
    return solution.circuit.name
