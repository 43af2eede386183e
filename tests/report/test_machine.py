"""The JSON answer reads back to the same expressions."""

import json
from dataclasses import fields, replace

import pytest
from sympy import Abs, And, Basic, Expr, Ge, Lt, Max, Piecewise, Rational, Symbol, simplify, sqrt, sympify

from tests.report.samples import sepic_solution
from voltsec.report.machine import as_json, json_text
from voltsec.report.read_back import expressions_of
from voltsec.results.solution import Mode, Solution

ODD_NAMES = ("E", "I", "N", "S", "Q", "O", "C", "pi", "beta", "gamma", "zeta", "oo", "zoo", "sqrt")


def read_back(text: str, symbols: dict[str, str]) -> Basic:
    return sympify(text, locals={name: Symbol(name) for name in symbols})


def plain(expression: Basic) -> Basic:
    return expression.xreplace({symbol: Symbol(symbol.name) for symbol in expression.free_symbols})


def same(one: Basic, other: Basic) -> bool:
    """Equal as functions of positive numbers."""
    if one == other:
        return True
    symbols = one.free_symbols | other.free_symbols
    positive = {symbol: Symbol(symbol.name, positive=True) for symbol in symbols}
    one, other = one.xreplace(positive), other.xreplace(positive)
    return isinstance(one, Expr) and simplify(one - other) == 0


def test_the_form(solution: Solution) -> None:
    answer = as_json(solution)
    assert list(answer) == [
        "format",
        "circuit",
        "input",
        "output",
        "duty_symbols",
        "phase_symbols",
        "symbols",
        "modes",
        "undetermined",
        "warnings",
        "numbers",
    ]
    assert answer["format"] == 1
    assert answer["output"] == {"element": "R", "from": "out", "to": "gnd"}
    continuous = answer["modes"][0]
    assert continuous["gain"] == "D/(1 - D)"
    assert continuous["intervals"][1] == {
        "fraction": "1 - D",
        "conducting": ["D1"],
        "ends": "switch",
        "roles": {"L1": "supplies", "L2": "supplies", "C1": "absorbs", "Co": "absorbs"},
    }
    assert continuous["holds_when"] == "K >= (1 - D)**2"
    assert continuous["condition"] is None
    assert answer["modes"][1]["condition"] == ["d2**2 - K", "d2 - sqrt(K)"]
    assert answer["numbers"]["D"] == 0.4
    assert answer["numbers"]["point"]["R"] == 10.0
    assert json.loads(json_text(answer)) == answer


def test_every_field_of_a_mode_is_told(solution: Solution) -> None:
    assert {field.name for field in fields(Mode)} == set(as_json(solution)["modes"][0])


def test_every_symbol_has_a_unit(solution: Solution) -> None:
    bare = replace(solution, symbols={})
    units = as_json(bare)["symbols"]
    used = {symbol.name for mode in solution.modes for e in expressions_of(mode) for symbol in e.free_symbols}
    assert used <= set(units)
    assert (units["L1"], units["R"], units["K"], units["T"]) == ("H", "ohm", "1", "s")


def test_expressions_read_back(solution: Solution) -> None:
    answer = as_json(solution)
    for mode, told in zip(solution.modes, answer["modes"], strict=True):
        pairs = [(mode.gain, told["gain"]), (mode.holds_when, told["holds_when"])]
        pairs += [(mode.ripple[name], text) for name, text in told["ripple"].items()]
        pairs += [(mode.definitions[name], text) for name, text in told["definitions"].items()]
        for name, entries in told["stress"].items():
            pairs += [(getattr(mode.stress[name], key), text) for key, text in entries.items()]
        for expression, text in pairs:
            if expression is None:
                assert text is None
            else:
                assert same(read_back(text, answer["symbols"]), plain(expression)), text


@pytest.mark.parametrize("name", ODD_NAMES)
def test_any_name_is_a_plain_symbol(name: str) -> None:
    """A part may be called E, I, N, S, Q, beta, even sqrt: it reads back as that symbol."""
    odd, D, K = Symbol(name, positive=True), Symbol("D", positive=True), Symbol("K", positive=True)
    base = sepic_solution()
    for expression in (
        odd * D / (1 - D),
        sqrt(odd + K) / odd,
        1 / sqrt(odd),
        Abs(odd - K),
        Max(odd, K),
        odd ** Rational(3, 2),
        Piecewise((odd, Lt(odd, K)), (K, True)),
    ):
        mode = replace(base.modes[0], gain=expression)
        answer = as_json(replace(base, modes=(mode,)))
        assert name in answer["symbols"]
        assert same(read_back(answer["modes"][0]["gain"], answer["symbols"]), plain(expression))
    region = And(Ge(odd, K), Lt(D, 1 - K))
    answer = as_json(replace(base, modes=(replace(base.modes[0], holds_when=region),)))
    assert read_back(answer["modes"][0]["holds_when"], answer["symbols"]) == plain(region)


def test_numbers_that_are_not_finite_become_null(solution: Solution) -> None:
    assert solution.numbers is not None
    results = solution.numbers.results | {"gain": float("inf"), "efficiency": float("nan")}
    broken = replace(solution.numbers, results=results)
    told = as_json(replace(solution, numbers=broken))
    assert told["numbers"]["gain"] is None
    assert told["numbers"]["efficiency"] is None
    json_text(told)


def test_without_an_operating_point(solution: Solution) -> None:
    assert as_json(replace(solution, numbers=None))["numbers"] is None
