"""What is said of a start-up in words: the response, the largest values, the ledger, what to beware of."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import isfinite

from voltsec.practice.response import BAND, Response
from voltsec.practice.startup_result import Largest, Section, Startup
from voltsec.practice.step import Step
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.cautions import (
    CLOSING,
    EXTRA_LOW_VOLTAGE,
    HAZARDOUS_ENERGY,
    energy_caution,
    voltage_caution,
)
from voltsec.report.quantity import engineering, percent
from voltsec.report.waves_words import IMPULSE_UNITS, IMPULSES
from voltsec.waveforms.ledger import Ledger

Rows = Iterator[tuple[str, str]]
SEEN = 1e-3
"""An excursion by a smaller share of the final value is not told."""
NOTHING = 5e-7
"""A share below this is said to be nothing."""
EMPTY = 1e-9
"""An entry of the ledger below this share of what flowed is zero."""


def title_words(start: Startup, alphabet: Alphabet = UNICODE) -> str:
    """How it begins and how long it is: ``From rest, D = 0.4, T = 10 µs; 1208 periods, 12.08 ms``."""
    point = start.sections[0].point
    begin = {"rest": "From rest", "steady": "From the steady state"}.get(start.start, f"From {start.start}")
    timing = [f"{name} = {point[name]:.4g}" for name in start.circuit.timing_symbols]
    timing.append(f"T = {engineering(point['T'], 's', alphabet)}")
    count = len(start.time) - 1
    periods = "1 period" if count == 1 else f"{count} periods"
    return f"{begin}, {', '.join(timing)}; {periods}, {engineering(start.end, 's', alphabet)}"


def step_words(step: Step, alphabet: Alphabet = UNICODE) -> str:
    """``R: 10 Ω → 5 Ω``."""
    arrow = "→" if alphabet.unicode else "->"
    values = (engineering(value, step.unit, alphabet) for value in (step.before, step.after))
    return f"{step.symbol}: {f' {arrow} '.join(values)}"


def section_title(start: Startup, section: Section, alphabet: Alphabet = UNICODE) -> str:
    """What happens in a section."""
    begin = section.periods.begin
    if not section.steps:
        return "Start"
    what = ", ".join(step_words(step, alphabet) for step in section.steps)
    asked = max(step.time or 0.0 for step in section.steps)
    late = "" if abs(begin - asked) < 1e-9 * max(begin, 1e-12) else " (the next period's beginning)"
    return f"Step {what} at {engineering(begin, 's', alphabet)}{late}"


def response_rows(start: Startup, section: Section, alphabet: Alphabet = UNICODE) -> Rows:
    """(label, text): where the output tends to, when it is settled, how far it overshoots."""
    told, unit = section.response, start.traces[0].unit

    def number(value: float) -> str:
        return engineering(value, unit, alphabet)

    name = start.traces[0].text
    if told.final is None:
        why = "ideal parts leave the final value open"
        if section.steady is None:
            why = "no periodic state was found"
        yield f"Output {name}", f"{number(told.last)} at the end; {why}"
    elif told.before is None:
        yield f"Output {name}", f"{number(told.final)} in the steady state"
    else:
        states = f"{number(told.before)} before, {number(told.final)} in the steady state after"
        yield f"Output {name}", states
    if told.final is not None:
        yield ("Settled to 1 %" if told.before is None else "Recovered to 1 %"), _settled(section, alphabet)
        yield from _passed(told, section, unit, alphabet)
        yield "At the end", _end(told, number, alphabet)


def _settled(section: Section, alphabet: Alphabet) -> str:
    told, period = section.response, section.periods.period
    if told.settled == 0:
        return "at once: it never leaves the band"
    if told.settled is not None:
        count = round(told.settled / period)
        return f"after {engineering(told.settled, 's', alphabet)} ({count} period{'s' * (count != 1)})"
    if told.rate is not None and told.rate.undamped:
        return "never: nothing damps the ringing" if (told.missing or 0) > BAND else "not within this time"
    if not told.final:
        return "not told: the final value is zero"
    if told.still:
        rest = engineering(told.still * period, "s", alphabet)
        return f"not within this time; about {rest} more ({told.still:.0f} periods)"
    return "not within this time"


def _passed(told: Response, section: Section, unit: str, alphabet: Alphabet) -> Rows:
    """Overshoot of a start; how far a step leads beyond the values before and after it."""
    begin, final = section.periods.begin, told.final
    assert final is not None
    if told.before is None:
        over = told.overshoot or 0.0
        highest = engineering(told.highest.value, unit, alphabet)
        text = f"{percent(over)}, to {highest} at {engineering(told.highest.time - begin, 's', alphabet)}"
        yield "Overshoot", "none" if over < NOTHING else text
        return
    sign = -1.0 if final < 0 else 1.0
    for one, word, way in ((told.highest, "above", sign), (told.lowest, "below", -sign)):
        beyond = way * max(way * told.before, way * final)
        share = way * (one.value - beyond) / abs(final)
        if share > SEEN:
            which = "the final value" if beyond == final else "the value before"
            when = engineering(one.time - begin, "s", alphabet)
            value = engineering(one.value, unit, alphabet)
            yield f"Most {word}", f"{value}, {100 * share:.3g} % {word} {which}, {when} later"


def _end(told: Response, number: Callable[[float], str], alphabet: Alphabet) -> str:
    if told.off is None:
        return number(told.last)
    if told.rate is not None and told.rate.undamped and (told.missing or 0.0) > BAND:
        swing = f"{alphabet.plain('±')}{number(told.swing)}"
        return f"swings by {swing} about {number(told.final or 0.0)} for ever"
    if abs(told.off) < NOTHING:
        return f"{number(told.last)}, the steady state's value"
    side = "above" if told.off > 0 else "below"
    moving = "" if told.settled is not None else " and still moving"
    return f"{number(told.last)}, {100 * abs(told.off):.2g} % {side} the steady state's{moving}"


def inrush_rows(start: Startup, alphabet: Alphabet = UNICODE) -> Rows:
    """The largest current drawn from each source."""
    what = "Largest from" if any(section.steps for section in start.sections) else "Inrush from"
    for one in start.sources:
        if one.jumped:
            charge = engineering(one.jumped, "C", alphabet, digits=3)
            yield (
                f"{what} {one.part}",
                f"{charge} at once, which no resistance limits; then {_most(one, 'A', alphabet)}",
            )
        else:
            yield f"{what} {one.part}", _most(one, "A", alphabet)


def _most(one: Largest, unit: str, alphabet: Alphabet) -> str:
    value = engineering(one.value, unit, alphabet)
    text = f"{value} at {engineering(one.time, 's', alphabet)}"
    if one.steady:
        text += f", {abs(one.value) / one.steady:.3g} times the steady peak"
    return text


LARGEST_HEADING = ("Largest on the way", "Value", "At", "Steady peak", "Times")


def largest_rows(start: Startup, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, ...]]:
    """The heading, then coil currents and voltages of devices and capacitors."""
    yield LARGEST_HEADING
    for one in (*start.coils, *start.voltages):
        unit = "A" if one in start.coils else "V"
        steady = None if one.steady is None else engineering(one.steady, unit, alphabet)
        times = "" if not one.steady else f"{abs(one.value) / one.steady:.3g}"
        value = engineering(abs(one.value), unit, alphabet) if isfinite(one.value) else "open"
        if one.jumped:
            value, times = "unbounded", ""
        at = engineering(one.time, "s", alphabet) if isfinite(one.time) else ""
        yield one.name, value, at if not one.jumped else "", steady or "", times


def jump_words(start: Startup, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """What of each trace comes in jumps: ``i(Cf): charge jumps besides, up to 22 µC a period``."""
    for trace in start.traces:
        most = float(start[trace.text].jumped.max())
        if most:
            size = engineering(most, IMPULSE_UNITS[trace.unit], alphabet, digits=3)
            what = f"{trace.text}: {IMPULSES[trace.unit]} jumps besides"
            yield f"{what}, up to {size} a period, which no curve shows"


def remarks(start: Startup, alphabet: Alphabet = UNICODE) -> Iterator[str]:
    """What must be said besides: a state that contradicts itself, currents that are cut off, ringing."""
    if start.stopped:
        end = engineering(start.end, "s", alphabet)
        yield f"It was followed to {end} only, not to the end that was asked for: {start.stopped}."
    if start.moved:
        unit = {"v": "V", "i": "A"}
        moved = [
            f"{name} {' to '.join(engineering(value, unit[name[0]], alphabet) for value in values)}"
            for name, values in start.moved.items()
        ]
        lost = sum(start.ledger(0.0, start.sections[0].periods.period * 1e-6).jumps.values())
        yield (
            "At the first instant charge or flux moves at once, because closed devices tie what the "
            f"beginning holds apart: {', '.join(moved)}; {engineering(lost, 'J', alphabet)} is lost in it."
        )
    yield from (f"{words}." for words in jump_words(start, alphabet))
    cut = [one.name for one in start.voltages if one.jumped]
    if cut:
        yield (
            f"A switch interrupts a coil's current on the way: nothing bounds {' and '.join(cut)}. The coil "
            "needs a path, such as a diode across the switch."
        )
    for section in start.sections:
        rate = section.response.rate
        if rate is not None and rate.undamped:
            yield (
                "Nothing in this circuit damps its slowest ringing (an ideal coil and capacitor ring for "
                "ever): give the parts their resistances to see it settle."
            )
            break
    if any(section.steady is None for section in start.sections):
        yield (
            "No periodic state was found at this operating point: final values are not known. Where "
            "something grows from period to period, voltsec solve tells what and why."
        )


def cautions(start: Startup) -> Iterator[str]:
    """Voltages and energies on the way that can hurt someone, and the closing caution."""
    output = start[start.traces[0].text]
    reached = [(float(abs(part).max()), "The output") for part in (output.low, output.high)]
    capacitors = {capacitor.name: capacitor for capacitor in start.circuit.capacitors}
    for one in start.voltages:
        what = f"Capacitor {one.part}" if one.part in capacitors else f"The voltage across {one.part}"
        if isfinite(one.value):
            reached.append((abs(one.value), what))
    worst = max(reached, key=lambda pair: pair[0])
    if worst[0] > EXTRA_LOW_VOLTAGE:
        yield voltage_caution(worst[0], f"On the way {worst[1][0].lower()}{worst[1][1:]}")
    for one in start.voltages:
        if one.part in capacitors:
            farad = start.sections[0].point[capacitors[one.part].quantity.symbol]
            energy = farad * one.value**2 / 2
            if energy > HAZARDOUS_ENERGY:
                yield energy_caution(energy, f"On the way {one.part}")
    yield CLOSING


def ledger_rows(ledger: Ledger, alphabet: Alphabet = UNICODE) -> Iterator[tuple[str, str, str]]:
    """(what, part, energy): every entry of the ledger, and the sum."""

    def joule(value: float) -> str:
        return engineering(0.0 if abs(value) < EMPTY * ledger.flowed else value, "J", alphabet)

    groups = (
        ("Given by", {name: e for name, e in ledger.sources.items() if e >= 0}, 1.0),
        ("", {name: -e for name, e in ledger.loads.items() if e < 0}, 1.0),
        ("Taken by", {name: e for name, e in ledger.loads.items() if e >= 0}, 1.0),
        ("", {name: -e for name, e in ledger.sources.items() if e < 0}, 1.0),
        ("Lost in", ledger.lost, 1.0),
        ("Lost in jumps of", ledger.jumps, 1.0),
        ("Stored in", ledger.stored, 1.0),
    )
    for label, entries, sign in groups:
        for place, (name, value) in enumerate(entries.items()):
            yield (label if place == 0 else "", name, joule(sign * value))
    yield "Given − taken − lost − stored", "", _residual(ledger, alphabet)


def _residual(ledger: Ledger, alphabet: Alphabet) -> str:
    if not ledger.flowed:
        return engineering(0.0, "J", alphabet)
    share = abs(ledger.residual) / ledger.flowed
    return f"{share:.0e} of what flowed" if share else engineering(0.0, "J", alphabet)


def ledger_remark(start: Startup, ledger: Ledger, alphabet: Alphabet = UNICODE) -> str:
    """Out over in, what storage has to do with it, and the efficiency of the steady state beside."""
    if ledger.ratio is None:
        return "Nothing was given: all energy came from storage."
    moved = ledger.into_storage
    parts = [f"Out over in is {percent(ledger.ratio)}"]
    if abs(moved) > NOTHING * ledger.flowed:
        share = percent(abs(moved) / ledger.given)
        way = "came out of" if moved < 0 else "went into"
        parts.append(f"{engineering(abs(moved), 'J', alphabet)} ({share} of the input) {way} storage")
    steady = start.steady_efficiency
    if steady is not None:
        parts.append(f"in the steady state the efficiency is {percent(steady)}")
    above = ledger.ratio > 1 and moved < 0
    return "; ".join(parts) + (": more than all is no efficiency." if above else ".")
