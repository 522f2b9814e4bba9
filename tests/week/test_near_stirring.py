"""Lots of the book that move or leave early: what may, what may not, and what it makes free."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import pytest

from scheduler.farm.coral import GroupPair, Lot
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING
from scheduler.farm.space import LightReading
from scheduler.week.model import Limits
from scheduler.week.releases import EarlySale, Move, NoStock, moves
from tests.audit.small_farm import MONDAY
from tests.week.bench_farm import FlatWorth, at_least, cut, floor_of, pins, possible, solved, tiny_farm
from tests.week.bench_farm import model_of as near_model

SECOND_WEEK = {"from_date": date(2026, 12, 7)}
FIRST_WEEK = {"to_date": date(2026, 12, 6)}


@dataclass
class Free:
    """Stock whose moves cost ``cost`` by zone, or nothing."""

    cost: Mapping[str, float | None] = field(default_factory=dict)

    def early_sales(self, pins: Collection[str]) -> tuple[EarlySale, ...]:  # noqa: ARG002
        return ()

    def held(self, lot: str, week: int, pieces: int) -> int:  # noqa: ARG002
        return pieces

    def move_cost(self, lot: str, week: int, zone_id: str) -> float | None:  # noqa: ARG002
        return self.cost.get(zone_id, 0.0)


def old(**values: Any) -> Lot:
    facts = {"lot": "old", "strain": "B", "cut_date": date(2026, 9, 7), "started": 6, "alive": 6, "count_date": MONDAY,
             "rack": "T-a", "blocks": ("A1:A6",)}  # fmt: skip
    return Lot(**(facts | values))


def farm_with(lot: Lot | None = None, **more: Any) -> Farm:
    """A lot of B fills the only row of rack T-a; rack T-b of one row is free; one colony of A."""
    facts: dict[str, Any] = {
        "strains": {"A": {"reach_mm": 0}, "B": {"reach_mm": 0, "par_min": 120.0, "par_max": 350.0}}, "near_weeks": 2,
        "racks": {"T-a": (1, 6), "T-b": (1, 6)}, "mothers": {"A1": ("A", "M")},
    }  # fmt: skip
    return replace(tiny_farm(**(facts | more)), lots=(lot or old(),))


def moves_of(farm: Farm, stock: Any = None) -> list[Move]:
    return moves(farm, floor_of(farm), stock or Free(), {p.pin for p in farm.pins})


def with_light(farm: Farm, **pars: float) -> Farm:
    light = tuple(
        LightReading(rack=r.rack, from_date=date(2026, 11, 1), par_umol=pars.get(r.rack.replace("-", "_"), 200))
        for r in farm.racks
    )
    return replace(farm, light=light)


# ---- what may move ----------------------------------------------------------------------------------------------------


def test_a_settled_lot_may_move_in_every_near_week_but_the_last() -> None:
    (move,) = moves_of(farm_with())
    assert (move.lot, move.week, move.pieces, list(move.places)) == ("old", 1, 6, ["T-b"])
    assert move.minutes == pytest.approx(3 + 0.2 * 6)
    assert list(move.cost.values()) == [pytest.approx(4.2 / 60 * 22)]
    assert moves_of(farm_with(near_weeks=1)) == []
    assert moves(farm_with(), floor_of(farm_with()), NoStock(), ()) == []


@pytest.mark.parametrize(
    ("cut_on", "may"), [(date(2026, 11, 16), True), (date(2026, 11, 23), False), (date(2026, 11, 30), False)]
)
def test_l3_no_move_while_settling(cut_on: date, may: bool) -> None:
    assert bool(moves_of(farm_with(old(cut_date=cut_on), settle_weeks=2))) is may


@pytest.mark.parametrize(("moved", "may"), [(date(2026, 11, 9), True), (date(2026, 11, 16), False)])
def test_l3_three_weeks_after_the_last_move(moved: date, may: bool) -> None:
    assert bool(moves_of(farm_with(old(moved_date=moved)))) is may


@pytest.mark.parametrize(("par", "may"), [(300.0, True), (300.1, False), (120.0, True), (119.9, False)])
def test_l3_a_step_of_light_up_and_the_range_of_the_strain(par: float, may: bool) -> None:
    assert bool(moves_of(with_light(farm_with(), T_b=par))) is may


def test_l3_the_step_is_taken_from_the_dimmest_plug() -> None:
    farm = with_light(farm_with(), T_b=280.0)
    slope = LightReading(
        rack="T-a", from_date=date(2026, 11, 1), par_first_row_first_col=180, par_first_row_last_col=240,
        par_last_row_first_col=180, par_last_row_last_col=240,
    )  # fmt: skip
    assert moves_of(farm)
    assert not moves_of(replace(farm, light=(slope, farm.light[1])))


@pytest.mark.parametrize(("flow", "may"), [(("medium",), True), (("high",), False)])
def test_l8_flow_of_growing_frags(flow: tuple[str, ...], may: bool) -> None:
    strains = {"A": {}, "B": {"flow_growing": flow, "flow_settling": ("medium",)}}
    assert bool(moves_of(farm_with(strains=strains))) is may


@pytest.mark.parametrize(("apart", "may"), [(None, True), ("tank", False), ("system", False)])
def test_l7_no_move_to_groups_kept_apart(apart: Any, may: bool) -> None:
    more: dict[str, Any] = {
        "tanks": {"M": "South", "T": "North", "U": "North"}, "racks": {"T-a": (1, 6), "U-a": (1, 6)},
        "mothers": {"A1": ("A", "U")}, "systems": {"North": {}, "South": {}},
        "pairs": (GroupPair(group_a="A", group_b="B", apart=apart),),
    }  # fmt: skip
    farm = farm_with(**more)
    assert bool(moves_of(farm)) is may


def test_l1_l9_plug_kind_closed_tanks_and_room() -> None:
    farm = farm_with()
    wrong = replace(farm, racks=(farm.racks[0], farm.racks[1].model_copy(update={"plug_kinds": ("large",)})))
    assert moves_of(wrong) == []
    shut = replace(farm, tanks=tuple(t.model_copy(update={"closed_from": MONDAY}) for t in farm.tanks))
    assert moves_of(shut) == []
    assert moves_of(farm_with(racks={"T-a": (1, 6), "T-b": (1, 5)})) == []


def test_moves_stay_in_their_water_and_not_on_hold() -> None:
    two = {"tanks": {"M": "North", "T": "North", "U": "South"}, "systems": {"North": {"feeds": ("South",)}, "South": {}},
           "racks": {"T-a": (1, 6), "U-a": (1, 6)}}  # fmt: skip
    assert moves_of(farm_with(**two)) == []
    hold = {"North": {"hold_until": MONDAY + timedelta(days=1)}}
    assert moves_of(farm_with(systems=hold)) == []


def test_p1_pins_on_lots_and_places() -> None:
    farm = farm_with()
    assert moves_of(replace(farm, pins=pins({"kind": "hold lot", "lot": "old"}))) == []
    assert moves_of(replace(farm, pins=pins({"kind": "hold lot", "lot": "old"} | SECOND_WEEK)))
    assert moves_of(replace(farm, pins=pins({"kind": "no sale", "lot": "old"})))
    assert moves_of(replace(farm, pins=pins({"kind": "keep free", "rack": "T-b"}))) == []


def test_a_zone_without_a_price_takes_no_move() -> None:
    farm = farm_with()
    (zone,) = moves_of(farm)[0].cost
    assert moves_of(farm, Free({zone: None})) == []


def test_a_lot_sold_in_part_after_the_move_stays() -> None:
    farm = farm_with()
    floor = type(floor_of(farm))(farm, {"old": {w: 6 if w == 1 else 5 for w in farm.weeks.all}})
    assert moves(farm, floor, Free(), ()) == []


# ---- what a move makes free -------------------------------------------------------------------------------------------

STUCK = {"racks": {"T-a": (1, 6), "U-a": (1, 6)}, "tanks": {"M": "North", "T": "North", "U": "North"}}


def stuck(*rows: Mapping[str, Any], **more: Any) -> Farm:
    """A1's frags fit only the light of rack T-a, where the old lot stands; it may move to the dimmer U-a."""
    farm = with_light(farm_with(**(STUCK | more)), U_a=130.0)
    return replace(farm, pins=pins(*rows))


def held(farm: Farm, limits: Limits | None = None, **more: Any) -> bool:
    return possible(farm, limits, moves=moves_of(farm), **more)


@pytest.mark.parametrize("exact", [False, True])
def test_a_place_freed_by_a_move_is_used_the_week_after(exact: bool) -> None:
    farm = stuck(cut("A1", **SECOND_WEEK))
    assert not possible(farm, exact=exact)
    assert held(farm, exact=exact)
    assert not held(stuck(cut("A1", **FIRST_WEEK)), exact=exact)
    assert held(stuck(at_least("A1", 6, **SECOND_WEEK)), exact=exact)
    assert not held(stuck(at_least("A1", 7, **SECOND_WEEK)), exact=exact)


def test_l9_a_mover_holds_both_places_in_its_week() -> None:
    farm = stuck(at_least("A1", 4, **SECOND_WEEK))
    assert held(farm, Limits({("North", 1): 6, ("North", 2): 4}))
    assert not held(farm, Limits({("North", 1): 5, ("North", 2): 4}))
    assert not held(farm, Limits({("North", 1): 6, ("North", 2): 3}))


def test_l1_later_weeks_count_a_mover_in_its_new_zone() -> None:
    farm = stuck(cut("A1", **SECOND_WEEK))
    (zone,) = moves_of(farm)[0].cost
    assert held(farm, Limits(zone={(zone, 3): 6, (zone, 4): 9}))
    assert not held(farm, Limits(zone={(zone, 3): 6, (zone, 4): 5}))


def test_s1_a_move_fits_the_hours_outside_sessions() -> None:
    farm = stuck(cut("A1", **SECOND_WEEK))
    assert held(farm, Limits(outside={1: {frozenset({CARING}): 4.2}}))
    assert not held(farm, Limits(outside={1: {frozenset({CARING}): 4.1}}))
    assert not held(farm, Limits(outside={1: {frozenset({CARING, PACKING}): 4.1}}))
    assert held(farm, Limits(outside={1: {frozenset({PACKING}): 0.0}, 2: {frozenset({CARING}): 0.0}}))


def test_l7_a_mover_and_new_frags_kept_apart_do_not_meet() -> None:
    more = {"strains": {s: {"reach_mm": 0} for s in "ABC"}, "mothers": {"A1": ("A", "M"), "C1": ("C", "M")}}
    apart = (GroupPair(group_a="B", group_b="C", apart="tank"),)
    places = {"racks": {"T-a": (1, 6), "U-a": (2, 6), "W-a": (1, 5)}, "tanks": dict.fromkeys("MTUW", "North")}
    farm = farm_with(pairs=apart, **(places | more))
    # B can move to U alone; C's frags may stand in U or W, but not in U once B has moved there
    both = pins({"kind": "rack", "colony": "C1", "rack": "U-a"}, cut("C1"), at_least("A1", 4, **SECOND_WEEK),
                {"kind": "rack", "colony": "A1", "rack": "T-a"})  # fmt: skip
    assert not held(replace(farm, pins=both))
    assert held(replace(farm, pins=both[1:]))
    assert held(replace(farm, pins=both, pairs=()))


def test_a_move_pays_for_itself_or_is_left() -> None:
    farm = stuck()
    (zone,) = moves_of(farm)[0].cost
    for cost, expected in ((0.0, 1), (1000.0, 0)):
        model = near_model(farm, worth=FlatWorth(), moves=moves_of(farm, Free({zone: cost})))
        done = solved(model)
        assert [done.value(var) for var in model.v.moves.values()] == [expected]
        assert bool(done.value(sum(model.v.pieces.values()))) is bool(expected)


# ---- early sales ------------------------------------------------------------------------------------------------------

KEY, OLD_ZONE = ("B", "small", (2026, 12)), "T PAR 190-250 medium flow"


def leaving(pieces: int = 6, week: int = 1, **more: Any) -> EarlySale:
    facts: dict[str, Any] = {
        "lot": "old", "week": week, "pieces": pieces, "brings": 60.0, "loss": 0.0, "minutes": 1.5 * pieces, "channel": "van", "boxes": pieces / 12,
        "size_class": "small", "market": KEY, "listed": 0.9 * pieces, "zone": OLD_ZONE, "frees": {},
    }  # fmt: skip
    return EarlySale(**(facts | more))


def sells(farm: Farm, *sales: EarlySale, limits: Limits | None = None, exact: bool = True) -> bool:
    return possible(farm, limits, sales=sales, exact=exact)


@pytest.mark.parametrize("exact", [False, True])
def test_a_place_freed_by_a_sale_is_used_the_same_week(exact: bool) -> None:
    first = stuck(cut("A1", **FIRST_WEEK))
    assert not sells(first, exact=exact)
    assert sells(first, leaving(), exact=exact)
    assert not sells(first, leaving(week=2), exact=exact)
    assert sells(stuck(cut("A1", **SECOND_WEEK)), leaving(week=2), exact=exact)


def test_plugs_leave_from_the_end_and_free_that_many_positions() -> None:
    assert sells(stuck(at_least("A1", 4)), leaving(4))
    assert not sells(stuck(at_least("A1", 5)), leaving(4))
    assert not sells(stuck(cut("A1")), leaving(3))
    reach = {"strains": {"A": {"reach_mm": 30}, "B": {"reach_mm": 30}}}
    assert sells(stuck(at_least("A1", 4), **reach), leaving(5))
    assert not sells(stuck(at_least("A1", 4), **reach), leaving(4))


def test_one_lot_does_one_thing() -> None:
    farm = stuck(at_least("A1", 6, **SECOND_WEEK))
    assert not sells(farm, leaving(3), leaving(3, week=2))
    assert sells(farm, leaving(3), leaving(6, week=2))


def test_s1_o1_hours_boxes_and_list_price() -> None:
    farm = stuck(cut("A1"))
    sale = leaving()
    assert sells(farm, sale, limits=Limits(outside={1: {frozenset({PACKING}): 9.0}}))
    assert not sells(farm, sale, limits=Limits(outside={1: {frozenset({PACKING}): 8.9}}))
    assert sells(farm, sale, limits=Limits(boxes={("van", 1): 0.5}))
    assert not sells(farm, sale, limits=Limits(boxes={("van", 1): 0.49}))
    assert sells(farm, sale, limits=Limits(market={KEY: 5.4}))
    assert not sells(farm, sale, limits=Limits(market={KEY: 5.3}))


def test_l1_later_weeks_gain_what_a_lot_frees() -> None:
    farm = stuck(at_least("A1", 4, **SECOND_WEEK))
    (move,) = moves_of(farm)
    assert (move.zone, move.frees[8]) == (OLD_ZONE, 6)
    assert held(farm, Limits(zone={(OLD_ZONE, 3): 0, (OLD_ZONE, 4): 4}))
    first = stuck(at_least("A1", 4, **FIRST_WEEK))
    for freed, may in ((3, True), (2, False)):
        assert sells(first, leaving(frees={3: freed}), limits=Limits(zone={(OLD_ZONE, 3): 1})) is may
    assert not sells(first, leaving(frees={4: 6}), limits=Limits(zone={(OLD_ZONE, 3): 3}))


def test_l1_what_lots_of_the_book_hold_too_much_is_freed_first() -> None:
    first = stuck(at_least("A1", 4, **FIRST_WEEK))
    for left, may in ((-2, True), (-3, False)):
        assert sells(first, leaving(frees={3: 6}), limits=Limits(zone={(OLD_ZONE, 3): left})) is may
    assert sells(
        stuck(), leaving(frees={3: 6}), limits=Limits(zone={(OLD_ZONE, 3): -9})
    )  # nothing comes: nothing has to be freed
