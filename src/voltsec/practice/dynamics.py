"""Small-signal models of netlists, as asked for by name: the point, the mode, the output looked at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError, Fault
from voltsec.circuit.spelling import hint_among
from voltsec.dynamics.averaged import PROBE, S
from voltsec.dynamics.chosen_mode import NotTold
from voltsec.dynamics.input_filter import Interaction, input_filter, interaction
from voltsec.dynamics.model import Model, Response, small_signals
from voltsec.periodic.points import operating_point
from voltsec.practice.asked import BadValues, known_point
from voltsec.practice.solve import solve
from voltsec.practice.stated_point import missing_values, read_point
from voltsec.practice.traces_wanted import read_traces
from voltsec.results.measures import Terms
from voltsec.results.solution import Solution
from voltsec.tableau.expression import symbol
from voltsec.waveforms.network import NotDetermined

FORMS = ("scipy", "control", "symbolic")
OUTPUT_WORDS = ("V", "Vout")
CURRENT_WORDS = ("Io", "Iout")


@dataclass(frozen=True)
class Told:
    """A model and what it was asked for."""

    circuit: Circuit
    answer: Solution
    model: Model
    name: str = ""
    """What is looked at in place of the output voltage."""

    @cached_property
    def interaction(self) -> Interaction | None:
        """The input filter against the stage; None without one, or without numbers."""
        if self.model.point is None or input_filter(self.circuit) is None:
            return None
        try:
            return interaction(self.circuit, self.model.point)
        except (NotTold, NotDetermined):
            return None

    def without_point(self) -> Fault:
        """Why there are no numbers: values are missing, or they lead nowhere."""
        _, missing = known_point(self.circuit, {})
        if missing:
            return missing_values(self.circuit, missing)
        why = "; ".join(self.model.notes) or "no state repeats from period to period"
        return Fault("no-numbers", f"there are no numbers to draw: {why}")


def told(
    circuit: Circuit,
    changes: tuple[str, ...] = (),
    wanted: str | None = None,
    mode: str | None = None,
    kinds: Iterable[str] = ("duty", "input", "zout", "zin"),
) -> Told:
    """The model of ``circuit``.

    ``changes`` are ``NAME=VALUE`` texts, ``wanted`` a trace such as ``v(C1)`` in place of the output voltage.
    Raises :class:`BadValues` for values that make no sense, :class:`CircuitError` for an unknown trace and
    :class:`~voltsec.dynamics.chosen_mode.NotTold` for a mode that is not there.
    """
    output = None if wanted is None else _output(wanted, circuit)
    values = read_point(changes, circuit)
    known_point(circuit, values)  # what makes no sense is refused before any work
    return told_of(solve(circuit), values, output, mode, kinds)


def told_of(
    answer: Solution,
    values: Mapping[str, float],
    output: tuple[str, str, Terms] | None = None,
    mode: str | None = None,
    kinds: Iterable[str] = ("duty", "input", "zout", "zin"),
) -> Told:
    """The model of a solved circuit; ``values`` (SI units) change its operating point.

    ``output`` is (name, unit, terms) of what is looked at in place of the output voltage.
    Raises :class:`~voltsec.dynamics.chosen_mode.NotTold` for a mode that is not there.
    """
    circuit = answer.circuit
    point, missing = known_point(circuit, values)
    there = None if missing else {name: float(value) for name, value in point.items()}
    model = small_signals(answer, mode, there, output, kinds)
    if missing:
        fault = missing_values(circuit, missing)
        note = f"no numbers: {fault.message}; {fault.hint}"
        model = _noted(model, note)
    return Told(circuit, answer, model, "" if output is None else output[0])


def _noted(model: Model, note: str) -> Model:
    return replace(model, notes=(note, *model.notes))


def _output(wanted: str, circuit: Circuit) -> tuple[str, str, Terms]:
    try:
        traces = read_traces(wanted, circuit)
    except CircuitError as problem:
        raise CircuitError(problem.faults, "--to", wanted) from None
    if len(traces) != 1:
        raise BadValues("--to takes one trace, such as v(C1)")
    (trace,) = traces
    return trace.text, trace.unit, trace.terms


def transfer(
    answer: Solution, control: str, output: str = "V", form: str = "scipy", mode: str | None = None
) -> Any:
    """The response of ``output`` to ``control`` of a solved circuit at its operating point.

    ``control`` is a duty, the input's symbol, or ``Io``, a current fed into the output; ``output`` is ``V``,
    the output voltage, ``I``, the current drawn from the input, or a trace such as ``v(C1)``.  ``form``:
    ``"scipy"`` gives a ``scipy.signal.TransferFunction``, ``"control"`` a ``control.TransferFunction`` (extra
    ``control``), ``"symbolic"`` a sympy expression in ``s`` and the circuit's symbols, which needs no values.

    Raises :class:`NotTold` for names that are not there, and where there is nothing to tell.
    """
    circuit = answer.circuit
    if form not in FORMS:
        raise NotTold(f"there is no form {form!r}; {hint_among(form, list(FORMS))}")
    source = circuit.input.quantity.symbol
    kinds = {duty: "duty" for duty in circuit.timing_symbols} | {source: "input"}
    kinds |= dict.fromkeys(CURRENT_WORDS, "zout")
    if control not in kinds:
        raise NotTold(f"nothing responds to {control!r}; {hint_among(control, list(kinds))}")
    words: tuple[str, str, Terms] | None = None
    if output == "I":
        words = "I", "A", ((("i", circuit.input.name), -1),)
    elif output not in OUTPUT_WORDS:
        words = _output(output, circuit)
    point = operating_point(circuit) if form != "symbolic" else None
    model = small_signals(answer, mode, point, words, (kinds[control],))
    found = model.response(kinds[control], PROBE if kinds[control] == "zout" else control)
    assert found is not None
    if form == "symbolic":
        return _symbolic(model, found)
    if found.transfer is None:
        why = "; ".join(model.notes) or "it is not determined"
        if model.point is None:
            _, missing = known_point(circuit, {})
            why = missing_values(circuit, missing).message if missing else why
        raise NotTold(f"no numbers of this response: {why}")
    return found.transfer.control() if form == "control" else found.transfer.scipy()


def _symbolic(model: Model, found: Response) -> Any:
    """The ratio as a sympy expression, powers of s collected."""
    from sympy import Add, Symbol

    if found.ratio is None or model.ring is None:
        raise NotTold("; ".join(model.notes) or "this response is not determined in formulas")
    ring, s = model.ring, Symbol("s")
    parts = []
    for part in found.ratio.parts:
        powers = ring.coefficients(part, S)
        parts.append(Add(*(_plain(c, ring) * s**k for k, c in enumerate(powers))))
    return parts[0] / parts[1]


def _plain(polynomial: Any, ring: Any) -> Any:
    from sympy import Add, Mul

    return Add(
        *(
            Mul(int(c), *(symbol(n) ** int(p) for n, p in zip(ring.names, powers, strict=True) if p))
            for powers, c in polynomial.to_dict().items()
        )
    )
