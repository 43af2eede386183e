"""One symbol, one thing: what two things of a netlist would share in the formulas is an error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from voltsec.circuit.circuit import Coupling
from voltsec.circuit.elements import Element, Place, Quantity, Transformer
from voltsec.language.driving import DriveBook
from voltsec.language.findings import Findings


@dataclass(frozen=True)
class _Claim:
    """A thing that stands in the formulas as ``symbol``; ``owner`` is the element it belongs to."""

    symbol: str
    what: str
    owner: str
    place: Place | None


def check_symbols(
    elements: Mapping[str, Element],
    parameters: Mapping[str, Quantity],
    parameter_places: Mapping[str, Place],
    couplings: Sequence[Coupling],
    drives: DriveBook,
    findings: Findings,
) -> None:
    """Note every symbol that two things claim, naming both."""
    claims = [_Claim("T", "the period", "T", None)]
    for duty, switch in drives.duties.items():
        place = drives.drives[switch].place if switch in drives.drives else None
        claims.append(_Claim(duty, f"the duty of {switch}", switch, place))
    for phase, switch in drives.phases.items():
        claims.append(_Claim(phase, f"the start of {switch}", switch, drives.drives[switch].place))
    for element in elements.values():
        claims += _claims_of(element)
    claims += [_Claim(name, f"the parameter {name}", name, parameter_places[name]) for name in parameters]
    for coupling in couplings:
        pair = f"the mutual inductance of {coupling.first} and {coupling.second}"
        claims.append(_Claim(coupling.symbol, pair, coupling.symbol, coupling.place))
    first: dict[str, _Claim] = {}
    for claim in claims:
        earlier = first.setdefault(claim.symbol, claim)
        if earlier is not claim:
            _clash(earlier, claim, findings)


def _claims_of(element: Element) -> list[_Claim]:
    """The symbols of one element."""
    found = []
    for quantity in element.quantities:
        what = f"{element.kind} {element.name}"
        if isinstance(element, Transformer):
            what = f"the magnetizing inductance of {element.name}"
        for word, parasitic in element.parasitics.items():
            if quantity is parasitic:
                what = f"the {word} of {element.name}"
        found.append(_Claim(quantity.symbol, what, element.name, element.place))
    return found


def _clash(earlier: _Claim, later: _Claim, findings: Findings) -> None:
    """Note that two things claim one symbol, at the place of the later one in the text."""
    places = [claim.place for claim in (earlier, later) if claim.place is not None]
    place = max(places, key=lambda one: (one.line, one.column)) if places else None
    findings.add(
        "symbol-clash",
        f"the symbol {later.symbol} stands for both {earlier.what} and {later.what}",
        place,
        tuple(dict.fromkeys((earlier.owner, later.owner))),
        (),
        "give one of the two another name",
    )
