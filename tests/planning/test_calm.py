"""Calm re-planning by the full planner: what was announced stays where nothing speaks against it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.farm.blocks import Block
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced, Plan, Sale
from scheduler.planning.near.options import alone
from scheduler.planning.near.planner import NearPlanner
from scheduler.planning.near.told import home_of, told_places
from scheduler.planning.on_racks import lots_on_racks
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.placing import Placing
from scheduler.planning.since import announced_cuts, announced_sales, calm
from scheduler.planning.told_sales import with_told
from scheduler.season.guide import Wish
from scheduler.season.ledger import Ledger
from scheduler.season.outlets import Outlet
from scheduler.season.sales import Growing
from scheduler.solving import Limits
from scheduler.week.model import ChosenCut, Start
from scheduler.week.model import Limits as Room
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale
from scheduler.week.worth import change_cost, changes_cost, keeps, worth_of
from tests.audit.small_farm import changed
from tests.farms import random_farm
from tests.week.bench_farm import EVERY, FlatWorth, floor_of, model_of, options_of, solved, tiny_farm
from tests.week.test_near_stirring import Free, leaving, stuck

LIMITS = Limits(seconds=600, deterministic=0.5, seed=1)


def places(plan: Plan) -> dict[str, Any]:
    """Rack and blocks of the near cuts, by colony."""
    first = {s.lot: (s.rack, s.blocks) for s in plan.stands}
    return {c.colony: first[c.lot] for c in plan.cuts if c.session is not None}


# ---- planned again ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seed", "colonies", "cost"), [(6, 16, 50), (6, 16, 5), (3, 14, 5), (9, 20, 5)])
def test_the_same_monday_planned_again_keeps_what_was_announced(seed: int, colonies: int, cost: int) -> None:
    farm = changed(random_farm(seed, colonies), "settings", change_cost=Decimal(cost))
    first = plan_farm(farm, limits=LIMITS).plan
    announced, sales = announced_cuts(farm, first), announced_sales(farm, first)
    assert announced
    again = plan_farm(farm, limits=LIMITS, announced=announced, sales_told=sales).plan
    assert audit(farm, again).clean
    assert calm(announced, again.cuts).changed == 0
    assert again.about.near.value >= first.about.near.value  # it began from there


def test_announced_cuts_carry_their_people_and_places() -> None:
    farm = random_farm(6, 16)
    plan = plan_farm(farm, limits=LIMITS).plan
    cut = {c.colony: c for c in plan.cuts if c.session is not None}
    for row in announced_cuts(farm, plan):
        assert (row.cutter, row.mounter) == (cut[row.colony].cutter, cut[row.colony].mounter)
        assert (row.rack, row.blocks) == places(plan)[row.colony]


def test_a_cut_that_became_unlawful_is_not_kept() -> None:
    """Marked watch since: it is dropped, the others stay, and what that costs is weighed."""
    farm = changed(random_farm(6, 16), "settings", change_cost=Decimal(50))
    first = plan_farm(farm, limits=LIMITS).plan
    announced = announced_cuts(farm, first)
    gone = announced[0].colony
    unfit = tuple(c.model_copy(update={"condition": "watch"}) if c.colony == gone else c for c in farm.colonies)
    again = plan_farm(replace(farm, colonies=unfit), limits=LIMITS, announced=announced).plan
    assert gone not in places(again)
    assert calm(announced, again.cuts).changed == 1
    assert [x.subject for x in again.lines if x.line == "change"] == [gone]


# ---- the measure of the near weeks ------------------------------------------------------------------------------------


@dataclass
class Uneven(FlatWorth):
    """Worth that differs by zone and by colony."""

    by_zone: dict[str, float] = field(default_factory=dict)

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:
        return super().piece(strain, week, zone_id, discount=discount) + len(zone_id) % 3 + (0.5 if week == 2 else 0)

    def waiting(self, colony: Any, week: int, pieces: int) -> float:  # noqa: ARG002
        return self.wait * pieces + (len(colony.colony) + ord(colony.colony[0])) % 4


@pytest.mark.parametrize(("told", "room"), [(10, 12), (16, 12), (10, 0), (10, 6), (16, 6)])
def test_worth_without_a_solver_is_the_objective(told: int, room: int) -> None:
    farm = tiny_farm(
        strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "N"), "B2": ("B", "M")}, near_weeks=2,
        tanks={"M": "North", "T": "North", "N": "South", "U": "South"}, racks={"T-a": (4, 6), "U-a": (3, 6)},
        systems={"North": {}, "South": {}}, sessions=({}, {"session": "later", "weekday": "Thu"}), change_cost=3,
    )  # fmt: skip
    rows = (
        Announced(colony="A1", week=1, session="bench 2026-12-01", pieces=told),
        Announced(colony="B2", week=2, session="later 2026-12-10", pieces=5), Announced(colony="gone", week=1, session="x", pieces=4),
    )  # fmt: skip
    limits, worth = Room(announced=rows), Uneven(beyond=2.0, room=room, colony=2.0, wait=0.3)
    model, prices = model_of(farm, limits, worth), Prices(worth, options_of(farm))
    found = solved(model)
    chosen = model.chosen(found)
    assert chosen.cuts
    assert found.outcome.value == worth_of(farm, prices, limits, chosen)
    assert worth_of(farm, prices, limits, Start()) == -(600 + 300 + 600)
    assert found.outcome.value <= alone(options_of(farm), prices, limits)
    again = model_of(farm, limits, worth)
    again.start_from(chosen)
    hint = again.model.proto.solution_hint
    for index, value in list(zip(hint.vars, hint.values, strict=True)):
        again.model.add(again.model.get_int_var_from_proto_index(index) == value)
    assert solved(again).outcome.value == found.outcome.value  # a start is told in full, and right


def brings(cuts: Sequence[tuple[str, int]], kept: str = "bench 2026-12-01", room: int = 0) -> int:
    """Cents by which cuts of one strain are worth more than at the margin, 10 pieces of A1 announced for one session."""
    farm = tiny_farm(mothers={"A1": ("A", "M"), "A2": ("A", "M")}, wage_per_hour=0)
    options = {o.name: o for o in options_of(farm)}
    limits = Room(announced=(Announced(colony="A1", week=1, session=kept, pieces=10),))
    section = options["A1"].sections[0]
    start = Start(tuple(ChosenCut(options[n], k, "bench 2026-12-01", "Ada", "Ada", section) for n, k in cuts))
    low, high = FlatWorth(now=1, beyond=1), FlatWorth(now=11, beyond=1, room=room)
    return worth_of(farm, Prices(high, list(options.values())), limits, start) - worth_of(
        farm, Prices(low, list(options.values())), limits, start
    )


def test_only_announced_cuts_that_are_kept_are_wanted_beyond_what_the_season_wants() -> None:
    assert brings([("A1", 10)]) == 10 * 1000
    assert brings([("A1", 8)]) == 8 * 1000  # a fifth less: kept, and all of it was announced
    assert brings([("A1", 12)]) == 10 * 1000  # a fifth more: kept, and two of it were not announced
    assert brings([("A1", 13)]) == 0  # changed
    assert brings([("A1", 10)], kept="another session") == 0
    assert brings([("A2", 10)]) == 0  # another colony does not sell in its place
    assert brings([("A1", 8), ("A2", 10)]) == 8 * 1000
    assert brings([("A1", 10), ("A2", 10)], room=15) == 15 * 1000  # what was announced is among what the season wants
    assert brings([("A1", 10), ("A2", 10)], room=4) == 10 * 1000


def test_what_is_kept_and_what_a_change_costs() -> None:
    farm = tiny_farm(near_weeks=2, change_cost=3)
    model = model_of(farm, None, FlatWorth())
    (cut,) = model.chosen(solved(model)).cuts
    row = Announced(colony="A1", week=cut.option.week, session=cut.session, pieces=cut.pieces)
    assert keeps(row, [cut])
    assert not keeps(row.model_copy(update={"session": "other"}), [cut])
    assert not keeps(row.model_copy(update={"pieces": 2 * cut.pieces}), [cut])
    assert [change_cost(farm, row.model_copy(update={"week": w})) for w in (1, 2)] == [600, 300]
    assert changes_cost(farm, [row], [cut]) == 0
    assert changes_cost(farm, [row], []) == change_cost(farm, row)


# ---- places -----------------------------------------------------------------------------------------------------------


def test_places_announced_are_offered_where_they_can_still_be_had() -> None:
    farm = tiny_farm(strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "M")}, racks={"T-a": (4, 6)})
    plan = NearPlanner(farm, floor_of(farm), FlatWorth(), Room(), (), LIMITS).plan()
    rows, options = rows_of(plan.cuts), options_of(farm)
    assert {s.name for s in told_places(farm, rows, options).spots["T-a"]} == {c.option.name for c in plan.cuts}
    overlap = [rows[0], rows[0].model_copy(update={"colony": "B1" if rows[0].colony == "A1" else "A1"})]
    assert len(told_places(farm, overlap, options).spots["T-a"]) == 1  # two strains in one place: the first has it
    outside = rows[0].model_copy(update={"blocks": (rows[0].blocks[0].model_copy(update={"top": 40}),)})
    assert not told_places(farm, [outside], options).spots
    assert home_of(farm, rows[0].model_copy(update={"rack": "gone"}), 3) is None


def rows_of(cuts: Sequence[ChosenCut]) -> list[Announced]:
    """Cuts as they would be announced."""
    return [
        Announced(
            colony=c.option.name, week=c.option.week, session=c.session, pieces=c.pieces, cutter=c.cutter, mounter=c.mounter,
            rack=c.section.rack, blocks=c.blocks,
        )
        for c in cuts
    ]  # fmt: skip


def kept_by(farm: Farm, rows: Sequence[Announced]) -> list[ChosenCut]:
    """The cuts entered for some announced ones before anything else."""
    options = options_of(farm)
    placing = Placing(farm, floor_of(farm), Ledger(farm), Room(announced=rows), Prices(FlatWorth(), options), ())
    placing.keep_announced(options)
    return placing.cuts


def test_announced_cuts_are_entered_with_their_people_in_their_places() -> None:
    farm = tiny_farm(
        strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "M")}, people={"Ada": EVERY, "Ben": EVERY},
        racks={"T-a": (4, 6), "T-b": (4, 6)},
    )  # fmt: skip
    rows = rows_of(NearPlanner(farm, floor_of(farm), FlatWorth(), Room(), (), LIMITS).plan().cuts)
    assert len(rows) == 2
    assert sorted(rows_of(kept_by(farm, rows)), key=lambda r: r.colony) == sorted(rows, key=lambda r: r.colony)
    # somebody else mounts, another rack: still the cut announced, made otherwise
    away = [r.model_copy(update={"mounter": "Cy", "rack": "gone"}) for r in rows]
    assert all(keeps(r, kept_by(farm, away)) for r in rows)
    # another session, or pieces nobody could give: not the cut announced
    assert kept_by(farm, [r.model_copy(update={"session": "none"}) for r in rows]) == []
    assert kept_by(farm, [r.model_copy(update={"pieces": 2 * r.pieces}) for r in rows[:1]]) == []


# ---- sales ------------------------------------------------------------------------------------------------------------


def growing(farm: Farm) -> list[Growing]:
    return lots_on_racks(farm)


def test_lots_told_to_sell_do_so_in_the_place_of_others_of_their_strain() -> None:
    """Two lots of a strain, both of size: which of them sells in the first week is all the same; what was told is kept."""
    farm = next(
        f for f in (random_farm(n, 16) for n in range(40)) if len(_two(f)) == 2
    )  # fmt: skip
    one, two = _two(farm)
    name = next(iter(one.life.ready))
    listed = Outlet("list", one.strain, name, 2, 1.0, "van")
    stays = Outlet("left listed", one.strain, name, farm.weeks.count + 1, 1.0)
    wishes = {one.id: [Wish(stays, one.pieces)], two.id: [Wish(listed, 3), Wish(stays, two.pieces - 3)]}
    told = Sale(lot=one.id, week=1, route="market", size_class=name, channel="van", pieces=2)
    found = with_told(farm, [one, two], wishes, [told])
    assert [(w.outlet.week, w.pieces) for w in found[one.id]] == [(1, 2), (farm.weeks.count + 1, one.pieces - 2)]
    assert sum(w.pieces for w in found[two.id] if w.outlet.kind == "list") == 1
    assert {n: sum(w.pieces for w in mine) for n, mine in found.items()} == {one.id: one.pieces, two.id: two.pieces}
    assert with_told(farm, [one, two], wishes, []) == wishes
    own = with_told(farm, [one, two], wishes, [told.model_copy(update={"lot": two.id})])
    assert [(w.outlet.kind, w.outlet.week, w.pieces) for w in own[two.id]][:2] == [("list", 1, 2), ("list", 2, 1)]
    assert own[one.id] == wishes[one.id]


def _two(farm: Farm) -> list[Growing]:
    """Two lots of one strain with four pieces or more that are of their first size from the first week, in one month's weeks."""
    if farm.weeks.month(1) != farm.weeks.month(2):
        return []
    ready = [g for g in growing(farm) if g.pieces >= 4 and g.life.ready and min(g.life.ready.values()) <= 1]
    for strain in dict.fromkeys(g.strain for g in ready):
        mine = [g for g in ready if g.strain == strain]
        if len(mine) > 1 and next(iter(mine[0].life.ready)) == next(iter(mine[1].life.ready)):
            return mine[:2]
    return []


def test_announced_sales_are_those_of_lots_still_there_in_weeks_still_near() -> None:
    farm = random_farm(6, 16)
    plan = plan_farm(farm, limits=LIMITS).plan
    here = announced_sales(farm, plan)
    assert all(s.lot in farm.lot and s.route == "market" and s.week <= farm.weeks.near for s in here)
    later = changed(farm, "settings", plan_monday=farm.weeks.monday(2))
    assert [(s.lot, s.week + 1, s.pieces) for s in announced_sales(later, plan)] == [
        (s.lot, s.week, s.pieces) for s in here if s.week > 1
    ]


# ---- lots in the way ----------------------------------------------------------------------------------------------------


@dataclass
class Leaving(Free):
    """Stock that may leave early by these sales."""

    sales: tuple[EarlySale, ...] = ()

    def early_sales(self, pins: Collection[str]) -> tuple[EarlySale, ...]:  # noqa: ARG002
        return self.sales


def test_a_lot_makes_way_again_only_by_sales_the_search_may_make() -> None:
    """The announced cut of week 1 needs a sale that loses too much; another of the lot, too late for it, is offered."""
    farm = changed(stuck(), "settings", change_cost=Decimal(500))
    stock = Leaving(sales=(leaving(week=1, loss=1000.0), leaving(week=2)))
    row = Announced(
        colony="A1", week=1, session="bench 2026-12-01", pieces=6, cutter="Ada", mounter="Ada", rack="T-a",
        blocks=(Block(top=0, left=0, across=6, plugs=6),),
    )  # fmt: skip

    def as_begun(options: object, prices: object, limits: object, start: Start, **how: object) -> Sequence[ChosenCut]:  # noqa: ARG001
        return start.cuts

    planner = NearPlanner(
        farm, floor_of(farm), FlatWorth(), Room(announced=(row,)), (), LIMITS, stock=stock, begin=as_begun
    )  # fmt: skip
    assert [s.week for s in planner.plan().sales] != [1]
    affordable = replace(stock, sales=(leaving(week=1), leaving(week=2)))
    planner = NearPlanner(
        farm, floor_of(farm), FlatWorth(), Room(announced=(row,)), (), LIMITS, stock=affordable, begin=as_begun
    )  # fmt: skip
    plan = planner.plan()
    assert [s.week for s in plan.sales] == [1]
    assert keeps(row, plan.cuts)
