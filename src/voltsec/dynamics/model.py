"""The small-signal model of a solved circuit: averaged in formulas, averaged and exact in numbers.

Formulas are those of the circuit without parts that settle at once (as everywhere); the exact response is
that of the whole circuit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

import numpy as np
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import in_time
from voltsec.dynamics.averaged import PROBE, S, SmallSignal, probed, small_signal, with_probe
from voltsec.dynamics.chosen_mode import mode_and_case
from voltsec.dynamics.discontinuous import NotReduced, Reduced, reduced_model
from voltsec.dynamics.equations import INPUT_CURRENT, OUTPUT, duty_ring, ordinary_outputs, shares_of
from voltsec.dynamics.factored import Factored, Factorer
from voltsec.dynamics.fitted import fitted_transfer
from voltsec.dynamics.number_ring import UNITS, NumberRing, in_s
from voltsec.dynamics.sampled import Link, Sampled
from voltsec.dynamics.transfer import Transfer
from voltsec.dynamics.validity import deviation, first_order, left_out
from voltsec.formulas.engine import engine_of
from voltsec.formulas.first_order_dry import Case
from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.effective import passive
from voltsec.periodic.fractions import Fractions
from voltsec.results.measures import Terms
from voltsec.results.solution import Mode, Solution
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Ring, value_of
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.linear import Array
from voltsec.waveforms.network import NotDetermined


@dataclass(frozen=True)
class Response:
    """One response of a circuit at its operating point; what there is of it."""

    link: Link
    ratio: Ratio | None
    """Over the model's ring."""
    factored: Factored | None
    near: Factored | None
    """The same with its long parts to first order in the parasitics; None where none is long."""
    averaged: Transfer | None
    """In discontinuous conduction the reduced model."""
    fitted: Transfer | None
    """In discontinuous conduction: poles of the exact period map, zeros fitted to the exact response."""

    @property
    def shown(self) -> Factored | None:
        """What a person reads."""
        return self.near or self.factored

    @property
    def transfer(self) -> Transfer | None:
        """The ratio of polynomials with numbers."""
        return self.fitted or self.averaged


@dataclass(frozen=True)
class Model:
    """Everything told of one circuit's small signals."""

    circuit: Circuit
    """The whole circuit."""
    case: Case
    """The circuit of the formulas, with a probe."""
    mode: Mode
    point: Mapping[str, float] | None
    """Every symbol of the whole circuit; None without an operating point."""
    responses: tuple[Response, ...]
    ring: Ring | None
    sampled: Sampled | None
    reduced: bool = False
    """The formulas are those of discontinuous conduction, in which coils are no states."""
    definitions: Mapping[str, Expr] = field(default_factory=dict)
    shares: Mapping[str, float] = field(default_factory=dict)
    """Of the period, at the point, for the symbols of shares in a reduced model's formulas."""
    notes: tuple[str, ...] = ()

    @property
    def frequency(self) -> float | None:
        """Switching frequency, hertz."""
        return None if self.point is None else 1.0 / self.point["T"]

    def response(self, kind: str, control: str | None = None) -> Response | None:
        """The first response of a kind, of one control where it is given."""
        for one in self.responses:
            if one.link.kind == kind and control in (None, one.link.control):
                return one
        return None

    @cached_property
    def _known(self) -> dict[tuple[float, ...], dict[tuple[str, str], Array]]:
        return {}

    def exact(self, link: Link, hertz: Array) -> Array | None:
        """The exact response at frequencies (f,); None where there is none."""
        if self.sampled is None:
            return None
        key = tuple(float(f) for f in hertz)
        if key not in self._known:  # one pass tells all links
            self._known[key] = self.sampled.at(hertz)
        values = self._known[key][link.key]
        with np.errstate(all="ignore"):
            return 1 / values if link.inverse else values

    def averaged(self, link: Link, hertz: Array) -> Array | None:
        """The averaged response at frequencies (f,)."""
        found = next((one.averaged for one in self.responses if one.link == link), None)
        return None if found is None else found.at(hertz)


def small_signals(
    answer: Solution,
    mode: str | None = None,
    point: Mapping[str, float] | None = None,
    output: tuple[str, str, Terms] | None = None,
    kinds: Iterable[str] = ("duty", "input", "zout", "zin"),
) -> Model:
    """The model of one mode of a solved circuit.

    ``point`` has every symbol of the circuit (SI units), None where there is no operating point; ``output``
    is (name, unit, terms) of what is looked at in place of the output voltage.  The mode is that at the point
    unless it is named.  Raises :class:`~voltsec.dynamics.chosen_mode.NotTold`.
    """
    chosen, case, notes = mode_and_case(answer, mode, point)
    case = probed(case)
    outputs = {**ordinary_outputs(case.circuit)}
    unit = "V"
    if output is not None:
        unit = output[1]
        outputs[OUTPUT] = output[2]
    links = [link for link in _links(case.circuit, unit) if link.kind in set(kinds)]
    there = point is not None and (mode is None or _holds(answer, chosen, point))
    if point is not None and not there:
        notes.append(f"no numbers: at the operating point {chosen.name} does not hold")
    builder = engine_of(answer).builder(chosen.name)
    written = _Written(case, chosen, builder, outputs, output is not None)
    at = {**point, PROBE: 0.0} if there and point is not None else None
    numbers = None if at is None else _numbers(case, chosen, at, outputs)
    shares = None if at is None else in_time(lambda: engine_of(answer).fractions_at(chosen.name, at))
    sampled, why = (None, "") if at is None else _sampled(answer.circuit, at, outputs)
    if why:
        notes.append(why)
    values, own = None, {}
    if at is not None and shares is not None and written.reduced is not None:
        own = {name: shares[1][k] for k, name in written.reduced.fractions.unknown.items()}
        known = {**at, **own, S: 0.0}
        values = {name: Fraction(float(value_of(name, known))) for name in written.reduced.ring.names}
    responses = tuple(_response(link, written, numbers, values, sampled) for link in links)
    notes += written.notes
    averaged = responses[0].averaged if responses and written.reduced is None else None
    if sampled is not None and averaged is not None:
        notes += deviation(averaged, sampled, links[0].key)
    if written.factorer is not None:
        notes += left_out(answer.circuit, case, written.reduced is not None)
    if any(one.near is not None for one in responses):
        notes.append(first_order(case.circuit, not written.first_order))
    return Model(
        answer.circuit,
        case,
        chosen,
        at,
        responses,
        written.ring,
        sampled,
        written.reduced is not None,
        chosen.definitions if written.reduced is not None else {},
        own,
        tuple(notes),
    )


def _holds(answer: Solution, mode: Mode, point: Mapping[str, float]) -> bool:
    there = in_time(lambda: engine_of(answer).mode_at(point))
    return there is None or there == mode.name


def _links(circuit: Circuit, unit: str) -> list[Link]:
    """Every response that is told."""
    duties = [Link("duty", OUTPUT, duty, unit) for duty in circuit.timing_symbols]
    source = circuit.input.quantity.symbol
    per_ampere = {"V": "ohm", "A": "1"}[unit]
    return [
        *duties,
        Link("input", OUTPUT, source, {"V": "1", "A": "A/V"}[unit]),
        Link("zout", OUTPUT, PROBE, per_ampere),
        Link("zin", INPUT_CURRENT, source, "ohm", inverse=True),
    ]


class _Written:
    """The responses in formulas, each written when it is asked for."""

    def __init__(
        self,
        case: Case,
        mode: Mode,
        builder: ModeBuilder | None,
        outputs: Mapping[str, Terms],
        other: bool,
    ) -> None:
        self.ring: Ring | None = None
        self.reduced: Reduced | None = None
        self.notes: list[str] = []
        self.responses: Mapping[tuple[str, str], Ratio] = {}
        self.factorer: Factorer | None = None
        self.parasitics = case.circuit.parasitics
        if continuous(mode):
            self._averaged(case, outputs)
        elif other:
            self.notes.append("formulas of discontinuous conduction are told for the output voltage only")
        else:
            self._reduced(case, None if builder is None else builder.found.fractions)

    def _averaged(self, case: Case, outputs: Mapping[str, Terms]) -> None:
        ring = duty_ring(case, (S,))
        found = in_time(lambda: small_signal(case, ring, outputs))
        if found is None:
            self.notes.append(
                "the averaged model's formulas are too long to be written, or were not finished in their time"
            )
            return
        self.ring, self.responses = ring, found.responses
        known = [*shares_of(case, ring).values(), *passive(case.circuit, ring)]
        self.factorer = Factorer(ring, case.stages.symbols, case.point, known)

    def _reduced(self, case: Case, fractions: Fractions | None) -> None:
        """``fractions`` are those of the mode's formulas, None where these are not written."""
        try:
            found = in_time(lambda: reduced_model(case, fractions))
            why = "it took too long"
        except NotReduced as problem:
            found, why = None, str(problem)
        if found is None:
            self.notes.append(f"no formulas in discontinuous conduction: {why}")
            return
        self.reduced = found
        self.ring, self.responses = found.ring, found.responses
        fractions = found.fractions
        names = {name: case.shares[k] for k, name in fractions.unknown.items()}
        point = {**case.point, **{name: float(share) for name, share in names.items()}}
        known = [found.ring.symbol(name) for name in names]
        known += [fractions.ring.substitute(image, found.ring, {}) for image in fractions.images.values()]
        self.factorer = Factorer(found.ring, (*names, *case.stages.symbols), point, known)

    def ratio(self, link: Link) -> Ratio | None:
        """A response, turned round where that is told."""
        found = self.responses.get(link.key)
        if found is None or (link.inverse and found.is_zero):
            return None
        return found.inverse if link.inverse else found

    def factored(self, link: Link, small: Iterable[str] = ()) -> Factored | None:
        """The response in factors; None where it is too long or not determined.

        Of long factors only what is of first order in ``small``.
        """
        ratio, factorer = self.ratio(link), self.factorer
        if ratio is None or factorer is None or (self.first_order and not small):
            return None
        found: Factored | None = in_time(lambda: factorer.factored(ratio, small))
        return found

    def near(self, link: Link) -> Factored | None:
        """The response with its long factors to first order in the parasitics; None where none is long."""
        found = self.factored(link, self.parasitics) if self.parasitics else None
        if found is not None and self.first_order:
            return found.all_near
        return found if found is not None and found.anything_near else None

    @property
    def first_order(self) -> bool:
        """There is nothing but the first order."""
        return self.reduced is not None and self.reduced.first_order


def continuous(mode: Mode) -> bool:
    """True where every inductor conducts throughout."""
    return mode.name.startswith("CCM")


def _numbers(
    case: Case, mode: Mode, point: Mapping[str, float], outputs: Mapping[str, Terms]
) -> tuple[NumberRing, SmallSignal] | None:
    """The averaged model with numbers for the symbols."""
    if not continuous(mode):
        return None
    known = {quantity.symbol for quantity in case.circuit.quantities}
    ring = NumberRing(case, {name: value for name, value in point.items() if name in known})
    found = in_time(lambda: small_signal(case, ring, outputs))
    return None if found is None else (ring, found)


def _sampled(
    circuit: Circuit, point: Mapping[str, float], outputs: Mapping[str, Terms]
) -> tuple[Sampled | None, str]:
    """The exact response of the whole circuit, or why there is none."""
    state = exact_state(with_probe(circuit), point)
    if state is None:
        return None, "no exact response: no state was found that repeats from period to period"
    try:
        return Sampled(state.trajectory, outputs), ""
    except (NotDetermined, np.linalg.LinAlgError) as problem:
        return None, f"no exact response: {problem}"


def _response(
    link: Link,
    written: _Written,
    numbers: tuple[NumberRing, SmallSignal] | None,
    values: Mapping[str, Fraction] | None,
    sampled: Sampled | None,
) -> Response:
    """``values`` are those of the variables of a reduced model."""
    averaged = None if numbers is None else _transfer(link, *numbers)
    ratio = written.ratio(link)
    if written.reduced is not None and values is not None and ratio is not None:
        top, bottom = (in_s(written.reduced.ring, part, values) for part in ratio.parts)
        averaged = Transfer(tuple(top), tuple(bottom))
    fitted = None
    if numbers is None and sampled is not None:
        fitted = fitted_transfer(sampled, link)
    return Response(link, ratio, written.factored(link), written.near(link), averaged, fitted)


def _transfer(link: Link, ring: NumberRing, found: SmallSignal) -> Transfer | None:
    ratio = found.responses.get(link.key)
    if ratio is None:
        return None
    top, bottom = (ring.in_s(part) for part in ratio.parts)
    if link.inverse:
        top, bottom = bottom, top
        if not any(bottom):
            return None
    scale = UNITS.get(link.unit, Fraction(1))
    if link.unit == "A/V":
        scale = UNITS["A"] / UNITS["V"]
    return Transfer(tuple(c * scale for c in top), tuple(bottom))
