"""The page's model: every mode's formulas and region as functions its script calls."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from voltsec.formulas.engine import engine_of
from voltsec.periodic.verification import GAP, may_miss_edge
from voltsec.report.javascript import (
    has_formulas,
    implicit_unknown,
    in_order,
    javascript,
    named_formulas,
)
from voltsec.report.region_script import SIGNS, region_script
from voltsec.results.solution import Mode, Solution
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import TooLarge

LONGEST_COURSE = 120
"""Terms of a capacitor current beyond which its ripple is taken from the mode's formula."""

SWING = """function swing(course) {
  let charge = 0, high = 0, low = 0;
  const reach = value => { high = Math.max(high, value); low = Math.min(low, value); };
  for (const [share, mean, ramp, bend] of course) {
    const linear = ramp, square = 1.5 * bend, constant = mean - bend / 2;
    const half = -(linear + (linear < 0 ? -1 : 1) * Math.sqrt(linear * linear - 4 * square * constant)) / 2;
    for (const t of [constant / half, half / square]) {
      if (Math.abs(t) < 1) {
        reach(charge + share / 2 * (mean * (t + 1) + ramp * (t * t - 1) / 2 + bend * (t * t * t - t) / 2));
      }
    }
    charge += share * mean;
    reach(charge);
  }
  return high - low;
}"""
"""Peak-to-peak charge over the period, in units of T; [share, mean, half rise, bend] for each interval.

The current is mean + ramp*t + bend*(3*t**2 - 1)/2 for t from -1 to 1; extremes lie where it is zero.
"""


def charge_swings(solution: Solution, mode: Mode) -> Iterator[tuple[str, str]]:
    """Ripple of each capacitor from its current's course, as the solver's numbers take it: key, JavaScript.

    The mode's formula neglects the coils' own ripple in continuous conduction; the course does not.
    """
    builder = engine_of(solution).builder(mode.name)
    if builder is None:
        return
    balance, form = builder.balance, builder.form
    ring = balance.ring
    for capacitor in solution.circuit.capacitors:
        unknown = ("i", capacitor.name)
        pieces = []
        for k, fraction in enumerate(balance.sequence.fractions):
            mean, ramp = balance.mean(k, unknown), balance.ramp(k, unknown)
            bend = balance.value(k, {unknown: ring.one}, "bend") or Ratio(ring.zero, ring.one)
            if ramp is None:  # how ideal parts share the ramp is open; the solver leaves it out too
                ramp = Ratio(ring.zero, ring.one)
            if mean is None or len(mean.numerator) + len(ramp.numerator) > LONGEST_COURSE:
                break
            try:
                course = [
                    javascript(form.expression(part))
                    for part in (Ratio(ring.symbol(fraction), ring.one), mean, ramp, bend)
                ]
            except TooLarge:
                break
            pieces.append(f"[{','.join(course)}]")
        else:
            size = javascript(symbol(capacitor.quantity.symbol))
            yield f"ripple:{capacitor.name}", f"p=>swing([{','.join(pieces)}])*p.T/{size}"


def model_script(solution: Solution, details: Mapping[str, object]) -> str:
    """``const MODEL = {...}``: the modes as functions, and ``details`` as plain values."""
    modes = []
    builders = dict(engine_of(solution).builders)
    for mode in solution.modes:
        if not has_formulas(mode):
            continue
        try:
            defined = ",".join(f"[{json.dumps(n)},p=>{javascript(e)}]" for n, e in in_order(mode.definitions))
            holds = region_script(builders[mode.name])
            if holds is None:
                holds = "null" if mode.holds_when is None else f"p=>{javascript(mode.holds_when)}"
            outputs = dict(named_formulas(mode))
            outputs |= {f"loss:{n}": e for n, e in mode.losses.items() if e is not None}
            written = {key: f"p=>{javascript(e)}" for key, e in outputs.items()}
            written |= dict(charge_swings(solution, mode))
            if mode.gain is None and mode.output_voltage is not None:
                source = javascript(symbol(solution.circuit.input.quantity.symbol))
                written["gain"] = f"p=>{javascript(mode.output_voltage)}/{source}"
            shown = ",".join(f"{json.dumps(key)}:{text}" for key, text in written.items())
        except NotImplementedError:
            continue
        slack = GAP if may_miss_edge(builders[mode.name].balance) else 0
        unknown = implicit_unknown(mode)
        root = "null"
        if unknown is not None and mode.condition is not None:
            root = f"[{json.dumps(unknown)},p=>{javascript(mode.condition[0])}]"
        modes.append(
            f"{{name:{json.dumps(mode.name)},slack:{slack},root:{root},define:[{defined}],holds:{holds},out:{{{shown}}}}}"
        )
    plain = json.dumps(details, ensure_ascii=True, allow_nan=False).replace("</", "<\\/")
    return f"const MODEL={plain};\n{SWING}\n{SIGNS}\nMODEL.modes=[{','.join(modes)}];"
