"""The drives of a netlist: which switch follows what, and the duty symbols they use."""

from __future__ import annotations

from collections.abc import Mapping

from voltsec.circuit.circuit import Drive
from voltsec.circuit.elements import Element, Switch
from voltsec.language.expected import a
from voltsec.language.findings import Findings
from voltsec.language.statements import DriveStatement, Word


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
        self.drives[switch.text] = Drive(switch.text, statement.kind, text, place=switch.place)

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
