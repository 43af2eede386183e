"""Numbers with units."""

import pytest

from voltsec.report.alphabet import ASCII
from voltsec.report.quantity import engineering, percent


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (68e-6, "H", "68 µH"),
        (999.96, "V", "1 kV"),
        (-13.923, "V", "−13.92 V"),
        (2e-5, "s", "20 µs"),
        (1e-3, "ohm", "1 mΩ"),
        (0.00099999999, "A", "1 mA"),
        (0.1, "F", "100 mF"),
        (0.4, "1", "0.4"),
        (12345.0, "1", "12345"),
        (0.0, "A", "0 A"),
        (1e15, "V", "1.000e+15 V"),
        (float("inf"), "V", "unbounded"),
        (float("nan"), "V", "undefined"),
        (None, "V", "–"),
    ],
)
def test_engineering(value: float | None, unit: str, text: str) -> None:
    assert engineering(value, unit) == text


def test_ascii() -> None:
    assert engineering(-2e-6, "ohm", ASCII) == "-2 uohm"


def test_percent() -> None:
    assert percent(0.90534) == "90.53 %"
    assert percent(1.0) == "100 %"
    assert percent(None) == "–"
