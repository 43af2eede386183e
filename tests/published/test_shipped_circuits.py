"""The ready circuits: what their first line and title promise is what they give."""

from __future__ import annotations

import re

import pytest

import voltsec
from voltsec.circuit.circuit import Circuit

from .comparison import CIRCUITS, shipped
from .tables import ROWS

KEYS = sorted(path.stem for path in CIRCUITS.glob("*.topo"))
# The title names the rail: "Minus 12 V for the level sensor".
RAIL = re.compile(r"(?P<minus>\b[Mm]inus )?(?P<volts>\d+(?:\.\d+)?) V\b")
every_circuit = pytest.mark.parametrize("key", KEYS)


def read(key: str) -> Circuit:
    """The circuit alone, unsolved."""
    return voltsec.load(CIRCUITS / f"{key}.topo")


def test_every_published_stage_is_shipped() -> None:
    assert {row.key for row in ROWS} <= set(KEYS)


@every_circuit
def test_first_line_says_what_it_is(key: str) -> None:
    """`voltsec circuits` shows this line, within 80 columns beside the name."""
    first = (CIRCUITS / f"{key}.topo").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# ")
    assert 10 < len(first) - 2 < 60
    assert not first.endswith(".")


def test_first_lines_and_titles_tell_circuits_apart() -> None:
    texts = [(CIRCUITS / f"{key}.topo").read_text(encoding="utf-8").splitlines() for key in KEYS]
    assert len({lines[0] for lines in texts}) == len(KEYS)
    assert len({lines[1] for lines in texts}) == len(KEYS)


@every_circuit
def test_names_follow_the_rule(key: str) -> None:
    """Ideal unless the name ends in _lossy, coupled exactly where it ends in _coupled."""
    circuit = read(key)
    properties = [
        quantity.symbol
        for element in circuit.elements
        for quantity in (getattr(element, "resistance", None), getattr(element, "drop", None))
        if quantity is not None
    ]
    assert bool(properties) == key.endswith("_lossy"), properties
    assert bool(circuit.couplings) == key.endswith("_coupled")


@every_circuit
def test_rail_of_the_title(key: str) -> None:
    """At its operating point a circuit is in continuous conduction and gives what its title says."""
    numbers = shipped(key).numbers
    assert numbers is not None
    if key != "forward":  # its core runs dry in every period
        assert numbers.mode.startswith("CCM")
    rail = RAIL.search(read(key).title or "")
    if rail is None:
        return
    volts = float(rail["volts"]) * (-1 if rail["minus"] else 1)
    assert numbers.output_voltage is not None
    assert numbers.output_voltage == pytest.approx(volts, rel=0.03)


@every_circuit
def test_every_value_is_given(key: str) -> None:
    circuit = read(key)
    open_ = [quantity.symbol for quantity in circuit.quantities if quantity.value is None]
    assert open_ == []


def test_loss_counts() -> None:
    """The benchmark's two large stages: seven and eleven losses."""
    for key, count in (("sepic_lossy", 7), ("quad_boost_lossy", 11)):
        elements = read(key).elements
        losses = [
            quantity
            for element in elements
            for quantity in (getattr(element, "resistance", None), getattr(element, "drop", None))
            if quantity is not None
        ]
        assert len(losses) == count
