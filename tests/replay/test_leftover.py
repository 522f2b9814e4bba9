"""What a farm is left with: worked out by hand on a tiny farm whose truth is its book."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from scheduler.farm.coral import SizeClass
from scheduler.farm.farm import Farm
from scheduler.replay import World, replay
from scheduler.replay.leftover import worth_left
from tests.replay.test_world import CALM, farm_with, lot
from tests.replay.ways import IDLE, SELL_ALL

PACKING = 1.0
"""Minutes of packing a frag, so that money can be told by hand; wages of 30 an hour make it 0.50."""

MONEY: dict[str, Any] = {
    "pack_frag_minutes": PACKING, "wage_per_hour": Decimal(30), "end_frag_share": 0.8, "end_months": 2, "end_colony_share": 0.5,
    "label_minutes": 0.0,
}  # fmt: skip


def barren(farm: Farm) -> Farm:
    """The farm with no mother over its keep size."""
    keep = farm.traits("A").keep_pieces
    return replace(farm, colonies=tuple(c.model_copy(update={"count": float(keep)}) for c in farm.colonies))


def with_large(farm: Farm, min_mm: float) -> Farm:
    row = SizeClass(
        group="A", size_class="large", min_mm=min_mm, list_price=Decimal(36), b_price=Decimal(12), discount_price=Decimal(9)
    )
    return replace(farm, classes=(*farm.classes, row))


def of_mm(farm: Farm, size: float) -> World:
    """The farm at its start, its only lot's frags all of a size."""
    world = World(farm, 1, CALM)
    world.lots["L1"].sizes[:] = size
    return world


def test_frags_of_size_count_at_list_price_within_the_market_and_at_discount_beyond() -> None:
    """12 frags, two months of 5 customers: (10 x (20 - 0.5) + 2 x (5 - 0.5)) x 0.8."""
    farm = barren(farm_with(lots=(lot(12),), market=5, **MONEY))
    assert worth_left(of_mm(farm, 30)) == pytest.approx(0.8 * (10 * 19.5 + 2 * 4.5))


def test_a_frag_counts_as_the_largest_class_it_really_has() -> None:
    farm = barren(with_large(farm_with(lots=(lot(2),), **MONEY), 40))
    world = of_mm(farm, 30)
    world.lots["L1"].sizes[0] = 40
    assert worth_left(world) == pytest.approx(0.8 * (35.5 + 19.5))


def test_grades_count_as_they_truly_are() -> None:
    farm = barren(farm_with(lots=(lot(1),), traits={"good_share": 0.75}, **MONEY))
    assert worth_left(of_mm(farm, 30)) == pytest.approx(0.8 * (0.75 * 20 + 0.25 * 8 - 0.5))


def test_a_frag_still_growing_counts_as_its_first_class_less_what_is_lost_until_then() -> None:
    farm = barren(farm_with(lots=(lot(1),), traits={"death_late": 0.1, "detach_late": 0.0}, **MONEY))
    world = of_mm(farm, 25)
    grows = world.truth.frag_mm_per_week("A", world.par(world.lots["L1"])) * float(world.lots["L1"].pace[0])
    world.lots["L1"].sizes[:] = 25 - 2.5 * grows
    assert worth_left(world) == pytest.approx(0.8 * 19.5 * 0.9**3)


def test_a_lot_past_its_time_and_frags_that_never_grow_bring_their_discount_price() -> None:
    old = barren(farm_with(lots=(lot(3),), max_rack_weeks=5, **MONEY))
    assert worth_left(of_mm(old, 30)) == pytest.approx(3 * 5)
    still = of_mm(barren(farm_with(lots=(lot(3),), **MONEY)), 20)
    still.lots["L1"].pace[:] = 0
    assert worth_left(still) == pytest.approx(3 * 5)


def test_spare_size_of_mothers_counts_as_pieces_cut_now_after_the_frags_in_the_same_market() -> None:
    """Losses 0: a spare piece is worth its frag less cutting, mounting and supplies, times end_colony_share."""
    farm = farm_with(market=2, traits={"death_late": 0.0, "detach_late": 0.0}, **MONEY)
    traits, colony = farm.traits("A"), farm.colonies[0]
    spare = colony.count / traits.unit_per_piece - traits.keep_pieces
    work = float(traits.minutes_cut + traits.minutes_mount) * 0.5
    alone = 0.5 * (4 * (19.5 - work) + (spare - 4) * max(0.0, 4.5 - work))
    assert worth_left(World(farm, 1, CALM)) == pytest.approx(alone)
    beside = of_mm(replace(farm, lots=(lot(3),)), 30)
    assert worth_left(beside) == pytest.approx(0.8 * 3 * 19.5 + 0.5 * ((19.5 - work) + (spare - 1) * max(0.0, 4.5 - work)))


def test_what_was_earned_is_money_with_the_change_of_stock() -> None:
    farm = farm_with(lots=(lot(12),), **MONEY)
    for way in (IDLE, SELL_ALL):
        found = replay(farm, way, 1, 2, chance=CALM)
        assert found["worth_at_start"] == pytest.approx(worth_left(World(farm, 1, CALM)), abs=0.01)
        assert found["earned"] == pytest.approx(found["money"] + found["worth_left"] - found["worth_at_start"], abs=0.02)
    sold, kept = (replay(farm, way, 1, 2, chance=CALM) for way in (SELL_ALL, IDLE))
    assert sold["money"] > kept["money"] == 0
    assert sold["worth_left"] < kept["worth_left"]
