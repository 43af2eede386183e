"""Discontinuous conduction on the board: rises of coil currents, continuity, and what ends an interval."""

from __future__ import annotations

from sympy import Add, Expr, Integer, Mul

from voltsec.practice.blackboard import Blackboard, numbers_text
from voltsec.practice.interval_lines import IntervalLines
from voltsec.practice.intervals import rise_name
from voltsec.practice.setting import Setting
from voltsec.practice.solving import Pending, Solver
from voltsec.tableau.expression import symbol
from voltsec.tableau.network import Row
from voltsec.tableau.ratio import Ratio


def write_rises(
    setting: Setting, blackboard: Blackboard, solver: Solver, written: IntervalLines
) -> list[Pending]:
    """Rise of every coil's current in every interval: defined where a coil stands alone, else equations."""
    ring = setting.board.ring
    blackboard.heading("Rises of the coil currents")
    pending: list[Pending] = []
    for k in range(setting.count):
        for coil in setting.coils:
            entries = setting.inductances(coil)
            value = setting.unknown(k, ("u", coil))
            volt_seconds: Ratio = value * setting.duration(k)
            cites = tuple(n for n in (written.voltages.get((k, coil)),) if n is not None)
            name = rise_name(coil, k + 1)
            if len(entries) == 1:
                rise = volt_seconds * Ratio(ring.one, entries[coil])
                right = _product(setting, value, k, coil)
                reason = (f"voltage of {coil} times duration over inductance, interval {k + 1}",)
                number = blackboard.identity(symbol(name), right, reason, rise, cites)
                if number is not None:
                    solver.define(name, rise, number)
                continue
            total: Ratio = -volt_seconds
            left: list[Expr] = []
            for other, entry in entries.items():
                total = total + Ratio(entry * ring.symbol(rise_name(other, k + 1)), ring.one)
                left.append(Mul(setting.board.writer.polynomial(entry), symbol(rise_name(other, k + 1))))
            left.append(-_volt_seconds(setting, value, k))
            reason = (f"flux linkage of {coil}, interval {k + 1}",)
            number = blackboard.balance(Add(*left), reason, total, cites)
            if number is not None:
                pending.append(Pending(number, f"the flux linkage of {coil}", total.numerator))
    return pending


def _volt_seconds(setting: Setting, value: Ratio, k: int) -> Expr:
    return Mul(setting.board.write_linear(value), setting.share(k), symbol("T"))


def _product(setting: Setting, value: Ratio, k: int, coil: str) -> Expr:
    if value.is_zero:
        return Integer(0)
    inductance = setting.board.writer.polynomial(setting.inductances(coil)[coil])
    return Mul(_volt_seconds(setting, value, k), 1 / inductance)


def write_continuity(setting: Setting, blackboard: Blackboard, solver: Solver) -> None:
    """Each interval's mean current from the one before: the current makes no jump."""
    ring = setting.board.ring
    half = Ratio(ring.one, ring.constant(2))
    blackboard.say(
        "A coil's current does not jump: the mean of one interval plus half its rise is the mean of the next "
        "less half of that rise."
    )
    for coil in setting.coils:
        for k in range(1, setting.count):
            before = setting.current(coil, k - 1)
            rises = [rise_name(coil, k), rise_name(coil, k + 1)]
            value = Ratio(ring.symbol(before), ring.one)
            for rise in rises:
                known = solver.values.get(rise)
                if known is None or not known.ratio.is_zero:
                    value = value + (Ratio(ring.symbol(rise), ring.one) * half)
            name = setting.current(coil, k)
            right = setting.board.write_linear(value.reduced())
            number = blackboard.identity(
                symbol(name), right, (f"{coil} from interval {k} to {k + 1}",), value
            )
            if number is not None:
                solver.define(name, value.reduced(), number)


def rise_ties(setting: Setting, blackboard: Blackboard, written: IntervalLines) -> list[Pending]:
    """Where an interval ties coil currents, their rises are tied alike."""
    ring = setting.board.ring
    found = []
    for k in range(setting.count):
        numbers = iter([p.number for p in written.ties])
        for tie in setting.ties(k):
            total = ring.zero
            for coil in setting.coils:
                name = setting.current(coil, k)
                if ring.degree(tie, name) == 1:
                    total += ring.coefficients(tie, name)[1] * ring.symbol(rise_name(coil, k + 1))
            if total.is_zero():
                continue
            cites = [n for n in numbers if _is_tie(blackboard, n, setting, k)]
            left = setting.board.write_linear(Ratio(total, ring.one))
            reason = (f"the tie of interval {k + 1} holds all through it",)
            number = blackboard.balance(left, reason, Ratio(total, ring.one), tuple(cites[:1]))
            if number is not None:
                found.append(Pending(number, "the tie of the rises", total))
    return found


def _is_tie(blackboard: Blackboard, number: int, setting: Setting, k: int) -> bool:
    names = {setting.current(coil, k) for coil in setting.coils}
    return str(blackboard.equations[number].left) in names


def event_lines(setting: Setting, blackboard: Blackboard) -> list[Pending]:
    """What ends an interval by itself: a diode's current, or its reverse voltage, reaches zero."""
    found = []
    for k in setting.sequence.unknown:
        stops, starts = setting.sequence.ended_by(k)
        for name in sorted(stops) or sorted(starts):
            device = setting.circuit.element(name)
            network = setting.locals[k].network
            row: Row = {("i", name): network.ring.one}
            what = "current"
            if not stops:
                row = dict(network.device_voltage(device))  # type: ignore[arg-type]
                if "drop" in device.parasitics:
                    row[None] = -network.ring.symbol(device.parasitics["drop"].symbol)
                what = "voltage"
            mean = setting.value(k, row)
            total = mean + setting.half_rise(mean, k)
            if total.is_zero:
                continue
            left = setting.board.write_linear(total)
            reason = (f"the {what} of {name} is zero at the end of interval {k + 1}",)
            number = blackboard.balance(left, reason, total, ())
            if number is not None:
                found.append(Pending(number, f"the end of interval {k + 1}", total.numerator))
    return found


def write_condition(setting: Setting, blackboard: Blackboard, left_over: list[Pending]) -> list[int]:
    """The equations left over once every voltage and current is known: they fix the unknown fractions."""
    unknown = setting.form.unknown
    blackboard.heading(f"Equation for {', '.join(unknown)}")
    numbers: list[int] = []
    for condition in setting.conditions:
        source = next(
            (p for p in left_over if bool((p.polynomial // condition) * condition == p.polynomial)), None
        )
        if source is None:
            continue
        used = f" with {numbers_text(source.used)}" if source.used else ""
        reason = (
            f"what is left of {source.words} ({source.number}){used}, "
            "without the factors that cannot be zero",
        )
        value = Ratio(condition, setting.board.ring.one)
        left = setting.board.writer.oriented(condition)
        printed = blackboard.board.rational(left)
        sign = 1 if printed is None or printed.numerator == condition else -1
        number = blackboard.balance(left, reason, value.times(sign), (source.number, *source.used))
        if number is not None:
            numbers.append(number)
    if not numbers:
        blackboard.doubt(
            f"What fixes {', '.join(unknown)} could not be traced to the lines above; the solver's own "
            "equations are taken."
        )
    return numbers
