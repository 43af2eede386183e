"""Drops that leave nothing to convert."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from voltsec.circuit.fault import Fault

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit


def drop_faults(circuit: Circuit) -> Iterator[Fault]:
    """One fault for each drop whose value is not below the highest source's.

    Nothing is said where a value is missing.
    """
    values = circuit.values
    sources = [source.quantity.symbol for source in circuit.sources]
    if not sources or any(symbol not in values for symbol in sources):
        return
    highest = max(values[symbol] for symbol in sources)
    for device in circuit.devices:
        drop = device.drop
        if drop is not None and drop.symbol in values and values[drop.symbol] >= highest:
            yield Fault(
                "drop-above-input",
                f"the drop {drop.symbol} of {device.name} is {float(values[drop.symbol]):g} V, not below the "
                f"input voltage of {float(highest):g} V",
                device.place,
                (device.name,),
                hint="check the two values; without them the formulas are told for any",
            )
