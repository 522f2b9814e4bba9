"""Near weeks that the clock can keep: replanned with the fill a session really allows, then cut by cut left out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import pytest
from day_farm import cuts_of, day_farm, the_session

from scheduler.farm.bench import PlugKind
from scheduler.farm.farm import Farm
from scheduler.plan.model import About, Cut, NearWeeksResult, Plan
from scheduler.planning.bench_day import Fitted, Punctual, fit_sessions, schedule_cuts, schedule_sessions, with_bench
from scheduler.solving import Budget, Limits

LIMITS = Limits(deterministic=0.5, seed=1)
GROUPS = [("branching", "N1")] * 5
SESSION = "bench 2026-12-01"


@dataclass(frozen=True)
class Near:
    """Near weeks of a test: cuts, and the fills they were planned with."""

    cuts: tuple[Cut, ...]
    fill: Mapping[str, float]


@dataclass
class Planner:
    """Plans again by cutting ``step`` fewer pieces of every colony for each lowering of the fill."""

    farm: Farm
    step: int
    pinned: frozenset[str] = frozenset()
    calls: int = 0

    def again(self, fill: Mapping[str, float]) -> Near:
        self.calls += 1
        pieces = [max(1, 12 - self.step * self.calls)] * len(GROUPS)
        return Near(cuts_of(self.farm, pieces), fill)

    def fit(self) -> Fitted[Near]:
        return fit_sessions(
            self.farm, Near(cuts_of(self.farm, [12] * len(GROUPS)), {}), cuts_of=lambda n: n.cuts, blocks_of=lambda _: {}, replan=self.again,
            without=lambda n, cut: Near(tuple(c for c in n.cuts if c.lot != cut.lot), n.fill),
            value=lambda _, cut: int(cut.colony[1:]), pinned=lambda cut: cut.colony in self.pinned, limits=LIMITS,
        )  # fmt: skip


def test_a_session_far_too_late_loses_cuts_before_it_gets_its_clock() -> None:
    farm = day_farm(GROUPS, minutes=100.0)
    looked, whole = list[int](), Near(cuts_of(farm, [12] * len(GROUPS)), {})

    def late(near: Near, session: str) -> float:
        if session != SESSION:
            return 0.0
        looked.append(len(near.cuts))
        return 20.0 * (len(near.cuts) - 2)

    def fit(replans: int, pinned: Callable[[Cut], bool] = lambda _: False) -> Fitted[Near]:
        return fit_sessions(
            farm, whole, cuts_of=lambda n: n.cuts, blocks_of=lambda _: {}, replan=lambda _: whole, pinned=pinned, late=late,
            without=lambda n, cut: Near(tuple(c for c in n.cuts if c.lot != cut.lot), n.fill),
            value=lambda _, cut: int(cut.colony[1:]), limits=LIMITS, replans=replans,
        )  # fmt: skip

    found = fit(0)
    assert looked == [5, 4, 3, 2]
    assert [c.colony for c, _ in found.dropped][:3] == sorted(c.colony for c in whole.cuts)[:3]  # those of least value
    assert found.dropped[0][1] == f"{SESSION} would be done 60 minutes too late"
    looked.clear()
    fit(1)
    assert not looked  # near weeks that may be planned again are told by the clock how much shorter to be
    fit(0, pinned=lambda _: True)
    assert looked == [5]


def test_a_short_look_tells_what_the_clock_tells_later() -> None:
    farm = day_farm(GROUPS, minutes=240.0)
    cuts = cuts_of(farm, [12] * len(GROUPS))
    clock = schedule_cuts(farm, cuts, {}, LIMITS).sessions[0].clock
    spare = (clock.latest - clock.finish).total_seconds() / 60
    assert spare > 1
    looks = {}
    for less in (spare - 1, spare + 1):
        shorter = day_farm(GROUPS, minutes=240.0 - less)
        punctual = Punctual(shorter, replace(LIMITS, deterministic=0.1), Budget(LIMITS))
        looks[less] = punctual.minutes_late(SESSION, cuts, {})
    assert looks[spare - 1] == 0
    assert 0 < looks[spare + 1] <= 30


def test_what_was_looked_at_is_not_looked_at_again() -> None:
    farm = day_farm(GROUPS, minutes=100.0)
    cuts, budget = cuts_of(farm, [12] * len(GROUPS)), Budget(LIMITS)
    punctual = Punctual(farm, replace(LIMITS, deterministic=0.02), budget)
    first, work = punctual.minutes_late(SESSION, cuts, {}), budget.work
    assert first > 0
    assert work > 0
    assert punctual.minutes_late(SESSION, reversed(cuts), {}) == first
    assert budget.work == work
    assert punctual.minutes_late("bench 2026-12-02", cuts, {}) == 0  # nothing is cut then


@pytest.mark.parametrize("labelling", ["plug", "block"])
def test_the_clock_of_a_session_is_made_anew_where_its_labels_change(labelling: str) -> None:
    farm = day_farm(GROUPS[:2], minutes=240.0, settings={"labelling": labelling, "labels_written": "session"})
    cuts = cuts_of(farm, [12, 12])
    one = schedule_cuts(farm, cuts, {}, LIMITS)
    two = {c.lot: 2 for c in cuts}
    again, anew = schedule_cuts(farm, cuts, two, LIMITS, known=one), schedule_cuts(farm, cuts, two, LIMITS)
    assert again.tasks == anew.tasks
    assert again.clocks == anew.clocks
    assert (again.sessions[0] is one.sessions[0]) is (labelling == "plug")  # there a label is on every plug, wherever it stands


def test_a_day_with_room_is_left_alone() -> None:
    planner = Planner(day_farm(GROUPS, minutes=240.0), 0)
    found = planner.fit()
    assert planner.calls == 0
    assert found.bench.late == ()
    assert (found.dropped, found.stuck) == ((), ())


def test_a_tight_day_is_planned_again_with_the_fill_it_allows() -> None:
    planner = Planner(day_farm(GROUPS, minutes=95.0, settings={"bench_fill": 1.0}), 2)
    found = planner.fit()
    assert 1 <= planner.calls <= 3
    assert found.bench.late == ()
    assert found.dropped == ()
    assert set(found.near.fill) == {SESSION}
    assert found.near.fill[SESSION] < 1.0


def test_after_three_plans_the_cut_of_least_value_is_left_out_until_it_fits() -> None:
    planner = Planner(day_farm(GROUPS, minutes=80.0), 0)
    found = planner.fit()
    assert planner.calls == 3
    dropped = [cut.colony for cut, _ in found.dropped]
    assert dropped == [f"c{i}" for i in range(1, len(dropped) + 1)]
    assert found.bench.late == ()
    assert all("would be done at" in why for _, why in found.dropped)
    assert {c.colony for c in found.near.cuts} == {f"c{i}" for i in range(len(dropped) + 1, len(GROUPS) + 1)}


def test_pinned_cuts_stay_and_are_named() -> None:
    planner = Planner(day_farm(GROUPS, minutes=40.0), 0, pinned=frozenset({"c1", "c2", "c3"}))
    found = planner.fit()
    assert {c.colony for c in found.near.cuts} == {"c1", "c2", "c3"}
    assert found.stuck == (SESSION,)


def test_cuts_that_lack_plugs_long_enough_in_water_are_left_out() -> None:
    farm = replace(
        day_farm(GROUPS), plugs=(PlugKind(plug_kind="small", condition_days=14, in_water=40, in_water_from=date(2026, 11, 1)),)
    )
    found = Planner(farm, 0).fit()
    assert sum(c.pieces for c in found.near.cuts) == 36
    assert [cut.colony for cut, _ in found.dropped] == ["c1", "c2"]


def plan_with(farm: Farm, cuts: Sequence[Cut]) -> Plan:
    zero = Decimal(0)
    near = NearWeeksResult(outcome="optimal", reason="", value=zero, bound=zero, gap_percent=zero, seed=1, wall_seconds=zero)
    about = About(
        farm_name="",
        book_fingerprint="",
        plan_monday=farm.weeks.plan_monday,
        weeks=8,
        near_weeks=2,
        seed=1,
        versions={},
        near=near,
    )
    return Plan(about=about, cuts=tuple(cuts))


def test_a_plan_gets_its_clock_and_its_run_order() -> None:
    farm = day_farm([("branching", "S1"), ("branching", "N1")])
    plan = plan_with(farm, cuts_of(farm, [5, 5]))
    bench = schedule_sessions(farm, plan, LIMITS)
    timed = with_bench(plan, bench)
    assert [c.run_order for c in timed.cuts] == [2, 1]  # North is worked before South
    assert {t.session for t in timed.bench} == {SESSION}
    assert timed.clocks[0].session == SESSION
    assert Plan.model_validate_json(timed.model_dump_json()) == timed


def test_lots_get_their_final_codes() -> None:
    farm = day_farm(GROUPS[:2])
    bench = schedule_cuts(farm, cuts_of(farm, [5, 5]), {}, LIMITS)
    named = bench.renamed({"L1": "AA-2649a"})
    assert set(named.run_order) == {"AA-2649a", "L2"}
    assert {t.lot for t in named.tasks if t.lot} == {"AA-2649a", "L2"}


def test_a_session_already_scheduled_is_not_scheduled_again() -> None:
    farm = day_farm(GROUPS[:2])
    cuts = cuts_of(farm, [5, 5])
    first = schedule_cuts(farm, cuts, {}, LIMITS)
    again = schedule_cuts(farm, cuts, {}, LIMITS, known=first)
    assert again.sessions[0] is first.sessions[0]
    assert schedule_cuts(farm, cuts[:1], {}, LIMITS, known=first).sessions[0] is not first.sessions[0]
    assert the_session(farm).id == first.sessions[0].session.id
