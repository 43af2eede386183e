"""What the ideal circuit does not determine, case by case: these alone may be left out of an answer.

Two reasons, both with the equations of an ideal circuit behind them (common practice, no source):

* In a loop of capacitors and closed devices charge jumps; the ideal circuit fixes what each part carries on
  average, resistances alone fix the course of the current, and so its root mean square and its peak.
* Where several open devices are in series, or coils and capacitors in parallel or in series share what the
  circuit fixes in sum only, nothing but leakage or resistance decides on the shares.
"""

from __future__ import annotations

JUMPING = {
    "flyback2": "T.2 T.3 D1 D2 Co C2",
    "boost_mult1": "S D1 C1 D2 C2 D3 Co",
    "boost_2x": "S D1 C1 D2 C3 D3 C2",
    "boost_inv_pump": "S C1 D2 Co",
    "modified_sepic": "D1 C1 C2 D2 Co",
    "boost_sepic": "D1 C2 D2 C3",
    "sepic_cuk_bip": "C1 D1 C2 C3 D2",
    "boost_flyback": "Vg T.1 T.2 D1 C1 D2 C2",
    "luo_selflift_po": "Vg S D1 C2",
    "luo_selflift_no": "Vg S C1 D1",
    "superlift_po": "Vg S D1 C1",
    "qzs_boost": "D1 C1 C2 D2 Co",
    "twin_coils_one_switch": "L1 L2 D1 D2 D3 D4",
    "probe_supply_six_diodes": "S D1 C1 D2 C2 D3 C3 D4 C4 D5 Co D6 Ca",
    "buck_with_negative_pump": "Vg S D1 C1 D2 D3 C2",
    "stacked_winding_with_lift": "Vg T1.1 T1.2 D1 C1 D2 Co",
    "lift_then_lower": "D1 C1 C2 D2",
    "flyback_and_boost_rail": "Vg T1.1 T1.2 D1 Co D2 C1",
    "series_parallel_step_down": "Vg S C1 D1 C2 D2 D3",
    "tapped_with_recovery": "Vg T1.2 T1.3 D1 D2 Co",
    "three_coupled_coils": "C1 D1 Co C2 D2",
}
"""Parts whose root mean square and peak current are open."""

SHARED_VOLTAGE = {
    "sl_boost": "D1 D2 D3 D4 S",
    "twin_coils_one_switch": "D1 D2 S",
    "inverting_switched_coils": "S D1 D2 D3 D4",
    "two_switches_together": "S1 S2 D1 D2",
    "isolated_cuk_without_magnetizing": "C1 C2 T1.1 T1.2",
}
"""Parts whose largest voltage is open."""

SHARES = {
    # two coils in parallel while both steering diodes conduct
    "twin_coils_one_switch": (
        "i(L1)",
        "i(L2)",
        "ripple(L1)",
        "ripple(L2)",
        *(f"mean i({name})" for name in ("L1", "L2", "D1", "D2", "D3", "D4")),
    ),
    # two capacitors in series with an ideal transformer, whose windings carry any direct voltage
    "isolated_cuk_without_magnetizing": ("v(C1)", "v(C2)"),
}
"""Other quantities that are open."""


def left_open(case: str) -> frozenset[str]:
    """Names of the quantities that may be left out, as the comparisons call them."""
    currents = JUMPING.get(case, "").split()
    return frozenset(
        [
            *(f"rms i({name})" for name in currents),
            *(f"peak i({name})" for name in currents),
            *(f"peak v({name})" for name in SHARED_VOLTAGE.get(case, "").split()),
            *SHARES.get(case, ()),
        ]
    )
