"""Prices by grade and costs of work, by hand."""

from __future__ import annotations

import pytest

from scheduler.season.capacity import Capacity
from scheduler.season.cut_costs import CutCosts
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
    # a minute at the bench at 22 an hour, with its part of 20 minutes' setting up and two supplies of 0.50, of 2 x 160 minutes to 85 %
    minute = 22 / 60 + (20 / 60 * 22 + 2 * 0.5) / (2 * 160 * 0.85)
    once, each, _ = CutCosts(farm, Capacity(farm)).use(farm.colony["A1"], 1)
    assert once == pytest.approx(6 * minute)
    # 1.0 cutting, 1.0 mounting and 0.5 for the label, and a plug at 0.35
    assert each == pytest.approx(2.5 * minute + 0.35)
    assert Worth(farm).packing_cost() == pytest.approx((1.5 + 4 / 10) / 60 * 22)
