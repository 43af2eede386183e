"""Worst corners and sizes on a terminal: every figure with a letter for the corner where it lies."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from textwrap import wrap

from sympy import Expr, Symbol

from voltsec.circuit.circuit import Circuit
from voltsec.practice.design.extremes import HIGHEST, LOWEST, STRESSES, Corner, Extreme, WorstCase
from voltsec.practice.design.points import PORT_UNITS, Points
from voltsec.practice.design.sizing import Size, Sizing
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.cautions import CLOSING, EXTRA_LOW_VOLTAGE, voltage_caution
from voltsec.report.clamp_text import clamp_lines, damping_lines
from voltsec.report.formula import formula
from voltsec.report.other_losses import loss_words
from voltsec.report.outline import in_order_of_interest
from voltsec.report.quantity import engineering, percent
from voltsec.report.wrapping import wrap_formula
from voltsec.results.table import inductances

INDENT = "  "
LONGEST = 150
"""Signs of a formula up to which it is printed."""
HEADINGS = {"voltage_peak": "Voltage", "current_peak": "Peak current", "current_rms": "Rms current"}
LETTERS = "abcdefghijklmnopqrstuvwxyz"
WHOLE = {
    "output_ripple": "Output ripple",
    "efficiency": "Efficiency, least",
    "overall_efficiency": "Overall efficiency, least",
    LOWEST + "output_voltage": "Output voltage, least",
    HIGHEST + "output_voltage": "Output voltage, most",
}


class CornerLetters:
    """Letters of the operating points that figures name, in the order of first use."""

    def __init__(self, circuit: Circuit, alphabet: Alphabet) -> None:
        self.units = {q.symbol: q.unit for q in circuit.quantities} | PORT_UNITS
        self.alphabet = alphabet
        self.known: list[str] = []

    def letter(self, corner: Corner) -> str:
        """The letter of a point: a, b ... z, a1 ..."""
        words = self.words(corner)  # two points that read the same are one to a reader
        if words not in self.known:
            self.known.append(words)
        place = self.known.index(words)
        return self.nth(place)

    @staticmethod
    def nth(place: int) -> str:
        """The letter of the point at ``place``, counted from 0."""
        return LETTERS[place % 26] + (str(place // 26) if place >= 26 else "")

    def values(self, values: Mapping[str, float]) -> str:
        """``Vg = 9 V, Iout = 500 mA``."""
        shown = (
            f"{name} = {engineering(value, self.units.get(name, '1'), self.alphabet)}"
            for name, value in values.items()
        )
        return ", ".join(shown)

    def words(self, corner: Corner) -> str:
        """A corner's values, its mode, and whether it lies inside."""
        inside = "" if corner.corner else "inside the ranges"
        return ", ".join(one for one in (self.values(corner.values), corner.mode, inside) if one)


class DesignView:
    """Lines of at most ``width`` characters."""

    def __init__(self, circuit: Circuit, width: int, alphabet: Alphabet) -> None:
        self.circuit = circuit
        self.width = max(width, 40)
        self.alphabet = alphabet
        self.letters = CornerLetters(circuit, alphabet)

    def number(self, value: float | None, unit: str) -> str:
        """A number with its unit."""
        return engineering(value, unit, self.alphabet)

    def text(self, expression: Expr) -> str:
        """A formula."""
        return formula(expression, self.circuit.duty_symbols, self.alphabet)

    def prose(self, text: str, indent: str = INDENT, hang: str = "") -> list[str]:
        """A sentence, broken."""
        plain = self.alphabet.plain(text)
        return wrap(plain, self.width, initial_indent=indent, subsequent_indent=indent + hang)

    def rule(self, heading: str) -> str:
        """A section's heading."""
        line = "─" if self.alphabet.unicode else "-"
        start = self.alphabet.plain(f"{line * 2} {heading} ")
        return start + line * max(self.width - len(start), 0)

    def row(self, label: str, text: str, column: int) -> Iterator[str]:
        """A label and a formula or number."""
        start = INDENT + self.alphabet.plain(label).ljust(column)
        parts = wrap_formula(self.alphabet.plain(text), self.width - len(start))
        yield (start + parts[0]).rstrip()
        yield from (" " * len(start) + part for part in parts[1:])

    def table(self, rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
        """Columns as wide as they must be; the first to the left, the others to the right."""
        plain = [tuple(self.alphabet.plain(cell) for cell in row) for row in rows]
        widths = [max(len(row[k]) for row in plain) for k in range(len(plain[0]))]
        for row in plain:
            cells = [
                cell.ljust(wide) if k == 0 else cell.rjust(wide)
                for k, (cell, wide) in enumerate(zip(row, widths, strict=True))
            ]
            yield (INDENT + "  ".join(cells)).rstrip()

    def corners(self) -> Iterator[str]:
        """What the letters mean."""
        yield self.rule("Corners")
        for place, words in enumerate(self.letters.known):
            yield from self.prose(f"{self.letters.nth(place)}  {words}", hang="   ")


def worst_lines(worst: WorstCase, width: int = 80, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """The worst corner of every stress."""
    view = DesignView(worst.points.circuit, width, alphabet)
    yield from view.prose(
        f"{worst.points.circuit.name}: worst of {ranges_words(worst.points, view)}", "", INDENT
    )
    yield ""
    yield from _ratings(view, worst, "Worst of every part, ripple included")
    yield ""
    yield from _whole(view, worst)
    yield ""
    yield from _formulas(view, worst)
    yield from view.corners()
    if worst.empty:
        yield ""
        yield from view.prose(
            f"At {100 * worst.empty:.2g} % of the points looked at no periodic state was found; they are "
            "left out."
        )
    yield from _cautions(view, worst)


def sizing_lines(sizing: Sizing, width: int = 80, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """The answer of ``voltsec size``."""
    view = DesignView(sizing.circuit, width, alphabet)
    yield from view.prose(f"{sizing.circuit.name}: sized for {ranges_words(sizing.points, view)}", "", INDENT)
    yield ""
    yield from _duty(view, sizing)
    if sizing.sizes:
        yield from _sizes(view, sizing.sizes)
    yield from _continuity(view, sizing)
    yield from clamp_lines(view, sizing.clamps)
    yield from damping_lines(view, sizing.damping)
    yield from _ratings(view, sizing.worst, "Ratings: the worst of every part, ripple included, no margin")
    yield ""
    yield from _losses(view, sizing)
    yield from _formulas(view, sizing.worst)
    yield from view.corners()
    if sizing.notes:
        yield ""
        yield view.rule("Notes")
        for note in sizing.notes:
            yield from view.prose(note[0].upper() + note[1:] + ".")
    yield from _cautions(view, sizing.worst)


def ranges_words(points: Points, view: DesignView) -> str:
    """``Vg = 8 V to 16 V, Vout = 12 V``."""
    units = view.letters.units
    told = []
    stated = {axis.name: (axis.low, axis.high) for axis in points.box.axes}
    stated |= {name: (value, value) for name, value in points.fixed.items()}
    for name, (low, high) in stated.items():
        unit = units.get(name, "1")
        words = view.number(low, unit)
        if high != low:
            words += f" to {view.number(high, unit)}"
        if name == "T":
            slow, fast = view.number(1 / high, "Hz"), view.number(1 / low, "Hz")
            words += f" ({slow if high == low else f'{slow} to {fast}'})"
        told.append(f"{name} = {words}")
    return ", ".join(told)


def _duty(view: DesignView, sizing: Sizing) -> Iterator[str]:
    if sizing.duties is None:
        return
    least, largest = sizing.duties
    yield view.rule("Duty")
    for label, one in (("least", least), ("largest", largest)):
        yield f"  {one.name} {label:<8} {view.number(one.value, '1'):<8} {view.letters.letter(one.at)}"
    if sizing.duty_formula is not None:
        yield from view.row(
            least.name, f"= {view.text(sizing.duty_formula)}, in continuous conduction, ripple neglected", 2
        )
    yield ""


def _sizes(view: DesignView, sizes: Iterable[Size]) -> Iterator[str]:
    yield view.rule("Sizes: smallest by formula, the preferred value, and the ripple that results")
    rows = [("Part", "At least", "", "Preferred", "", "Ripple", "Allowed", "")]
    for one in sizes:
        rows.append(
            (
                one.symbol,
                view.number(one.least.value, one.unit),
                view.letters.letter(one.least.at),
                view.number(float(one.chosen), one.unit),
                one.series,
                view.number(one.ripple.value, one.ripple.unit),
                view.number(one.allowed, one.ripple.unit),
                view.letters.letter(one.ripple.at),
            )
        )
    yield from view.table(rows)
    for one in sizes:
        yield from _size_formula(view, one)
        if one.raised:
            yield from view.prose(
                f"{one.symbol} is larger than the formula asks: the exact ripple keeps the limit only then."
            )
    yield ""


def _size_formula(view: DesignView, one: Size) -> Iterator[str]:
    column = max(len(one.symbol) + 3, 6)
    sign = view.alphabet.relation(">=")
    shown = view.text(Symbol(one.least.limit))
    told = view.text(one.least.formula) if one.least.formula is not None else ""
    if told and len(told) <= LONGEST:
        yield from view.row(f"{one.symbol} {sign}", told, column)
    else:
        how = "its formula is long, --json holds it" if told else "solved in numbers"
        yield from view.prose(f"{one.symbol} {sign} where its ripple formula comes to {shown}; {how}")
    share = f"{percent(one.limit.amount, view.alphabet)} of the mean" if one.limit.relative else ""
    if share and one.unit == "H":
        share += " current at the largest load"
    elif share:
        share += " voltage"
    yield from view.prose(
        f"{shown} = {view.number(one.least.allowed, one.ripple.unit)}{', ' + share if share else ''}",
        INDENT + " " * column,
    )


def _continuity(view: DesignView, sizing: Sizing) -> Iterator[str]:
    found = sizing.continuity
    if found is None:
        return
    yield view.rule("Continuous conduction")
    at = f" at {view.letters.values(found.at)}" if found.at else ""
    if found.never:
        yield from view.prose(f"Not even at the largest load{at}.")
    elif found.least_current is None:
        yield from view.prose("At every load looked at.")
    else:
        yield from view.prose(
            f"Down to a load of {view.number(found.least_current, 'A')} everywhere; it ends first{at}."
        )
        if found.formula is not None:
            told = view.text(found.formula)
            if len(told) <= LONGEST:
                yield from view.row("Load resistance below", told, 24)
    yield ""


def _ratings(view: DesignView, worst: WorstCase, heading: str) -> Iterator[str]:
    yield view.rule(heading)
    stresses = [name.split(".", 1)[1] for name in worst.extremes if name.startswith("stress.")]
    parts = list(dict.fromkeys(name.rpartition(".")[0] for name in stresses))
    ordered = list(in_order_of_interest(parts, view.circuit))
    rows = [("Part", *(cell for key in STRESSES for cell in (HEADINGS[key], "")))]
    for part in ordered:
        row = [part]
        for key in STRESSES:
            row += _cell(view, worst, f"stress.{part}.{key}")
        rows.append(tuple(row))
    yield from view.table(rows)
    coils = [name for name in ordered if name in inductances(view.circuit)]
    told = [
        f"{name} {view.number(worst.extremes[f'stress.{name}.current_peak'].value, 'A')}"
        for name in coils
        if f"stress.{name}.current_peak" in worst.extremes
    ]
    if told:
        yield from view.prose(f"Saturation current above: {', '.join(told)}.")
    if any(one.bound for one in worst.extremes.values()):
        yield from view.prose("≤: at most; ideal parts leave open how it is shared.")
    if worst.unbounded:
        yield from view.prose(
            f"No bound somewhere, charge or flux jumps in no time: {', '.join(worst.unbounded)}."
        )


def _cell(view: DesignView, worst: WorstCase, name: str) -> tuple[str, str]:
    one = worst.extremes.get(name)
    if one is None:
        return ("no bound" if name in worst.unbounded else "–"), ""
    sign = "≤ " if one.bound else ""
    return sign + view.number(_cleaned(one, worst), one.unit), view.letters.letter(one.at)


def _cleaned(one: Extreme, worst: WorstCase) -> float:
    """Zero for what is rounding beside the largest of its unit."""
    largest = max(abs(other.value) for other in worst.extremes.values() if other.unit == one.unit)
    return 0.0 if abs(one.value) < 1e-9 * largest else one.value


def _whole(view: DesignView, worst: WorstCase) -> Iterator[str]:
    rows = []
    for name, label in WHOLE.items():
        one = worst.extremes.get(name)
        if one is not None:
            told = view.number(one.value, one.unit)
            if name in ("efficiency", "overall_efficiency"):
                told = percent(one.value, view.alphabet)
            rows.append((label, told, view.letters.letter(one.at)))
    for name, one in worst.extremes.items():
        group, _, part = name.partition(".")
        if group in ("ripple", "losses", "other_losses"):
            label = f"{'Ripple' if group == 'ripple' else 'Loss'} of {loss_words(name) or part}"
            rows.append((label, view.number(_cleaned(one, worst), one.unit), view.letters.letter(one.at)))
    if rows:
        yield view.rule("Stage")
        yield from view.table(rows)


def _losses(view: DesignView, sizing: Sizing) -> Iterator[str]:
    if sizing.losses is None:
        return
    corner, losses = sizing.losses
    extremes = sizing.worst.extremes
    overall = "overall_efficiency" in extremes
    efficiency = extremes["overall_efficiency" if overall else "efficiency"].value
    total = sum(losses.values())
    drawn = total / (1 - efficiency) if efficiency < 1 else 0.0
    yield view.rule("Loss budget")
    rows = [("Part", "Loss", "of input", "its worst", "")]
    letter = view.letters.letter(corner)
    for name, loss in sorted(losses.items(), key=lambda item: -item[1]):
        most = extremes.get(name)
        rows.append(
            (
                loss_words(name) or name.partition(".")[2],
                view.number(loss, "W"),
                percent(loss / drawn if drawn else None, view.alphabet),
                "" if most is None else view.number(most.value, "W"),
                "" if most is None else view.letters.letter(most.at),
            )
        )
    rows.append(("all", view.number(total, "W"), percent(1 - efficiency, view.alphabet), "", ""))
    yield from view.table(rows)
    least = "Least overall efficiency" if overall else "Least efficiency"
    yield from view.prose(f"{least} {percent(efficiency, view.alphabet)}, at {letter}.")
    yield ""


def _formulas(view: DesignView, worst: WorstCase) -> Iterator[str]:
    """The formulas of the devices' and coils' ratings, those short enough to be read."""
    rows = []
    told: dict[tuple[str, str], list[str]] = {}
    for name, one in worst.extremes.items():
        if not name.startswith("stress.") or one.formula is None:
            continue
        part, _, key = name.removeprefix("stress.").rpartition(".")
        kinds = {e.name: e.kind for e in view.circuit.elements}
        if kinds.get(part, "inductor") not in ("switch", "diode", "inductor", "capacitor"):
            continue
        shown = view.text(one.formula)
        if len(shown) <= LONGEST:
            told.setdefault((f"{HEADINGS[key].lower()} {one.at.mode}".strip(), shown), []).append(part)
    for (label, shown), parts in told.items():
        rows.append((f"{', '.join(parts)}: {label}", shown))
    if not rows:
        return
    yield view.rule("Formulas of these in their modes, ripple of capacitors neglected")
    for label, shown in rows:
        yield from view.row(label, "", len(label))
        for line in wrap_formula(shown, view.width - 6):
            yield " " * 6 + line
    yield ""


def _cautions(view: DesignView, worst: WorstCase) -> Iterator[str]:
    peaks = [(one.value, name) for name, one in worst.extremes.items() if name.endswith(".voltage_peak")]
    highest = max(peaks, default=None)
    yield ""
    if highest is not None and highest[0] > EXTRA_LOW_VOLTAGE:
        part = highest[1].split(".")[1]
        yield from view.prose(voltage_caution(highest[0], f"The voltage across {part}"), "")
    yield from view.prose(CLOSING, "")
