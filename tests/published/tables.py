"""Published tables as data: formulas as they are printed, the netlist they belong to, their sources.

``D'`` is 1 - D, ``^`` a power.  A netlist is one line with ``;`` between statements; it starts with the
source ``Vg : in -> gnd`` and, unless it has a load of its own, ends with ``Co`` and ``R`` at ``out``
(:func:`.comparison.netlist` writes them out, with a ``parameter`` for every named turns ratio).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from .sources import (
    DERIVED,
    M1,
    M2,
    M3,
    M4,
    M5,
    M6,
    M7,
    M8,
    M9,
    M10,
    M11,
    M12,
    M13,
    M14,
    M15,
    M16,
    M17,
    M18,
    M19,
    S1,
    S2,
    S5,
    S7,
    S8,
    S9,
    S10,
    S11,
    S14,
    S15,
    S17,
    S20,
    S22,
    S23,
    S26,
)


@dataclass(frozen=True)
class Row:
    """One circuit in continuous conduction, lossless, ripple neglected."""

    key: str
    netlist: str
    gain: str
    """V/Vg"""
    switch: str
    """Off-voltage of S over Vg, a magnitude."""
    sources: tuple[str, ...]
    capacitors: dict[str, str] = field(default_factory=dict)
    """Voltages over Vg."""
    inductors: dict[str, str] = field(default_factory=dict)
    """Average currents times R/Vg."""
    diodes: dict[str, str] = field(default_factory=dict)
    """Reverse voltages over Vg, magnitudes."""
    setting: dict[str, str] = field(default_factory=dict)
    """Replacements under which the row holds: equal loads, a numeric turns ratio."""
    point: dict[str, str] = field(default_factory=lambda: {"D": "2/5"})
    """A point in the range of the row, for circuits whose modes share the duty range."""
    conducting: tuple[frozenset[str], ...] | None = None
    """What conducts in each interval of the mode meant, where it is not the continuous one."""


ROWS: tuple[Row, ...] = (
    # Basic and fourth-order
    Row(
        "buck",
        "switch S : in -> a ; diode D1 : gnd -> a ; inductor L : a -> out",
        gain="D",
        inductors={"L": "D"},
        switch="1",
        diodes={"D1": "1"},
        sources=(M1, S14),
    ),
    Row(
        "boost",
        "inductor L : in -> a ; switch S : a -> gnd ; diode D1 : a -> out",
        gain="1/D'",
        inductors={"L": "1/D'^2"},
        switch="1/D'",
        diodes={"D1": "1/D'"},
        sources=(M1, S11),
    ),
    Row(
        "buckboost",
        "switch S : in -> a ; inductor L : a -> gnd ; diode D1 : out -> a",
        gain="-D/D'",
        inductors={"L": "D/D'^2"},
        switch="1/D'",
        diodes={"D1": "1/D'"},
        sources=(M1, S14),
    ),
    Row(
        "cuk",
        "inductor L1 : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> b ; diode D1 : b -> gnd"
        " ; inductor L2 : out -> b",
        gain="-D/D'",
        capacitors={"C1": "1/D'"},
        inductors={"L1": "(D/D')^2", "L2": "D/D'"},
        switch="1/D'",
        diodes={"D1": "1/D'"},
        sources=(M1, M2, S2, S15),
    ),
    Row(
        "sepic",
        "inductor L1 : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> b ; inductor L2 : gnd -> b"
        " ; diode D1 : b -> out",
        gain="D/D'",
        capacitors={"C1": "1"},
        inductors={"L1": "(D/D')^2", "L2": "D/D'"},
        switch="1/D'",
        diodes={"D1": "1/D'"},
        sources=(M1, M3, S1, S2),
    ),
    Row(
        "zeta",
        "switch S : in -> a ; inductor L1 : a -> gnd ; capacitor C1 : b -> a ; diode D1 : gnd -> b"
        " ; inductor L2 : b -> out",
        gain="D/D'",
        capacitors={"C1": "D/D'"},
        inductors={"L1": "(D/D')^2", "L2": "D/D'"},
        switch="1/D'",
        diodes={"D1": "1/D'"},
        sources=(M4, S7, S8),
    ),
    # Isolated
    Row(
        "flyback",
        "ground gnd, sgnd ; transformer T : in -> a, sgnd -> b = 1 : n { magnetizing LM }"
        " ; switch S : a -> gnd ; diode D1 : b -> out ; capacitor Co : out -> sgnd ; load R : out -> sgnd",
        gain="n*D/D'",
        inductors={"LM": "n^2*D/D'^2"},
        switch="1/D'",
        diodes={"D1": "n/D'"},
        sources=(M1, S5, S17, S20),
    ),
    Row(
        "flyback2",
        "ground gnd, sgnd ; transformer T : in -> a, sgnd -> b, sgnd -> c = 1 : n : m { magnetizing LM }"
        " ; switch S : a -> gnd ; diode D1 : b -> out ; diode D2 : c -> out2"
        " ; capacitor Co : out -> sgnd ; load R : out -> sgnd"
        " ; capacitor C2 : out2 -> sgnd ; load R2 : out2 -> sgnd",
        gain="n*D/D'",
        capacitors={"C2": "m*D/D'"},
        inductors={"LM": "(n^2+m^2)*D/D'^2"},
        switch="1/D'",
        diodes={"D1": "n/D'", "D2": "m/D'"},
        setting={"R2": "R"},
        sources=(M1,),
    ),
    Row(
        "forward",
        "ground gnd, sgnd ; transformer T : in -> a, gnd -> r, s -> sgnd = 1 : nr : n { magnetizing LM }"
        " ; switch S : a -> gnd ; diode DR : r -> in ; diode D1 : s -> x ; diode D2 : sgnd -> x"
        " ; inductor L : x -> out ; capacitor Co : out -> sgnd ; load R : out -> sgnd",
        gain="n*D",
        inductors={"L": "n*D"},
        switch="1+1/nr",
        diodes={"DR": "1+nr", "D1": "n/nr", "D2": "n"},
        point={"D": "1/4", "nr": "1"},
        # The core always runs dry; the output coil carries on.
        conducting=(frozenset({"S", "D1"}), frozenset({"DR", "D2"}), frozenset({"D2"})),
        sources=(M1,),
    ),
    Row(
        "iso_cuk",
        "ground gnd, sgnd ; inductor L1 : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> p"
        " ; transformer T : p -> gnd, q -> sgnd = 1 : n { magnetizing LM } ; capacitor C2 : q -> c"
        " ; diode D1 : c -> sgnd ; inductor L2 : out -> c ; capacitor Co : out -> sgnd"
        " ; load R : out -> sgnd",
        gain="-n*D/D'",
        capacitors={"C1": "1", "C2": "n*D/D'"},
        inductors={"L1": "(n*D/D')^2", "L2": "n*D/D'"},
        switch="1/D'",
        diodes={"D1": "n/D'"},
        sources=(M1,),
    ),
    Row(
        "iso_sepic",
        "ground gnd, sgnd ; inductor L1 : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> b"
        " ; transformer T : gnd -> b, sgnd -> c = 1 : n { magnetizing LM } ; diode D1 : c -> out"
        " ; capacitor Co : out -> sgnd ; load R : out -> sgnd",
        gain="n*D/D'",
        capacitors={"C1": "1"},
        inductors={"L1": "(n*D/D')^2", "LM": "n^2*D/D'"},
        switch="1/D'",
        diodes={"D1": "n/D'"},
        sources=(M1,),
    ),
    Row(
        "iso_zeta",
        "ground gnd, sgnd ; switch S : in -> a"
        " ; transformer T : a -> gnd, c -> sgnd = 1 : n { magnetizing LM } ; capacitor C1 : d -> c"
        " ; diode D1 : sgnd -> d ; inductor L2 : d -> out ; capacitor Co : out -> sgnd"
        " ; load R : out -> sgnd",
        gain="n*D/D'",
        capacitors={"C1": "n*D/D'"},
        inductors={"LM": "(n*D/D')^2", "L2": "n*D/D'"},
        switch="1/D'",
        diodes={"D1": "n/D'"},
        sources=(M1, M4),
    ),
    # Tapped inductor, rail-tapped
    Row(
        "tap_buck_diodetap",
        "switch S : in -> a ; transformer T : a -> t, t -> out = n : 1 { magnetizing LM }"
        " ; diode D1 : gnd -> t",
        gain="D/(1+n*D')",
        inductors={"LM": "D*(1+n)/(n*(1+n*D')^2)"},
        switch="1+n*D/(1+n*D')",
        diodes={"D1": "(1+n*D/(1+n*D'))/(1+n)"},
        sources=(M5,),
    ),
    Row(
        "tap_buck_switchtap",
        "switch S : in -> t ; diode D1 : gnd -> a"
        " ; transformer T : a -> t, t -> out = n : 1 { magnetizing LM }",
        gain="D*(1+n)/(1+n*D)",
        inductors={"LM": "D*(1+n)^2/(n*(1+n*D)^2)"},
        switch="1/(1+n*D)",
        diodes={"D1": "1+n*D'/(1+n*D)"},
        sources=(M5,),
    ),
    Row(
        "watkins_johnson",
        "switch S : in -> a ; transformer T : a -> out, gnd -> r = 1 : n { magnetizing LM }"
        " ; diode D1 : r -> in",
        gain="1-D'/(n*D)",
        inductors={"LM": "(1-D'/(n*D))/D"},
        switch="1/n+D'/(n*D)",
        diodes={"D1": "1/D"},
        # Positive output only: M > 0 needs D > 1/(1+n).
        point={"D": "4/5", "n": "1"},
        sources=(M1, M5),
    ),
    Row(
        "tap_boost_switchtap",
        "transformer T : in -> t, t -> a = 1 : n { magnetizing LM } ; switch S : t -> gnd"
        " ; diode D1 : a -> out",
        gain="(1+n*D)/D'",
        inductors={"LM": "(1+n)*(1+n*D)/D'^2"},
        switch="1/D'",
        diodes={"D1": "(1+n)/D'"},
        sources=(M5,),
    ),
    Row(
        "tap_bb_switchtap",
        "switch S : in -> t ; transformer T : a -> t, t -> gnd = n : 1 { magnetizing LM }"
        " ; diode D1 : out -> a",
        gain="-(1+n)*D/D'",
        inductors={"LM": "(1+n)^2*D/(n*D'^2)"},
        switch="1/D'",
        diodes={"D1": "(1+n)/D'"},
        sources=(M5,),
    ),
    Row(
        "tap_bb_diodetap",
        "switch S : in -> a ; transformer T : a -> t, t -> gnd = n : 1 { magnetizing LM }"
        " ; diode D1 : out -> t",
        gain="-D/((1+n)*D')",
        inductors={"LM": "D/(n*(1+n)*D'^2)"},
        switch="1/D'",
        diodes={"D1": "1/((1+n)*D')"},
        sources=(M5,),
    ),
    # Quadratic, cascaded
    Row(
        "quad_boost",
        "inductor L1 : in -> a ; diode D1 : a -> b ; diode D2 : a -> c ; capacitor C1 : b -> gnd"
        " ; inductor L2 : b -> c ; switch S : c -> gnd ; diode D3 : c -> out",
        gain="1/D'^2",
        capacitors={"C1": "1/D'"},
        inductors={"L1": "1/D'^4", "L2": "1/D'^3"},
        switch="1/D'^2",
        diodes={"D1": "1/D'", "D2": "D/D'^2", "D3": "1/D'^2"},
        sources=(M6, M7),
    ),
    Row(
        "quad_boost_lowC",
        "inductor L1 : in -> a ; diode D1 : a -> b ; diode D2 : a -> c ; capacitor C1 : b -> in"
        " ; inductor L2 : b -> c ; switch S : c -> gnd ; diode D3 : c -> out",
        gain="1/D'^2",
        capacitors={"C1": "D/D'"},
        inductors={"L1": "1/D'^4", "L2": "1/D'^3"},
        switch="1/D'^2",
        sources=(M8,),
    ),
    Row(
        "quad_buck",
        "inductor L1 : in -> t ; capacitor C1 : t -> p ; diode D1 : p -> in ; diode D3 : gnd -> p"
        " ; inductor L2 : t -> o ; capacitor Co : o -> m ; load R : o -> m ; diode D2 : m -> t"
        " ; switch S : m -> gnd",
        gain="D^2",
        capacitors={"C1": "D"},
        inductors={"L1": "D^3", "L2": "D^2"},
        switch="1+D",
        diodes={"D1": "1", "D2": "D", "D3": "1"},
        sources=(M6,),
    ),
    Row(
        "quad_bb_D2_1mD",
        "inductor L1 : in -> t ; capacitor C1 : t -> p ; diode D1 : p -> in ; diode D3 : gnd -> p"
        " ; inductor L2 : t -> m ; diode D2 : m -> o ; capacitor Co : o -> t ; load R : o -> t"
        " ; switch S : m -> gnd",
        gain="D^2/D'",
        capacitors={"C1": "D"},
        inductors={"L1": "D^3/D'^2", "L2": "D^2/D'^2"},
        switch="1/D'",
        sources=(M6,),
    ),
    Row(
        "quad_bb_D_1mD2",
        "inductor L1 : in -> a ; diode D1 : a -> t ; capacitor C1 : t -> gnd ; diode D3 : a -> b"
        " ; inductor L2 : t -> b ; switch S : b -> gnd ; diode D2 : b -> o ; capacitor Co : o -> t"
        " ; load R : o -> t",
        gain="D/D'^2",
        capacitors={"C1": "1/D'"},
        inductors={"L1": "D^2/D'^4", "L2": "D/D'^3"},
        switch="1/D'^2",
        sources=(M6,),
    ),
    Row(
        "quad_sepic",
        "inductor L1 : in -> a ; diode D1 : a -> t ; capacitor C1 : t -> gnd ; diode D3 : a -> b"
        " ; inductor L2 : t -> b ; switch S : b -> gnd ; capacitor C2 : b -> c ; inductor L3 : gnd -> c"
        " ; diode D2 : c -> out",
        gain="D/D'^2",
        capacitors={"C1": "1/D'", "C2": "1/D'"},
        inductors={"L1": "D^2/D'^4", "L2": "D^2/D'^3", "L3": "D/D'^2"},
        switch="1/D'^2",
        sources=(M6,),
    ),
    # Multiplier cells, switched inductor, combined
    Row(
        "boost_mult1",
        "inductor L : in -> a ; switch S : a -> gnd ; diode D1 : a -> x ; capacitor C1 : x -> gnd"
        " ; diode D2 : x -> y ; capacitor C2 : y -> a ; diode D3 : y -> out",
        gain="2/D'",
        capacitors={"C1": "1/D'", "C2": "1/D'"},
        inductors={"L": "4/D'^2"},
        switch="1/D'",
        diodes={"D1": "1/D'", "D2": "1/D'", "D3": "1/D'"},
        sources=(M9,),
    ),
    Row(
        "boost_2x",
        "inductor L : in -> a ; switch S : a -> gnd ; diode D1 : a -> n1 ; capacitor C1 : n1 -> gnd"
        " ; diode D2 : n1 -> x ; capacitor C3 : x -> a ; diode D3 : x -> out ; capacitor C2 : out -> n1"
        " ; load R : out -> gnd",
        gain="2/D'",
        capacitors={"C1": "1/D'", "C2": "1/D'", "C3": "1/D'"},
        inductors={"L": "4/D'^2"},
        switch="1/D'",
        sources=(M10,),
    ),
    Row(
        "boost_inv_pump",
        "inductor L : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> b ; diode D1 : b -> gnd"
        " ; diode D2 : out -> b",
        gain="-1/D'",
        capacitors={"C1": "1/D'"},
        inductors={"L": "1/D'^2"},
        switch="1/D'",
        diodes={"D1": "1/D'", "D2": "1/D'"},
        sources=(M16,),
    ),
    Row(
        "sl_boost",
        "inductor L1 : in -> x ; diode D1 : in -> y ; inductor L2 : y -> a ; diode D2 : x -> a"
        " ; diode D3 : x -> y ; switch S : a -> gnd ; diode D4 : a -> out",
        gain="(1+D)/D'",
        inductors={"L1": "(1+D)/D'^2", "L2": "(1+D)/D'^2"},
        switch="(1+D)/D'",
        diodes={"D1": "D/D'", "D2": "D/D'", "D3": "1", "D4": "(1+D)/D'"},
        sources=(M11,),
    ),
    Row(
        "modified_sepic",
        "inductor L1 : in -> a ; switch S : a -> gnd ; diode D1 : a -> m ; capacitor C1 : m -> gnd"
        " ; capacitor C2 : b -> a ; inductor L2 : m -> b ; diode D2 : b -> out",
        gain="(1+D)/D'",
        capacitors={"C1": "1/D'", "C2": "D/D'"},
        inductors={"L1": "((1+D)/D')^2", "L2": "(1+D)/D'"},
        switch="1/D'",
        diodes={"D1": "1/D'", "D2": "1/D'"},
        sources=(M12,),
    ),
    Row(
        "boost_sepic",
        "inductor L1 : in -> a ; switch S : a -> gnd ; diode D1 : a -> n1 ; capacitor C1 : n1 -> gnd"
        " ; capacitor C2 : a -> b ; inductor L2 : n1 -> b ; diode D2 : b -> out ; capacitor C3 : out -> n1"
        " ; load R : out -> gnd",
        gain="(1+D)/D'",
        capacitors={"C1": "1/D'", "C2": "-D/D'", "C3": "D/D'"},
        inductors={"L1": "((1+D)/D')^2", "L2": "(1+D)/D'"},
        switch="1/D'",
        sources=(M13,),
    ),
    Row(
        "sepic_cuk_bip",
        "inductor L1 : in -> a ; switch S : a -> gnd ; capacitor C1 : a -> b ; inductor L2 : gnd -> b"
        " ; diode D1 : b -> out ; capacitor C2 : out -> gnd ; load R : out -> gnd ; capacitor C3 : a -> c"
        " ; diode D2 : c -> gnd ; inductor L3 : outn -> c ; capacitor C4 : outn -> gnd"
        " ; load R2 : outn -> gnd",
        gain="D/D'",
        capacitors={"C1": "1", "C3": "1/D'", "C4": "-D/D'"},
        inductors={"L1": "2*(D/D')^2", "L2": "D/D'", "L3": "D/D'"},
        switch="1/D'",
        setting={"R2": "R"},
        sources=(M16,),
    ),
    Row(
        "boost_flyback",
        "transformer T : in -> a, n1 -> s = 1 : n { magnetizing LM } ; switch S : a -> gnd"
        " ; diode D1 : a -> n1 ; capacitor C1 : n1 -> gnd ; diode D2 : s -> out ; capacitor C2 : out -> n1"
        " ; load R : out -> gnd",
        gain="(1+n*D)/D'",
        capacitors={"C1": "1/D'", "C2": "n*D/D'"},
        inductors={"LM": "(1+n)*(1+n*D)/D'^2"},
        switch="1/D'",
        diodes={"D2": "n/D'"},
        sources=(M14,),
    ),
    # Voltage lift, super-lift, quasi-Z-source
    Row(
        "luo_selflift_po",
        "switch S : in -> a ; inductor L1 : a -> gnd ; capacitor C1 : b -> a ; diode D1 : a -> e"
        " ; capacitor C2 : e -> gnd ; diode D2 : e -> b ; inductor L2 : b -> out",
        gain="1/D'",
        capacitors={"C1": "1/D'", "C2": "1"},
        inductors={"L1": "D/D'^2", "L2": "1/D'"},
        switch="1/D'",
        sources=(M15, S9),
    ),
    Row(
        "luo_elementary_no",
        "switch S : in -> a ; inductor L1 : a -> gnd ; diode D1 : p -> a ; capacitor C1 : gnd -> p"
        " ; inductor L2 : out -> p",
        gain="-D/D'",
        capacitors={"C1": "D/D'"},
        inductors={"L1": "D/D'^2", "L2": "D/D'"},
        switch="1/D'",
        sources=(M15,),
    ),
    Row(
        "luo_selflift_no",
        "switch S : in -> a ; inductor L1 : a -> gnd ; capacitor C1 : a -> q ; diode D1 : q -> gnd"
        " ; diode D2 : p -> q ; capacitor C2 : gnd -> p ; inductor L2 : out -> p",
        gain="-1/D'",
        capacitors={"C1": "1", "C2": "1/D'"},
        inductors={"L1": "1/D'^2", "L2": "1/D'"},
        switch="1/D'",
        sources=(M15, S9),
    ),
    Row(
        "superlift_po",
        "inductor L1 : in -> a ; switch S : a -> gnd ; diode D1 : in -> b ; capacitor C1 : b -> a"
        " ; diode D2 : b -> out",
        gain="(2-D)/D'",
        capacitors={"C1": "1"},
        inductors={"L1": "(2-D)/D'^2"},
        switch="1/D'",
        diodes={"D1": "1/D'", "D2": "1/D'"},
        sources=(M15, S10),
    ),
    Row(
        "qzs_boost",
        "inductor L1 : in -> a ; diode D1 : a -> b ; capacitor C1 : b -> gnd ; inductor L2 : b -> c"
        " ; capacitor C2 : c -> a ; switch S : c -> gnd ; diode D2 : c -> out",
        gain="1/(1-2*D)",
        capacitors={"C1": "D'/(1-2*D)", "C2": "D/(1-2*D)"},
        inductors={"L1": "1/(1-2*D)^2", "L2": "1/(1-2*D)^2"},
        switch="1/(1-2*D)",
        diodes={"D1": "1/(1-2*D)", "D2": "1/(1-2*D)"},
        point={"D": "1/4"},
        sources=(M17,),
    ),
    Row(
        "qzs_c1",
        "inductor L1 : in -> a ; diode D1 : a -> out ; inductor L2 : out -> c ; capacitor C2 : c -> a"
        " ; switch S : c -> gnd",
        gain="D'/(1-2*D)",
        capacitors={"C2": "D/(1-2*D)"},
        inductors={"L1": "(D'/(1-2*D))^2"},
        switch="1/(1-2*D)",
        diodes={"D1": "1/(1-2*D)"},
        point={"D": "1/4"},
        sources=(M17,),
    ),
)
BY_KEY = {row.key: row for row in ROWS}


@dataclass(frozen=True)
class Discontinuous:
    """Discontinuous conduction: the diode's current reaches zero, one third interval.

    ``K = 2 Le/(R T)``; discontinuous for ``K < critical``.  ``second`` is the diode's conduction fraction.
    """

    key: str
    effective: str
    """Le"""
    gain: str
    critical: str
    second: str
    largest: str
    """Largest Kcrit over 0 < D < 1 ..."""
    largest_at: str
    """... and the duty where it is reached or approached."""
    sources: tuple[str, ...]


def _like_inverting(key: str, effective: str, gain: str, *sources: str) -> Discontinuous:
    """A row of the ``D/sqrt(K)`` kind: everything but Le and the gain's sign and ratio is shared."""
    return Discontinuous(key, effective, gain, "(1-D)^2", "sqrt(K)", "1", "0", sources)


DISCONTINUOUS: tuple[Discontinuous, ...] = (
    Discontinuous("buck", "L", "2/(1+sqrt(1+4*K/D^2))", "1-D", "K*M/D", "1", "0", (M1, DERIVED)),
    Discontinuous(
        "boost", "L", "(1+sqrt(1+4*D^2/K))/2", "D*(1-D)^2", "K*M/D", "4/27", "1/3", (M1, S22, DERIVED)
    ),
    _like_inverting("buckboost", "L", "-D/sqrt(K)", M1, DERIVED),
    _like_inverting("cuk", "L1*L2/(L1+L2)", "-D/sqrt(K)", M1, M2, DERIVED),
    _like_inverting("sepic", "L1*L2/(L1+L2)", "D/sqrt(K)", M1, M2, DERIVED),
    _like_inverting("zeta", "L1*L2/(L1+L2)", "D/sqrt(K)", M1, M2, DERIVED),
    _like_inverting("flyback", "n^2*LM", "n*D/sqrt(K)", M1, S23, DERIVED),
    _like_inverting("iso_sepic", "n^2*L1*LM/(L1+LM)", "n*D/sqrt(K)", DERIVED),
    _like_inverting("iso_zeta", "n^2*LM*L2/(n^2*LM+L2)", "n*D/sqrt(K)", DERIVED),
    _like_inverting("iso_cuk", "1/(1/(n^2*L1)+1/(n^2*LM)+1/L2)", "-n*D/sqrt(K)", DERIVED),
)

DISCONTINUOUS_NUMBERS: tuple[tuple[str, str, dict[str, str]], ...] = (
    # duty, K = 0.4 Kcrit: kind -> magnitude of the gain (n = 1)
    ("3/10", "2/5", {"buck": "0.4286", "boost": "1.8344", "inverting": "0.6776"}),
    ("1/2", "2/5", {"buck": "0.6559", "boost": "2.7913", "inverting": "1.5811"}),
)


@dataclass(frozen=True)
class Lossy:
    """Losses, inductor ripple neglected: RL winding, Ron switch, VD and RD diode."""

    key: str
    parts: tuple[str, ...]
    """Which of RL, Ron, VD, RD are there."""
    output: str
    """Magnitude of the output voltage."""
    efficiency: str
    """In terms of the magnitude V too."""
    sources: tuple[str, ...]


LOSSES: tuple[Lossy, ...] = (
    Lossy("boost", ("RL",), "Vg*(1/D')/(1+RL/(D'^2*R))", "1/(1+RL/(D'^2*R))", (M1, S11)),
    Lossy("boost", ("RL",), "Vg*D'*R/(RL+D'^2*R)", "V*D'/Vg", (M1, S11)),
    Lossy(
        "boost",
        ("RL", "Ron", "VD", "RD"),
        "(Vg - D'*VD)*D'*R/(D'^2*R + RL + D*Ron + D'*RD)",
        "V*D'/Vg",
        (M1,),
    ),
    Lossy(
        "buck",
        ("RL", "Ron", "VD", "RD"),
        "(D*Vg - D'*VD)*R/(R + RL + D*Ron + D'*RD)",
        "V/(D*Vg)",
        (M1, S26),
    ),
    Lossy(
        "buckboost",
        ("RL", "Ron", "VD", "RD"),
        "(D*Vg - D'*VD)*D'*R/(D'^2*R + RL + D*Ron + D'*RD)",
        "V*D'/(D*Vg)",
        (DERIVED,),
    ),
)

LOSS_POINT = {"Vg": "12", "D": "0.6", "R": "10", "RL": "0.1", "Ron": "0.05", "VD": "0.5", "RD": "0.02"}
LOSS_NUMBERS: tuple[tuple[str, str, str], ...] = (
    # stage, output in volt, efficiency in percent
    ("boost", "27.158", "90.53"),
    ("buck", "6.9047", "95.90"),
    ("buckboost", "-16.110", "89.50"),
)

LARGEST_GAIN: tuple[tuple[str, str, str], ...] = (
    # RL/R, duty of the largest gain, largest gain of the boost stage
    ("0.01", "0.9", "5.000"),
    ("0.02", "0.8586", "3.5355"),
    ("0.05", "0.7764", "2.2361"),
    ("0.1", "0.6838", "1.5811"),
)


@dataclass(frozen=True)
class Ripple:
    """Peak-to-peak ripple; ``V`` and ``Io`` are magnitudes, ``C`` the output capacitor."""

    key: str
    ripple: dict[str, str]
    sources: tuple[str, ...]


RIPPLES: tuple[Ripple, ...] = (
    Ripple("buck", {"L": "Vg*D*D'*T/L", "Co": "Vg*D*D'*T^2/(8*L*C)"}, (M1, M18, M19)),
    Ripple("buck", {"Co": "V*D'*T^2/(8*L*C)"}, (M1, M18, M19)),
    Ripple("boost", {"L": "Vg*D*T/L", "Co": "V*D*T/(R*C)"}, (M1, M18, M19)),
    Ripple("buckboost", {"L": "Vg*D*T/L", "Co": "V*D*T/(R*C)"}, (M1, M18, M19)),
    Ripple("flyback", {"LM": "Vg*D*T/LM", "Co": "V*D*T/(R*C)"}, (M1, M18, M19)),
    Ripple(
        "cuk",
        {"L1": "Vg*D*T/L1", "L2": "Vg*D*T/L2", "C1": "Io*D*T/C1", "Co": "Vg*D*T^2/(8*L2*C)"},
        (M1, M18, S15),
    ),
    Ripple(
        "zeta",
        {"L1": "Vg*D*T/L1", "L2": "Vg*D*T/L2", "C1": "Io*D*T/C1", "Co": "Vg*D*T^2/(8*L2*C)"},
        (M1, M18),
    ),
    Ripple(
        "sepic",
        {"L1": "Vg*D*T/L1", "L2": "Vg*D*T/L2", "C1": "Io*D*T/C1", "Co": "V*D*T/(R*C)"},
        (M1, M18),
    ),
    Ripple("forward", {"L": "V*D'*T/L", "LM": "Vg*D*T/LM", "Co": "V*D'*T^2/(8*L*C)"}, (M1, M18, M19)),
    Ripple(
        "quad_boost",
        {"L1": "Vg*D*T/L1", "L2": "Vg*D*T/(D'*L2)", "C1": "V*D*T/(D'*R*C1)", "Co": "V*D*T/(R*C)"},
        (M1, M18, DERIVED),
    ),
)


@dataclass(frozen=True)
class Stressed:
    """Currents of switch, diode and capacitors from the switched sum ``IS`` and its ripple ``Delta``."""

    key: str
    flat: str
    """IS, in terms of Io (magnitude of the load current)."""
    ripple: str
    """Delta, sum of the ripple of every coil that feeds the switch."""
    squares: dict[str, str]
    """Capacitor -> square of its rms current; D1s, D2s the ripples of L1 and L2."""
    diode_share: str = "1"
    """What a turns ratio divides the diode's currents by."""


# M1 ch. 6, M19; also checked by a switched calculation.
STRESS_SOURCES = (M1, M19, DERIVED)
STRESSES: tuple[Stressed, ...] = (
    Stressed("buck", "Io", "Vg*D*D'*T/L", {"Co": "Delta^2/12"}),
    Stressed("boost", "Io/D'", "Vg*D*T/L", {"Co": "Io^2*D/D' + D'*Delta^2/12"}),
    Stressed("buckboost", "Io/D'", "Vg*D*T/L", {"Co": "Io^2*D/D' + D'*Delta^2/12"}),
    Stressed(
        "cuk",
        "Io/D'",
        "Vg*D*T/L1 + Vg*D*T/L2",
        {"Co": "Delta2^2/12", "C1": "Io^2*D/D' + (D*Delta2^2 + D'*Delta1^2)/12"},
    ),
    Stressed(
        "sepic",
        "Io/D'",
        "Vg*D*T/L1 + Vg*D*T/L2",
        {"Co": "Io^2*D/D' + D'*Delta^2/12", "C1": "Io^2*D/D' + (D*Delta2^2 + D'*Delta1^2)/12"},
    ),
    Stressed(
        "zeta",
        "Io/D'",
        "Vg*D*T/L1 + Vg*D*T/L2",
        {"Co": "Delta2^2/12", "C1": "Io^2*D/D' + (D*Delta2^2 + D'*Delta1^2)/12"},
    ),
    Stressed("flyback", "n*Io/D'", "Vg*D*T/LM", {}, diode_share="n"),
)

# Square of the rms current of a capacitor across the input of a stage fed with a constant current.
SOURCE_SIDE_SQUARE = "D*D'*IS^2 + D*Delta^2/12"
SOURCE_SIDE = ("buck", "buckboost", "zeta")

UTILISATION: tuple[tuple[str, str, str], ...] = (
    # stage, P/(Vpk Irms) squared, P/(Vpk Ipk); ripple neglected (M1 table 6.1)
    ("buck", "D", "D"),
    ("boost", "D'^2/D", "D'"),
    ("buckboost", "D'^2*D", "D*D'"),
    ("flyback", "D'^2*D", "D*D'"),
    ("cuk", "D'^2*D", "D*D'"),
    ("sepic", "D'^2*D", "D*D'"),
    ("zeta", "D'^2*D", "D*D'"),
    ("forward", "D/4", "D/2"),
)
