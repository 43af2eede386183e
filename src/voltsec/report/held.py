"""A held switch, told on a terminal or as one JSON object."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import IO, Any

from rich.console import Console
from rich.text import Text

from voltsec.held.state import Figure, HeldState, Short
from voltsec.report.alphabet import Alphabet, alphabet_for
from voltsec.report.cautions import CLOSING, EXTRA_LOW_VOLTAGE
from voltsec.report.formula import formula
from voltsec.report.machine import FORMAT, Json, as_json
from voltsec.report.quantity import engineering
from voltsec.report.read_back import Writer
from voltsec.report.wrapping import wrap_formula

LABEL_WIDTH = 20
NAME_WIDTH = 5
LONGEST = 60
"""Characters beyond which a formula stands in the table only, not in a sentence."""


def show_held(state: HeldState, stream: IO[str] | None = None) -> None:
    """Print ``state`` on ``stream`` (standard output by default)."""
    console = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, markup=False)
    alphabet = alphabet_for(console.encoding)
    for line in held_lines(state, alphabet, console.width):
        console.print(Text(line), overflow="fold")
    if state.solution is not None:
        from voltsec.report.terminal import show

        console.print()
        show(state.solution, stream)


def held_lines(state: HeldState, alphabet: Alphabet, width: int = 80) -> Iterator[str]:
    """The answer's lines, none longer than ``width``."""
    title = "".join(c if c.isprintable() else "?" for c in state.circuit.name)
    held = ", ".join(f"{name} {word}" for name, word in state.held.items())
    yield from textwrap.wrap(alphabet.plain(title), width)
    yield from textwrap.wrap(f"Held: {held}", width)
    yield ""
    for sentence in sentences(state, alphabet):
        yield from _wrapped(sentence, alphabet, width)
    rows = list(_rows(state, alphabet))
    if rows:
        yield ""
    for label, name, text in rows:
        before = f"  {label.ljust(LABEL_WIDTH)}{name.ljust(NAME_WIDTH)} "
        room = max(width - len(before), 20)
        for number, line in enumerate(wrap_formula(alphabet.plain(text), room)):
            yield ((before if number == 0 else " " * len(before)) + line).rstrip()
    yield ""
    for caution in held_cautions(state):
        yield from _wrapped(caution, alphabet, width)


def _wrapped(text: str, alphabet: Alphabet, width: int) -> list[str]:
    return textwrap.wrap(alphabet.plain(text), width, initial_indent="  ", subsequent_indent="    ")


def sentences(state: HeldState, alphabet: Alphabet) -> Iterator[str]:
    """What happens, in words, the most important first."""
    for short in state.shorts:
        yield _short_words(state, short, alphabet)
    if state.kind == "none" and all(short.coils for short in state.shorts):
        yield f"There is no steady state: {state.reason}."
    else:
        short_parts = {name for short in state.shorts for name in short.coils}
        left = [name for name in state.runaway if name not in short_parts]
        if left:
            yield f"Nothing limits {' and '.join(left)} either."
    if state.kind == "periodic":
        yield "The other switches keep switching: the periodic answer follows below."
    yield from _output_words(state, alphabet)
    if state.kind == "direct":
        yield f"Conducting: {', '.join(state.conducting) or 'none of the switches and diodes'}."
        yield from _burden_words(state, alphabet)


def _short_words(state: HeldState, short: Short, alphabet: Alphabet) -> str:
    loop = ", ".join(short.loop)
    source, *rest = short.loop
    others = [s.name for s in state.circuit.sources if s.name in rest]
    if not short.coils:
        switches = [state.circuit.element(name) for name in rest if name not in others]
        bare = not any("resistance" in switch.parasitics for switch in switches)
        limit = "nothing" if bare else "nothing but resistances of switches"
        joined = f"{source} is shorted" if not others else f"{', '.join([source, *others])} are joined"
        names = ", ".join(switch.name for switch in switches)
        return f"{joined} by {names} conducting together: {limit} limits the current."
    through = _coil_words(state, short)
    what = f"{source} is connected to {', '.join(others)}" if others else f"{source} is shorted"
    if short.current is None:
        limit = "nothing limits the current: it rises, faster once the core saturates, until something fails"
    else:
        current = _equation("", short.current, "A", alphabet, LONGEST)
        limit = f"only resistances limit the current, to {current}"
    return f"{what} through {through} ({loop}): {limit}."


def _coil_words(state: HeldState, short: Short) -> str:
    inductors = {inductor.name for inductor in state.circuit.inductors}
    named = [f"coil {n}" if n in inductors else f"magnetizing inductance {n}" for n in short.coils]
    return " and ".join(named)


def _output_words(state: HeldState, alphabet: Alphabet) -> Iterator[str]:
    source = state.circuit.input.name
    output = state.output
    if output is None:
        return
    if output.formula is None:
        yield "The output voltage is not determined."
        return
    volts = _equation("V", output, "V", alphabet, LONGEST)
    still = ", but only as long as the current without limit can rise" if state.runaway else ""
    if not state.reaches:
        yield f"{source} does not reach the output: {volts}."
    elif state.path:
        yield f"{source} reaches the output through {_between(state)}: {volts}{still}."
    else:
        yield f"{source} reaches the output: {volts}{still}."
    if state.path:
        yield f"The current's way round: {', '.join(state.path)}, back to {source}."


def _between(state: HeldState) -> str:
    """The path's elements without source and load."""
    load = state.circuit.output.element
    names = [name for name in state.path if name not in (state.circuit.input.name, load)]
    return ", ".join(names) or "nothing but wire"


def _burden_words(state: HeldState, alphabet: Alphabet) -> Iterator[str]:
    """Which part takes the voltage."""
    known = {n: f for n, f in state.blocking.items() if f.value is not None and abs(f.value) > 1e-9}
    open_ended = [name for name, figure in state.blocking.items() if figure.formula is None]
    if known:
        worst = max(known, key=lambda name: abs(known[name].value or 0.0))
        size = _equation("", known[worst], "V", alphabet, LONGEST)
        yield f"{worst} takes the voltage: {size}."
    if open_ended:
        yield f"The voltage on {', '.join(open_ended)} is not determined: a node there is left floating."


def _equation(name: str, figure: Figure, unit: str, alphabet: Alphabet, longest: int | None = None) -> str:
    """``name = formula = value``; a formula beyond ``longest`` characters is left to the table."""
    text = formula(figure.formula, (), alphabet)
    if longest is not None and len(text) > longest:
        text = ""
    value = engineering(figure.value, unit, alphabet)
    parts = [part for part in (name, text) if part]
    if figure.formula is not None and (figure.formula.free_symbols or figure.value is None):
        parts.append(value)
    elif unit:
        parts[-1] = value
    return " = ".join(parts)


def _rows(state: HeldState, alphabet: Alphabet) -> Iterator[tuple[str, str, str]]:
    groups: tuple[tuple[str, Mapping[str, Figure], str], ...] = (
        ("Blocks", state.blocking, "V"),
        ("Capacitor voltage", state.capacitor_voltages, "V"),
        ("Coil current", state.coil_currents, "A"),
        ("Drawn from source", state.source_currents, "A"),
    )
    for number, part in enumerate(state.holds_when):
        yield ("Holds where" if number == 0 else ""), "", formula(part, (), alphabet)
    for label, figures, unit in groups:
        for number, (name, figure) in enumerate(figures.items()):
            known = figure.formula is not None
            text = _equation("", figure, unit, alphabet) if known else _unknown_words(state, name)
            yield (label if number == 0 else ""), name, text


def _unknown_words(state: HeldState, name: str) -> str:
    feeding = {short.loop[0] for short in state.shorts if short.current is None}
    return "no limit" if name in state.runaway or name in feeding else "not determined"


def held_cautions(state: HeldState) -> Iterator[str]:
    """Cautions that apply to a held switch; the closing one always does."""
    if state.blocking_capacitors:
        names = " and ".join(state.blocking_capacitors)
        verb = "blocks" if len(state.blocking_capacitors) == 1 else "block"
        yield (
            f"{names} {verb} direct current between input and output: this is no safety isolation, "
            "and a capacitor that fails passes it."
        )
    if state.separating_windings:
        names = " and ".join(state.separating_windings)
        yield f"{names} separates input and output galvanically; its insulation is not judged here."
    if state.ordinary_values and state.kind == "direct":
        names = ", ".join(state.ordinary_values)
        yield f"The netlist gives no value for {names}: the numbers stand for ordinary values."
    worst = [abs(f.value) for f in (*state.blocking.values(), *state.capacitor_voltages.values()) if f.value]
    if worst and max(worst) > EXTRA_LOW_VOLTAGE:
        yield (
            f"{engineering(max(worst), 'V', digits=3)} occurs, above the usual extra-low limit of 60 V DC: "
            "treat it as able to injure."
        )
    if state.solution is None:  # the periodic answer ends with it
        yield CLOSING


def held_json(state: HeldState) -> Json:
    """``state`` as plain values, ready for :func:`json.dumps`."""
    symbols = {q.symbol: q.unit for q in state.circuit.quantities}
    write = Writer(symbols)
    output = state.circuit.output
    answer: Json = {
        "format": FORMAT,
        "circuit": state.circuit.name,
        "input": state.circuit.input.name,
        "output": {"element": output.element, "from": output.start, "to": output.end},
        "held": dict(state.held),
        "state": state.kind,
        "symbols": symbols,
        "conducting": list(state.conducting) if state.kind == "direct" else None,
        "reaches_output": state.reaches,
        "path": list(state.path),
        "output_voltage": _figure_json(state.output, write),
        "shorts": [
            {
                "loop": list(short.loop),
                "coils": list(short.coils),
                "limited": short.current is not None,
                "current": _figure_json(short.current, write),
            }
            for short in state.shorts
        ],
        "without_limit": list(state.runaway),
        "blocking": _figures_json(state.blocking, write),
        "capacitor_voltages": _figures_json(state.capacitor_voltages, write),
        "inductor_currents": _figures_json(state.coil_currents, write),
        "source_currents": _figures_json(state.source_currents, write),
        "holds_when": [write(part) for part in state.holds_when],
        "blocking_capacitors": list(state.blocking_capacitors),
        "galvanic_separation": list(state.separating_windings),
        "ordinary_values": list(state.ordinary_values),
        "reason": state.reason or None,
        "warnings": list(held_cautions(state)),
    }
    if state.solution is not None:
        answer["solution"] = as_json(state.solution)
    return answer


def _figure_json(figure: Figure | None, write: Writer) -> dict[str, Any] | None:
    return None if figure is None else {"formula": write(figure.formula), "value": figure.value}


def _figures_json(figures: Mapping[str, Figure], write: Writer) -> Json:
    return {name: _figure_json(figure, write) for name, figure in figures.items()}
