"""Whole replays: repeatable, the same weather for all, resumable, and their forecasts judged in a branch."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scheduler.errors import NoPlanFound
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from scheduler.planning.hand import plan_by_hand
from scheduler.replay import Chance, Expectation, Job, WayOfWorking, replay, replay_many
from scheduler.replay.measures import Measures
from scheduler.replay.run import Way
from tests.farms import random_farm
from tests.replay.ways import IDLE, SELL_ALL, cut_of, plan_of

FARM = random_farm(4, 8, weeks=8)


def by_hand() -> Way:
    return lambda farm: plan_by_hand(farm, "simple").plan


HAND = WayOfWorking("hand", by_hand)


def test_the_same_arguments_give_the_same_replay() -> None:
    assert replay(FARM, HAND, 3, 4) == replay(FARM, HAND, 3, 4)
    assert replay(FARM, HAND, 3, 4)["money_by_week"] != replay(FARM, HAND, 4, 4)["money_by_week"]


def test_a_replay_adds_up() -> None:
    found = replay(FARM, HAND, 1, 8)
    sales = sum(v for k, v in found["income"].items() if k not in ("late", "short"))
    wage = float(FARM.settings.wage_per_hour) / 60 * sum(found["minutes"].values())
    assert found["money"] == pytest.approx(sales - wage, abs=0.2)
    assert found["money"] == found["money_by_week"][-1]
    assert found["cuts_below_keep"] == 0
    assert found["counts"]["frags mounted"] <= found["counts"]["pieces cut"]
    assert 0 < found["rack_use"] < 1
    assert json.loads(json.dumps(found)) == found


def test_all_ways_meet_the_same_customers_and_mothers() -> None:
    chance = replace(Chance(), die_per_week=0.05, recede_per_week=0.1)
    one, two = replay(FARM, IDLE, 5, 6, chance=chance), replay(FARM, SELL_ALL, 5, 6, chance=chance)
    for what in ("mothers died", "mothers receded"):
        assert one["counts"].get(what) == two["counts"].get(what)
    assert one["money"] == 0
    assert two["money"] > 0


def test_a_week_without_a_plan_passes_and_is_told() -> None:
    def none() -> Way:
        def refuse(farm: Farm) -> Plan:
            raise NoPlanFound(f"nothing for {farm.weeks.label(1)}")

        return refuse

    found = replay(FARM, WayOfWorking("none", none), 1, 3)
    assert found["counts"]["weeks without a plan"] == 3
    assert found["weeks_without_plan"][0] == "week 1: nothing for 2026-W49"


def test_a_changed_announcement_is_counted() -> None:
    farm, measures = random_farm(4, 8), None

    def announce(*cuts: tuple[str, int, int, str]) -> Plan:
        rows = [
            cut_of(farm, colony, pieces, lot=f"{colony}{week}", week=week, session=session)
            for colony, week, pieces, session in cuts
        ]
        return plan_of(farm, cuts=rows)

    from scheduler.replay import World

    names = [c.colony for c in farm.colonies[:4]]
    measures = Measures(World(farm, 1))
    measures.announced(announce(*((name, 2, 10, "Tue") for name in names)))
    measures.announced(announce((names[0], 1, 10, "Tue"), (names[1], 1, 12, "Tue"), (names[2], 1, 10, "Wed")))
    found = measures.summary(World(farm, 1))
    assert found["cuts_announced"] == (4 if farm.weeks.near > 1 else 0)
    assert found["cuts_changed"] == (2 if farm.weeks.near > 1 else 0)  # another session, and dropped; 20 % more is no change


# ---- many -------------------------------------------------------------------------------------------------------------


def test_a_run_goes_on_where_it_was(tmp_path: Path) -> None:
    heard: list[tuple[str, int, bool]] = []

    def told(job: Job, result: dict[str, Any], before: bool) -> None:
        assert result["seed"] == job.seed
        heard.append((job.way.name, job.seed, before))

    jobs = [Job(way, seed) for seed in (1, 2) for way in (IDLE, SELL_ALL)]
    first = replay_many(FARM, jobs[:3], 3, tmp_path, told=told)
    again = replay_many(FARM, jobs, 3, tmp_path, told=told)
    assert [before for _, _, before in heard] == [False] * 3 + [True] * 3 + [False]
    assert again[:3] == first
    assert sorted(p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*.json")) == [
        "idle/seed-001.json", "idle/seed-002.json", "sell-all/seed-001.json", "sell-all/seed-002.json",
    ]  # fmt: skip


def test_each_week_done_is_told(tmp_path: Path) -> None:
    heard: list[tuple[str, int, int]] = []
    jobs = [Job(IDLE, 1), Job(SELL_ALL, 2)]
    replay_many(
        FARM, jobs, 2, tmp_path, backend="sequential", week_told=lambda job, week: heard.append((job.way.name, job.seed, week))
    )
    assert heard == [("idle", 1, 1), ("idle", 1, 2), ("sell all", 2, 1), ("sell all", 2, 2)]


def test_results_of_another_run_or_broken_files_are_done_again(tmp_path: Path) -> None:
    job = Job(IDLE, 1)
    replay_many(FARM, [job], 2, tmp_path)
    fresh: list[bool] = []
    replay_many(FARM, [job], 3, tmp_path, told=lambda _j, _r, before: fresh.append(before))
    job.file(tmp_path).write_text("{ half a file", encoding="utf-8")
    found = replay_many(FARM, [job], 3, tmp_path, told=lambda _j, _r, before: fresh.append(before))
    assert fresh == [False, False]
    assert json.loads(job.file(tmp_path).read_text(encoding="utf-8"))["result"] == found[0]


def test_the_backend_comes_from_outside(tmp_path: Path) -> None:
    jobs = [Job(SELL_ALL, seed) for seed in (1, 2, 3)]
    side_by_side = replay_many(FARM, jobs, 2, tmp_path / "a", backend="threading", workers=2)
    assert side_by_side == replay_many(FARM, jobs, 2, tmp_path / "b", backend="sequential")


# ---- forecasts --------------------------------------------------------------------------------------------------------


def test_a_forecast_is_judged_by_the_plan_carried_out_as_issued() -> None:
    seen: list[tuple[Any, ...]] = []

    def forecasting(farm: Farm, plan: Plan) -> Expectation:
        strains = tuple(s.strain for s in farm.strains)
        light = {s.zone: (farm.tanks[0].tank, 150.0) for s in plan.stands}
        return Expectation(strains, farm.weeks.months, np.zeros((5, len(strains), len(farm.weeks.months))), light)

    def judge(expected: Expectation, actual: Any, history: Any, shares: Any, seed: int) -> dict[str, Any]:
        seen.append((expected, actual, history, shares, seed))
        return {"sum": float(actual.sum())}

    way = replace(HAND, forecasting=forecasting)
    plain = replay(FARM, HAND, 2, 7)
    found = replay(FARM, way, 2, 7, forecast_weeks=[1, 7], judge=judge)
    assert {k: v for k, v in found.items() if k != "forecasts"} == {k: v for k, v in plain.items() if k != "forecasts"}
    assert [f["week"] for f in found["forecasts"]] == [1, 7]
    for expected, actual, _, shares, seed in seen:
        assert actual.shape == (len(expected.strains), len(expected.months))
        assert seed == 2
        assert all(0 < share <= 1 for share in shares)
    assert found["forecasts"][0]["sum"] > 0
    assert [len(past) for _, _, past, _, _ in seen] == [0, 1]  # December 2026 is past by week 7
