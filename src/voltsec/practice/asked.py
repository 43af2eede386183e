"""Values and quantities that a person asks numbers for, checked against the circuit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.spelling import hint_among
from voltsec.periodic.reading_list import quantity_units

Array = np.ndarray


class BadValues(ValueError):
    """What was asked for makes no sense; the message says why, with the nearest name."""


def check_quantities(circuit: Circuit, quantities: tuple[str, ...]) -> None:
    """Raise :class:`BadValues` for a quantity that this circuit does not have."""
    known = quantity_units(circuit)
    for name in quantities:
        if name not in known:
            raise BadValues(f"there is no quantity called {name}; {hint_among(name, known)}")


def quantity_called(circuit: Circuit, name: str) -> str:
    """The full name of a quantity, which may be given by its end (``S.voltage_peak``)."""
    known = quantity_units(circuit)
    ends = [full for full in known if full.endswith(f".{name}")]
    if name not in known and len(ends) == 1:
        return ends[0]
    if name not in known and ends:
        raise BadValues(f"{name} may be {' or '.join(ends)}")
    check_quantities(circuit, (name,))
    return name


def known_point(circuit: Circuit, values: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A number or array for every symbol that has a value, and the symbols that have none.

    Mutual inductances given by a coefficient follow their coils.  Raises :class:`BadValues` for values
    that make no sense.
    """
    units = {quantity.symbol: quantity.unit for quantity in circuit.quantities}
    point: dict[str, Any] = {symbol: float(value) for symbol, value in circuit.values.items()}
    for name, value in values.items():
        if name not in units:
            raise BadValues(f"there is no symbol called {name}; {hint_among(name, units)}")
        point[name] = _numbers(name, value, circuit)
    for coupling in circuit.couplings:
        pair = [circuit.element(part).quantities[0].symbol for part in (coupling.first, coupling.second)]
        if not all(symbol in point for symbol in pair):
            continue
        root = np.sqrt(np.multiply(point[pair[0]], point[pair[1]]))
        if coupling.coefficient is not None and coupling.symbol not in values:
            if any(symbol in values for symbol in pair):
                point[coupling.symbol] = float(coupling.coefficient) * root
        elif coupling.symbol in point and np.any(np.greater(point[coupling.symbol], root)):
            raise BadValues(
                f"{coupling.symbol} is larger than the root of {pair[0]} times {pair[1]} at some points, "
                "so the coils would store negative energy"
            )
    missing = tuple(symbol for symbol in units if symbol not in point)
    _check_drops(circuit, point)
    return point, missing


def _check_drops(circuit: Circuit, point: Mapping[str, Any]) -> None:
    """A drop as large as every source leaves nothing to convert."""
    highest: Any = 0.0
    if any(source.quantity.symbol not in point for source in circuit.sources):
        return
    for source in circuit.sources:
        highest = np.maximum(highest, point[source.quantity.symbol])
    for device in circuit.devices:
        drop = device.drop
        if drop is None or drop.symbol not in point or not circuit.sources:
            continue
        if np.any(np.greater_equal(point[drop.symbol], highest)):
            raise BadValues(
                f"the drop {drop.symbol} of {device.name} is not below the input voltage "
                f"{circuit.input.quantity.symbol}"
            )


def _numbers(name: str, value: Any, circuit: Circuit) -> Any:
    try:
        array = np.asarray(value, float)
    except (TypeError, ValueError):
        raise BadValues(f"{name} is given {value!r}, which is no number") from None
    if array.size == 0:
        raise BadValues(f"{name} is given no value")
    if not np.isfinite(array).all():
        raise BadValues(f"{name} is given a value that is not finite")
    if name in circuit.duty_symbols and not ((array > 0) & (array < 1)).all():
        raise BadValues(f"{name} is a duty: it lies between 0 and 1, not at {_outside(array, 1)}")
    if name in circuit.phase_symbols:
        if not ((array >= 0) & (array <= 1)).all():
            outside = array[(array < 0) | (array > 1)].flat[0]
            raise BadValues(f"{name} is the start of an on-time: it lies in 0…1, not at {outside:g}")
    elif not (array > 0).all():
        raise BadValues(f"{name} must be above zero, not {_outside(array, np.inf)}")
    return array if array.ndim else float(array)


def _outside(array: Array, top: float) -> str:
    return f"{array[(array <= 0) | (array >= top)].flat[0]:g}"
