"""Published derivations as check inputs: right ones, and ones with a slip made on purpose.

``source`` as in the project's table of published values: M... from memory (book or paper, not re-read), S...
seen in a retrieved text, ``derived`` checked by an independent calculation; ``common practice, no source``
where everybody knows it and nobody is cited.

    M1  Erickson, Maksimovic, Fundamentals of Power Electronics, ch. 2, 3, 5, 6 - from memory
    M2  Cuk, Middlebrook, PESC 1977 - from memory
    M3  Massey, Snyder, PESC 1977 - from memory
    M4  Jozwik, Kazimierczuk, IEEE Trans. Ind. Electron. 1989 - from memory
    M6  Maksimovic, Cuk, IEEE Trans. Power Electron. 1991 - from memory
    M18 Hart, Power Electronics, ch. 6, 7 - from memory
    S11 textbook solved problem, boost with inductor resistance, eq. 8
    S16 LT3957A data sheet p. 19 and LM3478 data sheet p. 22
    S22 web note on the discontinuous boost (2022)
    S23 university homework on the discontinuous flyback
    S24 student wiki, "Boost converters"
"""

from __future__ import annotations

from typing import NamedTuple


class Right(NamedTuple):
    """A line that holds in ``mode``."""

    circuit: str
    line: str
    mode: str
    source: str
    interval: int | None = None


class Wrong(NamedTuple):
    """A line with the slip ``kind``; ``formula`` is what stands on the other side of the right one."""

    circuit: str
    line: str
    mode: str | None
    kind: str
    source: str
    interval: int | None = None


RIGHT = (
    # Gains in continuous conduction
    Right("buck", "Vout/Vg = D", "CCM", "M1 ch. 2, from memory"),
    Right("boost", "Vout/Vg = 1/(1 - D)", "CCM", "M1 ch. 2, from memory"),
    Right("buckboost", "Vout/Vg = -D/D'", "CCM", "M1 ch. 2, from memory"),
    Right("cuk", "Vout/Vg = -D/(1 - D)", "CCM", "M2, from memory"),
    Right("sepic", "Vout/Vg = D/(1 - D)", "CCM", "M3, from memory"),
    Right("zeta", "M = D/D'", "CCM", "M4, from memory"),
    Right("flyback", "gain = n*D/D'", "CCM", "M1 ch. 6, from memory"),
    Right("quad_boost", "Vout = Vg/D'^2", "CCM", "M6, from memory"),
    Right("quad_buck", "Vout = D^2*Vg", "CCM", "M6, from memory"),
    Right("boost", "D = 1 - Vg/Vout", "CCM", "S1 (duty from the voltages)"),
    Right("cuk", "D = Vout/(Vout - Vg)", "CCM", "S15 without the drop"),
    # Balances and laws
    Right("boost", "D*Vg + (1 - D)*(Vg - Vout) = 0", "CCM", "M1 ch. 2, from memory"),
    Right("boost", "v(L) = Vg", "CCM", "M1 ch. 2, from memory", 1),
    Right("boost", "v(L) = Vg - Vout", "CCM", "M1 ch. 2, from memory", 2),
    Right("boost", "i(Co) = -Vout/R", "CCM", "M1 ch. 2, from memory", 1),
    Right("boost", "i(Co) = i(L) - Vout/R", "CCM", "M1 ch. 2, from memory", 2),
    Right("sepic", "v(L1) = Vg - v(C1) - Vout", "CCM", "common practice, no source", 2),
    Right("sepic", "i(C1) = -i(L2)", "CCM", "common practice, no source", 1),
    Right("sepic", "i(C1) = i(L1)", "CCM", "common practice, no source", 2),
    Right("sepic", "D*v(L2, 1) + D'*v(L2, 2) = 0", "CCM", "common practice, no source"),
    # Stress, currents, ripple
    Right("sepic", "v(C1) = Vg", "CCM", "M3, from memory"),
    Right("zeta", "v(C1) = Vout", "CCM", "S7, S8"),
    Right("sepic", "vpeak(S) = Vg + Vout", "CCM", "common practice, no source"),
    Right("flyback", "vpeak(S) = Vg + Vout/n", "CCM", "S20"),
    Right("boost", "i(L) = Vg/(D'^2*R)", "CCM", "S11"),
    Right("boost", "i(L) = Iout/D'", "CCM", "common practice, no source"),
    Right("boost", "ipeak(L) = i(L) + ripple(L)/2", "CCM", "M18, from memory"),
    Right("buck", "ripple(L) = Vg*D*D'*T/L", "CCM", "M1 ch. 2, from memory"),
    Right("buck", "ripple(L) = Vout*(1 - D)/(L*f)", "CCM", "M18, from memory"),
    Right("buck", "ripple(Co) = Vg*D*D'*T^2/(8*L*Co)", "CCM", "M1 ch. 2, from memory"),
    Right("boost", "ripple(Co)/Vout = D/(R*Co*f)", "CCM", "M18, from memory"),
    Right("buck", "iavg(D1) = (1 - D)*Iout", "CCM", "common practice, no source"),
    Right("buck", "efficiency = 1", "CCM", "common practice, no source"),
    # The boundary
    Right("buck", "Kcrit = 1 - D", "CCM", "M1 ch. 5, from memory"),
    Right("boost", "Kcrit = D*(1 - D)^2", "CCM", "M1 ch. 5, from memory"),
    Right("sepic", "Kcrit = D'^2", "CCM", "as Cuk, derived"),
    Right("boost", "Rcrit = 2*L/(D*D'^2*T)", "CCM", "S22 corrected"),
    Right("buck", "Lcrit(L) = (1 - D)*R/(2*f)", "CCM", "M18, from memory"),
    Right("sepic", "K = 2*(L1 || L2)/(R*T)", "CCM", "M1 problem set, from memory"),
    # Discontinuous conduction
    Right("buck", "M = 2/(1 + sqrt(1 + 4*K/D^2))", "DCM", "M1 ch. 5, from memory"),
    Right("boost", "M = (1 + sqrt(1 + 4*D^2/K))/2", "DCM", "M1 ch. 5, from memory; S22"),
    Right("buckboost", "M = -D/sqrt(K)", "DCM", "M1 ch. 5, from memory"),
    Right("sepic", "M = D/√K", "DCM", "as Cuk, derived"),
    Right("sepic", "M = D*sqrt(R*T/(2*L1*L2/(L1 + L2)))", "DCM", "as Cuk, derived"),
    Right("flyback", "M = D*sqrt(R*T/(2*LM))", "DCM", "S23"),
    Right("buck", "d2 = K*M/D", "DCM", "M1 ch. 5, from memory"),
    Right("boost", "D*d2^2 = K*(D + d2)", "DCM", "the current law of the idle interval, derived"),
    Right("buck", "d2^2 + D*d2 = K", "DCM", "the current law of the idle interval, derived"),
    Right("boost", "iavg(D1) = ipeak(L)*d2/2", "DCM", "M1 ch. 5, from memory"),
    Right("boost", "D + d2 + d(3) = 1", "DCM", "common practice, no source"),
    # Losses
    Right(
        "boost_lossy",
        "Vout = (Vg - D'*V_D1)*D'*R/(D'^2*R + R_L + D*R_S + D'*R_D1)",
        "CCM",
        "M1 §3.5, from memory",
    ),
    Right("boost_lossy", "efficiency = Vout*D'/Vg", "CCM", "M1 §3.5, from memory"),
    Right(
        "buck_lossy",
        "Vout = (D*Vg - D'*V_D1)*R/(R + R_L + D*R_S + D'*R_D1)",
        "CCM",
        "M1 problems, from memory; S26",
    ),
)

WRONG = (
    Wrong("buck", "Vout/Vg = 1 - D", None, "complement", "slip made in M1 ch. 2"),
    Wrong("boost", "Vout/Vg = 1/D", None, "complement", "slip made in M1 ch. 2"),
    Wrong("sepic", "Vout/Vg = (1 - D)/D", None, "complement", "slip made in M3"),
    Wrong("buck", "iavg(D1) = D*Iout", None, "complement", "common practice, no source"),
    Wrong("cuk", "Vout/Vg = D/(1 - D)", None, "sign", "slip made in M2"),
    Wrong("boost", "v(L) = Vg + Vout", None, "sign", "slip made in M1 ch. 2", 2),
    Wrong("boost", "D*Vg - (1 - D)*(Vg - Vout) = 0", None, "sign", "slip made in M1 ch. 2"),
    Wrong("buck", "ripple(L) = Vg*D*D'*T/(2*L)", None, "factor", "half of the ripple, as M1 counts it"),
    Wrong("boost", "Lcrit(L) = D*D'^2*R*T", None, "factor", "S3 p. 15 taken for the boundary"),
    Wrong("boost", "K = L/(R*T)", None, "factor", "slip made in M1 ch. 5"),
    Wrong("sepic", "M = D*sqrt(R*T/(L1 || L2))", "DCM", "factor", "slip made in M1 ch. 5"),
    Wrong("flyback", "M = D/D'", None, "turns", "slip made in M1 ch. 6"),
    Wrong("flyback", "M = D/(n*D')", None, "turns", "turns ratio counted the other way, M1 ch. 6"),
    Wrong("flyback", "vpeak(S) = Vg + Vout", None, "turns", "slip made in S20"),
    Wrong("boost_lossy", "Vout/Vg = 1/(1 - D)", None, "missing-loss", "the ideal formula of M1 ch. 2"),
    Wrong("boost_lossy", "efficiency = 1", None, "missing-loss", "the ideal formula"),
    Wrong(
        "boost_lossy",
        "Vout = Vg*D'*R/(D'^2*R + R_L + D*R_S + D'*R_D1)",
        None,
        "missing-loss",
        "M1 §3.5 without the drop",
    ),
    Wrong("boost", "Vout/Vg = 1/(1 - D)", "DCM", "continuous", "M1 ch. 2 where ch. 5 is meant"),
    Wrong("buck", "M = D", "DCM", "continuous", "M1 ch. 2 where ch. 5 is meant"),
    Wrong("buck", "M = 2/(1 + sqrt(1 + 4*K/D^2))", "CCM", "discontinuous", "M1 ch. 5 where ch. 2 is meant"),
    Wrong("boost", "D + d2 = 1", "DCM", "idle-interval", "slip made in M1 ch. 5"),
    Wrong("boost", "iavg(D1) = ipeak(D1)*(1 - D)/2", "DCM", "idle-interval", "slip made in M1 ch. 5"),
    Wrong("boost", "i(L) = ipeak(L)/2", "DCM", "idle-interval", "slip made in M1 ch. 5"),
    Wrong("boost_then_buck", "vpeak(DA) = Vg/(1 - D2)", "CCM", "duties", "common practice, no source"),
    Wrong("boost", "Vg = Vout/(1 - D)", None, "input-output", "slip made in M1 ch. 2"),
    Wrong("buck", "M = 1/D", None, "input-output", "slip made in M1 ch. 2"),
    Wrong("boost", "Kcrit = 1/(D*D'^2)", None, "inverse", "slip made in M1 ch. 5"),
    Wrong("sepic", "ripple(L1) = Vg*D*T/L2", None, "other-part", "S12: the ripple of the other coil"),
    Wrong("sepic", "i(L1) = D*Vg/(D'*R)", None, "other-part", "common practice, no source"),
    Wrong("sepic", "v(L1) = Vg - v(C1)", None, "missing-term", "the issue's own example", 2),
    Wrong("boost", "v(L) = Vg", None, "other-interval", "common practice, no source", 2),
    Wrong("boost", "v(L) = Vg", None, "other-interval", "no interval given: v(L) is the average"),
    Wrong("boost", "ipeak(L) = Vg/(D'^2*R)", "CCM", "other-measure", "common practice, no source"),
)

UNEXPLAINED = (
    ("boost", "ripple(Co) = ripple(L)*T/(8*Co)", "S24: the ripple of the buck printed for the boost"),
    ("sepic", "v(C1) = Vg + Vout", "REFERENCES.md §9: several tutorials"),
    ("boost", "Rcrit = 2*L/(D^2*T)", "S22 as stored, should be D D'^2"),
)
"""Wrong as found in sources; no slip need be told."""
