"""The later weeks: the season's choice entered, read back, mended within the limits and entered again."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.planning.books import Books
from scheduler.planning.entering import ROUNDS, Entered, Entering
from scheduler.planning.finish import Codes
from scheduler.planning.season_plan import SeasonPlan, plan_season
from scheduler.season.chosen import Chosen
from scheduler.season.entered import as_entered
from scheduler.season.strain_block import StrainBlock
from scheduler.season.whole import WholeCuts
from scheduler.season.worth import Worth
from tests.audit.small_farm import small_farm
from tests.farms import random_farm


@dataclass(frozen=True)
class Later:
    """The later weeks of a farm that cuts nothing in the near ones: the season's own wishes, and the plans made of them.

    ``mended``: what was chosen for each of them but the first.
    """

    plan: SeasonPlan
    made: list[Entered]
    mended: list[Chosen]

    def said_again(self, number: int) -> Chosen:
        """A plan in the season's words, with its value."""
        x = self.made[number]
        assert self.plan.search is not None
        return self.plan.search.mend(as_entered(self.plan.season, x.cuts, x.lots, x.later), 0)


def later_weeks(farm: Farm) -> Later:
    pins = [p.pin for p in farm.pins]

    def books() -> Books:
        return Books(farm, Worth(farm), pins)

    opened = books()
    first = plan_season(farm, opened.old_lots(), pins=pins, seed=1)
    plan = plan_season(
        farm, opened.old_lots(), pins=pins, seed=1, whole=True, first=farm.weeks.later_weeks.start, single=True, ledger=opened.ledger,
        cuts={}, order_need=opened.seller.still_to_plan(), warm=first,
    )  # fmt: skip
    soon: dict[str, list[object]] = {lot.id: [] for lot in opened.old_lots()}
    entering = Entering(
        farm, Entered((), (), ()), soon, books, Codes(farm), pins=pins, seed=1, progress=None, stop=threading.Event()
    )  # type: ignore[arg-type]
    mended, original = list[Chosen](), WholeCuts.mend

    def mend(self: WholeCuts, *given: Any, **more: Any) -> Chosen:
        mended.append(original(self, *given, **more))
        return mended[-1]

    with patch.object(WholeCuts, "mend", mend):
        made = entering.run(first)
    return Later(plan, made, mended)


@pytest.fixture(scope="module", params=[(6, False), (8, True), (11, True)], ids=str)
def later(request: pytest.FixtureRequest) -> Later:
    seed, tight = request.param
    return later_weeks(random_farm(seed, 9, tight=tight, weeks=14))


def test_mending_never_makes_a_plan_worth_less(later: Later) -> None:
    assert len(later.mended) == ROUNDS
    assert later.mended[0].value >= later.said_again(0).value - 1e-6
    assert later.said_again(1).value >= later.said_again(0).value - 1e-6


def test_something_is_cut(later: Later) -> None:
    assert all(x.later for x in later.made)


def test_every_piece_is_said_again(later: Later) -> None:
    for number, x in enumerate(later.made):
        told = later.said_again(number)
        cuts = sum(n for some, _ in told.patterns.values() for _, n, _ in some)
        assert cuts == sum(c.cut.pieces for c in x.later)
        assert sum(told.leaving.values()) == sum(lot.pieces for lot in x.lots)


def test_a_mended_plan_enters_as_it_was_chosen(later: Later) -> None:
    for chosen, x in zip(later.mended, later.made[1:], strict=True):
        wanted = {(i, w): n for i, (cuts, _) in chosen.patterns.items() for w, n, _ in cuts}
        done = {(later.plan.season.place[c.cut.colony], c.cut.week): c.cut.pieces for c in x.later}
        missing = sum(max(0, n - done.get(k, 0)) for k, n in wanted.items())
        assert missing <= 0.02 * sum(wanted.values())


def test_mended_use_keeps_every_limit_the_entered_plan_kept(later: Later) -> None:
    search, season = later.plan.search, later.plan.season
    assert search is not None
    before = search.accounts.use_of(later.said_again(0))
    after = search.accounts.use_of(search.mend(later.said_again(0), 1))
    limits = np.maximum(season.capacity.limits, before)
    free = [n for n, row in enumerate(season.capacity.rows) if row.kind != "order"]
    assert (after[free] <= limits[free] + 1e-6).all()


@pytest.mark.parametrize(("seed", "colonies"), [(11, 20), (29, 20)])
def test_what_a_block_has_is_always_a_choice_of_its_own(seed: int, colonies: int) -> None:
    """A block that finds nothing is not mended at all: its parts are rounded, and rows may be full to the last position."""
    found, original = list[bool](), StrainBlock.solve

    def solve(self: StrainBlock, *given: Any, **more: Any) -> Any:
        decided = original(self, *given, **more)
        found.append(decided is not None)
        return decided

    with patch.object(StrainBlock, "solve", solve):
        later_weeks(random_farm(seed, colonies, tight=True, weeks=16))
    assert len(found) > 20
    assert all(found)


def whole_order(quantity: int) -> Farm:
    """The small farm with one order that refuses parts and pays well above the market."""
    farm = small_farm()
    order = Order(
        order="all", channel="ship", strain="AAA", size_class="small", quantity=quantity, price=Decimal(90), due=date(2027, 1, 15),
        partial_ok=False, late_ok=True,
    )  # fmt: skip
    return replace(farm, orders=(order,))


def test_an_order_that_refuses_parts_is_filled_in_one_week() -> None:
    farm = whole_order(6)
    x = later_weeks(farm).made[-1]
    sent = [(s.week, lot, s.pieces) for lot in x.lots for s in lot.sales if s.order == "all"]
    assert len({week for week, _, _ in sent}) == 1
    good = farm.traits("AAA").good_share
    assert sum(n * float(lot.life.alive[w]) * good for w, lot, n in sent) >= 6
    assert x.need["all"] == 0.0


def test_an_order_nobody_can_fill_whole_gets_nothing() -> None:
    x = later_weeks(whole_order(5000)).made[-1]
    assert not [s for lot in x.lots for s in lot.sales if s.order == "all"]
    assert x.need["all"] == 5000.0
