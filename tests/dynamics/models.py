"""Models of netlists, for the tests of this room."""

from __future__ import annotations

import sympy

import voltsec
from voltsec.dynamics.averaged import S
from voltsec.dynamics.model import Model, Response, small_signals
from voltsec.periodic.points import operating_point

ALL = ("duty", "input", "zout", "zin")


def model(text: str, mode: str | None = None, budget: float | None = None, **values: float) -> Model:
    """The model of a netlist (or a shipped circuit's name) at its operating point, changed by ``values``."""
    circuit = voltsec.read(text) if "\n" in text else voltsec.load(text)
    point = operating_point(circuit)
    if point is not None:
        point = {**point, **values}
    return small_signals(voltsec.solve(circuit, budget), mode, point, None, ALL)


def response(found: Model, kind: str) -> Response:
    """One response; it is there."""
    one = found.response(kind)
    assert one is not None
    return one


def ratio(found: Model, kind: str) -> sympy.Expr:
    """A response as an expression in ``s`` and the circuit's symbols."""
    one = response(found, kind)
    assert one.ratio is not None and found.ring is not None
    names = {name: sympy.Symbol(name, positive=True) for name in found.ring.names}
    names[S] = sympy.Symbol("s")
    parts = []
    for part in one.ratio.parts:
        terms = []
        for powers, coefficient in part.to_dict().items():
            factors = [names[n] ** int(p) for n, p in zip(found.ring.names, powers, strict=True)]
            terms.append(sympy.Mul(int(coefficient), *factors))
        parts.append(sympy.Add(*terms))
    return parts[0] / parts[1]


def same(one: sympy.Expr, other: sympy.Expr | str) -> bool:
    """Equal for all values."""
    if isinstance(other, str):
        names = {str(symbol): symbol for symbol in one.free_symbols}
        names |= {name: sympy.Symbol(name, positive=True) for name in ("R", "L", "Co", "D", "Vg")} | names
        other = sympy.sympify(other, locals=names)
    return bool(sympy.simplify(one - other) == 0)
