"""Long formulas are broken, never shortened."""

from hypothesis import given
from hypothesis import strategies as st

from voltsec.report.wrapping import wrap_formula

LONG = "D²·Vg/(D′²·R) + D·T·Vg·(L1 + L2 − 3·M_L1_L2)/(2·(L1·L2 − M_L1_L2²)) + √(D·(D²·Vg² + T²))"


def test_a_short_formula_stays_on_its_line() -> None:
    assert wrap_formula("D·Vg/D′", 20) == ["D·Vg/D′"]


def test_outer_sums_come_first() -> None:
    assert wrap_formula(LONG, 70) == [
        "D²·Vg/(D′²·R) + D·T·Vg·(L1 + L2 − 3·M_L1_L2)/(2·(L1·L2 − M_L1_L2²))",
        "  + √(D·(D²·Vg² + T²))",
    ]
    assert wrap_formula(LONG, 58)[0] == "D²·Vg/(D′²·R)"


@given(st.text(alphabet="abDV123·/()+− ′²", max_size=200), st.integers(min_value=8, max_value=60))
def test_nothing_is_lost_and_no_line_is_too_long(text: str, width: int) -> None:
    lines = wrap_formula(text, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(len(line) <= width for line in lines)


def test_words_stay_whole() -> None:
    """A sentence in place of a formula has no operators to break at."""
    sentence = "where the numbers say so (its conditions are too long)"
    assert wrap_formula(sentence, 30) == ["where the numbers say so (its", "  conditions are too long)"]
