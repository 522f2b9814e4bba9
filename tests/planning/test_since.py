"""Calm re-planning: what was announced, what counts as changed, what a change costs, and how restless plans are."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.audit import audit
from scheduler.audit.changes import kept
from scheduler.audit.context import Context
from scheduler.errors import ChangeError
from scheduler.farm.counts import Count, PastLot
from scheduler.farm.farm import Farm
from scheduler.plan.identity import farm_as_planned, plan_id
from scheduler.plan.model import Announced, Cut, Plan
from scheduler.plan.view import PlanView
from scheduler.planning.given import PIN_WORDS, pin_from_words, with_given, with_learned, with_pins
from scheduler.planning.lines import Valuation
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.since import announced_cuts, calm, change_notices, how_changed
from scheduler.solving import Limits
from tests.audit.small_farm import FIRST, MONDAY, SECOND, audited, changed, cut, finished, small_farm, small_plan

FARM = changed(small_farm(), "settings", change_cost=Decimal("2.50"), book_date=MONDAY)
PLAN = small_plan(FARM)


def row(colony: str, week: int, pieces: int, session: str | None = None) -> Announced:
    return Announced(colony=colony, week=week, session=session or (FIRST if week == 1 else SECOND), pieces=pieces)


# ---- what was announced -----------------------------------------------------------------------------------------------


def a_week_on(farm: Farm) -> Farm:
    return changed(farm, "settings", plan_monday=date(2026, 12, 7))


def test_the_second_week_of_the_last_plan_is_the_first_of_this_one() -> None:
    found = announced_cuts(a_week_on(FARM), PLAN)
    assert [(a.colony, a.week, a.session, a.pieces) for a in found] == [("B1", 1, SECOND, 10), ("Q1", 1, SECOND, 8)]


def test_planned_again_the_same_week_all_near_cuts_are_announced() -> None:
    assert [(a.colony, a.week) for a in announced_cuts(FARM, PLAN)] == [("A1", 1), ("Z1", 1), ("B1", 2), ("Q1", 2)]


def test_nothing_is_announced_once_the_near_weeks_are_past() -> None:
    assert announced_cuts(changed(FARM, "settings", plan_monday=date(2026, 12, 14)), PLAN) == ()


def test_a_colony_that_is_gone_is_announced_no_more() -> None:
    fewer = replace(FARM, colonies=tuple(c for c in FARM.colonies if c.colony != "Z1"))
    assert "Z1" not in {a.colony for a in announced_cuts(fewer, PLAN)}


# ---- what counts as changed -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("announced", "how"),
    [
        (row("A1", 1, 12), ""),  # as announced
        (row("A1", 1, 10), ""),  # 12 of 10: at the limit of a fifth
        (row("A1", 1, 15), ""),  # 12 of 15: at the limit
        (row("A1", 1, 9), "12 pieces instead of 9"),
        (row("A1", 1, 16), "12 pieces instead of 16"),
        (row("A1", 2, 12), f"moved to {FIRST}"),
        (row("A1", 1, 12, "late 2026-12-03"), f"moved to {FIRST}"),
        (row("L1", 1, 5), "dropped"),
        (row("A2", 1, 10), "dropped"),  # cut in week 4 only, which is no near week
    ],
)
def test_what_counts_as_changed(announced: Announced, how: str) -> None:
    assert how_changed(announced, PLAN.cuts) == how
    assert kept(Context(FARM, PLAN), announced) == (how == "")


@given(st.integers(1, 200), st.integers(1, 200), st.booleans(), st.booleans())
def test_planner_and_audit_agree_on_what_is_changed(before: int, now: int, same_session: bool, same_week: bool) -> None:
    made = cut("NA", "A1", "AAA", 1 if same_week else 2, now, 1, session=FIRST if same_session else SECOND)
    plan = PLAN.model_copy(update={"cuts": (made,)})
    announced = row("A1", 1, before)
    assert kept(Context(FARM, plan), announced) == (how_changed(announced, plan.cuts) == "")


# ---- what it costs ----------------------------------------------------------------------------------------------------


def lines_of(plan: Plan) -> dict[tuple[str, int], Decimal]:
    return {(x.subject, x.week): x.amount for x in plan.lines if x.line == "change"}


def test_changes_cost_more_the_nearer_they_are() -> None:
    announced = (row("A1", 1, 12), row("L1", 1, 5), row("A2", 2, 8), row("B1", 2, 30))
    plan = finished(FARM, PLAN, announced=announced)
    # two near weeks: 2.50 x 2 in week 1, 2.50 x 1 in week 2; A1 is kept
    wanted = {("L1", 1): Decimal("-5.00"), ("A2", 2): Decimal("-2.50"), ("B1", 2): Decimal("-2.50")}
    assert lines_of(plan) == wanted
    assert lines_of(PLAN.model_copy(update={"lines": Valuation(FARM, plan).lines()})) == wanted
    assert audited(FARM, PLAN, announced=announced).clean


def test_the_audit_misses_a_line_left_out() -> None:
    plan = finished(FARM, PLAN, announced=(row("L1", 1, 5),))
    bare = tuple(x for x in plan.lines if x.line != "change")
    spoiled = plan.model_copy(update={"lines": bare, "value": sum((x.amount for x in bare), Decimal(0))})
    assert audit(FARM, spoiled).rules == {"value"}


@pytest.mark.parametrize("announced", [(row("L1", 3, 5, "x"),), (row("L1", 1, 5), row("L1", 1, 6))])
def test_announced_cuts_lie_in_near_weeks_once_each(announced: tuple[Announced, ...]) -> None:
    assert "plan" in audited(FARM, PLAN, announced=announced).rules


def test_nothing_announced_costs_nothing() -> None:
    assert not lines_of(PLAN)
    assert not change_notices(FARM, PLAN)


@pytest.fixture(scope="module")
def restless() -> tuple[Farm, Plan, Plan]:
    """A farm that may cut only Q1 in the near weeks, planned without and with announced cuts it cannot keep."""
    unfit = tuple(c if c.colony == "Q1" else c.model_copy(update={"condition": "no cut"}) for c in FARM.colonies)
    farm = replace(FARM, colonies=unfit)
    limits = Limits(seconds=600, deterministic=0.2, seed=1)
    announced = (row("A1", 1, 12), row("L1", 2, 5))
    return farm, plan_farm(farm, limits=limits).plan, plan_farm(farm, limits=limits, announced=announced).plan


def test_announced_cuts_are_part_of_the_plan_and_valued(restless: tuple[Farm, Plan, Plan]) -> None:
    farm, calm_one, plan = restless
    assert [a.colony for a in plan.announced] == ["A1", "L1"]
    assert plan.value == calm_one.value - 5 - Decimal("2.50")
    assert audit(farm, plan).clean
    texts = [n.text for n in plan.notices]
    assert any(t.startswith("announced cut of L1 (5 pieces") and "dropped" in t for t in texts)
    assert "2 of 2 announced cuts changed (100 %)" in texts


def test_the_gap_of_a_plan_counts_what_its_changes_cost(restless: tuple[Farm, Plan, Plan]) -> None:
    """Bound as before, since a plan that keeps its word could reach it; value and value without cuts are both less."""
    before, after = (plan.about.season for plan in restless[1:])
    assert before is not None
    assert after is not None
    assert after.value_without_cuts == before.value_without_cuts - Decimal("7.50")
    missing = after.bound - restless[2].value
    assert after.gap_percent == (100 * missing / (after.bound - after.value_without_cuts)).quantize(Decimal("0.01"))


# ---- how restless -----------------------------------------------------------------------------------------------------


def test_the_measure_by_hand() -> None:
    """Pieces changed over pieces announced: |12-12| + |0-5| + |10-4| = 11 of 12 + 5 + 4 = 21; the cut added to Q1 is free."""
    measure = calm((row("A1", 1, 12), row("L1", 1, 5), row("B1", 2, 4)), PLAN.cuts)
    assert (measure.announced, measure.changed) == (3, 2)
    assert (measure.pieces_changed, measure.pieces_announced) == (11, 21)
    assert measure.share == Decimal(2) / 3
    assert measure.instability == Decimal(11) / 21


def test_a_plan_that_repeats_itself_is_calm() -> None:
    measure = calm(announced_cuts(FARM, PLAN), PLAN.cuts)
    assert (measure.share, measure.instability) == (0, 0)
    assert calm((), PLAN.cuts).share == 0


@given(st.lists(st.tuples(st.sampled_from("ABCDE"), st.integers(1, 30), st.integers(1, 30)), unique_by=lambda x: x[0]))
def test_the_measure_is_the_sum_of_changes_of_quantity(rows: list[tuple[str, int, int]]) -> None:
    announced = tuple(row(c, 1, before) for c, before, _ in rows)
    cuts = [Cut(lot=c, colony=c, strain="AAA", week=1, pieces=now, session=FIRST) for c, _, now in rows]
    measure = calm(announced, cuts)
    assert measure.pieces_changed == sum(abs(now - before) for _, before, now in rows)
    assert measure.changed == sum(5 * abs(now - before) > before for _, before, now in rows)


# ---- pins in words ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", PIN_WORDS)
def test_every_example_is_a_pin(words: str) -> None:
    assert pin_from_words(words, "x").pin == "x"


def test_pins_say_what_their_words_say() -> None:
    pin = pin_from_words("keep free  rack N1-a from 2026-12-01 to 2026-12-13", "x")
    assert (pin.kind, pin.rack, pin.tank, pin.from_date, pin.to_date) == (
        "keep free",
        "N1-a",
        None,
        date(2026, 12, 1),
        date(2026, 12, 13),
    )
    pin = pin_from_words("session bench 2026-12-01 for A1", "x")
    assert (pin.kind, pin.session, pin.colony, pin.from_date) == ("session", FIRST, "A1", None)
    pin = pin_from_words("at least 12 of A1", "x")
    assert (pin.kind, pin.pieces, pin.colony) == ("at least", 12, "A1")


def test_pins_join_those_of_the_book() -> None:
    farm, added = with_pins(FARM, ["cut A1", "no cut L1 to 2026-12-06"])
    assert [p.kind for p in added] == ["cut", "no cut"]
    assert farm.pins == (*FARM.pins, *added)
    assert with_pins(FARM, []) == (FARM, ())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("cut A9", "found 'A9'"), ("chop A1", "is no pin"), ("session bench 2026-12-02 for A1", "a session of the near weeks"),
        ("no sale OX", "'OX'"), ("cut A1 from 2026-02-30", "no such day"), ("cut A1 from 2026-12-06 to 2026-12-01", "before from_date"),
    ],
)  # fmt: skip
def test_pins_that_cannot_be_are_told(words: str, said: str) -> None:
    with pytest.raises(ChangeError, match=r"--pin") as error:
        with_pins(FARM, [words])
    assert said in str(error.value)


def test_a_plan_with_pins_of_its_own_is_audited_with_its_book() -> None:
    farm, added = with_pins(FARM, ["cut A1"])
    plan = with_given(finished(farm, PLAN), added=added)
    assert farm_as_planned(FARM, plan.about).fingerprint == plan.about.book_fingerprint == farm.fingerprint
    assert farm_as_planned(FARM, PLAN.about) is FARM


# ---- what counts have taught ------------------------------------------------------------------------------------------


def test_a_farm_without_counts_has_learned_nothing() -> None:
    assert with_learned(FARM) == (FARM, ())


def test_a_plan_with_learned_traits_is_audited_with_its_book() -> None:
    """A lot of 40 counted after four weeks with 10 missing: deaths of its strain move away from the book's."""
    lot = PastLot(lot="PA", strain="AAA", cut_date=date(2026, 6, 1), started=40)
    seen = tuple(Count(lot="PA", date=date(2026, 6, 1) + timedelta(weeks=w), alive=n) for w, n in ((0, 40), (4, 30)))
    counted = replace(FARM, past_lots=(lot,), counts=seen)
    farm, learned = with_learned(counted)
    assert {(r.strain, r.trait) for r in learned} >= {("AAA", "death_early")}
    assert farm.traits("AAA").death_early > counted.traits("AAA").death_early
    plan = with_given(finished(farm, PLAN), learned=learned)
    read = Plan.model_validate_json(plan.model_dump_json())
    assert (
        farm_as_planned(counted, read.about).fingerprint == plan.about.book_fingerprint == farm.fingerprint != counted.fingerprint
    )
    assert audit(farm_as_planned(counted, read.about), read).clean
    assert "plan" in audit(counted, read).rules


def test_a_plan_with_the_growth_of_a_lot_is_audited_with_its_book() -> None:
    """A lot that measures less than its strain and light expect is of size later, in its plan as in the audit of it."""
    base = replace(FARM, past_lots=(), counts=())
    lot = FARM.lots[0]
    traits, classes = base.traits(lot.strain), base.size_classes(lot.strain)
    cut = base.weeks.plan_monday - timedelta(weeks=12)
    old = lot.model_copy(update={"cut_date": cut})
    day = base.weeks.plan_monday - timedelta(days=3)
    size = traits.frag_mm + 0.4 * 12 * traits.frag_mm_per_week
    counted = replace(base, lots=(old, *base.lots[1:]), counts=(Count(lot=lot.lot, date=day, alive=lot.alive, size_mm=size),))
    farm, _ = with_learned(counted)
    assert 0 < farm.pace[lot.lot] < 1
    before, after = (PlanView(f, PLAN).lots[lot.lot].life.ready[classes[-1].size_class] for f in (counted, farm))
    assert after > before
    plan = with_given(finished(farm, PLAN), learned=with_learned(counted)[1], paces=farm.paces)
    read = Plan.model_validate_json(plan.model_dump_json())
    assert farm_as_planned(counted, read.about).fingerprint == plan.about.book_fingerprint == farm.fingerprint
    assert farm_as_planned(counted, read.about).pace == farm.pace


def test_a_plan_keeps_its_id_whatever_time_it_took() -> None:
    slow = PLAN.about.near.model_copy(update={"wall_seconds": Decimal(99)})
    assert plan_id(PLAN) == plan_id(PLAN.model_copy(update={"about": PLAN.about.model_copy(update={"near": slow})}))
    assert plan_id(PLAN) != plan_id(PLAN.model_copy(update={"cuts": PLAN.cuts[1:]}))
    assert len(plan_id(PLAN)) == 16
