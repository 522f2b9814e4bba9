from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.farm.units import cents, exact, seconds, share, to_cent


@pytest.mark.parametrize(
    ("amount", "cent"),
    [("0.125", "0.12"), ("0.135", "0.14"), ("0.1251", "0.13"), ("-0.125", "-0.12"), ("2.5", "2.50"), ("1e-9", "0.00")],
)
def test_a_line_of_money_is_rounded_half_even(amount: str, cent: str) -> None:
    assert to_cent(Decimal(amount)) == Decimal(cent)
    assert to_cent(to_cent(Decimal(amount))) == Decimal(cent)


@given(st.decimals(-10_000, 10_000, places=6))
def test_rounding_moves_at_most_half_a_cent(amount: Decimal) -> None:
    assert abs(to_cent(amount) - amount) <= Decimal("0.005")
    assert cents(amount) == int(to_cent(amount) * 100)


@pytest.mark.parametrize(("count", "cent"), [(1, "0.12"), (3, "0.38"), (-1, "-0.12"), (-3, "-0.38")])
def test_an_eighth_of_money_is_half_a_cent_however_it_was_divided(count: int, cent: str) -> None:
    assert to_cent(Fraction(count, 8)) == Decimal(cent)
    assert to_cent(sum((Fraction(count, 24) for _ in range(3)), Fraction(0))) == Decimal(cent)
    assert to_cent(Fraction(count, 8)).as_tuple().exponent == -2


@given(st.integers(-10_000, 10_000), st.integers(1, 1_000))
def test_a_fraction_of_money_is_rounded_by_at_most_half_a_cent(amount: int, parts: int) -> None:
    assert abs(Fraction(to_cent(Fraction(amount, parts))) - Fraction(amount, parts)) <= Fraction(1, 200)


@given(st.floats(0, 1))
def test_a_share_has_nine_places(value: float) -> None:
    found = share(value)
    assert found.as_tuple().exponent == -9
    assert abs(Fraction(found) - Fraction(value)) <= Fraction(1, 2 * 10**9) + Fraction(1, 10**15)


@given(st.floats(0, 10_000))
def test_a_model_never_plans_more_than_the_clock_holds(minutes: float) -> None:
    assert minutes * 60 - 1e-6 <= seconds(minutes) < minutes * 60 + 1


def test_seconds_do_not_round_up_binary_dust() -> None:
    assert seconds(0.15) == 9
    assert seconds(1.1) == 66
    assert seconds(Decimal("0.3")) == 18
    assert seconds(0.151) == 10


def test_a_typed_number_is_taken_as_typed() -> None:
    assert exact(0.85) == Decimal("0.85")
    assert exact(0.1) + exact(0.2) == exact(0.3)
