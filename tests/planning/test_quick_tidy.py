"""Moves that tidy racks: footprints counted by hand on racks of 4 x 6, and every rule of a move kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.forecast.learn import learned_farm
from scheduler.plan.model import Sale, Stand
from scheduler.planning.quick import QuickPlanner
from scheduler.planning.quick_ground import wanted_ground
from scheduler.planning.quick_tidy import LEAST_GAIN, MOST_MINUTES, Tidying
from scheduler.replay import World
from scheduler.replay.records import book
from scheduler.replay.run import carry_out
from scheduler.season.ledger import Ledger
from tests.audit.small_farm import MONDAY
from tests.farms import random_farm
from tests.week.bench_farm import floor_of, pins, tiny_farm

TWO = {"A": {"reach_mm": 30}, "B": {"reach_mm": 30}}
"""Two strains that keep one position clear at a pitch of 30 mm."""


def lot(name: str, strain: str, rack: str, block: str, pieces: int, *, weeks: int = 8) -> Lot:
    cut = MONDAY - timedelta(weeks=weeks)
    return Lot(
        lot=name, strain=strain, cut_date=cut, started=pieces, alive=pieces, count_date=MONDAY, rack=rack, blocks=(block,)
    )  # fmt: skip


def farm_of(*lots: Lot, **more: Any) -> Farm:
    base = {
        "strains": TWO,
        "mothers": {"A1": ("A", "M"), "B1": ("B", "M")},
        "racks": {"T-a": (4, 6), "T-b": (4, 6)},
        "near_weeks": 2,
    }
    return replace(tiny_farm(**(base | more)), lots=tuple(lots))


def tidying(farm: Farm) -> Tidying:
    return Tidying(farm, floor_of(farm), Ledger(farm), (), [p.pin for p in farm.pins])


def moves(farm: Farm, sales: Mapping[str, Sequence[Sale]] | None = None) -> list[Stand]:
    return list(tidying(farm).moves(sales or {}))


LONE = lot("A-old", "A", "T-a", "B3:B4", 2)
KIN = lot("A-new", "A", "T-b", "A1:C2", 6)


def test_a_lot_closes_what_it_holds_and_what_it_alone_keeps_clear() -> None:
    """Two plugs in the middle close 3 x 4 positions; beside another lot only what that does not close already."""
    farm = farm_of(LONE, KIN)
    assert tidying(farm).footprint("T-a", "A-old") == 12
    assert tidying(farm).footprint("T-b", "A-new") == 4 * 3
    beside = farm_of(LONE, lot("A-new", "A", "T-a", "B5:B6", 2))
    assert tidying(beside).footprint("T-a", "A-old") == 3 * 2  # columns 2 and 3; from column 4 on the other lot closes them too


def test_a_few_frags_in_the_middle_move_beside_their_own_kind() -> None:
    (move,) = moves(farm_of(LONE, KIN))
    assert (move.lot, move.week, move.rack, move.pieces) == ("A-old", 1, "T-b", 2)
    assert set(move.blocks[0].positions(1, 1)) <= {(3, 0), (3, 1), (0, 2), (1, 2), (2, 2), (3, 2)}


def test_lots_of_another_strain_are_no_company() -> None:
    """Beside another strain it would have to keep its distance: only a corner of its own rack is left, where it closes 6."""
    (move,) = moves(farm_of(LONE, lot("B-new", "B", "T-b", "A1:D5", 20)))
    assert (move.lot, move.rack) == ("A-old", "T-a")
    held = set(move.blocks[0].positions(1, 1))
    assert held & {(0, 0), (0, 5), (3, 0), (3, 5)}
    assert not held & {(1, 2), (1, 3)}  # it holds those, too, in the week of its move


@pytest.mark.parametrize(
    "change",
    [
        {"lots": (lot("A-old", "A", "T-a", "B3:B4", 2, weeks=1), KIN)},
        {"lots": (LONE.model_copy(update={"moved_date": MONDAY - timedelta(weeks=1)}), KIN)},
        {"pins": pins({"kind": "hold lot", "lot": "A-old"}, {"kind": "hold lot", "lot": "A-new"})},
    ],
    ids=["settling", "moved of late", "held"],
)
def test_what_may_not_move_stays(change: Mapping[str, Any]) -> None:
    assert moves(farm_of(LONE, KIN))
    assert [m for m in moves(replace(farm_of(LONE, KIN), **change)) if m.lot == "A-old"] == []


def test_nothing_moves_to_a_rack_that_is_kept_free() -> None:
    farm = farm_of(LONE, KIN)
    kept = replace(farm, pins=pins({"kind": "keep free", "rack": "T-b"}, {"kind": "hold lot", "lot": "A-new"}))
    assert [m.rack for m in moves(farm)] == ["T-b"]
    assert [m.rack for m in moves(kept)] == ["T-a"]


def test_nobody_moves_lots_without_minutes_to_do_it() -> None:
    farm = farm_of(LONE, KIN)
    slow = farm.settings.model_copy(update={"move_lot_minutes": MOST_MINUTES + 1})
    assert moves(replace(farm, settings=slow)) == []
    assert moves(replace(farm, people=tuple(p.model_copy(update={"skills": ("cutters", "mount")}) for p in farm.people))) == []


@pytest.mark.parametrize(("share", "moved"), [(0.5, True), (2 / 24, True), (1.9 / 24, False)])
def test_no_lot_moves_to_a_zone_that_later_weeks_have_no_room_in(share: float, moved: bool) -> None:
    """L1 of later weeks: a zone of 24 positions takes two frags more if that share of it may be used, its own lots put aside.

    Else the lot goes to a corner of its own rack.
    """
    kin = lot("A-new", "A", "U-a", "A1:C2", 6)
    farm = farm_of(LONE, kin, racks={"T-a": (4, 6), "U-a": (4, 6)}, tanks={"M": "North", "T": "North", "U": "North"})
    farm = replace(farm, settings=farm.settings.model_copy(update={"usable_share": share}))
    (found,) = moves(replace(farm, pins=pins({"kind": "hold lot", "lot": "A-new"})))
    assert (found.lot, found.rack) == ("A-old", "U-a" if moved else "T-a")


def test_what_is_sold_this_week_is_not_moved() -> None:
    sale = Sale(lot="A-old", week=1, route="market", size_class="small", channel="shop", pieces=1)
    (move,) = moves(farm_of(LONE, KIN), {"A-old": [sale]})
    assert (move.lot, move.pieces) == ("A-old", 1)
    assert (
        moves(
            farm_of(LONE, KIN),
            {"A-old": [sale.model_copy(update={"pieces": 2})], "A-new": [sale.model_copy(update={"pieces": 6})]},
        )
        == []
    )


def test_a_gain_smaller_than_asked_for_is_left() -> None:
    """In a corner two plugs close 2 x 3 positions; beside kin there is a place that closes 3 or more of them anyway."""
    corner = lot("A-old", "A", "T-a", "A1:A2", 2)
    farm = farm_of(corner, KIN)
    assert tidying(farm).footprint("T-a", "A-old") == 6
    for move in moves(farm):
        before = tidying(farm).footprint("T-a", "A-old")
        after = tidying(
            replace(farm, lots=(corner.model_copy(update={"rack": move.rack, "blocks": (move.blocks[0].text(1, 1),)}), KIN))
        )
        assert before - after.footprint(move.rack or "", "A-old") >= LEAST_GAIN


# ---- where ground is wanted -------------------------------------------------------------------------------------------


def two_lights(bright: float, dim: float, *lots: Lot) -> Farm:
    """A rack in bright and one in dim light; both mothers stand in the bright."""
    base = farm_of(*lots, racks={"T-a": (4, 6), "T-b": (4, 6)})
    light = tuple(row.model_copy(update={"par_umol": bright if row.rack == "T-a" else dim}) for row in base.light)
    return replace(base, light=light)


def test_ground_is_wanted_where_frags_would_settle() -> None:
    """Mothers at PAR 200: 140 to 230 suits their frags. Two racks of 24 positions, all asked for on one of them or on both alike."""
    assert wanted_ground(two_lights(200, 100), 1) == {"T-a": 2.0, "T-b": 0.0}
    assert wanted_ground(two_lights(200, 150), 1) == {"T-a": 1.0, "T-b": 1.0}
    assert wanted_ground(two_lights(100, 100), 1) == {"T-a": 1.0, "T-b": 1.0}  # nobody can settle: all alike
    unfit = tuple(c.model_copy(update={"condition": "watch"}) for c in two_lights(200, 100).colonies)
    assert wanted_ground(replace(two_lights(200, 100), colonies=unfit), 1) == {"T-a": 1.0, "T-b": 1.0}


def test_ground_is_wanted_by_the_pieces_mothers_have_over() -> None:
    """One mother of 60 at PAR 200 and one of 30 at PAR 100, both keeping the same: each asks on a rack of its own."""
    farm = two_lights(200, 100)
    one, two = farm.colonies
    farm = replace(farm, colonies=(one, two.model_copy(update={"par_umol": 100.0, "count": 30})))
    traits = farm.traits("A")
    spare = [60 / traits.unit_per_piece - traits.keep_pieces, 30 / traits.unit_per_piece - traits.keep_pieces]
    found = wanted_ground(farm, 1)
    assert found["T-a"] / found["T-b"] == pytest.approx(spare[0] / spare[1])
    assert found["T-a"] + found["T-b"] == pytest.approx(2)


def test_what_is_grown_waits_in_light_that_nobody_wants() -> None:
    """Kin stand in bright light, where ground is wanted; in the dim nothing stands, and a lot of its largest size goes there."""
    (move,) = moves(two_lights(200, 120, lot("A-old", "A", "T-a", "B3:B4", 2, weeks=30)))
    assert move.rack == "T-b"


def test_what_is_to_grow_on_keeps_its_light() -> None:
    farm = two_lights(200, 120, lot("A-old", "A", "T-a", "B3:B4", 2, weeks=30))
    large = farm.classes[0].model_copy(update={"size_class": "large", "min_mm": 400.0, "list_price": Decimal(40)})
    assert [m.rack for m in moves(replace(farm, classes=(*farm.classes, large)))] == ["T-a"]


# ---- a farm with chance in it -----------------------------------------------------------------------------------------


def test_moves_are_lawful_and_made_in_a_replayed_farm() -> None:
    moved = 0
    world, planner = World(random_farm(12, 25, weeks=14), 12), QuickPlanner()
    for _ in range(6):
        record = book(world)
        farm = learned_farm(record)
        plan = planner.plan(farm)
        assert audit(farm, plan).breaches == ()
        moved += sum(s.lot in farm.lot for s in plan.stands)
        carry_out(world, record, plan)
        world.turn()
    assert world.tally.count["moves"] > 0
    assert world.tally.count["moves"] + world.tally.count.get("moves put off", 0) == moved
