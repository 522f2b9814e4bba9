"""Schedules of whole sessions keep every rule of the clock, as the audit's own code reads it; spoiled ones do not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from day_farm import busy_day, cuts_of, day_farm, on_rock, the_session

from scheduler.audit.clock import check_clock
from scheduler.audit.context import Context
from scheduler.bench.session import SessionSchedule, schedule_session
from scheduler.farm.bench import RouteStep
from scheduler.farm.farm import Farm
from scheduler.plan.model import About, BenchTask, Cut, NearWeeksResult, Plan
from scheduler.solving import Limits

LIMITS = Limits(deterministic=1.0, seed=1)


def plan_of(farm: Farm, cuts: Sequence[Cut], found: SessionSchedule, tasks: Sequence[BenchTask] | None = None) -> Plan:
    order = {lot: i for i, lot in enumerate(found.order, 1)}
    zero = Decimal(0)
    near = NearWeeksResult(outcome="optimal", reason="", value=zero, bound=zero, gap_percent=zero, seed=1, wall_seconds=zero)
    return Plan(
        about=About(farm_name="", book_fingerprint=farm.fingerprint, plan_monday=farm.weeks.plan_monday, weeks=farm.weeks.count,
                    near_weeks=farm.weeks.near, seed=1, versions={}, near=near),
        cuts=tuple(c.model_copy(update={"run_order": order[c.lot]}) for c in cuts),
        bench=tuple(found.tasks if tasks is None else tasks), clocks=(found.clock,),
    )  # fmt: skip


def faults(farm: Farm, plan: Plan) -> list[str]:
    ctx = Context(farm, plan)
    check_clock(ctx)
    assert {b.rule for b in ctx.breaches} <= {"S6"}
    return [b.text for b in ctx.breaches]


def scheduled(farm: Farm, cuts: Sequence[Cut]) -> SessionSchedule:
    return schedule_session(farm, the_session(farm), cuts, {}, LIMITS)


@pytest.mark.parametrize("seed", range(3))
def test_a_long_day_with_every_kind_of_work_keeps_every_rule(seed: int) -> None:
    farm, cuts = busy_day(seed, 16)
    found = scheduled(farm, cuts)
    assert found.fits
    assert faults(farm, plan_of(farm, cuts, found)) == []
    assert set(found.order) == {c.lot for c in cuts}


def test_the_same_day_gives_the_same_clock() -> None:
    farm, cuts = busy_day(5, 10)
    assert scheduled(farm, cuts).tasks == scheduled(farm, cuts).tasks


@pytest.mark.parametrize(
    "settings",
    [{"labels_written": "session"}, {"labels_written": "session", "labelling": "block"}, {"baths": 1}, {"mix_pieces": 12},
     {"stand_by_minutes": 0.0}, {"break_after_minutes": 45.0}, {"allowance_share": 0.09, "allowance_base": "shift"}, {"bath_pieces": 4}],
    ids=str,
)  # fmt: skip
def test_other_ways_of_working_keep_every_rule(settings: dict[str, object]) -> None:
    groups = [
        ("branching", "N1"),
        ("plating", "N1"),
        ("leather", "N1"),
        ("button", "S1"),
        ("branching", "S1"),
        ("branching", "Q1"),
    ]
    farm = on_rock(day_farm(groups, minutes=400.0, settings=settings), "c2")
    cuts = cuts_of(farm, [8, 10, 5, 4, 12, 6])
    farm_cuts = [c for c in cuts if c.colony != "c4"]  # no toxic work beside quarantine
    found = scheduled(farm, farm_cuts)
    assert found.fits
    assert faults(farm, plan_of(farm, farm_cuts, found)) == []


ROUTES: dict[str, list[tuple[str, str, dict[str, float]]]] = {
    "few steps": [("cut", "cutter", {"of_colony": 1.0, "of_cut": 1.0}), ("mount", "mounter", {"of_mount": 1.0})],
    "dipped on the plug": [
        ("fetch", "cutter", {"of_colony": 0.5}), ("cut", "cutter", {"of_colony": 0.5, "of_cut": 1.0}), ("mount", "mounter", {"of_mount": 0.8}),
        ("dip", "mounter", {}), ("rack", "mounter", {"of_mount": 0.2}),
    ],
    "lifted out by the cutter": [
        ("cut", "cutter", {"of_colony": 0.7, "of_cut": 1.0}), ("dip", "cutter", {}), ("mother back", "cutter", {"of_colony": 0.1}),
        ("rinse", "cutter", {"of_colony": 0.2}), ("mount", "mounter", {"of_mount": 1.0}),
    ],
}  # fmt: skip


@pytest.mark.parametrize("name", ROUTES)
def test_routes_of_the_farm_s_own(name: str) -> None:
    rows = tuple(
        RouteStep(group="branching", place=i, step=step, worker=worker, **shares)  # type: ignore[arg-type]
        for i, (step, worker, shares) in enumerate(ROUTES[name], 1)
    )
    farm = replace(day_farm([("branching", "N1"), ("branching", "N1"), ("branching", "S1")]), routes=rows)
    cuts = cuts_of(farm, [6, 9, 5])
    found = scheduled(farm, cuts)
    assert found.fits
    assert faults(farm, plan_of(farm, cuts, found)) == []
    assert {step for t in found.tasks for step in t.steps} >= {step for step, _, _ in ROUTES[name]}


def test_one_person_alone_does_every_step() -> None:
    farm = day_farm([("branching", "N1"), ("plating", "N1"), ("leather", "S1")], people=("Ada",))
    cuts = cuts_of(farm, [6, 6, 6], mounters=("Ada",))
    found = scheduled(farm, cuts)
    assert faults(farm, plan_of(farm, cuts, found)) == []
    assert found.clock.clock_minutes >= found.clock.work_minutes - Decimal("0.15") * 18  # labels are written before the session


# ---- spoiled clocks ------------------------------------------------------------------------------------------------

FARM = day_farm([("branching", "N1"), ("plating", "N1"), ("leather", "N1"), ("button", "N1"), ("branching", "S1")], minutes=220.0)
CUTS = cuts_of(FARM, [8, 10, 6, 4, 7])[:3] + cuts_of(FARM, [8, 10, 6, 4, 7])[4:]
GOOD = scheduled(FARM, CUTS)


def spoiled(change: Callable[[list[BenchTask]], list[BenchTask]], farm: Farm = FARM) -> list[str]:
    return faults(farm, plan_of(FARM, CUTS, GOOD, change(list(GOOD.tasks))))


def only(tasks: Sequence[BenchTask], lot: str, step: str) -> BenchTask:
    return next(t for t in tasks if t.lot == lot and step in t.steps)


def moved(lot: str, step: str, minutes: float, stretch: float = 0.0) -> Callable[[list[BenchTask]], list[BenchTask]]:
    """Moves a task, and makes it so much longer."""

    def change(tasks: list[BenchTask]) -> list[BenchTask]:
        task = only(tasks, lot, step)
        by, more = timedelta(minutes=minutes), timedelta(minutes=minutes + stretch)
        new = task.model_copy(update={"start": task.start + by, "end": task.end + more})
        return [new if t is task else t for t in tasks]

    return change


def without(lot: str | None, step: str) -> Callable[[list[BenchTask]], list[BenchTask]]:
    return lambda tasks: [t for t in tasks if not (t.lot == lot and step in t.steps)]


def altered(of: str, step: str, /, **values: object) -> Callable[[list[BenchTask]], list[BenchTask]]:
    return lambda tasks: [t.model_copy(update=values) if t.lot == of and step in t.steps else t for t in tasks]


def test_the_unspoiled_clock_is_clean() -> None:
    assert spoiled(lambda tasks: tasks) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (moved("L1", "cut", -60), "set-up ends"),
        (moved("L5", "rack", 300), "clean-down begins"),
        (moved("L1", "cut", 0, stretch=-2), "standard is"),
        (moved("L1", "dip", 0, stretch=-3), "dip of"),
        (moved("L1", "dip", 0, stretch=20), "10 to 15"),
        (moved("L1", "rinse", 1), "not when rinse begins"),
        (moved("L2", "mother dip", 0, stretch=-0.5), "mother dip of 0.50"),
        (without("L1", "rinse"), "no time for rinse"),
        (without("L1", "mount"), "no time for mount"),
        (altered("L1", "mount", pieces=1), "pieces are mounted; it has 8"),
        (without(None, "change of water"), "without a change of water"),
        (altered("L1", "rinse", person="Cleo"), "Cleo, who is not in it"),
        (altered("L1", "mount", person="Ada"), "mount by Ada; it falls to Ben"),
        (altered("L2", "mount", kneading=None), "without a kneading"),
        (altered("L2", "mount", kneading=1), "kneading 1 covers 10 pieces"),
        (altered("L1", "dip", mix=2), "used before it is made"),
        (altered("L1", "cut", lot="L9"), "lot L9, which is not cut"),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_a_spoiled_clock_is_found_out(change: Callable[[list[BenchTask]], list[BenchTask]], words: str) -> None:
    found = spoiled(change)
    assert any(words in text for text in found), found


@pytest.mark.parametrize(
    ("settings", "words"),
    [({"baths": 1, "bath_pieces": 30}, "baths of iodine"), ({"mix_pieces": 10}, "it serves 10"), ({"break_after_minutes": 30.0}, "without a break"),
     ({"putty_set_minutes": 2.0}, "it sets in 2"), ({"minutes": 85.0}, "clean-down begins")],
    ids=str,
)  # fmt: skip
def test_a_clock_made_for_easier_settings_is_found_out(settings: dict[str, float], words: str) -> None:
    minutes = settings.pop("minutes", 220.0)
    groups = [("branching", "N1"), ("plating", "N1"), ("leather", "N1"), ("button", "N1"), ("branching", "S1")]
    tight = day_farm(groups, minutes=minutes, settings=settings)
    found = spoiled(lambda tasks: tasks, tight)
    assert any(words in text for text in found), found


def test_two_things_at_once_are_found_out() -> None:
    def double(tasks: list[BenchTask]) -> list[BenchTask]:
        one = only(tasks, "L1", "cut")
        return [*tasks, one.model_copy(update={"steps": ("break",), "lot": None})]

    assert any("Ada has" in text for text in spoiled(double))


def test_the_order_of_water_toxic_and_slimy_work_is_checked() -> None:
    swapped = {"L3": "L1", "L1": "L3"}  # a slimy leather takes the place of a stony coral
    other = day_farm(
        [("leather", "N1"), ("plating", "N1"), ("branching", "N1"), ("button", "N1"), ("branching", "S1")], minutes=220.0
    )
    found = faults(other, plan_of(other, CUTS, GOOD))
    assert any("is cut from" in text for text in found), (swapped, found)
