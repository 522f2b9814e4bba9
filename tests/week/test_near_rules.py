"""The near-weeks model rule by rule: what can hold, what cannot, and where the limit lies exactly."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from scheduler.farm.bench import PlugKind
from scheduler.farm.coral import GroupPair
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced
from scheduler.week.kept import kept_range
from scheduler.week.model import MOST_PIECES, Limits
from tests.week.bench_farm import EVERY, FlatWorth, at_least, cut, model_of, options_of, pins, possible, solved, tiny_farm

TUE, THU = {"session": "Tue"}, {"session": "Thu", "weekday": "Thu"}
TWO_WEEKS: dict[str, Any] = {"near_weeks": 2}
FIRST_WEEK = {"to_date": date(2026, 12, 6)}
SECOND_WEEK = {"from_date": date(2026, 12, 7)}
TWO = {"A1": ("A", "M"), "A2": ("A", "M")}


def test_without_pins_there_is_always_a_plan() -> None:
    assert possible(tiny_farm())


def test_a_model_without_options_is_empty_and_fine() -> None:
    farm = tiny_farm(people={"Ada": ("care",)})
    assert options_of(farm) == []
    assert possible(farm)


# ---- C1 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rest", [1, 2, 4])
def test_c1_a_colony_is_cut_once_in_the_near_weeks(rest: int) -> None:
    farm = tiny_farm(strains={"A": {"rest_weeks": rest}}, **TWO_WEEKS)
    first, second = cut("A1", **FIRST_WEEK), cut("A1", **SECOND_WEEK)
    assert possible(replace(farm, pins=pins(first)))
    assert possible(replace(farm, pins=pins(second)))
    assert not possible(replace(farm, pins=pins(first, second)))


# ---- C2 to C4 ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("traits", "most"), [({"max_share": 0.25}, 15), ({"keep_pieces": 48}, 12), ({"max_share": 0.099, "min_pieces": 5}, 5)]
)
def test_c2_c3_c4_the_most_pieces_a_colony_gives(traits: dict[str, Any], most: int) -> None:
    farm = tiny_farm(strains={"A": traits})
    assert possible(replace(farm, pins=pins(at_least("A1", most))))
    assert not possible(replace(farm, pins=pins(at_least("A1", most + 1))))


def test_c4_fewer_pieces_than_a_cut_is_worth_are_not_cut() -> None:
    farm = tiny_farm(strains={"A": {"min_pieces": 5}})
    at_most = {"kind": "at most", "colony": "A1"}
    assert possible(replace(farm, pins=pins(cut("A1"), at_most | {"pieces": 5})))
    assert not possible(replace(farm, pins=pins(cut("A1"), at_most | {"pieces": 4})))
    assert possible(replace(farm, pins=pins(at_most | {"pieces": 4})))


def test_a_cut_takes_no_more_pieces_than_a_bench_could_mount() -> None:
    farm = tiny_farm(strains={"A": {"keep_pieces": 1, "max_share": 1.0, "minutes_cut": 0.1, "minutes_mount": 0.1}},
                     racks={"T-a": (10, 10)}, sessions=({"minutes": 700},))  # fmt: skip
    big = replace(farm, colonies=(farm.colonies[0].model_copy(update={"count": 190}),))
    assert options_of(big)[0].most > MOST_PIECES
    assert possible(replace(big, pins=pins(at_least("A1", MOST_PIECES))))


# ---- S1, S2 -----------------------------------------------------------------------------------------------------------


def test_s1_one_person_cuts_and_mounts_to_the_last_minute_and_no_further() -> None:
    # 6 + 20 x 1.0 cutting and 20 x (1.0 + 0.5) mounting: 56 minutes after 20 for set-up and clean-down
    farm = tiny_farm(sessions=({"minutes": 76},))
    assert possible(replace(farm, pins=pins(at_least("A1", 20))))
    assert not possible(replace(farm, pins=pins(at_least("A1", 21))))
    short = tiny_farm(sessions=({"minutes": 75.9},))
    assert not possible(replace(short, pins=pins(at_least("A1", 20))))


@pytest.mark.parametrize(
    ("settings", "minutes"),
    [
        ({"allowance_share": 0.1}, 56 * 1.1),
        ({"allowance_share": 0.25, "allowance_base": "shift"}, 56 / 0.75),
        ({"labelling": "block", "max_blocks": 1}, 46.5),  # one tag instead of twenty labels
        ({"labelling": "block", "max_blocks": 2}, 47.0),  # as many tags as it may need
    ],
)
def test_s1_allowance_and_labels_are_work(settings: dict[str, Any], minutes: float) -> None:
    asked = {"pins": pins(at_least("A1", 20)), **settings}
    assert possible(tiny_farm(sessions=({"minutes": 20 + minutes},), **asked))
    assert not possible(tiny_farm(sessions=({"minutes": 20 + minutes - 0.1},), **asked))


def test_s1_only_a_share_of_the_clock_is_work() -> None:
    farm = tiny_farm(sessions=({"minutes": 90},), bench_fill=0.8)
    assert possible(replace(farm, pins=pins(at_least("A1", 20))))
    assert not possible(replace(farm, pins=pins(at_least("A1", 21))))


def test_s1_a_session_may_have_a_fill_of_its_own() -> None:
    farm = tiny_farm(sessions=({"minutes": 90},), bench_fill=1.0, pins=pins(at_least("A1", 20)))
    sid = "bench 2026-12-01"
    assert possible(farm, Limits(fill={sid: 0.8}))
    assert not possible(farm, Limits(fill={sid: 0.79}))
    assert possible(farm, Limits(fill={"another": 0.1}))


def test_s1_a_colony_on_rock_takes_longer() -> None:
    farm = tiny_farm(sessions=({"minutes": 89},), on_rock_factor=1.5)
    rock = replace(farm, colonies=(farm.colonies[0].model_copy(update={"on_rock": True}),))
    assert possible(replace(rock, pins=pins(at_least("A1", 20))))
    assert not possible(replace(rock, pins=pins(at_least("A1", 21))))
    assert possible(replace(farm, pins=pins(at_least("A1", 21))))


def test_s1_a_change_of_water_costs_everybody_its_minutes() -> None:
    # two colonies of 4 pieces: 2 x (6 + 4 + 6) = 32 minutes for one person, 47 with a change
    more = {"tanks": {"M": "North", "T": "North", "N": "South", "U": "South"}, "systems": {"North": {}, "South": {}},
            "racks": {"T-a": (4, 6), "U-a": (4, 6)}, "mothers": {"A1": ("A", "M"), "A2": ("A", "N")}}  # fmt: skip
    both = pins(cut("A1"), cut("A2"))
    assert possible(tiny_farm(sessions=({"minutes": 67},), pins=both, **more))
    assert not possible(tiny_farm(sessions=({"minutes": 66},), pins=both, **more))
    same = tiny_farm(sessions=({"minutes": 52},), pins=both, mothers=TWO)
    assert possible(same)


def test_s6_conditioned_plugs_are_used_as_they_become_ready() -> None:
    # 30 plugs are ready from the start, 10 more from Thursday; those put in now would take four weeks
    def farm(*asked: Any) -> Farm:
        day, later = date(2026, 11, 2), date(2026, 11, 5)
        kinds = tuple(
            PlugKind(plug_kind="small", condition_days=28, in_water=n, in_water_from=d) for n, d in ((30, day), (10, later))
        )
        bare = tiny_farm(mothers=TWO, racks={"T-a": (10, 10)}, sessions=(TUE, THU), strains={"A": {"minutes_colony": 0.0}})
        return replace(bare, plugs=kinds, pins=pins(*asked))

    tuesday = [{"kind": "session", "colony": c, "session": "Tue 2026-12-01"} for c in TWO]
    assert possible(farm(at_least("A1", 20), at_least("A2", 20)))
    assert not possible(farm(at_least("A1", 21), at_least("A2", 20)))
    assert not possible(farm(at_least("A1", 20), at_least("A2", 20), *tuesday))
    assert possible(farm(at_least("A1", 20), at_least("A2", 10), *tuesday))


def test_s1_two_people_share_the_work_of_one_colony() -> None:
    farm = tiny_farm(sessions=({"minutes": 50},), people={"Ada": EVERY, "Ben": ("mount",)})
    # Ben mounts 20 x 1.5 = 30 minutes, Ada cuts 6 + 20 = 26
    assert possible(replace(farm, pins=pins(at_least("A1", 20))))
    assert not possible(replace(farm, pins=pins(at_least("A1", 21))))


def test_s2_the_people_of_a_cut_are_there_and_able() -> None:
    farm = tiny_farm(people={"Ada": ("cutters",), "Ben": ("mount",), "Cem": ("care",)}, pins=pins(cut("A1")))
    model = model_of(farm)
    done = solved(model)
    assert [p for (_, _, p), var in model.v.cuts.items() if done.value(var)] == ["Ada"]
    assert [p for (_, _, p), var in model.v.mounts.items() if done.value(var)] == ["Ben"]


def test_s2_a_session_without_the_method_is_no_session() -> None:
    saw = tiny_farm(sessions=({"methods": ("scalpel",)} | TUE, THU))
    assert [s.name for o in options_of(saw) for s in o.sessions] == ["Thu"]


# ---- S3, S4 -----------------------------------------------------------------------------------------------------------

SHUT = {"quarantined": True}
THREE: dict[str, Any] = {
    "systems": {"North": {}, "South": {}, "Quay": SHUT, "Pier": SHUT},
    "tanks": {"N": "North", "S": "South", "Q": "Quay", "P": "Pier"},
    "racks": {"N-a": (6, 8), "S-a": (6, 8), "Q-a": (6, 8), "P-a": (6, 8)},
    "strains": {"A": {"reach_mm": 0}, "Z": {"reach_mm": 0, "toxic": True}},
}


def waters(mothers: dict[str, tuple[str, str]], sessions: int = 1) -> Farm:
    """Colonies in several waters, all to be cut in so many sessions."""
    wanted = pins(*(cut(c) for c in mothers))
    return tiny_farm(mothers=mothers, sessions=(TUE, THU)[:sessions], pins=wanted, **THREE)


@pytest.mark.parametrize(
    ("mothers", "in_one", "in_two"),
    [
        ({"one": ("A", "N"), "two": ("A", "S"), "three": ("A", "Q")}, True, True),
        ({"one": ("A", "Q"), "two": ("A", "P")}, False, True),
        ({"one": ("Z", "N"), "two": ("A", "N")}, True, True),
        ({"one": ("A", "N"), "two": ("Z", "S")}, True, True),
        ({"one": ("Z", "N"), "two": ("A", "S")}, False, True),
        ({"one": ("Z", "N"), "two": ("Z", "S")}, True, True),
        ({"one": ("Z", "N"), "two": ("A", "Q")}, False, True),
        ({"one": ("Z", "N"), "two": ("Z", "Q")}, False, True),
        ({"one": ("A", "N"), "two": ("Z", "Q")}, True, True),
        ({"one": ("Z", "Q"), "two": ("A", "Q")}, True, True),
        ({"one": ("A", "Q"), "two": ("A", "P"), "three": ("Z", "N")}, False, False),
    ],
)
def test_s3_s4_which_waters_share_a_session(mothers: dict[str, tuple[str, str]], in_one: bool, in_two: bool) -> None:
    assert possible(waters(mothers)) is in_one
    assert possible(waters(mothers, sessions=2)) is in_two


# ---- S5, positions ----------------------------------------------------------------------------------------------------


def test_s5_new_frags_a_week_by_system() -> None:
    farm = tiny_farm(systems={"North": {"max_fresh": 20}}, mothers=TWO, racks={"T-a": (6, 10)}, **TWO_WEEKS)
    week_1 = [at_least("A1", 12, **FIRST_WEEK), at_least("A2", 8, **FIRST_WEEK)]
    assert possible(replace(farm, pins=pins(*week_1)))
    assert not possible(replace(farm, pins=pins(week_1[0], at_least("A2", 9, **FIRST_WEEK))))
    assert possible(replace(farm, pins=pins(week_1[0], at_least("A2", 9, **SECOND_WEEK))))


def test_l1_a_rack_holds_what_it_has_positions_for() -> None:
    farm = tiny_farm(racks={"T-a": (3, 6)}, mothers=TWO, strains={"A": {"min_pieces": 3}}, **TWO_WEEKS)
    assert possible(replace(farm, pins=pins(at_least("A1", 18))))
    assert not possible(replace(farm, pins=pins(at_least("A1", 19))))
    both = [at_least("A1", 10, **FIRST_WEEK), at_least("A2", 8, **SECOND_WEEK)]
    assert possible(replace(farm, pins=pins(*both)))
    assert not possible(replace(farm, pins=pins(both[0], at_least("A2", 9, **SECOND_WEEK))))


def test_l1_a_large_plug_takes_its_whole_area() -> None:
    farm = tiny_farm(racks={"T-a": (4, 6)}, strains={"A": {"plug_rows": 2, "plug_cols": 2}})
    assert possible(replace(farm, pins=pins(at_least("A1", 6))))
    assert not possible(replace(farm, pins=pins(at_least("A1", 7))))


def test_l9_what_the_rest_of_a_system_and_a_zone_leaves() -> None:
    farm = tiny_farm(pins=pins(at_least("A1", 10)))
    (section,) = options_of(farm)[0].sections
    assert possible(farm, Limits({("North", 1): 10}, {(section.zone, 3): 10}))
    assert not possible(farm, Limits({("North", 1): 9}, {}))
    assert not possible(farm, Limits({}, {(section.zone, 3): 9}))
    assert not possible(farm, Limits({("North", 1): -3}, {}))


# ---- L7 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("apart", "one", "two"), [(None, True, True), ("tank", False, True), ("system", False, False)])
def test_l7_new_lots_of_groups_kept_apart_do_not_meet(apart: Any, one: bool, two: bool) -> None:
    more: dict[str, Any] = {
        "strains": {"A": {"reach_mm": 0}, "L": {"reach_mm": 0}},
        "systems": {"East": {"feeds": ("Bay",)}, "West": {"feeds": ("Bay",)}, "Bay": {}},
        "mothers": {"A1": ("A", "E"), "L1": ("L", "W")}, "pairs": (GroupPair(group_a="A", group_b="L", apart=apart),),
        "pins": pins(cut("A1"), cut("L1")),
    }  # fmt: skip
    tanks = {"E": "East", "W": "West", "T": "Bay"}
    assert possible(tiny_farm(tanks=tanks, racks={"T-a": (6, 6), "T-b": (6, 6)}, **more)) is one
    assert possible(tiny_farm(tanks=tanks | {"U": "Bay"}, racks={"T-a": (6, 6), "U-a": (6, 6)}, **more)) is two


# ---- pins -------------------------------------------------------------------------------------------------------------


def test_p1_pins_on_colonies() -> None:
    farm = tiny_farm(sessions=(TUE, THU), racks={"T-a": (4, 6), "T-b": (4, 6)})

    def holds(*rows: dict[str, Any]) -> bool:
        return possible(replace(farm, pins=pins(*rows)))

    no_cut, at_most = {"kind": "no cut", "colony": "A1"}, {"kind": "at most", "colony": "A1"}
    tue, thu = ({"kind": "session", "colony": "A1", "session": s} for s in ("Tue 2026-12-01", "Thu 2026-12-03"))
    rack_a, rack_b = ({"kind": "rack", "colony": "A1", "rack": r} for r in ("T-a", "T-b"))
    assert holds(cut("A1"))
    assert holds(no_cut)
    assert not holds(cut("A1"), no_cut)
    assert not holds(cut("A1", **FIRST_WEEK), no_cut)
    assert holds(cut("A1"), no_cut | SECOND_WEEK)
    assert holds(at_least("A1", 10), at_most | {"pieces": 10})
    assert not holds(at_least("A1", 10), at_most | {"pieces": 9})
    assert not holds(cut("A1"), at_most | {"pieces": 0})
    assert holds(tue, thu)
    assert not holds(cut("A1"), tue, thu)
    assert holds(cut("A1"), thu)
    assert holds(rack_a, rack_b)
    assert not holds(cut("A1"), rack_a, rack_b)
    assert holds(cut("A1"), rack_b)


def test_p1_only_the_pins_asked_for_hold() -> None:
    farm = tiny_farm(pins=pins(cut("A1"), {"kind": "no cut", "colony": "A1"}))
    model = model_of(replace(farm, pins=farm.pins[:1]))
    assert solved(model).value(model.v.cut[0]) == 1
    assert not possible(farm)


def test_p1_a_rack_kept_free_takes_nothing() -> None:
    farm = tiny_farm(racks={"T-a": (4, 6), "T-b": (4, 6)})
    free = {"kind": "keep free", "rack": "T-a"}
    assert {s for o in options_of(replace(farm, pins=pins(free))) for s in o.places} == {"T-b"}
    assert options_of(replace(farm, pins=pins({"kind": "keep free", "tank": "T"}))) == []
    late = free | {"from_date": date(2026, 12, 14)}
    assert {s for o in options_of(replace(farm, pins=pins(late))) for s in o.places} == {"T-b"}
    past = free | {"to_date": date(2026, 11, 29)}
    assert {s for o in options_of(replace(farm, pins=pins(past))) for s in o.places} == {"T-a", "T-b"}


# ---- value ------------------------------------------------------------------------------------------------------------


def test_nothing_is_cut_that_is_worth_less_than_it_costs() -> None:
    farm = tiny_farm()
    model = model_of(farm, worth=FlatWorth(now=1.0, beyond=1.0, colony=1000.0))
    done = solved(model)
    assert (done.outcome.value, done.value(model.v.cut[0])) == (0, 0)


def test_pieces_beyond_the_market_count_at_the_discount() -> None:
    farm = tiny_farm(wage_per_hour=0)
    model = model_of(farm, worth=FlatWorth(now=10.0, beyond=-1.0, room=7))
    done = solved(model)
    assert done.value(model.v.pieces[0]) == 7
    assert done.outcome.value == 7000


def test_two_colonies_of_one_water_share_a_session_rather_than_open_another() -> None:
    farm = tiny_farm(sessions=(TUE, THU), mothers=TWO)
    model = model_of(farm, worth=FlatWorth())
    done = solved(model)
    assert sum(done.value(u) for u in model.v.used.values()) == 1


# ---- what was announced -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pieces", "kept"), [(10, (8, 12)), (12, (10, 14)), (1, (1, 1)), (4, (4, 4)), (5, (4, 6)), (100, (80, 120))]
)
def test_a_cut_counts_as_kept_up_to_a_fifth_more_or_less(pieces: int, kept: tuple[int, int]) -> None:
    assert kept_range(pieces) == kept


def announced_cost(told: Announced, *rows: dict[str, Any], change_cost: int = 3) -> float:
    """What the change of an announced cut costs, money, under pins; a piece is worth nothing and work costs nothing."""
    farm = tiny_farm(sessions=(TUE, THU), wage_per_hour=0, change_cost=change_cost, pins=pins(*rows), **TWO_WEEKS)
    outcome = solved(model_of(farm, Limits(announced=(told,)), FlatWorth(now=0, beyond=0))).outcome
    assert outcome.outcome == "optimal"
    assert outcome.value is not None
    return -outcome.value / 100


def test_what_was_announced_is_kept_or_its_change_costs() -> None:
    told = Announced(colony="A1", week=1, session="Tue 2026-12-01", pieces=10)
    no_cut, at_most = {"kind": "no cut", "colony": "A1"}, {"kind": "at most", "colony": "A1", "pieces": 7}
    later = {"kind": "session", "colony": "A1", "session": "Thu 2026-12-03"}
    assert announced_cost(told) == 0
    assert announced_cost(told, at_least("A1", 12)) == 0
    assert announced_cost(told, at_least("A1", 13)) == 6
    assert announced_cost(told, at_most) == 6
    assert announced_cost(told, at_most | {"pieces": 8}) == 0
    assert announced_cost(told, no_cut) == 6
    assert announced_cost(told, cut("A1"), later | FIRST_WEEK) == 6
    assert announced_cost(told.model_copy(update={"week": 2, "session": "Tue 2026-12-08"}), no_cut) == 3
    assert announced_cost(told, no_cut, change_cost=0) == 0
    assert announced_cost(told.model_copy(update={"colony": "gone"})) == 6
