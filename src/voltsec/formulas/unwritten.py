"""A mode whose formulas nobody could read: its intervals are told, all else is left to numbers."""

from __future__ import annotations

from voltsec.periodic.numeric_mode import NumericMode
from voltsec.results.solution import Mode, ModeInterval, Stress
from voltsec.tableau.network import coils


def mode_without_formulas(mode: NumericMode, name: str) -> Mode:
    """A mode of which only intervals are told; everything else is left to numbers."""
    circuit = mode.circuit
    labels = mode.labels()
    images = mode.fraction_texts(labels)
    order = [device.name for device in circuit.devices]
    capacitors = [c.name for c in circuit.capacitors]
    names = [c.name for c in coils(circuit)]
    intervals = []
    for k, interval in enumerate(mode.sequence.intervals):
        stops, starts = mode.sequence.ended_by(k)
        ends = "switch"
        if k in mode.sequence.unknown:
            ends = ", ".join(n for n in order if n in (stops or starts))
        conducting = tuple(n for n in order if n in interval.conducting)
        roles = dict.fromkeys([*names, *capacitors], "not determined")
        intervals.append(ModeInterval(images[k], conducting, ends, roles))
    return Mode(
        name=name,
        intervals=tuple(intervals),
        gain=None,
        output_voltage=None,
        capacitor_voltages=dict.fromkeys(capacitors),
        inductor_currents=dict.fromkeys(names),
        source_currents=dict.fromkeys(s.name for s in circuit.sources),
        ripple=dict.fromkeys([*names, *capacitors]),
        stress={e.name: Stress() for e in circuit.elements if e.kind != "transformer"},
        efficiency=None,
        closed_form=False,
        condition=None,
        definitions={},
        holds_when=None,
        proved=False,
    )
