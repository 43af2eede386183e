"""Numbers, prefixes and units, both ways."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voltsec.language.quantities import (
    PREFIXES,
    UNITS,
    OutOfRange,
    UnknownUnit,
    format_number,
    format_quantity,
    measure,
    nearest_unit,
    number,
)


@pytest.mark.parametrize(
    ("text", "unit", "value", "base"),
    [
        ("100", "uH", Fraction(1, 10**4), "H"),
        ("0.1", "mH", Fraction(1, 10**4), "H"),
        ("1e-4", "H", Fraction(1, 10**4), "H"),
        ("1E-4", None, Fraction(1, 10**4), None),
        (".5", "V", Fraction(1, 2), "V"),
        ("5.", "V", Fraction(5), "V"),
        ("+5", "V", Fraction(5), "V"),
        ("40", "%", Fraction(2, 5), "1"),
        ("50", "kHz", Fraction(50000), "Hz"),
        ("2", "MHz", Fraction(2 * 10**6), "Hz"),
        ("2", "mohm", Fraction(2, 1000), "ohm"),
        ("0", "V", Fraction(0), "V"),
    ],
)
def test_measure(text: str, unit: str | None, value: Fraction, base: str | None) -> None:
    assert measure(text, unit) == (value, base)


@pytest.mark.parametrize("prefix", PREFIXES)
@pytest.mark.parametrize("unit", [unit for unit in UNITS if unit != "%"])
def test_every_prefix_with_every_unit(prefix: str, unit: str) -> None:
    assert measure("3", prefix + unit) == (3 * Fraction(10) ** PREFIXES[prefix], UNITS[unit])


@pytest.mark.parametrize("unit", ["X", "uX", "u", "m%", "kk", "Hk", "uuH", ""])
def test_no_unit(unit: str) -> None:
    with pytest.raises(UnknownUnit):
        measure("1", unit)


@pytest.mark.parametrize(
    ("word", "nearest"),
    [
        ("uh", "uH"),
        ("KHz", "kHz"),
        ("Kohm", "kohm"),
        ("ohms", "ohm"),
        ("uf", "uF"),
        ("volts", "V"),
        ("MHZ", "MHz"),
    ],
)
def test_nearest_unit(word: str, nearest: str) -> None:
    assert nearest_unit(word) == nearest


@pytest.mark.parametrize(
    "text", ["1e999", "1e-999", "1e999999999999", "1e61", "1" * 201, "0." + "0" * 80 + "1"]
)
def test_absurd_numbers(text: str) -> None:
    with pytest.raises(OutOfRange):
        number(text)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        ("68e-6", "H", "68 uH"),
        ("0.0001", "H", "100 uH"),
        ("0.001", "H", "1 mH"),
        ("0.45", "V", "0.45 V"),
        ("0.045", "V", "45 mV"),
        ("0.7", "A", "0.7 A"),
        ("0.15", "ohm", "150 mohm"),
        ("999", "V", "999 V"),
        ("1000", "V", "1 kV"),
        ("50000", "Hz", "50 kHz"),
        ("0.4", "1", "0.4"),
        ("12.4", "V", "12.4 V"),
        ("0", "V", "0 V"),
        ("1e-30", "F", "1e-30 F"),
        ("1.5e40", "ohm", "1.5e40 ohm"),
        ("-12", "V", "-12 V"),
    ],
)
def test_format(value: str, unit: str, text: str) -> None:
    assert format_quantity(Fraction(value), unit) == text


def test_a_value_without_a_decimal_form() -> None:
    with pytest.raises(ValueError, match="1/3"):
        format_quantity(Fraction(1, 3), "V")


@given(
    st.integers(1, 10**18),
    st.integers(-40, 30),
    st.sampled_from(["V", "A", "ohm", "H", "F", "s", "Hz", "W", "1"]),
)
def test_format_and_measure_agree_exactly(digits: int, power: int, unit: str) -> None:
    value = digits * Fraction(10) ** power
    text, _, written = format_quantity(value, unit).partition(" ")
    found, base = measure(text, written or None)
    assert (found, base or "1") == (value, unit)
    assert len(text) <= 26
    assert number(format_number(-value)) == -value
