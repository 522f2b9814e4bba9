"""Quick planning: lawful week after week, repeatable, and reading one solved season for some weeks by the calendar."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from scheduler.audit import audit
from scheduler.errors import NoPlanFound
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Market, Order
from scheduler.farm.work import packing_days
from scheduler.forecast.learn import learned_farm
from scheduler.plan.model import Plan, Sale
from scheduler.planning.on_racks import lots_on_racks
from scheduler.planning.quick import QuickPlanner
from scheduler.planning.quick_farm import going_on, packed_share
from scheduler.planning.quick_orders import in_time
from scheduler.planning.quick_season import PATIENCE, SOLVED_WEEKS, QuickSeason, pooled
from scheduler.planning.quick_sooner import first_to_leave, sell_sooner
from scheduler.planning.since import calm
from scheduler.replay import World
from scheduler.replay.records import book
from scheduler.replay.run import carry_out
from scheduler.season.guide import Wish
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth
from tests.farms import random_farm
from tests.planning.test_hand import lot, trading
from tests.week.bench_farm import tiny_farm


def lawful(farm: Farm, plan: Plan) -> None:
    report = audit(farm, plan)
    assert report.breaches == ()
    assert report.value == plan.value
    assert all(c.week in farm.weeks.near_weeks and c.session for c in plan.cuts)


def tried(farm: Farm) -> Plan | NoPlanFound:
    try:
        return QuickPlanner().plan(farm)
    except NoPlanFound as refused:
        return refused


def weeks_on(farm: Farm, weeks: int, pieces: int | None = None) -> Farm:
    """The farm some weeks later, as if nothing had happened; ``pieces`` left of every lot if given."""
    s = farm.settings
    later = s.model_copy(update={"plan_monday": farm.weeks.plan_monday + timedelta(weeks=weeks)})
    lots = farm.lots if pieces is None else tuple(x.model_copy(update={"alive": min(x.alive, pieces)}) for x in farm.lots)
    return replace(farm, settings=later, lots=lots)


def steady(farm: Farm) -> Farm:
    """The farm without planned changes of its lamps, which would give it other light zones."""
    first = {row.rack: row for row in sorted(farm.light, key=lambda row: row.from_date, reverse=True)}
    return replace(farm, light=tuple(first.values()))


# ---- lawful -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(1, 10))
def test_every_quick_plan_of_a_random_farm_passes_the_audit(seed: int) -> None:
    """Pins hold in it, or it says which it found no way for."""
    farm = random_farm(seed, 3 + 2 * seed, tight=bool(seed % 2), pins=(0, 3)[seed % 3 == 2], weeks=12)
    plan = tried(farm)
    if isinstance(plan, NoPlanFound):
        assert farm.pins
        assert any(p.pin in str(plan) for p in farm.pins) or "keep all pins" in str(plan)
    else:
        lawful(farm, plan)


@pytest.mark.parametrize(("seed", "weeks"), [(3, 5), (6, 5), pytest.param(8, 30, marks=pytest.mark.slow)])
def test_week_after_week_of_a_replayed_farm_passes_the_audit(seed: int, weeks: int) -> None:
    world, planner, cut = World(random_farm(seed, 16, weeks=14), seed), QuickPlanner(), 0
    for _ in range(weeks):
        record = book(world)
        farm = learned_farm(record)
        plan = planner.plan(farm)
        lawful(farm, plan)
        cut += sum(c.pieces for c in plan.cuts if c.week == 1)
        carry_out(world, record, plan)
        world.turn()
    assert cut > 0
    assert world.tally.count["cuts"] > 0
    assert world.below_keep == 0


def test_the_same_weeks_give_the_same_plans() -> None:
    farm = random_farm(5, 9, weeks=12)
    one, two = QuickPlanner(), QuickPlanner()
    for week in range(3):
        assert one.plan(weeks_on(farm, week)) == two.plan(weeks_on(farm, week))


# ---- one season for some weeks ----------------------------------------------------------------------------------------


def test_the_season_is_solved_anew_every_few_weeks() -> None:
    farm, planner = steady(random_farm(6, 8, weeks=12)), QuickPlanner()
    solved = []
    for week in range(SOLVED_WEEKS + 2):
        planner.plan(weeks_on(farm, week))
        assert planner.memory.season is not None
        solved.append((planner.memory.season.monday - farm.weeks.plan_monday).days // 7)
    assert solved == [0] * SOLVED_WEEKS + [SOLVED_WEEKS] * 2


def test_a_season_serves_only_the_farm_it_knows() -> None:
    farm = random_farm(6, 12, weeks=12)
    season = QuickSeason.solved(farm, lots_on_racks(farm), [], None)
    more = (*farm.colonies, farm.colonies[0].model_copy(update={"colony": "new", "rack": None, "block": None}))
    assert season.serves(weeks_on(farm, SOLVED_WEEKS - 1))
    assert season.serves(replace(farm, colonies=farm.colonies[1:]))
    assert not season.serves(weeks_on(farm, SOLVED_WEEKS))
    assert not season.serves(weeks_on(farm, -1))
    assert not season.serves(replace(farm, colonies=more))


def test_a_week_later_a_piece_is_worth_what_it_was_said_to_be_worth_then() -> None:
    farm = random_farm(6, 12, weeks=12)
    season = QuickSeason.solved(farm, lots_on_racks(farm), [], None)
    now, then = season.worth(farm), season.worth(weeks_on(farm, 1))
    tracks, compared = season.plan.season.tracks, 0
    for strain, place in tracks.pairs:
        for zone in tracks.classes[place].zones:
            assert now.piece(strain, 2, zone.id) == pytest.approx(PATIENCE * then.piece(strain, 1, zone.id))
            compared += now.piece(strain, 2, zone.id) > 0
    assert compared > 0


def test_pieces_cut_since_are_wanted_no_more() -> None:
    farm = random_farm(6, 12, weeks=12)
    season = QuickSeason.solved(farm, lots_on_racks(farm), [], None)
    wanted = {s.strain: season.worth(farm).list_room(s.strain, 1) for s in farm.strains}
    strain = max(wanted, key=lambda s: wanted[s])
    assert wanted[strain] > 2
    like = next(x for x in farm.lots)
    new = like.model_copy(update={"lot": "new", "strain": strain, "cut_date": farm.weeks.plan_monday, "started": 2})
    cut = replace(farm, lots=(*farm.lots, new))
    assert season.worth(cut).list_room(strain, 1) == wanted[strain] - 2


def test_what_should_have_left_and_has_not_leaves_at_once() -> None:
    farm = random_farm(6, 12, weeks=12)
    season = QuickSeason.solved(farm, lots_on_racks(farm), [], None)
    lot = next(x for x in lots_on_racks(farm) if x.pieces >= 6)
    out = [o for o in season.plan.season.outlets.rows if o.strain == lot.strain and o.kind == "list"]
    soon, late = (next(o for o in out if o.week >= w) for w in (1, 6))
    wished = replace(season, wishes={lot.id: [Wish(soon, 2), Wish(late, 3)]}, pieces={lot.id: lot.pieces})

    def left(weeks: int, pieces: int) -> list[tuple[int, int]]:
        later = weeks_on(farm, weeks, pieces)
        lots = [x for x in lots_on_racks(later) if x.id == lot.id]
        return [(w.outlet.week, w.pieces) for w in wished.wishes_now(later, lots)[lot.id]]

    assert left(0, lot.pieces) == [(soon.week, 2), (late.week, 3)]
    assert left(2, lot.pieces) == [(max(1, soon.week - 2), 2), (late.week - 2, 3)]
    assert left(2, lot.pieces - 1) == [(max(1, soon.week - 2), 1), (late.week - 2, 3)]
    assert left(2, lot.pieces - 4) == [(late.week - 2, 1)]


def test_wishes_go_to_the_lots_with_fewest_frags_left() -> None:
    farm = random_farm(6, 12, weeks=12)
    season = QuickSeason.solved(farm, lots_on_racks(farm), [], None)
    one = next(x for x in lots_on_racks(farm) if x.pieces >= 6 and min(x.life.ready.values(), default=99) <= 1)
    one = replace(one, life=replace(one.life, age={w: w for w in one.life.age}))
    few = replace(one, id="few", pieces=2, sales=[])
    size = min(one.life.ready, key=lambda k: one.life.ready[k])
    out = [o for o in season.plan.season.outlets.rows if (o.strain, o.kind, o.size_class) == (one.strain, "list", size)]
    found = pooled(farm, [one, few], {one.id: [Wish(out[0], 4)], "few": [Wish(out[-1], 2)]})
    pieces = {name: sum(w.pieces for w in wishes) for name, wishes in found.items()}
    assert [(w.outlet.week, w.pieces) for w in found["few"]] == [(out[0].week, 2)]
    assert pieces == {one.id: 4, "few": 2}


def test_what_a_lot_is_to_grow_on_to_a_larger_class_is_not_taken_for_a_smaller_one() -> None:
    farm = random_farm(6, 12, weeks=12)
    season = QuickSeason.solved(farm, lots_on_racks(farm), [], None)
    one = next(x for x in lots_on_racks(farm) if x.pieces >= 6 and min(x.life.ready.values(), default=99) <= 1)
    small, large = (c.size_class for c in farm.size_classes(one.strain))
    one = replace(one, life=replace(one.life, ready={small: 1, large: 5}, age={w: w for w in one.life.age}))
    few = replace(one, id="few", pieces=3, sales=[])
    rows = [o for o in season.plan.season.outlets.rows if (o.strain, o.kind) == (one.strain, "list")]
    now = next(o for o in rows if o.size_class == small)
    then = replace(next(o for o in rows if o.size_class == large), week=now.week + 8)
    found = pooled(farm, [one, few], {one.id: [Wish(now, 4)], "few": [Wish(then, 2)]})
    assert [(w.outlet.size_class, w.pieces) for w in found["few"]] == [(small, 1), (large, 2)]
    assert [(w.outlet.size_class, w.pieces) for w in found[one.id]] == [(small, 3)]


def test_old_lots_leave_before_those_with_fewest_frags_left() -> None:
    farm = random_farm(6, 12, weeks=12)
    lot = lots_on_racks(farm)[0]

    def aged(name: str, age: int, pieces: int) -> Growing:
        return replace(lot, id=name, pieces=pieces, sales=[], life=replace(lot.life, age={w: age + w - 1 for w in lot.life.age}))

    half = farm.settings.max_rack_weeks // 2
    lots = [aged("few", half, 2), aged("many", 3, 9), aged("old", half + 1, 12), aged("older", half + 5, 20)]
    assert [x.id for x in sorted(lots, key=lambda x: first_to_leave(farm, x, x.pieces))] == ["older", "old", "few", "many"]


def test_frags_of_size_do_not_wait_for_a_later_month_while_the_market_takes_them() -> None:
    base = random_farm(6, 12, weeks=12)
    lot = next(x for x in lots_on_racks(base) if x.pieces >= 6 and min(x.life.ready.values(), default=99) <= 1)
    size = min(lot.life.ready, key=lambda k: lot.life.ready[k])
    channel = next(c.channel for c in base.channels if c.market and packing_days(base, c.channel, 1))
    graded = float(lot.life.alive[1]) * base.traits(lot.strain).good_share
    whole, here = (
        base.weeks.weeks_in_month(base.weeks.month(1)),
        [w for w in base.weeks.all if base.weeks.month(w) == base.weeks.month(1)],
    )

    def sold(frags: float) -> dict[int, int]:
        rows = (Market(strain=lot.strain, size_class=size, quantity=frags * whole / len(here)),)
        farm = replace(base, market=rows)
        seller = Seller(farm, Worth(farm), Ledger(farm), frozenset(), within_market=True)
        mine = replace(lot, sales=[])
        sale = Sale(lot=lot.id, week=9, route="market", size_class=size, order=None, channel=channel, pieces=5)
        seller.repeat(mine, [sale])
        sell_sooner(seller, [mine], [1])
        assert seller.ledger.sold[farm.weeks.month(1), lot.strain, size] == pytest.approx(
            graded * sum(s.pieces for s in mine.sales if s.week == 1)
        )
        return {s.week: s.pieces for s in mine.sales}

    assert sold(100) == {1: 5}
    assert sold(graded * 3.5) == {1: 3, 9: 2}
    assert sold(0.0) == {9: 5}


def test_orders_that_cannot_be_in_time_are_not_filled_first() -> None:
    """A lot of size and one of size in week 5; what an order due before takes is not there for the next."""
    base = random_farm(6, 12, weeks=12)
    lot = next(x for x in lots_on_racks(base) if x.pieces >= 6 and min(x.life.ready.values(), default=99) <= 1)
    size = min(lot.life.ready, key=lambda k: lot.life.ready[k])
    now = replace(lot, id="now", pieces=10, sales=[])
    then = replace(lot, id="then", pieces=20, sales=[], life=replace(lot.life, ready={size: 5}))
    graded = float(lot.life.alive[1]) * base.traits(lot.strain).good_share
    ready, coming = math.floor(10 * graded), math.floor(30 * float(lot.life.alive[6]) * base.traits(lot.strain).good_share)

    def found(*rows: tuple[int, int]) -> list[str]:
        orders = tuple(
            Order(order=f"{i}", channel=base.channels[0].channel, strain=lot.strain, size_class=size, quantity=n, price=Decimal(1),
                  due=base.weeks.plan_monday + timedelta(weeks=week - 1, days=2))
            for i, (week, n) in enumerate(rows)
        )  # fmt: skip
        farm = replace(base, orders=orders)
        seller = Seller(farm, Worth(farm), Ledger(farm), frozenset())
        return [o.order for o in in_time(seller, [now, then])]

    assert found((1, ready)) == ["0"]
    assert found((1, ready + 1)) == []
    assert found((6, ready + 1)) == found((6, coming)) == ["0"]
    assert found((6, coming + 1)) == []
    assert found((1, ready), (6, coming - ready)) == ["0", "1"]
    assert found((1, ready), (6, coming)) == ["0"]
    assert found((0, 1)) == []


# ---- the farm that goes on --------------------------------------------------------------------------------------------


def test_lots_of_different_strains_never_fill_a_rack() -> None:
    farm = random_farm(6, 12, weeks=12)
    assert 0 < packed_share(farm) <= 1
    assert packed_share(replace(farm, lots=())) == 1
    assert going_on(farm).settings.usable_share <= farm.settings.usable_share


def test_what_the_stock_sells_for_months_is_not_cut_again() -> None:
    """Sixty frags of size, ten customers a month: none is given away to make room, so none is cut; without the stock some are."""
    farm = tiny_farm(mothers={"A1": ("A", "M"), "A2": ("A", "M")}, racks={"T-a": (10, 12)}, horizon_weeks=26, near_weeks=4)
    stock = lot("A0-2642a", "A", 60, date(2026, 10, 12), block="A1:E12")
    full, empty = trading(farm, lots=(stock,), A=10), trading(farm, A=10)
    plan, season = QuickPlanner().plan(full), QuickSeason.solved(going_on(full), lots_on_racks(full), [], None)
    lawful(full, plan)
    assert plan.cuts == ()
    assert {w.outlet.kind for wishes in season.wishes.values() for w in wishes} <= {"list", "left listed", "left beyond"}
    assert QuickPlanner().plan(empty).cuts


# ---- calm -------------------------------------------------------------------------------------------------------------


def test_what_was_announced_is_kept_where_changes_cost_and_nothing_happened() -> None:
    base = random_farm(8, 16, weeks=12)
    farm = replace(base, settings=base.settings.model_copy(update={"change_cost": Decimal(50), "near_weeks": 2}))
    planner = QuickPlanner()
    first = planner.plan(farm)
    assert first.cuts
    again = planner.plan(farm)  # the same Monday: all cuts of its near weeks are announced
    assert len(again.announced) == len(first.cuts)
    assert calm(again.announced, again.cuts).changed == 0
    assert QuickPlanner(calm=False).plan(farm).announced == ()


def test_a_search_that_counts_no_work_is_ended_by_the_clock() -> None:
    """Work alone has failed to end a search: its steps were too small to be counted."""
    limits = QuickPlanner().limits
    assert limits.seconds is not None
    assert 0.1 < limits.seconds <= 60
    assert limits.deterministic is not None
