"""Sessions the clock leaves early are filled up, with cuts as large as the clock takes them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.farm.farm import Farm
from scheduler.farm.pins import Pin
from scheduler.plan.model import Plan
from scheduler.planning.bench_day import BenchResult, Fitted, fit_sessions, schedule_cuts
from scheduler.planning.near import clock
from scheduler.planning.near.clock import bench_cuts, working_name
from scheduler.planning.near.filling import ROUNDS, SLACK_MINUTES, Filling, minutes_left
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Limits
from scheduler.week.floor import blocks_positions
from scheduler.week.model import ChosenCut
from tests.farms_large import large_farm

FARM = large_farm(40, seed=7, weeks=10)
LIMITS = Limits(seconds=600, deterministic=0.3, seed=1)


def lose(count: int, kept: dict[str, Any]) -> Any:
    """A clock that leaves out the ``count`` largest cuts of the busiest session, though all would have been in time."""

    def fitted(*given: Any, **more: Any) -> Fitted[NearPlan]:
        found: Fitted[NearPlan] = fit_sessions(*given, **more)
        busiest = max(found.bench.sessions, key=lambda s: s.clock.work_minutes).session.id
        mine = sorted((c for c in found.near.cuts if c.session == busiest), key=lambda c: -c.pieces)
        near = replace(found.near, cuts=tuple(c for c in found.near.cuts if c not in mine[:count]))
        bench = schedule_cuts(FARM, bench_cuts(near), more["blocks_of"](near), more["limits"])
        table = {c.lot: c for c in bench_cuts(found.near)}
        kept.update(session=busiest, lost=mine[:count], before=found.near, after=near, bench=bench)
        return replace(found, near=near, bench=bench, dropped=tuple((table[working_name(c)], "the clock") for c in mine[:count]))

    return fitted


def test_a_session_that_lost_cuts_to_the_clock_gets_as_much_work_again(monkeypatch: pytest.MonkeyPatch) -> None:
    kept: dict[str, Any] = {}
    monkeypatch.setattr(clock, "fit_sessions", lose(2, kept))
    plan = plan_farm(FARM, limits=LIMITS).plan
    session, lost = kept["session"], sum(c.pieces for c in kept["lost"])
    left = next(s for s in kept["bench"].sessions if s.session.id == session)
    assert minutes_left(left) >= SLACK_MINUTES
    pieces = sum(c.pieces for c in plan.cuts if c.session == session)
    assert pieces >= sum(c.pieces for c in kept["after"].cuts if c.session == session) + lost / 2
    assert all(c.finish <= c.latest for c in plan.clocks)
    assert audit(FARM, plan).clean
    made = {c.colony: c.pieces for c in plan.cuts if c.session is not None}
    for cut in kept["lost"]:  # told only where less of it came back
        told = [n.text for n in plan.notices if n.text.startswith(f"{cut.option.name}: ") and "the clock" in n.text]
        assert bool(told) == (made.get(cut.option.name, 0) < cut.pieces)


def filling_with(
    spare: dict[int, float], cuts: Sequence[ChosenCut], worth: float = 1.0, stopped: bool = False
) -> tuple[Filling, list[int]]:
    """A filling whose clock has so many minutes left for a last cut of so many pieces, and which pieces it was asked for."""
    asked: list[int] = []

    def late(near: NearPlan, _: str) -> float:
        asked.append(near.cuts[-1].pieces)
        return max(0.0, -spare[near.cuts[-1].pieces])

    def clocked(near: NearPlan, _: BenchResult) -> BenchResult:
        return bench_of(spare[near.cuts[-1].pieces])

    def value(near: NearPlan) -> int:
        return int(worth * sum(c.pieces for c in near.cuts))

    return Filling(FARM, lambda *_: cuts, late, clocked, lambda _: True, value, lambda: stopped, 1), asked


def bench_of(minutes: float) -> Any:
    """A bench day of one session with so many minutes to spare."""
    latest = datetime(2026, 11, 30, 12, 0)
    row = SimpleNamespace(
        clock=SimpleNamespace(latest=latest, finish=latest - timedelta(minutes=minutes)), session=SimpleNamespace(id="S"),
    )  # fmt: skip
    return SimpleNamespace(sessions=(row,), late=(row,) if minutes < 0 else ())


@pytest.fixture(scope="module")
def some_cut() -> ChosenCut:
    """A cut of eight pieces or more of a plan, its place with it."""
    kept: dict[str, Any] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "fit_sessions", lose(1, kept))
        plan_farm(FARM, limits=LIMITS)
    cut: ChosenCut = next(c for c in kept["before"].cuts if c.pieces >= 8)
    return cut


def test_a_cut_too_long_for_the_clock_is_tried_smaller_in_positions_it_had(some_cut: ChosenCut) -> None:
    traits = FARM.traits(some_cut.option.strain)
    piece = max(traits.minutes_cut, traits.minutes_mount + FARM.settings.label_minutes)
    n = some_cut.pieces
    filling, asked = filling_with({n: -1.5 * piece, n - 2: 3.0}, [some_cut])
    near, bench = filling.fill(NearPlan((), (), {}, None, ()), bench_of(60.0))
    assert asked == [n, n - 2]
    (cut,) = near.cuts
    assert cut.pieces == n - 2
    held = [blocks_positions(c.blocks, traits.plug_rows, traits.plug_cols) for c in (cut, some_cut)]
    assert held[0] < held[1]
    assert sum(b.plugs for b in cut.blocks) == n - 2
    assert bench.late == ()


@pytest.mark.parametrize(
    ("minutes", "worth", "stopped", "tried"),
    [(SLACK_MINUTES - 0.1, 1.0, False, 0), (60.0, 0.0, False, 0), (60.0, 1.0, True, 0), (60.0, 1.0, False, 1)],
    ids=["ends in time", "worth nothing", "interrupted", "far too long"],
)
def test_nothing_is_added(some_cut: ChosenCut, minutes: float, worth: float, stopped: bool, tried: int) -> None:
    filling, asked = filling_with({some_cut.pieces: -600.0}, [some_cut], worth, stopped)
    near, bench = filling.fill(NearPlan((), (), {}, None, ()), bench_of(minutes))
    assert near.cuts == ()
    assert minutes_left(bench.sessions[0]) == pytest.approx(minutes)
    assert len(asked) == tried


def test_what_a_short_look_takes_for_in_time_is_not_kept_where_the_clock_says_otherwise(some_cut: ChosenCut) -> None:
    filling, _ = filling_with({some_cut.pieces: -1.0}, [some_cut])
    near, _ = replace(filling, late=lambda *_: 0.0).fill(NearPlan((), (), {}, None, ()), bench_of(60.0))
    assert near.cuts == ()


# ---- cuts make way for others --------------------------------------------------------------------------------------


class Enough(Exception):
    """Ends planning once the near weeks are seen."""


class Renewed:
    """Near weeks of a farm before and after cuts made way for others; the rest of the plan is made only if ``whole``."""

    plan: Plan

    def __init__(self, farm: Farm, limits: Limits, *, whole: bool = False) -> None:
        self.rounds, self._whole = 0, whole
        with pytest.MonkeyPatch.context() as patch, suppress(Enough):
            patch.setattr(Filling, "renew", self._watched(Filling.renew))
            self.plan = plan_farm(farm, limits=limits).plan

    def _watched(self, renew: Any) -> Any:
        def watched(filling: Filling, near: NearPlan, bench: BenchResult, sessions: Any, held: Any) -> Any:
            def counted() -> bool:
                self.rounds += 1
                return filling.over()

            self.before, self.sessions = near, sessions
            self.after, self.bench = renew(replace(filling, over=counted), near, bench, sessions, held)
            self.worth = filling.worth(self.before), filling.worth(self.after)
            if not self._whole:
                raise Enough
            return self.after, self.bench

        return watched


@pytest.fixture(scope="module")
def renewed() -> Renewed:
    """A farm's near weeks and the plan with them."""
    return Renewed(FARM, LIMITS, whole=True)


def test_cuts_make_way_for_more_worth_and_every_session_stays_in_time(renewed: Renewed) -> None:
    assert renewed.rounds == ROUNDS * len(renewed.sessions)
    assert renewed.worth[1] > renewed.worth[0]
    assert not renewed.bench.late
    made = {f"{c.colony} {c.week}": c.pieces for c in renewed.plan.cuts if c.session is not None}
    assert {working_name(c): c.pieces for c in renewed.after.cuts} == made
    assert all(c.finish <= c.latest for c in renewed.plan.clocks)
    assert audit(FARM, renewed.plan).clean


def test_near_weeks_renewed_repeat_for_a_seed(renewed: Renewed) -> None:
    again = Renewed(FARM, LIMITS)
    assert again.after.cuts == renewed.after.cuts
    assert again.worth == renewed.worth


def test_colonies_that_pins_speak_of_do_not_make_way(renewed: Renewed) -> None:
    left = {c.option.name for c in renewed.after.cuts}
    went = next(c for c in renewed.before.cuts if c.option.name not in left)  # else this test has nothing to hold
    name, pieces = went.option.name, went.pieces
    kept = Renewed(replace(FARM, pins=(Pin(pin="hold it", kind="at least", colony=name, pieces=pieces),)), LIMITS)
    assert sum(c.pieces for c in kept.after.cuts if c.option.name == name) >= pieces


def test_nothing_makes_way_once_work_is_used_up() -> None:
    found = Renewed(FARM, Limits(seconds=600, deterministic=0.002, seed=1))
    assert found.rounds == 1
    assert found.after.cuts == found.before.cuts
