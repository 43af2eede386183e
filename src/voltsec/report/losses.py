"""Losses, leading order, ports and wanted duties as rows of text and as JSON values."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from math import isfinite
from typing import Any

from sympy import Expr

from voltsec.circuit.computing_time import in_time
from voltsec.formulas.correction import Correction, correction
from voltsec.formulas.engine import engine_of
from voltsec.formulas.first_order import FirstOrder
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.ports import PortCurrent, input_current, output_current, output_ripple
from voltsec.practice.wanted import Wanted
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.formula import formula
from voltsec.report.other_losses import drawn_power
from voltsec.report.quantity import engineering, percent
from voltsec.report.read_back import Writer, symbol_units
from voltsec.results.solution import Solution

LOSS_HEADING = ("Part", "Loss", "of input")


def loss_rows(solution: Solution, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, ...]]:
    """The heading, then part, loss in watt and share of the input power; nothing without losses."""
    numbers = solution.numbers
    found = {} if numbers is None else {n: loss for n, loss in numbers.losses.items() if loss is not None}
    if not found or numbers is None:
        return
    drawn = drawn_power(solution)
    yield LOSS_HEADING
    for name, loss in sorted(found.items(), key=lambda item: -item[1]):
        yield name, engineering(loss, "W", alphabet), percent(loss / drawn if drawn else None, alphabet)
    total = sum(found.values())
    yield "all", engineering(total, "W", alphabet), percent(total / drawn if drawn else None, alphabet)


def losses_json(solution: Solution) -> dict[str, dict[str, Any]]:
    """Mode name -> what JSON tells beyond the mode's own results.

    Keys ``correction`` (gain = ``ideal_gain`` * ``correction``), ``first_order``, ``input_current``,
    ``output_current``, ``output_ripple``; ``None`` where something is not determined or does not apply.
    """
    write = Writer(symbol_units(solution))
    leading = dict(engine_of(solution).first_orders())
    builders = engine_of(solution).builders
    found = {name: in_time(partial(_mode_json, builder, write)) or {} for name, builder in builders}
    return {
        name: found.get(name, {}) | {"first_order": _first_order_json(order, write)}
        for name, order in leading.items()
    }


def _mode_json(builder: ModeBuilder, write: Writer) -> dict[str, Any]:
    told = correction(builder)
    ripple = output_ripple(builder)
    return {
        "correction": None if told is None else _correction_json(told, write),
        "input_current": _port_json(input_current(builder), write),
        "output_current": _port_json(output_current(builder), write),
        "output_ripple": None
        if ripple is None
        else {"expression": write(ripple.expression), "highest": ripple.highest, "lowest": ripple.lowest},
    }


def _first_order_json(leading: FirstOrder | None, write: Writer) -> dict[str, Any] | None:
    if leading is None:
        return None
    return {
        "gain": write(leading.gain),
        "efficiency": write(leading.efficiency),
        "definitions": {name: write(value) for name, value in leading.definitions.items()},
    }


def _correction_json(told: Correction, write: Writer) -> dict[str, Any]:
    return {
        "ideal_gain": write(told.ideal_gain),
        "correction": write(told.correction),
        "definitions": {told.name: write(told.denominator)},
    }


def _port_json(port: PortCurrent | None, write: Writer) -> dict[str, Any] | None:
    if port is None:
        return None
    return {"continuous": port.continuous, "share": write(port.share), "ripple": write(port.ripple)}


def first_orders(solution: Solution) -> dict[str, FirstOrder]:
    """Leading order of every mode that has one."""
    return {name: leading for name, leading in engine_of(solution).first_orders() if leading is not None}


def taken_for_granted(missing: tuple[str, ...], modes: Iterable[str]) -> str:
    """What is assumed where symbols have no value."""
    return (
        f"{', '.join(missing)} {'has' if len(missing) == 1 else 'have'} no value: "
        f"{' or '.join(dict.fromkeys(modes))} is taken for granted"
    )


def wanted_lines(solution: Solution, wanted: Wanted) -> Iterator[str]:
    """The duties for a wanted output as sentences."""
    duties = solution.circuit.duty_symbols
    volts = engineering(wanted.output_voltage, "V", digits=5)
    if wanted.missing:
        granted = taken_for_granted(wanted.missing, (found.mode for found in wanted.solutions))
        yield f"{granted[:1].upper()}{granted[1:]}."
    if wanted.inverted:
        yield f"The stage inverts, so {volts} is taken as what is wanted."
    for found in wanted.solutions:
        side = "stable side" if found.stable else "not the stable side"
        volts_more = engineering(abs(found.slope) / 100, "V", digits=3)
        change = f"{volts_more} {'more' if found.slope > 0 else 'less'}"
        mode = f"{found.mode}, " if found.mode else ""
        yield (
            f"{wanted.symbol} = {found.duty:.5f} gives {volts}: {mode}efficiency "
            f"{percent(_number(found.efficiency))}, {change} output per 1 % more duty"
            f"{f' ({side})' if len(wanted.solutions) > 1 else ''}"
        )
        if found.formula is not None:
            yield f"    {wanted.symbol} = {formula(found.formula, duties)}, ripple neglected"
    if len(wanted.solutions) > 1:
        yield (
            "On the stable side more duty gives more output, as a controller expects, at smaller currents; "
            "beyond the largest gain it is the other way round and a controller runs to full duty."
        )
    top = wanted.largest
    if top.bounded:
        yield (
            f"Largest output: {engineering(top.output_voltage, 'V', digits=5)} (gain {top.gain:.4g}) at "
            f"{wanted.symbol} = {top.duty:.4f}, efficiency {percent(_number(top.efficiency))}."
        )
    else:
        yield (
            f"The output has no bound as {wanted.symbol} approaches {round(top.duty)}: "
            "the netlist holds no losses that limit it."
        )


def _number(value: float) -> float | None:
    return value if isfinite(value) else None


def wanted_json(wanted: Wanted, write: Writer) -> dict[str, Any]:
    """The duties for a wanted output as plain values."""
    top = wanted.largest
    return {
        "duty": wanted.symbol,
        "output_voltage": wanted.output_voltage,
        "missing": list(wanted.missing),
        "solutions": [
            {
                "duty": found.duty,
                "mode": found.mode,
                "efficiency": _number(found.efficiency),
                "slope": found.slope,
                "stable": found.stable,
                "formula": write(found.formula),
            }
            for found in wanted.solutions
        ],
        "largest": {
            "duty": top.duty,
            "output_voltage": top.output_voltage,
            "gain": top.gain,
            "efficiency": _number(top.efficiency),
            "mode": top.mode,
            "bounded": top.bounded,
        },
    }


def with_wanted(told: dict[str, Any], wanted: Wanted | None) -> dict[str, Any]:
    """The JSON object with what a wanted output needs under ``wanted``, where it was asked for."""
    if wanted is None:
        return told
    formulas = [found.formula for found in wanted.solutions if found.formula is not None]
    names = {*told["symbols"], *(str(s) for one in formulas for s in one.free_symbols)}
    return told | {"wanted": wanted_json(wanted, Writer(names))}


LONGEST_LINE = 900
"""Signs of a leading order that is printed; a longer one is left to JSON."""


def first_order_rows(
    leading: FirstOrder, input_name: str, duties: tuple[str, ...], alphabet: Alphabet = UNICODE
) -> Iterator[tuple[str, str]]:
    """Name and formula: gain and efficiency of one mode, and the named quantities in them."""
    ideal = formula(leading.ideal_gain, duties, alphabet)
    terms = _bracket(leading.gain_terms, duties, alphabet)
    gain = f"{ideal} {alphabet.dot} ({terms})" if leading.gain_terms else ideal
    rows: list[tuple[str, str]] = [(f"V/{input_name}", gain)]
    if leading.efficiency_terms is not None:
        rows.append((ETA[alphabet.unicode], _bracket(leading.efficiency_terms, duties, alphabet)))
    for name, text in rows:
        yield name, text if len(text) <= LONGEST_LINE else "too long to be printed; --json gives it"
    if any(len(text) <= LONGEST_LINE for _, text in rows):
        for symbol, value in leading.definitions.items():
            yield symbol, formula(value, duties, alphabet)


ETA = {True: "η", False: "eta"}


def first_order_lines(solution: Solution) -> Iterator[str]:
    """Gain and efficiency of every mode to first order, as text."""
    duties = solution.circuit.duty_symbols
    found = first_orders(solution)
    for name, leading in found.items():
        yield f"{name}, to first order in the small resistances and drops:"
        for left, text in first_order_rows(leading, solution.circuit.input.name, duties):
            yield f"    {left} = {text}"
    if not found:
        yield "No mode has a leading order in small resistances and drops."


def _bracket(terms: dict[str, Expr], duties: tuple[str, ...], alphabet: Alphabet = UNICODE) -> str:
    """``1 - R_L/R - ...``, the terms in the order of the netlist."""
    text = "1"
    for term in terms.values():
        written = formula(term, duties, alphabet)
        if term.is_Add:
            written = f"({written})"
        turned = written.startswith(("-", "\u2212")) and not term.is_Add
        text += f" + {written[1:]}" if turned else f" {alphabet.minus} {written}"
    return text
