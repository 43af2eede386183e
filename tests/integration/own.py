"""Circuits that are in no book: made up to be awkward, each a plausible stage of a river-gauge station.

The station stands in the hills, on a 12 V battery and a solar panel of some 18 V; it feeds a level
probe (24 V), a radio (5 V), a heater and a data logger.  Inductances are those at the edge of
continuous conduction for the duty ratio of ``operate`` (found by the time-domain integration, the
first diode to run dry there); a test multiplies all of them.
"""

from __future__ import annotations

OWN: dict[str, str] = {
    # Two coils with a steering diode each share one switch; their different loads run dry one after another.
    "twin_coils_one_switch": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> p = 48 uH
        inductor L2 : in -> q = 72 uH
        diode D1 : p -> a
        diode D2 : q -> a
        switch S : a -> gnd
        diode D3 : p -> out
        diode D4 : q -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 20 ohm
        operate D = 0.4, T = 20 us
    """,
    # Six diodes: a step-up stage with two multiplier cells on its switch node.
    "probe_supply_six_diodes": """
        source Vg : in -> gnd = 12 V
        inductor L : in -> a = 18.8 uH
        switch S : a -> gnd
        diode D1 : a -> x1
        capacitor C1 : x1 -> gnd
        diode D2 : x1 -> y1
        capacitor C2 : y1 -> a
        diode D3 : y1 -> x2
        capacitor C3 : x2 -> x1
        diode D4 : x2 -> y2
        capacitor C4 : y2 -> y1
        diode D5 : y2 -> out
        capacitor Co : out -> gnd
        diode D6 : a -> aux
        capacitor Ca : aux -> gnd
        load R : out -> gnd = 80 ohm
        load R2 : aux -> gnd = 40 ohm
        operate D = 0.45, T = 20 us
    """,
    # A step-down stage whose switch node also pumps a negative rail.
    "buck_with_negative_pump": """
        source Vg : in -> gnd = 18 V
        switch S : in -> a
        diode D1 : gnd -> a
        inductor L : a -> out = 133 uH
        capacitor Co : out -> gnd
        capacitor C1 : a -> b
        diode D2 : b -> gnd
        diode D3 : neg -> b
        capacitor C2 : neg -> gnd
        load R : out -> gnd = 10 ohm
        load R2 : neg -> gnd = 60 ohm
        operate D = 0.4, T = 20 us
    """,
    # Coupled coils of unequal size, a stage with a second filter.
    "sepic_coupled_with_filter": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 36.1 uH
        switch S : a -> gnd
        capacitor C1 : a -> b
        inductor L2 : gnd -> b = 81.1 uH
        diode D1 : b -> m
        capacitor C2 : m -> gnd
        inductor L3 : m -> out = 45.1 uH
        capacitor Co : out -> gnd
        couple L1, L2 = 0.7
        load R : out -> gnd = 10 ohm
        operate D = 0.4, T = 20 us
    """,
    # Negative coupling: the windings' dots oppose each other.
    "zeta_coils_opposed": """
        source Vg : in -> gnd = 12 V
        switch S : in -> a
        inductor L1 : a -> gnd = 88.3 uH
        capacitor C1 : b -> a
        diode D1 : gnd -> b
        inductor L2 : out -> b = 118 uH
        couple Mo : L1, L2 = 29.4 uH
        capacitor Co : out -> gnd
        load R : out -> gnd = 10 ohm
        operate D = 0.4, T = 20 us
    """,
    # Two coils leave one node of a Cuk stage for two outputs: in the idle time three coils form a cutset.
    "cuk_two_outputs": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 58.5 uH
        switch S : a -> gnd
        capacitor C1 : a -> b
        diode D1 : b -> gnd
        inductor L2 : out -> b = 87.7 uH
        capacitor Co : out -> gnd
        load R : out -> gnd = 10 ohm
        inductor L3 : aux -> b = 117 uH
        capacitor Ca : aux -> gnd
        load R2 : aux -> gnd = 30 ohm
        operate D = 0.4, T = 20 us
    """,
    # Two coils in series: the node between them touches nothing else.
    "two_coils_in_series": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> m = 9 uH
        inductor L2 : m -> a = 5.4 uH
        switch S : a -> gnd
        diode D1 : a -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 10 ohm
        operate D = 0.4, T = 20 us
    """,
    # A node where only coils meet.
    "star_of_coils": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> m = 15 uH
        inductor L2 : m -> a = 15 uH
        inductor L3 : m -> f = 30 uH
        capacitor C1 : f -> gnd
        switch S : a -> gnd
        diode D1 : a -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 20 ohm
        resistor R1 : f -> gnd = 50 ohm
        operate D = 0.5, T = 20 us
    """,
    # A step-up winding stacked on the output with a clamp; magnetizing inductance alone decides.
    "stacked_winding_with_lift": """
        parameter n = 1.5
        source Vg : in -> gnd = 12 V
        transformer T1 : in -> a, x -> y = 1 : n { magnetizing LM = 15.3 uH }
        switch S : a -> gnd
        diode D1 : a -> x
        capacitor C1 : x -> gnd
        diode D2 : y -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 50 ohm
        operate D = 0.5, T = 20 us
    """,
    # Battery behind a resistance, panel as a current into the same capacitor, step-up behind it.
    "panel_and_battery": """
        source Vb : raw -> gnd = 12 V
        resistor Rb : raw -> bat = 0.2 ohm
        current Ip : gnd -> in = 0.5 A
        resistor Rw : bat -> in = 0.3 ohm
        capacitor Ci : in -> gnd
        inductor L : in -> a = 25.4 uH
        switch S : a -> gnd { resistance 30 mohm }
        diode D1 : a -> out { drop 0.4 V }
        capacitor Co : out -> gnd
        load R : out -> gnd = 20 ohm
        operate D = 0.5, T = 20 us
    """,
    # Four diodes: switched coils on the input of an inverting stage.
    "inverting_switched_coils": """
        source Vg : in -> gnd = 12 V
        switch S : in -> a
        inductor L1 : a -> p = 36 uH
        diode D1 : p -> gnd
        diode D2 : a -> q
        inductor L2 : q -> gnd = 36 uH
        diode D3 : p -> q
        diode D4 : out -> a
        capacitor Co : out -> gnd
        load R : out -> gnd = 20 ohm
        operate D = 0.4, T = 20 us
    """,
    # A step-up stage feeds a step-down stage through the same switch pair of steering diodes.
    "lift_then_lower": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 57.8 uH
        switch S : a -> gnd
        diode D1 : a -> x
        capacitor C1 : x -> gnd
        capacitor C2 : a -> b
        diode D2 : b -> gnd
        inductor L2 : out -> b = 77.1 uH
        capacitor Co : out -> gnd
        load R2 : x -> gnd = 60 ohm
        load R : out -> gnd = 10 ohm
        operate D = 0.4, T = 20 us
    """,
    # Isolated rail and a direct one from one magnetizing inductance, rails of different load.
    "flyback_and_boost_rail": """
        ground gnd, sgnd
        source Vg : in -> gnd = 12 V
        transformer T1 : in -> a, sgnd -> b = 2 : 1 { magnetizing LM = 104 uH }
        switch S : a -> gnd
        diode D1 : b -> out
        capacitor Co : out -> sgnd
        load R : out -> sgnd = 5 ohm
        diode D2 : a -> c
        capacitor C1 : c -> gnd
        load R2 : c -> gnd = 100 ohm
        operate D = 0.45, T = 20 us
    """,
    # Inner coil that runs dry first while the input coil stays continuous.
    "quadratic_small_inner_coil": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 864 uH
        diode D1 : a -> b
        diode D2 : a -> c
        capacitor C1 : b -> gnd
        inductor L2 : b -> c = 86.4 uH
        switch S : c -> gnd
        diode D3 : c -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 60 ohm
        operate D = 0.4, T = 20 us
    """,
    # Capacitors charged in parallel through diodes, discharged in series into a coil: a divider stage.
    "series_parallel_step_down": """
        source Vg : in -> gnd = 24 V
        switch S : in -> a
        capacitor C1 : a -> p
        diode D1 : p -> b
        capacitor C2 : b -> gnd
        diode D2 : gnd -> p
        diode D3 : b -> a
        inductor L : a -> out = 8.57 uH
        capacitor Co : out -> gnd
        load R : out -> gnd = 5 ohm
        operate D = 0.4, T = 20 us
    """,
    # Ideal transformer that stores nothing between two coupling capacitors.
    "isolated_cuk_without_magnetizing": """
        ground gnd, sgnd
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 132 uH
        switch S : a -> gnd
        capacitor C1 : a -> p
        transformer T1 : p -> gnd, q -> sgnd = 1 : 2
        capacitor C2 : q -> c
        diode D1 : c -> sgnd
        inductor L2 : out -> c = 198 uH
        capacitor Co : out -> sgnd
        load R : out -> sgnd = 40 ohm
        operate D = 0.4, T = 20 us
    """,
    # Tapped coil with a recovery diode back into the source.
    "tapped_with_recovery": """
        source Vg : in -> gnd = 18 V
        transformer T1 : a -> t, t -> out, gnd -> r = 2 : 1 : 4 { magnetizing LM = 88 uH }
        switch S : in -> a
        diode D1 : gnd -> t
        diode D2 : r -> in
        capacitor Co : out -> gnd
        load R : out -> gnd = 5 ohm
        operate D = 0.4, T = 20 us
    """,
    # A constant-current load beside a resistor.
    "inverting_with_constant_current": """
        source Vg : in -> gnd = 12 V
        switch S : in -> a
        inductor L : a -> gnd = 41.1 uH
        diode D1 : out -> a
        capacitor Co : out -> gnd
        load R : out -> gnd = 20 ohm
        current I0 : gnd -> out = 0.3 A
        operate D = 0.4, T = 20 us
    """,
    # Three coils magnetically linked, two rails.
    "three_coupled_coils": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 78.6 uH
        switch S : a -> gnd
        capacitor C1 : a -> b
        inductor L2 : gnd -> b = 78.6 uH
        diode D1 : b -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 10 ohm
        capacitor C2 : a -> c
        diode D2 : c -> gnd
        inductor L3 : neg -> c = 157 uH
        capacitor Cn : neg -> gnd
        load R2 : neg -> gnd = 30 ohm
        couple M12 : L1, L2 = 0.5
        couple M13 : L1, L3 = 0.3
        couple M23 : L2, L3 = 0.4
        operate D = 0.4, T = 20 us
    """,
}

SEVERAL_SWITCHES: dict[str, str] = {
    # Two switches against each other: the coil current may turn negative, there is no idle time.  The
    # resistances are small because the formulas leave out the losses of the ripple.
    "synchronous_step_down": """
        source Vg : in -> gnd = 18 V
        switch S : in -> a { resistance 2 mohm }
        switch Q : a -> gnd { resistance 1.5 mohm }
        drive S at D
        drive Q against S
        inductor L : a -> out = 400 uH { resistance 3 mohm }
        capacitor Co : out -> gnd
        load R : out -> gnd = 20 ohm
        operate D = 0.3, T = 20 us
    """,
    # Two duty ratios: a step-up stage feeds a step-down stage.
    "two_duty_ratios": """
        source Vg : in -> gnd = 12 V
        inductor L1 : in -> a = 20 uH
        switch S1 : a -> gnd
        diode D1 : a -> x
        capacitor C1 : x -> gnd
        switch S2 : x -> b
        diode D2 : gnd -> b
        inductor L2 : b -> out = 20 uH
        capacitor Co : out -> gnd
        load R : out -> gnd = 5 ohm
        drive S1 at D
        drive S2 at E
        operate D = 0.4, E = 0.6, T = 20 us
    """,
    # One coil between two switch pairs; the right pair has diodes.
    "two_switches_together": """
        source Vg : in -> gnd = 12 V
        switch S1 : in -> a
        switch S2 : b -> gnd
        inductor L : a -> b = 20.2 uH
        diode D1 : gnd -> a
        diode D2 : b -> out
        capacitor Co : out -> gnd
        load R : out -> gnd = 10 ohm
        drive S1 at D
        drive S2 with S1
        operate D = 0.55, T = 20 us
    """,
}
