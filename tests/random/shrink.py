"""Shrink failing cases: ``python -m tests.random.shrink 17 203 --into DIRECTORY``."""

from __future__ import annotations

from pathlib import Path

import click

from voltsec.circuit.circuit import Circuit

from .cases import make
from .running import HARD_LIMIT, Row, about, is_thorough, run_circuits
from .shrinking import shrunk
from .summary import account


def smallest(circuit: Circuit, seconds: float, thorough: bool = False) -> Row | None:
    """The verdict on the smallest circuit that fails as ``circuit`` does; None where that does not fail."""
    row = next(run_circuits([circuit], thorough=thorough))
    if row["outcome"] in ("right", "undecided"):
        return None
    wanted, last = row["signature"], row

    def fails(candidate: Circuit) -> bool:
        nonlocal last
        found = next(run_circuits([candidate], HARD_LIMIT // 2, thorough))
        same = wanted == found["signature"]
        if same:
            last = found
        return same

    shrunk(circuit, fails, seconds)
    return last


@click.command()
@click.argument("numbers", type=int, nargs=-1, required=True)
@click.option("--seconds", default=300.0, show_default=True, help="For each case.")
@click.option("--into", default=".", show_default=True, help="Directory of the shrunk netlists.")
def command(numbers: tuple[int, ...], seconds: float, into: str) -> None:
    """Shrink the cases with these NUMBERS and write each as a netlist with its verdict in comments."""
    Path(into).mkdir(parents=True, exist_ok=True)
    for number in numbers:
        case = make(number)
        row = smallest(case.circuit, seconds, is_thorough(number))
        if row is None:
            click.echo(f"case {number} does not fail")
            continue
        text = account(about(case) | row)
        (Path(into) / f"{row['outcome']}_{number}.topo").write_text(text + "\n", encoding="utf-8")
        click.echo(text + "\n")


if __name__ == "__main__":
    command()
