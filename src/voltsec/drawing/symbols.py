"""Graphical symbols after IEC 60617 (from memory), as paths both writers of pictures can draw.

A symbol lies along its own axis: ``u`` runs from the part's first end (-REACH) to its second (REACH), ``v``
is across, positive to the side where signs stand.  A path is a list of steps: ``("M", x, y)`` begins,
``("L", x, y)`` goes straight, ``("C", x1, y1, x2, y2, x, y)`` along a cubic Bézier curve, ``("Z",)`` closes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

Step = tuple[str | float, ...]

REACH = 24.0
"""Half the length of a symbol; wires begin there."""
KAPPA = 0.5522847498
"""Bézier control distance of a quarter circle of radius 1."""

HALF_WIDTHS = {
    "source": (17.0, 17.0),
    "current": (17.0, 27.0),
    "resistor": (8.0, 8.0),
    "load": (8.0, 8.0),
    "inductor": (7.0, 2.0),
    "winding": (2.0, 7.0),
    "capacitor": (13.0, 13.0),
    "switch": (5.0, 14.0),
    "diode": (10.0, 10.0),
}
"""How far a symbol reaches from its axis, away from the side of the signs and to it."""


@dataclass(frozen=True)
class Stroke:
    """One path of a symbol; ``filled`` areas have the colour of the line, others none."""

    steps: tuple[Step, ...]
    filled: bool = False

    def moved(self, dx: float, dy: float) -> Stroke:
        """The same path elsewhere."""
        return placed((self,), (dx, dy), (1.0, 0.0), (0.0, 1.0))[0]


def symbol(kind: str, closed: bool | None = None, turned: bool = False) -> tuple[Stroke, ...]:
    """The strokes of a part of ``kind``.

    ``closed`` is a switch's state (None as in a circuit diagram: open); ``turned`` puts what is on one side
    of the axis, a coil's arcs and a switch's blade, on the other.
    """
    side = -1.0 if turned else 1.0
    if kind in ("inductor", "winding"):
        return (_coil(side),)
    if kind == "capacitor":
        return (_line(-REACH, 0, -4, 0), _line(-4, -13, -4, 13), _line(4, -13, 4, 13), _line(4, 0, REACH, 0))
    if kind in ("resistor", "load"):
        box = (("M", -19.0, -7.5), ("L", 19.0, -7.5), ("L", 19.0, 7.5), ("L", -19.0, 7.5), ("Z",))
        return (_line(-REACH, 0, -19, 0), Stroke(box), _line(19, 0, REACH, 0))
    if kind == "diode":
        triangle = (("M", -9.0, -10.0), ("L", -9.0, 10.0), ("L", 9.0, 0.0), ("Z",))
        return (_line(-REACH, 0, REACH, 0), Stroke(triangle), _line(9, -10, 9, 10))
    if kind == "switch":
        if closed:
            return (_line(-REACH, 0, REACH, 0), _line(13, 0, 13, 5 * side), _dot(-13, 0, 2.2))
        blade = _line(-13, 0, 11, 13 * side)
        return (_line(-REACH, 0, -13, 0), blade, _line(13, 0, REACH, 0), _dot(-13, 0, 2.2))
    if kind == "source":
        return (_circle(0, 0, 17), _line(-REACH, 0, REACH, 0))
    if kind == "current":
        beside = 22.0
        arrow = Stroke((("M", 12.0, beside), ("L", 4.0, beside - 4), ("L", 4.0, beside + 4), ("Z",)), True)
        lead = (_line(-REACH, 0, -17, 0), _line(17, 0, REACH, 0), _circle(0, 0, 17), _line(0, -17, 0, 17))
        return (*lead, _line(-12, beside, 5, beside), arrow)
    raise ValueError(f"no symbol for {kind}")


def _line(x1: float, y1: float, x2: float, y2: float) -> Stroke:
    return Stroke((("M", float(x1), float(y1)), ("L", float(x2), float(y2))))


def _circle(x: float, y: float, radius: float, filled: bool = False) -> Stroke:
    k = KAPPA * radius
    steps: tuple[Step, ...] = (
        ("M", x + radius, y),
        ("C", x + radius, y + k, x + k, y + radius, x, y + radius),
        ("C", x - k, y + radius, x - radius, y + k, x - radius, y),
        ("C", x - radius, y - k, x - k, y - radius, x, y - radius),
        ("C", x + k, y - radius, x + radius, y - k, x + radius, y),
        ("Z",),
    )
    return Stroke(steps, filled)


def _dot(x: float, y: float, radius: float) -> Stroke:
    return _circle(x, y, radius, True)


def dot(x: float, y: float, radius: float) -> Stroke:
    """A filled circle: a junction, or the dot of a winding."""
    return _dot(x, y, radius)


def _coil(side: float) -> Stroke:
    """Four half circles."""
    radius = 5.0
    steps: list[Step] = [("M", -REACH, 0.0), ("L", -20.0, 0.0)]
    k = KAPPA * radius
    top = -side * (radius + 1.0)
    for count in range(4):
        left = -20.0 + 10.0 * count
        middle, right = left + radius, left + 2 * radius
        steps.append(("C", left, top * KAPPA, middle - k, top, middle, top))
        steps.append(("C", middle + k, top, right, top * KAPPA, right, 0.0))
    steps.append(("L", REACH, 0.0))
    return Stroke(tuple(steps))


def placed(
    strokes: tuple[Stroke, ...],
    centre: tuple[float, float],
    along: tuple[float, float],
    across: tuple[float, float],
) -> tuple[Stroke, ...]:
    """``strokes`` with their axis along the unit vector ``along`` and ``v`` along ``across``."""

    def moved(step: Step) -> Iterator[str | float]:
        yield step[0]
        for place in range(1, len(step), 2):
            u, v = float(step[place]), float(step[place + 1])
            yield centre[0] + u * along[0] + v * across[0]
            yield centre[1] + u * along[1] + v * across[1]

    return tuple(Stroke(tuple(tuple(moved(step)) for step in one.steps), one.filled) for one in strokes)
