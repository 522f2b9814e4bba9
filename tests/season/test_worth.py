"""Prices by grade and costs of work, by hand."""

from __future__ import annotations

import pytest

from scheduler.season.worth import Worth
from tests.audit.small_farm import small_farm


def test_prices_by_grade() -> None:
    worth = Worth(small_farm())
    # 90 % make grade: 0.9 x 20 + 0.1 x 10, and at the discount 0.9 x 5 + 0.1 x 10
    assert worth.graded_price("AAA", "small") == pytest.approx(19)
    assert worth.graded_price("AAA", "small", discount=True) == pytest.approx(5.5)
    assert worth.graded_price("AAA", "huge") == 0


def test_costs_of_work() -> None:
    farm = small_farm()
    worth = Worth(farm)
    # 1.0 cutting, 1.0 mounting and 0.5 for the label at 22 an hour, and a plug at 0.35
    assert worth.work_cost("AAA") == pytest.approx(2.5 / 60 * 22 + 0.35)
    assert worth.colony_cost(farm.colony["A1"]) == pytest.approx(6 / 60 * 22)
    assert worth.packing_cost() == pytest.approx((1.5 + 4 / 10) / 60 * 22)
