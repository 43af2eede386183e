"""``voltsec check``: is a derivation by hand right?"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from voltsec.command.budget import budgeted
from voltsec.command.status import Status

if TYPE_CHECKING:
    from voltsec.practice.verdict import Verdict

LARGEST_FILE = 1_000_000
"""Bytes of a derivation that are read."""


class WithFormulas(click.Command):
    """A command whose arguments may begin with a minus sign."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As click's; a formula such as ``-Vout = ...`` is not taken for options."""
        formulas = [arg.startswith("-") and not arg.startswith("--") and "=" in arg for arg in args]
        kept = [f" {arg}" if formula else arg for arg, formula in zip(args, formulas, strict=True)]
        return super().parse_args(ctx, kept)


@click.command(
    "check",
    cls=WithFormulas,
    short_help="Check formulas derived by hand.",
    epilog="Example:  voltsec check sepic 'Vout/Vg = D/(1 - D)'",
)
@click.argument("netlist", metavar="FILE|NAME|-")
@click.argument("formulas", metavar="[FORMULA]...", nargs=-1)
@click.option("--from", "source", metavar="FILE", help="Take formulas from a file, one a line; # comments.")
@click.option("--mode", metavar="MODE", help="Judge in this mode alone (CCM, DCM, ...).")
@click.option("--interval", type=int, metavar="K", help="v() and i() are those of interval K, from 1.")
@click.option("--json", "machine_readable", is_flag=True, help="One JSON object instead of text.")
@budgeted
def command(
    netlist: str,
    formulas: tuple[str, ...],
    source: str | None,
    mode: str | None,
    interval: int | None,
    machine_readable: bool,
) -> int:
    """Check equations about a converter against its exact solution.

    Each FORMULA is one equation of plain arithmetic.  Besides the netlist's symbols it may name
    Vout, gain (or M), efficiency, Iin, Iout, K, Kcrit, Rcrit, Lcrit(L1), v(C1), i(L1), ripple(L1),
    vpeak(S), ipeak(S), iavg(D1), irms(C1), d(2) for an interval's share; D' is 1 - D and A || B the
    parallel value.  v(L1, 2) is the voltage in interval 2.  Several equations are a derivation: all must
    hold in one and the same mode, and the first that does not is named.

    Exit status: 0 it holds, 1 it does not, 2 bad input, 3 it cannot be decided.
    """
    lines, name = _lines(formulas, source, netlist)
    from voltsec.practice.check import check, read

    read(lines, name)  # a bad formula is told before the circuit is solved
    from voltsec.command.netlists import load_aloud

    circuit = load_aloud(netlist)
    from voltsec.practice.solve import solve

    solution = solve(circuit)
    verdict = check(solution, lines, mode, interval, name)
    if machine_readable:
        from voltsec.report.machine import json_text
        from voltsec.report.verdict import verdict_json

        click.echo(json_text(verdict_json(verdict, solution)))
    else:
        from voltsec.report.verdict import show_verdict

        show_verdict(verdict, solution)
    return _status(verdict)


def _status(verdict: Verdict) -> Status:
    from voltsec.practice.verdict import HOLDS, WRONG

    return {HOLDS: Status.DONE, WRONG: Status.CHECK_FAILED}.get(verdict.outcome, Status.NO_ANSWER)


def _lines(formulas: tuple[str, ...], source: str | None, netlist: str) -> tuple[list[str], str]:
    """The lines to check and the name they go by in messages."""
    if source is None:
        return [line for formula in formulas for line in formula.splitlines() or [""]], "<formula>"
    if formulas:
        raise click.UsageError("give formulas or --from, not both")
    if source == "-":
        if netlist == "-":
            raise click.UsageError("netlist and formulas cannot both come from standard input")
        return _text(sys.stdin.buffer.read(LARGEST_FILE + 1), "<stdin>"), "<stdin>"
    with open(source, "rb") as file:
        return _text(file.read(LARGEST_FILE + 1), source), source


def _text(content: bytes, name: str) -> list[str]:
    from voltsec.circuit.fault import CircuitError, Fault

    if len(content) > LARGEST_FILE:
        message = f"the file is longer than {LARGEST_FILE} bytes, far more than any derivation"
        raise CircuitError((Fault("formula-too-long", message),), name)
    try:
        return content.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise CircuitError((Fault("not-utf-8", "the file is no text in UTF-8"),), name) from None
