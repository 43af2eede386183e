"""Published converters with their ideal gains, stresses and currents: the rows of a literature survey.

``Q`` stands for 1 - D.  Voltages are in units of Vg, coil currents in units of Vg/R; every load is R.
Hard-charged circuits parallel capacitors through closed devices; their gain is the limit of vanishing
resistance.  ``source`` refers to ``SOURCES``.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Published:
    """One published converter: netlist and formulas (Python expressions of D, Q, n, m, nr)."""

    netlist: str
    gain: str
    capacitor_voltages: dict[str, str] = field(default_factory=dict)
    inductor_currents: dict[str, str] = field(default_factory=dict)
    peak_voltages: dict[str, str] = field(default_factory=dict)
    source: str = ""
    duties: tuple[float, ...] = (0.25, 0.4, 0.65)
    hard_charged: bool = False
    edge: float = 0.0
    """Inductance of every coil, as a multiple of R T, at which the first diode runs dry (time-domain
    integration at the middle duty ratio, n = 2, m = 0.5, nr = 1)."""


PUBLISHED: dict[str, Published] = {
    "buck": Published(
        netlist="""
            source Vg : in -> gnd
            switch S : in -> a
            diode D1 : gnd -> a
            inductor L : a -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="D",
        inductor_currents={"L": "D"},
        peak_voltages={"S": "1", "D1": "1"},
        source="M1 S14",
        edge=0.2999,
    ),
    "boost": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L : in -> a
            switch S : a -> gnd
            diode D1 : a -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="1/Q",
        inductor_currents={"L": "1/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "1/Q"},
        source="M1 S11",
        edge=0.07198,
    ),
    "buckboost": Published(
        netlist="""
            source Vg : in -> gnd
            switch S : in -> a
            inductor L : a -> gnd
            diode D1 : out -> a
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-D/Q",
        inductor_currents={"L": "D/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "1/Q"},
        source="M1 S14",
        edge=0.1799,
    ),
    "cuk": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            switch S : a -> gnd
            capacitor C1 : a -> b
            diode D1 : b -> gnd
            inductor L2 : out -> b
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-D/Q",
        capacitor_voltages={"C1": "1/Q"},
        inductor_currents={"L1": "(D/Q)**2", "L2": "D/Q"},
        peak_voltages={"S": "1/Q", "D1": "1/Q"},
        source="M1 M2 S2 S15",
        edge=0.3599,
    ),
    "sepic": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            switch S : a -> gnd
            capacitor C1 : a -> b
            inductor L2 : gnd -> b
            diode D1 : b -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="D/Q",
        capacitor_voltages={"C1": "1"},
        inductor_currents={"L1": "(D/Q)**2", "L2": "D/Q"},
        peak_voltages={"S": "1/Q", "D1": "1/Q"},
        source="M1 M3 S1 S2",
        edge=0.3599,
    ),
    "zeta": Published(
        netlist="""
            source Vg : in -> gnd
            switch S : in -> a
            inductor L1 : a -> gnd
            capacitor C1 : b -> a
            diode D1 : gnd -> b
            inductor L2 : b -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="D/Q",
        capacitor_voltages={"C1": "D/Q"},
        inductor_currents={"L1": "(D/Q)**2", "L2": "D/Q"},
        peak_voltages={"S": "1/Q", "D1": "1/Q"},
        source="M4 S7 S8",
        edge=0.3599,
    ),
    "flyback": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            ground gnd, sgnd
            transformer T : in -> a, sgnd -> b = 1 : n { magnetizing LM }
            switch S : a -> gnd
            diode D1 : b -> out
            capacitor Co : out -> sgnd
            load R : out -> sgnd
        """,
        gain="n*D/Q",
        inductor_currents={"LM": "n**2*D/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "n/Q"},
        source="M1 S5 S17 S20",
        edge=0.04499,
    ),
    "flyback2": Published(
        netlist="""
            parameter m
            parameter n
            source Vg : in -> gnd
            ground gnd, sgnd
            transformer T : in -> a, sgnd -> b, sgnd -> c = 1 : n : m { magnetizing LM }
            switch S : a -> gnd
            diode D1 : b -> out
            diode D2 : c -> out2
            capacitor Co : out -> sgnd
            load R : out -> sgnd
            capacitor C2 : out2 -> sgnd
            load R2 : out2 -> sgnd
        """,
        gain="n*D/Q",
        capacitor_voltages={"C2": "m*D/Q"},
        inductor_currents={"LM": "(n**2+m**2)*D/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "n/Q", "D2": "m/Q"},
        source="M1",
        edge=0.04307,
    ),
    "forward": Published(
        netlist="""
            parameter n
            parameter nr
            source Vg : in -> gnd
            ground gnd, sgnd
            transformer T : in -> a, gnd -> r, s -> sgnd = 1 : nr : n { magnetizing LM }
            switch S : a -> gnd
            diode DR : r -> in
            diode D1 : s -> x
            diode D2 : sgnd -> x
            inductor L : x -> out
            capacitor Co : out -> sgnd
            load R : out -> sgnd
        """,
        gain="n*D",
        inductor_currents={"L": "n*D"},
        peak_voltages={"S": "1+1/nr", "DR": "1+nr", "D1": "n/nr", "D2": "n"},
        source="M1",
        duties=(0.2, 0.3, 0.45),
        edge=0.3499,
    ),
    "iso_cuk": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            ground gnd, sgnd
            inductor L1 : in -> a
            switch S : a -> gnd
            capacitor C1 : a -> p
            transformer T : p -> gnd, q -> sgnd = 1 : n { magnetizing LM }
            capacitor C2 : q -> c
            diode D1 : c -> sgnd
            inductor L2 : out -> c
            capacitor Co : out -> sgnd
            load R : out -> sgnd
        """,
        gain="-n*D/Q",
        capacitor_voltages={"C1": "1", "C2": "n*D/Q"},
        inductor_currents={"L1": "(n*D/Q)**2", "L2": "n*D/Q"},
        peak_voltages={"S": "1/Q", "D1": "n/Q"},
        source="M1",
        edge=0.2699,
    ),
    "iso_sepic": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            ground gnd, sgnd
            inductor L1 : in -> a
            switch S : a -> gnd
            capacitor C1 : a -> b
            transformer T : gnd -> b, sgnd -> c = 1 : n { magnetizing LM }
            diode D1 : c -> out
            capacitor Co : out -> sgnd
            load R : out -> sgnd
        """,
        gain="n*D/Q",
        capacitor_voltages={"C1": "1"},
        inductor_currents={"L1": "(n*D/Q)**2", "LM": "n**2*D/Q"},
        peak_voltages={"S": "1/Q", "D1": "n/Q"},
        source="M1",
        edge=0.08997,
    ),
    "iso_zeta": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            ground gnd, sgnd
            switch S : in -> a
            transformer T : a -> gnd, c -> sgnd = 1 : n { magnetizing LM }
            capacitor C1 : d -> c
            diode D1 : sgnd -> d
            inductor L2 : d -> out
            capacitor Co : out -> sgnd
            load R : out -> sgnd
        """,
        gain="n*D/Q",
        capacitor_voltages={"C1": "n*D/Q"},
        inductor_currents={"LM": "(n*D/Q)**2", "L2": "n*D/Q"},
        peak_voltages={"S": "1/Q", "D1": "n/Q"},
        source="M1 M4",
        edge=0.2249,
    ),
    "tap_buck_diodetap": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            switch S : in -> a
            transformer T : a -> t, t -> out = n : 1 { magnetizing LM }
            diode D1 : gnd -> t
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="D/(1+n*Q)",
        inductor_currents={"LM": "D*(1+n)/(n*(1+n*Q)**2)"},
        peak_voltages={"S": "1+n*D/(1+n*Q)", "D1": "(1+n*D/(1+n*Q))/(1+n)"},
        source="M5",
        edge=0.8797,
    ),
    "tap_buck_switchtap": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            switch S : in -> t
            diode D1 : gnd -> a
            transformer T : a -> t, t -> out = n : 1 { magnetizing LM }
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="D*(1+n)/(1+n*D)",
        inductor_currents={"LM": "D*(1+n)**2/(n*(1+n*D)**2)"},
        peak_voltages={"S": "1/(1+n*D)", "D1": "1+n*Q/(1+n*D)"},
        source="M5",
        edge=0.2399,
    ),
    "watkins_johnson": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            switch S : in -> a
            transformer T : a -> out, gnd -> r = 1 : n { magnetizing LM }
            diode D1 : r -> in
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="1-Q/(n*D)",
        inductor_currents={"LM": "(1-Q/(n*D))/D"},
        peak_voltages={"S": "1/n+Q/(n*D)", "D1": "1/D"},
        source="M1 M5",
        duties=(0.4, 0.55, 0.7),
        edge=0.1047,
    ),
    "tap_boost_switchtap": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            transformer T : in -> t, t -> a = 1 : n { magnetizing LM }
            switch S : t -> gnd
            diode D1 : a -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="(1+n*D)/Q",
        inductor_currents={"LM": "(1+n)*(1+n*D)/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "(1+n)/Q"},
        source="M5",
        edge=0.01333,
    ),
    "tap_bb_switchtap": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            switch S : in -> t
            transformer T : a -> t, t -> gnd = n : 1 { magnetizing LM }
            diode D1 : out -> a
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-(1+n)*D/Q",
        inductor_currents={"LM": "(1+n)**2*D/(n*Q**2)"},
        peak_voltages={"S": "1/Q", "D1": "(1+n)/Q"},
        source="M5",
        edge=0.07997,
    ),
    "tap_bb_diodetap": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            switch S : in -> a
            transformer T : a -> t, t -> gnd = n : 1 { magnetizing LM }
            diode D1 : out -> t
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-D/((1+n)*Q)",
        inductor_currents={"LM": "D/(n*(1+n)*Q**2)"},
        peak_voltages={"S": "1/Q", "D1": "1/((1+n)*Q)"},
        source="M5",
        edge=0.7198,
    ),
    "quad_boost": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            diode D1 : a -> b
            diode D2 : a -> c
            capacitor C1 : b -> gnd
            inductor L2 : b -> c
            switch S : c -> gnd
            diode D3 : c -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="1/Q**2",
        capacitor_voltages={"C1": "1/Q"},
        inductor_currents={"L1": "1/Q**4", "L2": "1/Q**3"},
        peak_voltages={"S": "1/Q**2", "D1": "1/Q", "D2": "D/Q**2", "D3": "1/Q**2"},
        source="M6 M7",
        edge=0.07198,
    ),
    "quad_boost_lowC": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            diode D1 : a -> b
            diode D2 : a -> c
            capacitor C1 : b -> in
            inductor L2 : b -> c
            switch S : c -> gnd
            diode D3 : c -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="1/Q**2",
        capacitor_voltages={"C1": "D/Q"},
        inductor_currents={"L1": "1/Q**4", "L2": "1/Q**3"},
        peak_voltages={"S": "1/Q**2"},
        source="M8",
        edge=0.07198,
    ),
    "quad_buck": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> t
            capacitor C1 : t -> p
            diode D1 : p -> in
            diode D3 : gnd -> p
            inductor L2 : t -> o
            capacitor Co : o -> m
            load R : o -> m
            diode D2 : m -> t
            switch S : m -> gnd
        """,
        gain="D**2",
        capacitor_voltages={"C1": "D"},
        inductor_currents={"L1": "D**3", "L2": "D**2"},
        peak_voltages={"S": "1+D", "D1": "1", "D2": "D", "D3": "1"},
        source="M6",
        edge=1.875,
    ),
    "quad_bb_D2_1mD": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> t
            capacitor C1 : t -> p
            diode D1 : p -> in
            diode D3 : gnd -> p
            inductor L2 : t -> m
            diode D2 : m -> o
            capacitor Co : o -> t
            load R : o -> t
            switch S : m -> gnd
        """,
        gain="D**2/Q",
        capacitor_voltages={"C1": "D"},
        inductor_currents={"L1": "D**3/Q**2", "L2": "D**2/Q**2"},
        peak_voltages={"S": "1/Q"},
        source="M6",
        edge=0.6748,
    ),
    "quad_bb_D_1mD2": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            diode D1 : a -> t
            capacitor C1 : t -> gnd
            diode D3 : a -> b
            inductor L2 : t -> b
            switch S : b -> gnd
            diode D2 : b -> o
            capacitor Co : o -> t
            load R : o -> t
        """,
        gain="D/Q**2",
        capacitor_voltages={"C1": "1/Q"},
        inductor_currents={"L1": "D**2/Q**4", "L2": "D/Q**3"},
        peak_voltages={"S": "1/Q**2"},
        source="M6",
        edge=0.1799,
    ),
    "quad_sepic": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            diode D1 : a -> t
            capacitor C1 : t -> gnd
            diode D3 : a -> b
            inductor L2 : t -> b
            switch S : b -> gnd
            capacitor C2 : b -> c
            inductor L3 : gnd -> c
            diode D2 : c -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="D/Q**2",
        capacitor_voltages={"C1": "1/Q", "C2": "1/Q"},
        inductor_currents={"L1": "D**2/Q**4", "L2": "D**2/Q**3", "L3": "D/Q**2"},
        peak_voltages={"S": "1/Q**2"},
        source="M6 (as a cascade)",
        edge=0.3599,
    ),
    "boost_mult1": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L : in -> a
            switch S : a -> gnd
            diode D1 : a -> x
            capacitor C1 : x -> gnd
            diode D2 : x -> y
            capacitor C2 : y -> a
            diode D3 : y -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="2/Q",
        capacitor_voltages={"C1": "1/Q", "C2": "1/Q"},
        inductor_currents={"L": "4/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "1/Q", "D2": "1/Q", "D3": "1/Q"},
        source="M9",
        hard_charged=True,
        edge=0.02142,
    ),
    "boost_2x": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L : in -> a
            switch S : a -> gnd
            diode D1 : a -> n1
            capacitor C1 : n1 -> gnd
            diode D2 : n1 -> x
            capacitor C3 : x -> a
            diode D3 : x -> out
            capacitor C2 : out -> n1
            load R : out -> gnd
        """,
        gain="2/Q",
        capacitor_voltages={"C1": "1/Q", "C2": "1/Q", "C3": "1/Q"},
        inductor_currents={"L": "4/Q**2"},
        peak_voltages={"S": "1/Q"},
        source="M10",
        hard_charged=True,
        edge=0.02589,
    ),
    "boost_inv_pump": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L : in -> a
            switch S : a -> gnd
            capacitor C1 : a -> b
            diode D1 : b -> gnd
            diode D2 : out -> b
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-1/Q",
        capacitor_voltages={"C1": "1/Q"},
        inductor_currents={"L": "1/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "1/Q", "D2": "1/Q"},
        source="M16",
        hard_charged=True,
        edge=0.07198,
    ),
    "sl_boost": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> x
            diode D1 : in -> y
            inductor L2 : y -> a
            diode D2 : x -> a
            diode D3 : x -> y
            switch S : a -> gnd
            diode D4 : a -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="(1+D)/Q",
        inductor_currents={"L1": "(1+D)/Q**2", "L2": "(1+D)/Q**2"},
        peak_voltages={"S": "(1+D)/Q", "D1": "D/Q", "D2": "D/Q", "D3": "1", "D4": "(1+D)/Q"},
        source="M11",
        edge=0.05141,
    ),
    "modified_sepic": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            switch S : a -> gnd
            diode D1 : a -> m
            capacitor C1 : m -> gnd
            capacitor C2 : b -> a
            inductor L2 : m -> b
            diode D2 : b -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="(1+D)/Q",
        capacitor_voltages={"C1": "1/Q", "C2": "D/Q"},
        inductor_currents={"L1": "((1+D)/Q)**2", "L2": "(1+D)/Q"},
        peak_voltages={"S": "1/Q", "D1": "1/Q", "D2": "1/Q"},
        source="M12",
        edge=0.06119,
    ),
    "boost_sepic": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            switch S : a -> gnd
            diode D1 : a -> n1
            capacitor C1 : n1 -> gnd
            capacitor C2 : a -> b
            inductor L2 : n1 -> b
            diode D2 : b -> out
            capacitor C3 : out -> n1
            load R : out -> gnd
        """,
        gain="(1+D)/Q",
        capacitor_voltages={"C1": "1/Q", "C2": "-D/Q", "C3": "D/Q"},
        inductor_currents={"L1": "((1+D)/Q)**2", "L2": "(1+D)/Q"},
        peak_voltages={"S": "1/Q"},
        source="M13",
        edge=0.06275,
    ),
    "sepic_cuk_bip": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            switch S : a -> gnd
            capacitor C1 : a -> b
            inductor L2 : gnd -> b
            diode D1 : b -> out
            capacitor C2 : out -> gnd
            load R : out -> gnd
            capacitor C3 : a -> c
            diode D2 : c -> gnd
            inductor L3 : outn -> c
            capacitor C4 : outn -> gnd
            load R2 : outn -> gnd
        """,
        gain="D/Q",
        capacitor_voltages={"C1": "1", "C3": "1/Q", "C4": "-D/Q"},
        inductor_currents={"L1": "2*(D/Q)**2", "L2": "D/Q", "L3": "D/Q"},
        peak_voltages={"S": "1/Q"},
        source="M16",
        edge=0.3212,
    ),
    "boost_flyback": Published(
        netlist="""
            parameter n
            source Vg : in -> gnd
            transformer T : in -> a, n1 -> s = 1 : n { magnetizing LM }
            switch S : a -> gnd
            diode D1 : a -> n1
            capacitor C1 : n1 -> gnd
            diode D2 : s -> out
            capacitor C2 : out -> n1
            load R : out -> gnd
        """,
        gain="(1+n*D)/Q",
        capacitor_voltages={"C1": "1/Q", "C2": "n*D/Q"},
        inductor_currents={"LM": "(1+n)*(1+n*D)/Q**2"},
        peak_voltages={"S": "1/Q", "D2": "n/Q"},
        source="M14",
        edge=0.01578,
    ),
    "luo_selflift_po": Published(
        netlist="""
            source Vg : in -> gnd
            switch S : in -> a
            inductor L1 : a -> gnd
            capacitor C1 : b -> a
            diode D1 : a -> e
            capacitor C2 : e -> gnd
            diode D2 : e -> b
            inductor L2 : b -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="1/Q",
        capacitor_voltages={"C1": "1/Q", "C2": "1"},
        inductor_currents={"L1": "D/Q**2", "L2": "1/Q"},
        peak_voltages={"S": "1/Q"},
        source="M15; form `1/(1-k)` S9",
        hard_charged=True,
        edge=0.144,
    ),
    "luo_elementary_no": Published(
        netlist="""
            source Vg : in -> gnd
            switch S : in -> a
            inductor L1 : a -> gnd
            diode D1 : p -> a
            capacitor C1 : gnd -> p
            inductor L2 : out -> p
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-D/Q",
        capacitor_voltages={"C1": "D/Q"},
        inductor_currents={"L1": "D/Q**2", "L2": "D/Q"},
        peak_voltages={"S": "1/Q"},
        source="M15",
        edge=0.1799,
    ),
    "luo_selflift_no": Published(
        netlist="""
            source Vg : in -> gnd
            switch S : in -> a
            inductor L1 : a -> gnd
            capacitor C1 : a -> q
            diode D1 : q -> gnd
            diode D2 : p -> q
            capacitor C2 : gnd -> p
            inductor L2 : out -> p
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="-1/Q",
        capacitor_voltages={"C1": "1", "C2": "1/Q"},
        inductor_currents={"L1": "1/Q**2", "L2": "1/Q"},
        peak_voltages={"S": "1/Q"},
        source="M15; form S9",
        hard_charged=True,
        edge=0.07198,
    ),
    "superlift_po": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            switch S : a -> gnd
            diode D1 : in -> b
            capacitor C1 : b -> a
            diode D2 : b -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="(2-D)/Q",
        capacitor_voltages={"C1": "1"},
        inductor_currents={"L1": "(2-D)/Q**2"},
        peak_voltages={"S": "1/Q", "D1": "1/Q", "D2": "1/Q"},
        source="M15 S10",
        hard_charged=True,
        edge=0.04499,
    ),
    "qzs_boost": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            diode D1 : a -> b
            capacitor C1 : b -> gnd
            inductor L2 : b -> c
            capacitor C2 : c -> a
            switch S : c -> gnd
            diode D2 : c -> out
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="1/(1-2*D)",
        capacitor_voltages={"C1": "Q/(1-2*D)", "C2": "D/(1-2*D)"},
        inductor_currents={"L1": "1/(1-2*D)**2", "L2": "1/(1-2*D)**2"},
        peak_voltages={"S": "1/(1-2*D)", "D1": "1/(1-2*D)", "D2": "1/(1-2*D)"},
        source="M17",
        duties=(0.15, 0.25, 0.4),
        edge=0.05441,
    ),
    "qzs_c1": Published(
        netlist="""
            source Vg : in -> gnd
            inductor L1 : in -> a
            diode D1 : a -> out
            inductor L2 : out -> c
            capacitor C2 : c -> a
            switch S : c -> gnd
            capacitor Co : out -> gnd
            load R : out -> gnd
        """,
        gain="Q/(1-2*D)",
        capacitor_voltages={"C2": "D/(1-2*D)"},
        inductor_currents={"L1": "(Q/(1-2*D))**2"},
        peak_voltages={"S": "1/(1-2*D)", "D1": "1/(1-2*D)"},
        source="M17",
        duties=(0.15, 0.25, 0.4),
        edge=0.125,
    ),
}

SOURCES: dict[str, str] = {
    "M1": "Erickson, Maksimovic, Fundamentals of Power Electronics, 2nd ed.",
    "M2": "Cuk, Middlebrook, PESC 1977",
    "M3": "Massey, Snyder, PESC 1977",
    "M4": "Jozwik, Kazimierczuk, IEEE Trans. Ind. Electron. 1989",
    "M5": "Grant, Darroman, Suter, IEEE Trans. Power Electron. 2007",
    "M6": "Maksimovic, Cuk, IEEE Trans. Power Electron. 1991",
    "M7": "Morales-Saldana, Leyva-Ramos and others, IEEE Trans. AES 2002",
    "M8": "Ye, Cheng, IEEE Trans. Ind. Electron. 2014",
    "M9": "Prudente and others, IEEE Trans. Power Electron. 2008",
    "M10": "Rosas-Caro and others, IET Power Electron. 2010",
    "M11": "Axelrod, Berkovich, Ioinovici, IEEE Trans. CAS-I 2008",
    "M12": "Gules and others, IEEE Trans. Ind. Electron. 2014",
    "M13": "Park, Moon, Youn, IEEE Trans. Power Electron. 2010",
    "M14": "Zhao, Lee 2003; Tseng, Liang 2004; Wai, Duan 2005",
    "M15": "Luo, Ye, Advanced DC/DC Converters",
    "M16": "common knowledge, no single source",
    "M17": "Anderson, Peng, PESC 2008; Cao, Peng, APEC 2009",
    "M18": "Hart, Power Electronics, ch. 6 and 7",
    "M20": "Kazimierczuk, Pulse-Width Modulated DC-DC Power Converters",
    "S1": "Texas Instruments, TPS55340 data sheet SLVSBD4E",
    "S2": "Linear Technology, LT3579 data sheet, table 4",
    "S5": "Texas Instruments, LM5002 data sheet SNVS496F",
    "S7": "Texas Instruments, Analog Applications Journal 2Q 2010 (Zeta)",
    "S8": "Sipex, ANP29, Zeta converter basics",
    "S9": "Luo, Ye, Power Electronics Handbook, ch. 14, eq. 14.124-14.130",
    "S10": "Luo, Ye, Advanced DC/DC Converters, ch. 3",
    "S11": "textbook solved problem, boost with inductor resistance",
    "S13": "textbook boost example and two variants",
    "S14": "lecture notes, converter transfer functions",
    "S15": "Linear Technology, LT3757 data sheet",
    "S17": "Power Integrations, AN-19",
    "S20": "Texas Instruments, LM5180-Q1 data sheet",
    "S22": "web note on the boost in discontinuous conduction, 2022",
    "S23": "university homework on the flyback in discontinuous conduction",
    "S25": "homework thread, buck boundary",
}
