r"""State equations as a LaTeX fragment for a document that loads amsmath."""

from __future__ import annotations

from collections.abc import Iterator

from sympy import ImmutableMatrix

from voltsec.circuit.circuit import Circuit
from voltsec.dynamics.state_equations import ModeEquations, StateEquations, state_symbol
from voltsec.report.latex import escaped, formula_latex, symbol_latex

OUTPUTS = {"v": r"v_{\mathrm{out}}", "i": r"i_{\mathrm{in}}"}


def states_latex(circuit: Circuit, found: ModeEquations) -> str:
    """The fragment: a subsection, one paragraph an interval, the mean's matrices."""
    return "\n".join(_lines(circuit, found)) + "\n"


def _lines(circuit: Circuit, found: ModeEquations) -> Iterator[str]:
    duties = circuit.duty_symbols
    yield rf"\subsection*{{{escaped(f'{circuit.name}: state equations, {found.mode}')}}}"
    for number, interval in enumerate(found.intervals, 1):
        conducting = ", ".join(interval.conducting) or "nothing"
        yield rf"\paragraph{{Interval {number}, share ${formula_latex(interval.fraction, duties)}$,"
        yield rf"conducting: {escaped(conducting)}}}"
        for law in interval.equations.laws:
            terms = []
            for factor, name in law.left:
                state = symbol_latex(state_symbol(name, found.kinds[name]))
                terms.append(rf"{formula_latex(factor, duties)}\,\frac{{d {state}}}{{dt}}")
            yield rf"\[ {' + '.join(terms).replace('+ -', '- ')} = {formula_latex(law.right, duties)} \]"
        yield from _matrices(interval.equations, found, duties)
    if found.averaged is not None:
        yield r"\paragraph{Mean of the intervals}"
        yield from _matrices(found.averaged, found, duties)


def _matrices(equations: StateEquations, found: ModeEquations, duties: tuple[str, ...]) -> Iterator[str]:
    for tie in equations.ties:
        state = symbol_latex(state_symbol(tie.state, found.kinds[tie.state]))
        yield rf"\[ {state} = {formula_latex(tie.value, duties)} \quad\text{{({escaped(tie.kind)})}} \]"
    states = [symbol_latex(state_symbol(name, found.kinds[name])) for name in equations.states]
    inputs = [symbol_latex(name) for name in equations.inputs]
    outputs = [OUTPUTS[name] for name in equations.outputs]
    x, u, y = _column(states), _column(inputs), _column(outputs)
    a, b, c, e = (_matrix(part, duties) for part in (equations.A, equations.B, equations.C, equations.E))
    if states:
        yield rf"\[ \frac{{d}}{{dt}}{x} = {a} {x} + {b} {u} \]"
        yield rf"\[ {y} = {c} {x} + {e} {u} \]"
    else:
        yield rf"\[ {y} = {e} {u} \]"


def _column(entries: list[str]) -> str:
    return r"\begin{pmatrix} " + r" \\ ".join(entries) + r" \end{pmatrix}"


def _matrix(matrix: ImmutableMatrix, duties: tuple[str, ...]) -> str:
    rows = [
        " & ".join(formula_latex(matrix[i, j], duties) for j in range(matrix.cols))
        for i in range(matrix.rows)
    ]
    return _column(rows)
