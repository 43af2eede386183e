"""The drives of a netlist: which switch follows what, and the duty symbols they use."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from voltsec.circuit.circuit import Drive
from voltsec.circuit.elements import Element, Switch
from voltsec.language.expected import a
from voltsec.language.findings import Findings
from voltsec.language.quantities import OutOfRange, UnknownUnit, measure, number
from voltsec.language.statements import DriveStatement, StartText, Word

ROUNDED = Fraction(1, 200)
"""By so much a start may miss a third or sixth of the period and still be meant as one."""


class DriveBook:
    """Drives taken so far, by switch.  ``unsure`` are words of statements that could not be read."""

    def __init__(self, elements: Mapping[str, Element], findings: Findings, unsure: frozenset[str]) -> None:
        self.elements = elements
        self.findings = findings
        self.unsure = unsure
        self.drives: dict[str, Drive] = {}
        self.incomplete = False
        """Whether a drive was faulty, so that the duty symbols may not all be known."""

    @property
    def switches(self) -> list[str]:
        """Names of the switches."""
        return [one.name for one in self.elements.values() if isinstance(one, Switch)]

    @property
    def duties(self) -> dict[str, str]:
        """Duty symbols, each with the first switch that uses it."""
        found: dict[str, str] = {}
        for drive in self.drives.values():
            if drive.kind == "at" and drive.argument is not None:
                found.setdefault(drive.argument, drive.switch)
        switches = self.switches
        if len(switches) == 1 and switches[0] not in self.drives and not self.incomplete:
            found.setdefault("D", switches[0])
        return found

    @property
    def phases(self) -> dict[str, str]:
        """Symbols of starts, each with the first switch that uses it."""
        found: dict[str, str] = {}
        for drive in self.drives.values():
            if isinstance(drive.start, str):
                found.setdefault(drive.start, drive.switch)
        return found

    def take(self, statement: DriveStatement) -> None:
        """Add one drive; notes what is wrong with it."""
        switch, argument = statement.switch, statement.argument
        if not self._is_switch(switch):
            self.incomplete = True
            return
        earlier = self.drives.get(switch.text)
        if earlier is not None:
            self.findings.add(
                "given-twice",
                f"{switch.text} is driven twice"
                + (f"; the first is on line {earlier.place.line}" if earlier.place else ""),
                switch.place,
                (switch.text,),
                (),
                "keep one of them",
            )
            return
        if statement.kind == "at" and argument is not None:
            self.findings.symbol(argument, switch.text)
        elif argument is not None and not self._is_switch(argument):
            self.incomplete = True
        text = argument.text if argument is not None else None
        start = self._start(statement.start, switch.text)
        self.drives[switch.text] = Drive(switch.text, statement.kind, text, start, place=switch.place)

    def _start(self, written: StartText | None, switch: str) -> Fraction | str:
        """Where an on-time begins; the period's start where nothing, or nothing possible, is written."""
        if written is None:
            return Fraction(0)
        if written.symbol is not None:
            self.findings.symbol(written.symbol, switch)
            return written.symbol.text
        start = start_value(written)
        if isinstance(start, Fraction) and 0 <= start <= 1:
            self._doubt_rounded(start, written, switch)
            return start % 1
        what = f"the start of {switch}'s on-time"
        if isinstance(start, Fraction):
            hint = "a start is a fraction of the period, a number in 0…1 or a symbol"
            if 1 < start <= 360:
                hint = f"{hint}; {float(start):g} degrees are {float(start / 360):.4g}"
            self.findings.add("start-out-of-range", f"{what} lies in 0…1", written.place, (switch,), (), hint)
        else:
            kind = "number-out-of-range" if isinstance(start, OutOfRange) else "wrong-unit"
            hint = "write a number in 0…1, a percentage, or a symbol"
            self.findings.add(kind, f"{what}: {start}", written.place, (switch,), (), hint)
        return Fraction(0)

    def finish(self) -> None:
        """After the last drive: note switches without one, and drives that follow themselves."""
        switches = self.switches
        if len(switches) > 1 and not self.incomplete:
            for name in switches:
                if name not in self.drives and name not in self.unsure:
                    self.findings.add(
                        "missing-drive",
                        f"switch {name} has no drive",
                        self.elements[name].place,
                        (name,),
                        (),
                        f"add a line: drive {name} at D (or against, with, on, off)",
                    )
        # A switch named in a line that could not be read may be driven there.
        self.incomplete = self.incomplete or any(name in self.unsure for name in switches)
        reported: set[str] = set()
        for name in list(self.drives):
            chain = self._chain(name)
            if chain and not reported & set(chain):
                reported |= set(chain)
                message = f"the drive of {name} follows itself"
                if len(chain) > 1:
                    message = f"the drives of {', '.join(chain)} follow each other in a circle"
                hint = "drive one of them at D, on or off"
                self.findings.add("drive-loop", message, self.drives[name].place, tuple(chain), (), hint)
        for name in reported:
            del self.drives[name]
        self.incomplete = self.incomplete or bool(reported)

    def _chain(self, name: str) -> list[str]:
        """The circle of switches ``name`` is part of, empty where its drive comes to an end."""
        chain = [name]
        while True:
            drive = self.drives.get(chain[-1])
            if drive is None or drive.kind not in ("against", "with") or drive.argument is None:
                return []
            if drive.argument == name:
                return chain
            if drive.argument in chain:
                return []
            chain.append(drive.argument)

    def _doubt_rounded(self, start: Fraction, written: StartText, switch: str) -> None:
        """Note a start that looks like a rounded third or sixth: legs would not be spread evenly."""
        near = Fraction(round(start * 6), 6)
        if near.denominator % 3 == 0 and 0 < abs(start - near) < ROUNDED:
            number = written.amount.number.text if written.amount is not None else ""
            self.findings.doubts.append(
                f"the start {number} of {switch} on line {written.place.line} is near {near}, not that; "
                f"write from {near} if it was meant"
            )

    def _is_switch(self, name: Word) -> bool:
        """Whether a name is a switch's; notes the fault where it is not."""
        element = self.elements.get(name.text)
        if isinstance(element, Switch):
            return True
        if element is not None:
            message = f"{name.text} is {a(element.kind)}, not a switch"
            hint = "diodes need no drive" if element.kind == "diode" else ""
            self.findings.add("wrong-kind", message, name.place, (name.text,), (), hint)
        elif name.text not in self.unsure:
            hint = self.findings.nearest_or_all(name.text, self.switches)
            message = f"no switch is called {name.text}"
            self.findings.add("unknown-name", message, name.place, (name.text,), (), hint)
        return False


def start_value(written: StartText) -> Fraction | ValueError:
    """The number that stands after ``from``, or what is wrong with it."""
    amount = written.amount
    assert amount is not None
    try:
        value, unit = measure(amount.number.text, amount.unit.text if amount.unit is not None else None)
        if written.over is not None:
            below = number(written.over.text)
            return value / below if below else ValueError(f"'{value}/0' is no number")
    except (OutOfRange, UnknownUnit) as problem:
        return problem
    if unit not in (None, "1"):
        return ValueError(f"it cannot be in {amount.unit.text if amount.unit else ''}")
    return value
