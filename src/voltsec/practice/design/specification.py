"""What a stage is wanted for, as a person writes it: ``Vin=8:16, Vout=12, Iout=0.5:2, ripple(L1)=30%``."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load
from voltsec.circuit.spelling import hint_among
from voltsec.practice.asked import BadValues
from voltsec.practice.axes import read_value
from voltsec.practice.tolerance import symbol_of
from voltsec.results.table import inductances, output_capacitor

OUTPUT_WORDS = ("Vout", "Vo")
CURRENT_WORDS = ("Iout", "Io")
POWER_WORDS = ("Pout", "Po")
OUT = "out"
"""``ripple(out)``: of the output voltage."""
EXAMPLE = "Vin=8:16, Vout=12, Iout=0.5:2, f=100k, ripple(L1)=30%, ripple(out)=50mV"
_CALL = re.compile(r"(\w+)\s*\(\s*([^()]*?)\s*\)")
FUNCTIONS = ("ripple", "clamp")


class BadSpecification(BadValues):
    """A specification that cannot be met or understood; the message says which word, and a remedy."""


@dataclass(frozen=True)
class Range:
    """From ``low`` to ``high``, SI units; equal where one value was given."""

    low: float
    high: float

    @property
    def single(self) -> bool:
        """True for one value."""
        return self.low == self.high


@dataclass(frozen=True)
class Limit:
    """The most a ripple may be, peak to peak."""

    amount: float
    """Ampere or volt, or a share where ``relative``."""
    relative: bool
    """Of a coil's mean current at the largest load, of a capacitor's or the output's mean voltage."""


@dataclass(frozen=True)
class Specification:
    """What is wanted of one circuit; every range in SI units."""

    ranges: dict[str, Range]
    """Symbol of the circuit -> its range."""
    output: Range | None = None
    """The output voltage, as stated (its size where the stage inverts)."""
    current: Range | None = None
    """What the output's load draws, ampere."""
    power: Range | None = None
    """What the output's load takes, watt."""
    ripples: dict[str, Limit] = field(default_factory=dict)
    """Coil, capacitor or ``out`` -> the most it may be."""
    clamps: dict[str, float] = field(default_factory=dict)
    """Device -> the most voltage it may see, volt."""


def read_specification(text: str, circuit: Circuit) -> Specification:
    """The specification in ``text`` for ``circuit``.  Raises :class:`BadSpecification`."""
    ranges: dict[str, Range] = {}
    ports: dict[str, Range] = {}
    ripples: dict[str, Limit] = {}
    clamps: dict[str, float] = {}
    given: dict[str, str] = {}
    try:
        for name, value in _statements(text):
            call = _CALL.fullmatch(name)
            if call is not None:
                _limit(call[1], call[2], value, circuit, ripples, clamps)
                continue
            key, unit, port = _meaning(name, circuit)
            if key in given:
                both = name if given[key] == name else f"{given[key]} and {name}"
                twice = "is given twice" if both == name else "say the same"
                raise BadSpecification(f"{both} {twice}; give one of them")
            given[key] = name
            found = _range(name, value, unit)
            if unit == "Hz":
                found = Range(1 / found.high, 1 / found.low)
            (ports if port else ranges)[key] = found
    except BadSpecification:
        raise
    except BadValues as problem:
        raise BadSpecification(str(problem)) from None
    specification = Specification(
        ranges, ports.get("Vout"), ports.get("Iout"), ports.get("Pout"), ripples, clamps
    )
    _contradictions(specification, circuit)
    return specification


def output_load(circuit: Circuit) -> Load | CurrentSource | None:
    """What draws the output's current: the load named as output, or the one that lies across it."""
    output = circuit.output
    across = [
        load
        for load in circuit.loads
        if load.name == output.element or {load.start, load.end} == {output.start, output.end}
    ]
    return across[0] if len(across) == 1 or any(load.name == output.element for load in across) else None


def _statements(text: str) -> Iterator[tuple[str, str]]:
    depth, start = 0, 0
    pieces = []
    for place, sign in enumerate(text):
        depth += (sign == "(") - (sign == ")")
        if sign in ",;" and depth <= 0:
            pieces.append(text[start:place])
            start = place + 1
    pieces.append(text[start:])
    stated = [piece.strip() for piece in pieces if piece.strip()]
    if not stated:
        raise BadSpecification(f"nothing is specified; write it as in {EXAMPLE}")
    for piece in stated:
        name, equals, value = (part.strip() for part in piece.partition("="))
        if not (name and equals and value):
            raise BadSpecification(f"a wanted value is written NAME=VALUE or NAME=FROM:TO, not {piece!r}")
        yield name, value


def _meaning(name: str, circuit: Circuit) -> tuple[str, str, bool]:
    """(symbol or port, unit, whether it is a port); the circuit's own symbols win."""
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    if name in units:
        return name, units[name], False
    for words, unit in ((OUTPUT_WORDS, "V"), (CURRENT_WORDS, "A"), (POWER_WORDS, "W")):
        if name.lower() in (word.lower() for word in words):
            return words[0], unit, True
    if name.lower() in ("vin", "vi"):
        return circuit.input.quantity.symbol, "V", False
    if name in ("f", "fs"):
        return "T", "Hz", False
    if any(element.name == name for element in circuit.elements):
        symbol = symbol_of(circuit, name)
        return symbol, units[symbol], False
    known = [*units, "Vin", "Vout", "Iout", "Pout", "f", "ripple(PART)", "clamp(PART)"]
    raise BadSpecification(f"nothing is called {name}; {hint_among(name, known)}")


def _range(name: str, text: str, unit: str) -> Range:
    parts = [part.strip() for part in text.split(":")]
    if len(parts) > 2:
        example = f"{name}={parts[0]}:{parts[1]}"
        raise BadSpecification(f"{name}={text}: a range is written FROM:TO, as in {example}")
    low, high = (read_value(name, part, unit) for part in (parts[0], parts[-1]))
    if low > high:
        raise BadSpecification(
            f"{name}={text}: the range does not run upwards; write {name}={parts[1]}:{parts[0]}"
        )
    if unit in ("Hz", "s", "ohm", "H", "F", "W") and low <= 0:
        raise BadSpecification(f"{name}={text}: {name} must be above zero")
    if name in CURRENT_WORDS and low <= 0:
        raise BadSpecification(
            f"{name}={text}: the load current must be above zero; without any load most stages have no "
            f"bounded output, so give the smallest load, as in {name}={_small(high)}:{parts[-1]}"
        )
    return Range(low, high)


def _small(high: float) -> str:
    return f"{abs(high) / 20 or 0.05:.3g}"


def _limit(
    word: str,
    part: str,
    value: str,
    circuit: Circuit,
    ripples: dict[str, Limit],
    clamps: dict[str, float],
) -> None:
    if word not in FUNCTIONS:
        raise BadSpecification(f"there is no {word}( ) to specify; there are ripple(PART) and clamp(PART)")
    told = f"{word}({part})"
    if part in (ripples if word == "ripple" else clamps):
        raise BadSpecification(f"{told} is given twice")
    if ":" in value:
        raise BadSpecification(f"{told} takes the most it may be, not a range")
    if word == "clamp":
        devices = [device.name for device in circuit.devices]
        if part not in devices:
            raise BadSpecification(f"{told}: there is no switch or diode {part}; {hint_among(part, devices)}")
        clamps[part] = _above_zero(told, read_value(told, value, "V"))
        return
    coils, capacitors = inductances(circuit), [c.name for c in circuit.capacitors]
    if part != OUT and part not in (*coils, *capacitors):
        known = (*coils, *capacitors, OUT)
        raise BadSpecification(f"{told}: there is no coil or capacitor {part}; {hint_among(part, known)}")
    relative = value.endswith("%")
    amount = read_value(told, value, "1" if relative else "A" if part in coils else "V")
    ripples[part] = Limit(_above_zero(told, amount), relative)


def _above_zero(told: str, amount: float) -> float:
    if amount <= 0:
        raise BadSpecification(f"{told} must be above zero")
    return amount


def _contradictions(specification: Specification, circuit: Circuit) -> None:
    load = output_load(circuit)
    ports = {"Iout": specification.current, "Pout": specification.power}
    stated = [name for name, value in ports.items() if value is not None]
    if load is not None and load.quantity.symbol in specification.ranges:
        stated.append(load.quantity.symbol)
    if len(stated) > 1:
        raise BadSpecification(f"{' and '.join(stated)} both say what the output's load is; give one of them")
    if stated and load is None and stated[0] in ports:
        raise BadSpecification(
            f"{stated[0]}: no single load lies across the output; give the loads' own values instead"
        )
    for name in stated:
        if name in ports and specification.output is None:
            raise BadSpecification(f"{name} needs an output voltage to turn into a load: give Vout too")
    if specification.output is not None and specification.output.low <= 0 <= specification.output.high:
        raise BadSpecification("Vout is a voltage other than zero, all of its range on one side of zero")
    _sized_and_given(specification, circuit)


def _sized_and_given(specification: Specification, circuit: Circuit) -> None:
    """A part that is to be sized has no stated value, and one limit."""
    for part in specification.ripples:
        symbol = sized_symbol(part, circuit)
        if symbol is None:
            raise BadSpecification(
                "ripple(out): no capacitor lies across the output, so none can be sized for it; name one, "
                "as in ripple(C1)"
            )
        if symbol in specification.ranges:
            raise BadSpecification(
                f"{symbol} is given and ripple({part}) asks for its size; leave out one of them"
            )
        if part == OUT:
            continue
        output = output_capacitor(circuit)
        if OUT in specification.ripples and output is not None and output.name == part:
            raise BadSpecification(
                f"ripple(out) and ripple({part}) both size {part}, which lies across the output; "
                "leave out one of them"
            )


def sized_symbol(part: str, circuit: Circuit) -> str | None:
    """The symbol whose value a ripple limit decides; ``None`` where there is none."""
    if part == OUT:
        found = output_capacitor(circuit)
        return None if found is None else found.quantity.symbol
    for element in circuit.elements:
        if element.name == part:
            return str(element.quantities[0].symbol)
    return part
