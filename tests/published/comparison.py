"""What the published tests share: netlists from one line, formulas as printed, exact equality."""

from __future__ import annotations

import random
import re
from functools import cache
from pathlib import Path

import sympy
from sympy import Expr, Rational, Symbol

import voltsec
from voltsec.results.solution import Mode, Solution

CIRCUITS = Path(__file__).resolve().parents[2] / "circuits"

_NAME = re.compile(r"[A-Za-z_]\w*")
_FUNCTIONS = {"sqrt"}
# What each loss is called in the published formulas -> the element kind and the property it stands at.
_LOSSES = {
    "RL": ("inductor", "resistance"),
    "Ron": ("switch", "resistance"),
    "Vsat": ("switch", "drop"),
    "RD": ("diode", "resistance"),
    "VD": ("diode", "drop"),
}


def symbol(name: str) -> Symbol:
    """The symbol the solver uses for ``name``: positive."""
    return Symbol(name, positive=True)


def netlist(line: str, parts: tuple[str, ...] = ()) -> str:
    """A whole netlist from one published line; ``parts`` adds losses by their published names."""
    statements = [statement.strip() for statement in line.split(";")]
    if not any(statement.startswith("source ") for statement in statements):
        statements.insert(0, "source Vg : in -> gnd")
    if not any(statement.startswith("load ") for statement in statements):
        statements += ["capacitor Co : out -> gnd", "load R : out -> gnd"]
    turns = [name for s in statements if s.startswith("transformer ") for name in _named_turns(s)]
    lossy = [_with_losses(statement, parts) for statement in statements]
    return "\n".join([f"parameter {name}" for name in dict.fromkeys(turns)] + lossy) + "\n"


def _named_turns(transformer: str) -> list[str]:
    turns = transformer.split("=", 1)[1].split("{")[0]
    return [turn.strip() for turn in turns.split(":") if not turn.strip().isdigit()]


def _with_losses(statement: str, parts: tuple[str, ...]) -> str:
    kind = statement.split()[0]
    found = [f"{_LOSSES[part][1]} {part}" for part in parts if _LOSSES[part][0] == kind]
    return f"{statement} {{ {', '.join(found)} }}" if found else statement


@cache
def solved(text: str) -> Solution:
    """The answer for a netlist; each text is solved once a run."""
    return voltsec.solve(voltsec.read(text))


@cache
def shipped(key: str) -> Solution:
    """The answer for the circuit file of that name."""
    return voltsec.solve(voltsec.load(CIRCUITS / f"{key}.topo"))


def formula(text: str, **meanings: Expr) -> Expr:
    """A formula as printed (``D'``, ``^``) in the solver's own symbols; ``meanings`` replace names."""
    text = text.replace("D'", "(1-D)").replace("^", "**")
    names = {name: symbol(name) for name in _NAME.findall(text) if name not in _FUNCTIONS}
    return sympy.sympify(text, locals={**names, **meanings})


def expanded(mode: Mode, expression: Expr) -> Expr:
    """``expression`` with every named quantity of the mode (K, d2, ...) replaced by what it stands for."""
    for _ in range(len(mode.definitions) + 1):
        found = {s: mode.definitions[s.name] for s in expression.free_symbols if s.name in mode.definitions}
        if not found:
            break
        expression = expression.subs(found)
    return expression


def continuous(answer: Solution, point: dict[str, str] | None = None) -> Mode:
    """The mode of continuous conduction; ``point`` chooses between modes that share the duty range."""
    modes = [mode for mode in answer.modes if mode.name.startswith("CCM")]
    assert modes, f"no continuous mode among {[mode.name for mode in answer.modes]}"
    if point is None:
        return modes[0]
    # Large coils and a unit load: far inside continuous conduction.
    values = {name: Rational(1000 if unit == "H" else 1) for name, unit in answer.symbols.items()}
    values |= {name: Rational(value) for name, value in point.items()}
    for mode in modes:
        if _holds(mode, {symbol(name): value for name, value in values.items()}):
            return mode
    raise AssertionError(f"no mode holds at {point}: {[mode.holds_when for mode in modes]}")


def discontinuous(answer: Solution) -> Mode:
    """The mode of discontinuous conduction of a one-diode stage."""
    modes = [mode for mode in answer.modes if mode.name.startswith("DCM")]
    assert len(modes) == 1, [mode.name for mode in answer.modes]
    return modes[0]


def with_sets(answer: Solution, sets: tuple[frozenset[str], ...]) -> Mode:
    """The mode whose intervals conduct through these devices, one by one.

    More may be named in an interval: a diode that carries nothing and blocks nothing is told either way.
    """
    for mode in answer.modes:
        conducting = [frozenset(interval.conducting) for interval in mode.intervals]
        if len(conducting) == len(sets) and all(map(frozenset.issubset, sets, conducting)):
            return mode
    seen = [[interval.conducting for interval in mode.intervals] for mode in answer.modes]
    raise AssertionError(f"no mode conducts like {sets}; found {seen}")


def _holds(mode: Mode, values: dict[Symbol, Rational]) -> bool:
    if mode.holds_when is None:
        return True
    condition = expanded(mode, mode.holds_when)
    values = {**{s: Rational(1) for s in condition.free_symbols}, **values}
    return bool(condition.subs(values))


def assert_same(
    mode: Mode,
    actual: Expr | None,
    expected: Expr,
    because: object = "",
    setting: dict[str, str] | None = None,
) -> None:
    """Both are the same function: exactly zero difference at random rational points of the mode's region,
    and, for rational functions, a difference that cancels to nothing.

    ``setting`` replaces symbols on both sides first (equal loads, say).
    """
    assert actual is not None, f"no answer where {expected} was published ({because})"
    replaced = {symbol(name): formula(value) for name, value in (setting or {}).items()}
    difference = (expanded(mode, actual) - expected).subs(replaced)
    tell = f"{actual} is not {expected} ({because})"
    for values in _points(mode, difference, replaced):
        assert difference.subs(values).equals(0), f"{tell} at {values}"
    if difference.is_rational_function(*difference.free_symbols):
        assert sympy.cancel(sympy.together(difference)) == 0, tell


def _points(mode: Mode, difference: Expr, replaced: dict[Symbol, Expr], count: int = 3) -> list[dict]:
    """Random rational points where the mode holds, the same ones in every run."""
    condition = sympy.true if mode.holds_when is None else expanded(mode, mode.holds_when).subs(replaced)
    # A mode may need two parts to be equal: one then follows the other, chance would not find it.
    tied: dict[Symbol, Expr] = {}
    for equation in condition.atoms(sympy.Eq):
        part = min(equation.free_symbols, key=str)
        tied[part] = sympy.solve(equation, part)[0]
    condition = condition.subs(tied)
    names = {s.name for s in (difference.free_symbols | condition.free_symbols) - set(tied)}
    names |= {s.name for value in tied.values() for s in value.free_symbols}
    dice = random.Random(len(names))
    found: list[dict] = []
    for _ in range(2000):
        point = {
            symbol(name): Rational(dice.randint(1, 96), 97)
            if re.fullmatch(r"D\d?", name)
            else Rational(dice.randint(1, 60), dice.randint(1, 60))
            for name in sorted(names)
        }
        if bool(condition.subs(point)):
            found.append(point | {part: value.subs(point) for part, value in tied.items()})
        if len(found) == count:
            return found
    raise AssertionError(f"no point found where {mode.name} holds: {condition}")


def number(mode: Mode, expression: Expr | None, values: dict[str, str]) -> float:
    """``expression`` at decimal ``values`` (SI units); every symbol in it must have one."""
    assert expression is not None
    exact = {symbol(name): Rational(value) for name, value in values.items()}
    result = expanded(mode, expression).subs(exact)
    assert not result.free_symbols, f"left open: {result.free_symbols} in {expression}"
    return float(result)


def assert_printed(value: float, printed: str, because: object = "") -> None:
    """``value`` rounds to what is printed: it differs by half a unit of the last printed digit at most."""
    digits, _, exponent = printed.partition("e")
    decimals = len(digits.partition(".")[2])
    unit = 10.0 ** (int(exponent or 0) - decimals)
    assert abs(value - float(printed)) <= 0.5 * unit * (1 + 1e-9), f"{value} is not {printed} ({because})"
