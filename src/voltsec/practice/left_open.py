"""What an answer leaves open at the operating point, each voltage and current named with the cure."""

from __future__ import annotations

from voltsec.steady.solution import Numbers, Solution
from voltsec.steady.undetermined import open_line, undetermined

BY_RIPPLE = "; in the numbers ripple alone decides it"


def left_open(answer: Solution, numbers: Numbers) -> tuple[str, ...]:
    """The formulas' lines, and one for what only the exact state leaves open.

    What the formulas leave open and the numbers tell is decided there by ripple alone, which any resistance
    outweighs; its line says so.
    """
    told = {f"V({name})": value for name, value in numbers.capacitor_voltages.items()}
    told |= {f"i({name})": value for name, value in numbers.inductor_currents.items()}
    groups = dict.fromkeys(
        group for _, builder in answer.engine.builders for group in undetermined(builder.balance)
    )
    lines = []
    for group in groups:
        decided = all(told.get(label) is not None for label in group)
        lines.append(open_line(group) + BY_RIPPLE * decided)
    named = {label for group in groups for label in group}
    for kind in "Vi":
        more = [label for label, value in told.items() if value is None and label[0] == kind]
        more = [label for label in more if label not in named]
        if more:
            lines.append(open_line(more))
    return tuple(lines)
