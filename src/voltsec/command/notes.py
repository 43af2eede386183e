"""What is worth a word on standard error where the answer itself has no place for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit


def say_large_drops(circuit: Circuit, point: Mapping[str, Any] | None = None) -> None:
    """Note drops that are not below the input, at ``point`` or at the netlist's values."""
    from voltsec.steady.device_notes import large_drops

    for line in large_drops(circuit, circuit.values if point is None else point):
        click.echo(f"voltsec: note: {line}", err=True)
