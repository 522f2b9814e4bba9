"""What a colony could give in a week, and the one thing that stands against it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from scheduler.farm.blocks import parse_block
from scheduler.farm.coral import GroupPair, Lot
from scheduler.farm.farm import Farm
from scheduler.farm.pins import pin_covers
from scheduler.farm.space import LightReading
from scheduler.week.floor import Section, blocks_positions
from scheduler.week.options import Option, Refusal, capable, option, usable_sessions, with_ways
from tests.audit.small_farm import MONDAY
from tests.week.bench_farm import EVERY, floor_of, pins, tiny_farm


def asked(farm: Farm, week: int = 1) -> Option | Refusal:
    """The option or refusal of the first colony."""
    return option(farm, floor_of(farm), farm.colonies[0], week, {p.pin for p in farm.pins})


def with_colony(farm: Farm, **values: Any) -> Farm:
    return replace(farm, colonies=(farm.colonies[0].model_copy(update=values), *farm.colonies[1:]))


def refusal(farm: Farm, week: int = 1) -> Refusal:
    found = asked(farm, week)
    assert isinstance(found, Refusal)
    return found


def places_of(farm: Farm, week: int = 1) -> dict[str, int]:
    found = asked(farm, week)
    assert isinstance(found, Option)
    return {rack: len(ground) for rack, ground in found.places.items()}


@pytest.mark.parametrize("condition", ["watch", "no cut"])
def test_a_colony_that_is_not_fit(condition: str) -> None:
    found = refusal(with_colony(tiny_farm(), condition=condition))
    assert (found.reason, found.ready_week) == ("not fit", None)
    assert condition in found.detail


def test_a_system_on_hold_names_the_day() -> None:
    farm = tiny_farm(systems={"North": {"hold_until": date(2026, 12, 2)}})
    found = refusal(farm)
    assert found.reason == "system on hold"
    assert "2026-12-02" in found.detail
    assert found.ready_week == 2
    assert isinstance(asked(farm, 2), Option)


def test_a_hold_that_ends_on_a_monday_ends_with_it() -> None:
    farm = tiny_farm(systems={"North": {"hold_until": MONDAY + timedelta(days=7)}})
    found = refusal(farm)
    assert isinstance(asked(farm, 2), Option)
    assert found.ready_week == 2


def test_a_resting_colony_names_the_week_it_has_rested() -> None:
    farm = with_colony(tiny_farm(strains={"A": {"rest_weeks": 4}}), last_cut=date(2026, 11, 12))
    found = refusal(farm)
    assert (found.reason, found.ready_week) == ("resting", 2)
    assert "2026-12-07" in found.detail
    assert isinstance(asked(farm, 2), Option)


def test_a_closed_month() -> None:
    farm = tiny_farm(strains={"A": {"closed_months": (12,)}})
    assert refusal(farm).reason == "closed season"
    assert "12" in refusal(farm).detail


def test_a_colony_too_small_names_the_week_it_is_large_enough() -> None:
    # grows a piece a week; a cut needs 4 pieces above the 10 that stay
    farm = with_colony(tiny_farm(), count=12)
    found = refusal(farm)
    assert (found.reason, found.ready_week) == ("too small", 3)
    assert "2026-12-14" in found.detail
    never = refusal(with_colony(tiny_farm(strains={"A": {"cap_units": 13.0}}), count=12))
    assert (never.reason, never.ready_week) == ("too small", None)


@pytest.mark.parametrize(
    "people",
    [{"Ada": ("mount",)}, {"Ada": ("cutters",)}, {"Ada": ("scalpel", "mount")}],
)
def test_nobody_to_cut_or_to_mount(people: dict[str, tuple[str, ...]]) -> None:
    found = refusal(tiny_farm(people=people))
    assert found.reason == "no hands"
    assert "cutters" in found.detail


def test_toxic_corals_need_two_trained_hands() -> None:
    farm = tiny_farm(strains={"A": {"toxic": True}}, people={"Ada": ("cutters", "toxic"), "Ben": ("mount",)})
    assert refusal(farm).reason == "no hands"
    trained = tiny_farm(strains={"A": {"toxic": True}}, people={"Ada": ("cutters", "toxic"), "Ben": ("mount", "toxic")})
    assert isinstance(asked(trained), Option)


def test_usable_sessions_and_capable_people() -> None:
    farm = tiny_farm(people={"Ada": EVERY, "Ben": ("mount",)}, sessions=({}, {"session": "saw", "methods": ("saw",)}))
    (only,) = usable_sessions(farm, farm.colonies[0], 1)
    assert only.name == "bench"
    assert capable(farm, only, {"mount"}) == ("Ada", "Ben")
    assert capable(farm, only, {"mount", "toxic"}) == ("Ada",)
    assert capable(farm, only, {"saw"}) == ()


@pytest.mark.parametrize("par", [100.0, 170.0, 174.0, 286.0, 400.0])
def test_no_place_in_its_light(par: float) -> None:
    # racks hang at PAR 200; a frag may get 30 % less or 15 % more than its mother
    found = asked(with_colony(tiny_farm(), par_umol=par))
    assert isinstance(found, Option) is (174.0 <= par <= 285.7)
    if isinstance(found, Refusal):
        assert found.reason == "no place in its light"


def test_light_has_to_fit_all_through_settling() -> None:
    farm = tiny_farm(settle_weeks=2)
    later = replace(farm, light=(*farm.light, LightReading(rack="T-a", from_date=date(2026, 12, 7), par_umol=100, planned=True)))
    assert refusal(later).reason == "no place in its light"
    far = replace(farm, light=(*farm.light, LightReading(rack="T-a", from_date=date(2026, 12, 14), par_umol=100, planned=True)))
    assert isinstance(asked(far), Option)


@pytest.mark.parametrize(
    ("traits", "settings"),
    [({"flow_settling": ("low",)}, {}), ({"plug_kind": "large"}, {}), ({"min_pieces": 25}, {})],
)
def test_flow_plug_kind_and_room(traits: dict[str, Any], settings: dict[str, Any]) -> None:
    assert refusal(tiny_farm(strains={"A": traits}, **settings)).reason == "no place in its light"


def test_a_closed_tank_takes_nothing() -> None:
    farm = tiny_farm()
    shut = replace(farm, tanks=tuple(t.model_copy(update={"closed_from": MONDAY, "closed_to": MONDAY}) for t in farm.tanks))
    assert refusal(shut).reason == "no place in its light"
    assert isinstance(asked(shut, 2), Option)


def test_fresh_frags_stay_in_their_water_or_where_it_feeds() -> None:
    more: dict[str, Any] = {"tanks": {"M": "North", "T": "South"}, "racks": {"T-a": (4, 6)}}
    assert refusal(tiny_farm(systems={"North": {}, "South": {}}, **more)).reason == "no place in its light"
    assert places_of(tiny_farm(systems={"North": {"feeds": ("South",)}, "South": {}}, **more)) == {"T-a": 24}
    shut = {"feeds": ("South",), "quarantined": True}
    assert refusal(tiny_farm(systems={"North": shut, "South": {}}, **more)).reason == "no place in its light"


def standing(strain: str, blocks: str = "A1:A6", alive: int = 6) -> Lot:
    return Lot(
        lot="old",
        strain=strain,
        cut_date=date(2026, 10, 1),
        started=6,
        alive=alive,
        count_date=MONDAY,
        rack="T-a",
        blocks=(blocks,),
    )


def test_old_lots_take_their_places_and_keep_other_strains_clear() -> None:
    farm = tiny_farm(strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M")})
    own, other = (replace(farm, lots=(standing(s),)) for s in "AB")
    assert places_of(own) == {"T-a": 18}
    assert places_of(other) == {"T-a": 12}
    dead = replace(farm, lots=(standing("B", alive=0),))
    assert places_of(dead) == {"T-a": 24}
    friends = replace(other, pairs=(GroupPair(group_a="A", group_b="B", get_along=True),))
    assert places_of(friends) == {"T-a": 18}


def test_a_lot_sold_in_part_leaves_from_its_end() -> None:
    farm = replace(tiny_farm(strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M")}), lots=(standing("B"),))
    floor = type(floor_of(farm))(farm, {"old": {w: 6 if w == 1 else 2 for w in farm.weeks.all}})
    assert len(floor.free("T-a", 1)) == 18
    assert len(floor.free("T-a", 2)) == 22
    (taken,) = floor.taken("T-a", 2)
    assert taken.positions == {(0, 0), (0, 1)}
    gone = type(floor)(farm, {"old": dict.fromkeys(farm.weeks.all, 0)})
    assert gone.taken("T-a", 1) == ()
    assert gone.strains_in_tank("T", 1) == frozenset()
    assert floor.strains_in_tank("T", 1) == {"B"}


def test_mothers_on_a_rack_take_their_places() -> None:
    farm = with_colony(tiny_farm(), rack="T-a", positions="A1:B2")
    assert places_of(farm) == {"T-a": 20}


@pytest.mark.parametrize(("apart", "refused"), [(None, False), ("tank", True), ("system", True)])
def test_groups_kept_apart_do_not_share_a_tank(apart: Any, refused: bool) -> None:
    pairs = (GroupPair(group_a="A", group_b="B", apart=apart),)
    farm = tiny_farm(strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "T")}, pairs=pairs)
    assert isinstance(asked(farm), Refusal) is refused


def test_groups_kept_apart_by_system_do_not_meet_in_another_tank_of_it() -> None:
    more: dict[str, Any] = {"strains": {"A": {}, "B": {}}, "mothers": {"A1": ("A", "M"), "B1": ("B", "O")},
                            "tanks": {"M": "North", "T": "North", "O": "North"}}  # fmt: skip
    by_tank = tiny_farm(pairs=(GroupPair(group_a="A", group_b="B", apart="tank"),), **more)
    by_system = tiny_farm(pairs=(GroupPair(group_a="A", group_b="B", apart="system"),), **more)
    assert isinstance(asked(by_tank), Option)
    assert isinstance(asked(by_system), Refusal)


def test_sections_are_racks_by_light_zone() -> None:
    farm = tiny_farm(racks={"T-a": (4, 6), "T-b": (2, 2)}, par_bands=(100.0,))
    found = asked(farm)
    assert isinstance(found, Option)
    (zone,) = {s.zone for s in found.sections}
    assert found.sections == (Section("T-a", zone), Section("T-b", zone))


def test_a_rack_across_two_zones_is_two_sections_of_one_ground() -> None:
    reading = LightReading(
        rack="T-a", from_date=date(2026, 11, 1), par_first_row_first_col=180, par_first_row_last_col=220,
        par_last_row_first_col=180, par_last_row_last_col=220,
    )  # fmt: skip
    farm = replace(tiny_farm(par_bands=(200.0,)), light=(reading,))
    found = asked(farm)
    assert isinstance(found, Option)
    assert len(found.places["T-a"]) == 24
    assert {(s.rack, s.zone) for s in found.sections} == {("T-a", f"T PAR {b} medium flow") for b in ("below 200", "from 200")}


def test_positions_of_blocks() -> None:
    assert blocks_positions((parse_block("A1:A2"), parse_block("C1")), 1, 1) == {(0, 0), (0, 1), (2, 0)}
    assert len(blocks_positions((parse_block("A1:D4", 2, 2),), 2, 2)) == 16


@pytest.mark.parametrize(
    ("dates", "weeks"),
    [
        ({}, {1, 2, 3}), ({"from_date": date(2026, 12, 13)}, {2, 3}), ({"from_date": date(2026, 12, 14)}, {3}),
        ({"to_date": date(2026, 12, 7)}, {1, 2}), ({"to_date": date(2026, 12, 6)}, {1}),
        ({"from_date": date(2026, 12, 9), "to_date": date(2026, 12, 9)}, {2}),
    ],
)  # fmt: skip
def test_a_pin_covers_every_week_with_one_of_its_days(dates: dict[str, date], weeks: set[int]) -> None:
    farm = tiny_farm()
    (pin,) = pins({"kind": "no cut", "colony": "A1"} | dates)
    assert {w for w in (1, 2, 3) if pin_covers(farm, pin, w)} == weeks


def test_an_option_on_the_ground_that_some_lots_could_leave() -> None:
    farm = replace(tiny_farm(strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M")}), lots=(standing("B", "A1:C6", 18),))
    floor = floor_of(farm).loosened({"old"})
    found = option(farm, floor, farm.colonies[0], 1, ())
    assert isinstance(found, Option)
    assert len(found.places["T-a"]) == 24
    assert with_ways(farm, found, {"old"}) == found
    assert with_ways(farm, found, ()) is None
    part = replace(farm, lots=(standing("B"),))
    fewer = option(part, floor_of(part).loosened({"old"}), part.colonies[0], 1, ())
    assert isinstance(fewer, Option)
    bare = with_ways(part, fewer, ())
    assert bare is not None
    assert {rack: len(ground) for rack, ground in bare.places.items()} == places_of(part)
