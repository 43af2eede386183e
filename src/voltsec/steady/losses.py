"""Conduction losses of every element, and the proof that they add up.

In continuous conduction with small ripple an element's current is constant over each interval, so its
loss is resistance * sum of d_k * i_k**2, plus drop * sum of d_k * i_k.  Power is conserved in every
interval's network (Tellegen), coils and capacitors take none over a period, hence the losses sum to
input minus output power exactly; :func:`power_balance` is that difference, which must be zero.
Where intervals end by themselves the ramps count as well (mean square = mean**2 + ramp**2/3), and
with currents followed to their bend the losses again sum to input minus output power exactly.
What a capacitor's series resistance loses is told with the ripple current in every mode: it may be all there
is.  The sum is then larger than input minus output by what the small-ripple averages leave out.

Switching, core and drive losses are estimated beside it (:class:`voltsec.results.table.Turning`).
"""

from __future__ import annotations

from functools import partial

import sympy
from sympy import Expr

from voltsec.circuit.computing_time import in_time
from voltsec.circuit.elements import CurrentSource, Load, Source
from voltsec.results.table import lossy_elements
from voltsec.steady.lossy import current_rows, loses_by_ripple
from voltsec.steady.modes import ModeBuilder
from voltsec.steady.root_forms import size
from voltsec.steady.waveform import Waveform
from voltsec.tableau.network import Row
from voltsec.tableau.ratio import Ratio

SHORT_TERMS = 40
"""Losses with longer polynomials are left as resistance times a sum of squares."""
LONG_RATIO = 200
"""A fraction of more terms is not the shorter form: putting it into factors would take seconds."""


def losses(builder: ModeBuilder) -> dict[str, Expr | None]:
    """Loss of every lossy element in watt, as an expression; ``None`` where it is not determined.

    A :class:`~voltsec.steady.states.StateBuilder` gives them in terms of coil currents:
    ``R_L*I_L**2`` rather than two long polynomials.
    """
    names = [element.name for element in lossy_elements(builder.circuit)]
    return {name: in_time(partial(_expression, builder, name)) for name in names}


def loss_ratios(builder: ModeBuilder) -> dict[str, Ratio | None]:
    """The same losses as exact ratios of polynomials over the balance's ring."""
    return {element.name: _ratio(builder, element.name) for element in lossy_elements(builder.circuit)}


def power_balance(builder: ModeBuilder) -> Ratio | None:
    """Input minus output power minus all losses; zero for every mode of continuous conduction.

    ``None`` where a power is not determined (how ideal parts in a loop share a current, say).
    """
    circuit, ring = builder.circuit, builder.balance.ring
    total = Ratio(ring.zero, ring.one)
    powers = [builder.power_of(e) for e in circuit.of(Source, Load, CurrentSource)]
    for power in [*powers, *loss_ratios(builder).values()]:
        if power is None:
            return None
        total = total + power
    return -total


def _ratio(builder: ModeBuilder, name: str, ripple: bool = False) -> Ratio | None:
    ring = builder.balance.ring
    total = Ratio(ring.zero, ring.one)
    for resistance, drop, row in current_rows(builder.circuit, builder.balance, name):
        if resistance is not None:
            squares = _squares(builder, row, ripple)
            if squares is None:
                return None
            for share, square in squares:
                total = total + ((share * square) * Ratio(ring.symbol(resistance), ring.one))
        if drop is not None:
            current = builder.waveforms.average_of_free(row)
            if current is None:
                return None
            total = total + (current * Ratio(ring.symbol(drop), ring.one))
    return total


def _squares(builder: ModeBuilder, row: Row, ripple: bool) -> list[tuple[Ratio, Ratio]] | None:
    """(share of T, mean square of the current) of every interval in which it flows."""
    flows = _flows(builder, row, ripple)
    if flows is None:
        return None
    found = []
    for share, mean, ramp in flows:
        third = ramp * ramp
        found.append((share, (mean * mean) + Ratio(third.numerator, third.denominator * 3)))
    return found


def _flows(builder: ModeBuilder, row: Row, ripple: bool = False) -> list[tuple[Ratio, Ratio, Ratio]] | None:
    """(share of T, mean, ramp) of a current, intervals of equal size joined, idle ones left out.

    In continuous conduction ripple is neglected unless asked for: means as the averages see them, no ramps.
    """
    balance, places = builder.balance, range(builder.waveforms.count)
    if balance.by_itself or ripple:
        parts = [[balance.value(k, row, part) for k in places] for part in ("mean", "ramp")]
    else:
        nothing = Ratio(balance.ring.zero, balance.ring.one)
        parts = [[balance.value(k, row, "average") for k in places], [nothing for _ in places]]
    return builder.shares(Waveform(tuple(parts[0]), tuple(parts[1])))


def _expression(builder: ModeBuilder, name: str) -> Expr | None:
    """Resistance times a sum of squares, or all in one fraction where that is shorter."""
    form = builder.form
    terms: list[Expr] = []
    longest = 0
    for resistance, drop, row in current_rows(builder.circuit, builder.balance, name):
        if resistance is not None:
            flows = _flows(builder, row, loses_by_ripple(builder.circuit, name))
            if flows is None:
                return None
            squares = []
            for share, mean, ramp in flows:
                longest = max(longest, *(len(part) for part in mean.parts))
                square = form.expression(mean) ** 2
                if not ramp.is_zero:
                    longest = max(longest, *(len(part) for part in ramp.parts))
                    square = square + form.expression(ramp) ** 2 / 3
                squares.append(form.expression(share) * square)
            terms.append(_symbol(builder, resistance) * sympy.Add(*squares))
        if drop is not None:
            current = builder.waveforms.average_of_free(row)
            if current is None:
                return None
            terms.append(_symbol(builder, drop) * form.expression(current))
    written = sympy.Add(*terms)
    if longest > SHORT_TERMS or builder.balance.by_itself:
        return written
    ratio = _ratio(builder, name, loses_by_ripple(builder.circuit, name))
    assert ratio is not None
    if ratio.terms > LONG_RATIO:
        return written
    return min((form.expression(ratio), written), key=size)


def _symbol(builder: ModeBuilder, name: str) -> Expr:
    ring = builder.balance.ring
    return builder.form.expression(Ratio(ring.symbol(name), ring.one))
