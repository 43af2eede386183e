"""The report as one HTML file: no network, MathML equations, sliders that evaluate the formulas."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sympy import Basic, Integer, Mul, Pow

from voltsec.formulas.first_order import FirstOrder
from voltsec.formulas.shortened import leading_orders, shortened
from voltsec.report.cautions import cautions
from voltsec.report.chart import (
    BOTTOM,
    HEIGHT,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    chart_inside,
    percent_span,
    shares,
    span,
)
from voltsec.report.computed_points import ComputedPoints, computed_points
from voltsec.report.contents import (
    derivations,
    figures,
    lead,
    loads,
    map_svg,
    number_rows,
    parts,
    purpose,
    shown_losses,
    title,
)
from voltsec.report.derivation_html import html_lines, sized
from voltsec.report.evaluation import curve, curve_functions
from voltsec.report.formula import UNREADABLE, formula, readable
from voltsec.report.javascript import has_formulas
from voltsec.report.mathml import equation_mathml, mathml, symbol_mathml, wrapped
from voltsec.report.notes import deviation_rows, notes
from voltsec.report.numbers_table import PART_HEADING
from voltsec.report.other_losses import other_loss_rows
from voltsec.report.outline import (
    ROLES,
    Row,
    leading_rows,
    mode_words,
    named,
    parts_in,
    port_rows,
    region_words,
    result_rows,
    shown_mode,
    stress_rows,
)
from voltsec.report.page_figures import frequency_section, time_section
from voltsec.report.page_script import model_script
from voltsec.report.quantity import UNITS, engineering
from voltsec.report.report_drawings import KEY, circuit_drawing, interval_drawings
from voltsec.report.template import beside, rendered
from voltsec.results.solution import Mode, Solution
from voltsec.tableau.expression import symbol

CURVES = (
    ("gain", "Gain over the duty"),
    ("V", "Output voltage over the duty"),
    ("eta", "Efficiency over the duty"),
)
LONGEST_IN_OVERVIEW = 70
FRAME = {"width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "top": TOP, "bottom": BOTTOM}


def page(solution: Solution, for_print: bool = False) -> str:
    """The whole page; ``for_print`` opens every derivation."""
    return rendered("page.html.j2", _context(solution, for_print))


def _context(solution: Solution, for_print: bool) -> dict[str, Any]:
    circuit = solution.circuit
    numbers = solution.numbers
    # what must not be missing comes first: the rest has what time is left
    over_time, over_frequency = time_section(solution), frequency_section(solution)
    live = {} if numbers is None else _live(solution)
    drawn = map_svg(solution)
    orders = leading_orders(solution)
    shown_derivations = [
        {
            "mode": derivation.mode,
            "open": for_print or place == 0,
            "lines": list(html_lines(derivation, f"line-{place + 1}")),
        }
        for place, derivation in enumerate(derivations(solution))
    ]
    contents = [("circuit", "Circuit"), ("modes", "Modes")]
    if numbers is not None:
        contents.insert(1, ("point", "Operating point"))
    if over_time is not None:
        contents.insert(2, ("waves", "Waveforms"))
    if over_frequency is not None:
        contents.append(("dynamics", "Small signals"))
    if shown_derivations:
        contents.append(("derivation", "Derivation"))
    contents.append(("cautions", "Cautions"))
    found: dict[str, Any] = {
        "title": title(solution),
        "lead": lead(solution),
        "purpose": purpose(circuit),
        "contents": contents,
        "parts": list(parts(circuit)),
        "further": any(part.further for part in parts(circuit)),
        "circuit_drawing": circuit_drawing(solution),
        "interval_drawings": list(interval_drawings(solution)),
        "drawing_key": KEY,
        "netlist": circuit.text.strip("\n"),
        "numbers": numbers,
        "duties": [_complement_line(duty) for duty in circuit.duty_symbols],
        "roles": ROLES,
        "modes": [_mode(mode, solution, orders.get(mode.name)) for mode in shortened(solution).modes],
        "map": None if drawn is None else drawn[0],
        "map_words": None if drawn is None else drawn[1],
        "over_time": over_time,
        "over_frequency": over_frequency,
        "derivations": shown_derivations,
        "cautions": cautions(solution),
        "notes": [("Not determined", solution.undetermined), ("Notes", notes(solution))],
    }
    if numbers is None:
        return found
    found["figures"] = list(figures(solution))
    found["number_heading"] = [cell.replace("\n", " ") for cell in PART_HEADING]
    found["number_rows"] = list(number_rows(solution))
    found["differing"] = list(deviation_rows(solution))
    found["other_losses"] = list(other_loss_rows(solution))
    return found | live


def _complement_line(duty: str) -> str:
    return wrapped(f"{symbol_mathml(duty + '′')}<mo>=</mo><mn>1</mn><mo>−</mo>{symbol_mathml(duty)}")


def _live(solution: Solution) -> dict[str, Any]:
    """Sliders, curves and the script behind them."""
    numbers = solution.numbers
    assert numbers is not None
    point = {name: float(value) for name, value in numbers.point.items()}
    duties = solution.circuit.duty_symbols
    written = [has_formulas(mode) for mode in solution.modes]
    computed = computed_points(solution)
    if computed is None and not any(written):
        return {}
    charts = _charts(solution, point, computed) if duties else []
    notes = []
    if computed is not None and any(written):
        left_out = [mode.name for mode, has in zip(solution.modes, written, strict=True) if not has]
        notes.append(f"Without written formulas, told by computed points: {', '.join(left_out)}.")
    details = {
        "point": point,
        "duty": duties[0] if duties else None,
        "shares": shares() if duties else [],
        "chart": FRAME,
        "computed": None if computed is None else computed.plain(),
        "units": {name: _slider_unit(solution, name) for name in (() if computed is None else computed.axes)},
    }
    return {
        "sliders": _sliders(solution, point),
        "charts": charts,
        "live_notes": notes,
        "follow_formulas": any(written),
        "computed": 0 if computed is None else len(computed.modes),
        "script": f"{model_script(solution, details)}\n{beside('page.js')}",
    }


def _sliders(solution: Solution, point: dict[str, float]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for duty in solution.circuit.timing_symbols:
        kind = "Duty" if duty in solution.circuit.duty_symbols else "Start of an on-time"
        found.append(
            {
                "name": duty,
                "symbol": wrapped(symbol_mathml(duty)),
                "words": f"{kind} {duty}",
                "scale": "plain",
                "low": 0.02,
                "high": 0.98,
                "step": "any",
                "at": point[duty],
                "unit": "",
                "shown": engineering(point[duty], "1"),
            }
        )
    for load in loads(solution.circuit):
        found.append(
            {
                "name": load.symbol,
                "symbol": wrapped(symbol_mathml(load.symbol)),
                "words": f"Load {load.symbol}",
                "scale": "log",
                "low": -1,
                "high": 1.5,
                "step": "any",
                "at": 0,
                "unit": UNITS.get(load.unit, load.unit),
                "shown": engineering(point[load.symbol], load.unit),
            }
        )
    return found


def _slider_unit(solution: Solution, name: str) -> str:
    units = {load.symbol: load.unit for load in loads(solution.circuit)}
    return UNITS.get(units[name], units[name]) if name in units else ""


def _charts(
    solution: Solution, point: dict[str, float], computed: ComputedPoints | None
) -> list[dict[str, Any]]:
    """Gain (output voltage where drops forbid one) and efficiency, as they are without the script."""
    duty = solution.circuit.duty_symbols[0]
    functions = curve_functions(solution)
    has_gain = all("gain" in one.shown for one in functions)
    lossy = any("eta" in one.shown for one in functions) and not all(
        mode.efficiency == 1 for mode in solution.modes if mode.efficiency is not None
    )
    lossy |= computed is not None and computed.lossy
    found = []
    for key, words in CURVES:
        if (key == "gain" and not has_gain) or (key == "V" and has_gain) or (key == "eta" and not lossy):
            continue
        scale = 100.0 if key == "eta" else 1.0
        values = [None if v is None else v * scale for v in curve(functions, point, duty, key, shares())]
        marked = curve(functions, point, duty, key, [point[duty]])[0]
        marked = None if marked is None else marked * scale
        dots = [] if computed is None else computed.along(duty, key, point)
        dots = [(share, value * scale) for share, value in dots if values[_nearest(share)] is None]
        if marked is None:
            marked = next((value for share, value in dots if share == point[duty]), None)
        if all(value is None for value in values) and not dots:
            continue
        label = {"gain": "Gain", "V": "V / volt", "eta": "Efficiency / %"}[key]
        all_values = [*values, *(value for _, value in dots)]
        bounds = percent_span(all_values) if key == "eta" else span(all_values, marked)
        found.append(
            {
                "key": key,
                "words": words if len(solution.circuit.duty_symbols) == 1 else f"{words} {duty}",
                "label": label,
                "width": WIDTH,
                "height": HEIGHT,
                "inside": chart_inside(values, point[duty], marked, label, duty, bounds, dots),
            }
        )
    return found


def _nearest(share: float) -> int:
    """Place of the curve's point next to a duty."""
    return min(range(len(shares())), key=lambda place: abs(shares()[place] - share))


def _mode(mode: Mode, solution: Solution, leading: FirstOrder | None) -> dict[str, Any]:
    circuit = solution.circuit
    duties = circuit.duty_symbols
    quantity = symbol("V")
    left: Basic = quantity
    target = mode.output_voltage
    if mode.gain is not None:
        left, target = Mul(quantity, Pow(symbol(circuit.input.quantity.symbol), -1)), mode.gain

    def shown(expression: Basic | None) -> str:
        if not readable(expression):
            return UNREADABLE
        return sized(mathml(expression, duties), formula(expression, duties))

    region = region_words(mode) or shown(mode.holds_when)
    definitions = [_equation(symbol(name), e, duties) for name, e in named(mode)]
    definitions += [_equation(e, Integer(0), duties) for e in mode.condition or ()]
    return {
        "name": shown_mode(mode),
        "holds_here": solution.numbers is not None and solution.numbers.mode == mode.name,
        "words": mode_words(mode),
        "headline": _brief(target, duties) or _equation(left, target, duties, display=False),
        "words_region": region_words(mode),
        "brief": ("by numbers" if not mode.written else region)
        if mode.holds_when is None
        else _brief(mode.holds_when, duties) or region,
        "region": region,
        "proof": "proved for all positive values" if mode.proved else "checked at sample values, not proved",
        "open": not has_formulas(mode),
        "definitions": definitions,
        "intervals": [
            {
                "share": shown(interval.fraction),
                "conducts": ", ".join(interval.conducting) or "none",
                "roles": [", ".join(parts_in(interval, role)) for role in ROLES],
                "ends": interval.ends,
            }
            for interval in mode.intervals
        ],
        "tables": [
            ("Results", _rows(result_rows(mode, circuit), shown, lambda row: row.label)),
            ("To first order in the losses", _rows(leading_rows(leading), shown, lambda row: row.label)),
            ("What source and load see", _port_rows(port_rows(mode, solution), shown)),
            ("Stress", _rows(stress_rows(mode, circuit), shown, lambda row: row.part)),
            (
                "Conduction losses",
                [{"label": name, "part": "", "formula": shown(e)} for name, e in shown_losses(mode).items()],
            ),
        ],
    }


def _brief(expression: Basic | None, duties: tuple[str, ...]) -> str:
    """A pointer in place of a formula too long for the overview; empty where it fits."""
    if expression is None:
        return "–"
    short = readable(expression) and len(formula(expression, duties)) <= LONGEST_IN_OVERVIEW
    return "" if short else "below"


def _rows(rows: Iterable[Row], shown: Any, first: Any) -> list[dict[str, str]]:
    """Rows whose first column is written once for several."""
    found = []
    before = ""
    for row in rows:
        head = first(row)
        by_part = head == row.part and row.part != ""
        found.append(
            {
                "label": "" if head == before else head,
                "part": row.label if by_part else row.name,
                "formula": shown(row.expression),
            }
        )
        before = head
    return found


def _port_rows(rows: Iterable[Row], shown: Any) -> list[dict[str, str]]:
    """Label, words and formula of what source and load see."""
    found = []
    before = ""
    for row in rows:
        text = "" if row.expression is None else shown(row.expression)
        found.append({"label": "" if row.label == before else row.label, "part": row.words, "formula": text})
        before = row.label
    return found


def _equation(left: Basic, right: Basic, duties: tuple[str, ...], display: bool = True) -> str:
    if not readable(right) or not readable(left):
        short = right if readable(right) else left
        return f"{mathml(short, duties)}: {UNREADABLE}" if readable(short) else UNREADABLE
    text = f"{formula(left, duties)} = {formula(right, duties)}"
    return sized(equation_mathml(left, right, duties, display), text)
