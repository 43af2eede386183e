"""The signs a terminal can show: the full set, or plain ASCII."""

from __future__ import annotations

from dataclasses import dataclass

SUPERSCRIPTS = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
RELATIONS = {">=": "≥", "<=": "≤", "!=": "≠", "==": "="}


@dataclass(frozen=True)
class Alphabet:
    """The signs a terminal can show."""

    dot: str
    minus: str
    prime: str
    unicode: bool

    def power(self, exponent: int) -> str:
        """A whole exponent."""
        return str(exponent).translate(SUPERSCRIPTS) if self.unicode else f"^{exponent}"

    def root(self, inner: str) -> str:
        """The square root of ``inner``."""
        return f"√({inner})" if self.unicode else f"sqrt({inner})"

    def relation(self, sign: str) -> str:
        """A comparison sign."""
        if self.unicode:
            return RELATIONS.get(sign, sign)
        return "=" if sign == "==" else sign

    def plain(self, text: str) -> str:
        """Prose in this alphabet: signs that ASCII lacks are spelled out."""
        if self.unicode:
            return text
        for sign, spelled in SPELLED.items():
            text = text.replace(sign, spelled)
        return text


SPELLED = {
    "′": "'",
    "−": "-",
    "·": "*",
    "≥": ">=",
    "≤": "<=",
    "Ω": "ohm",
    "µ": "u",
    "ω": "w",
    "μ": "u",
    "η": "efficiency",
    "→": "->",
    "–": "-",
    "—": "-",
    "…": "...",
    "½": "1/2",
    "²": "^2",
    "√": "sqrt",
    "ΔI": "dI",
    "Δ": "Delta",
    "Ć": "C",
    "ć": "c",
}

UNICODE = Alphabet("·", "−", "′", unicode=True)
ASCII = Alphabet("*", "-", "'", unicode=False)


def alphabet_for(encoding: str | None) -> Alphabet:
    """The richest alphabet that ``encoding`` can carry."""
    try:
        "·−′√≥≤⁴Ωµη─".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return UNICODE
