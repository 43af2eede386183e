"""What a circuit does with switches stuck, as plain values."""

from __future__ import annotations

from dataclasses import dataclass, field

from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.circuit.circuit import Circuit
from voltsec.results.solution import Solution


@dataclass(frozen=True)
class Figure:
    """A formula with its value (SI units); either is None where it is not determined."""

    formula: Expr | None
    value: float | None


@dataclass(frozen=True)
class Short:
    """A loop of a source and parts that do not stop direct current."""

    loop: tuple[str, ...]
    """Elements in the order the current passes them, the source first."""
    coils: tuple[str, ...]
    """Coils (magnetizing inductances by symbol) in the loop; empty where switches alone close it."""
    current: Figure | None
    """Ampere, where resistances limit it; None where nothing does."""


@dataclass(frozen=True)
class HeldState:
    """What a circuit does with switches held; voltages in volt, currents in ampere.

    ``kind`` is ``"direct"`` (nothing switches any more), ``"periodic"`` (other switches keep
    switching, see ``solution``), or ``"none"`` (they do, and no periodic state exists, see ``reason``).
    """

    circuit: Circuit
    held: dict[str, str]
    kind: str
    conducting: tuple[str, ...] = ()
    """Switches and diodes that conduct in the direct-current state, in netlist order."""
    reaches: bool | None = None
    """Whether the input feeds the output; None where there is no state to tell it by."""
    path: tuple[str, ...] = ()
    """Elements the current passes from the input through the output and back."""
    output: Figure | None = None
    shorts: tuple[Short, ...] = ()
    runaway: tuple[str, ...] = ()
    """Coils and capacitors whose current or voltage has no limit."""
    blocking: dict[str, Figure] = field(default_factory=dict)
    """Voltage that every device that does not conduct takes (reverse voltage of a diode)."""
    capacitor_voltages: dict[str, Figure] = field(default_factory=dict)
    coil_currents: dict[str, Figure] = field(default_factory=dict)
    source_currents: dict[str, Figure] = field(default_factory=dict)
    holds_when: tuple[Boolean, ...] = ()
    """What must hold for these devices to conduct; empty: for all positive values."""
    blocking_capacitors: tuple[str, ...] = ()
    separating_windings: tuple[str, ...] = ()
    ordinary_values: tuple[str, ...] = ()
    """Symbols without a value in the netlist, for which the numbers take an ordinary one."""
    solution: Solution | None = None
    reason: str = ""
