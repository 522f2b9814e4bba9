"""Whole plans of a tiny farm: repeatable, pins honoured, contradictions named, balance exact."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.audit.balance import balance_rows
from scheduler.audit.context import Context
from scheduler.book import read_book
from scheduler.errors import PinConflict
from scheduler.farm.blocks import trim
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.planning.pins import describe_pin
from scheduler.planning.pipeline import Codes, plan_farm
from scheduler.solving import Limits
from tests.audit.small_farm import MONDAY, changed, small_farm
from tests.week.bench_farm import at_least, tiny_farm
from tests.week.bench_farm import pins as rows_of

LIMITS = Limits(seconds=600, deterministic=0.3, seed=1)
DEMO = Path(__file__).parents[2] / "data" / "demo"
WEEK_1 = date(2026, 12, 6)


def with_pins(*rows: Mapping[str, Any]) -> Farm:
    return replace(small_farm(), pins=tuple(Pin(**({"pin": f"P{i}"} | dict(row))) for i, row in enumerate(rows, start=1)))


def planned(farm: Farm, *drop: str) -> Plan:
    return plan_farm(farm, limits=LIMITS, drop_pins=drop).plan


def pieces_of(plan: Plan, colony: str) -> int:
    """Pieces of a colony cut in the two near weeks."""
    return sum(c.pieces for c in plan.cuts if c.colony == colony and c.week <= 2)


@pytest.fixture(scope="module")
def plain() -> Plan:
    return planned(small_farm())


# ---- every plan -------------------------------------------------------------------------------------------------------


def without_clock(plan: Plan) -> dict[str, Any]:
    found = plan.model_dump()
    del found["about"]["near"]["wall_seconds"]
    return found


def test_the_same_book_seed_and_limits_give_the_same_plan(plain: Plan) -> None:
    assert without_clock(planned(small_farm())) == without_clock(plain)


def test_the_plan_cuts_sells_and_says_where_it_comes_from(plain: Plan) -> None:
    farm = small_farm()
    assert plain.cuts
    assert plain.sales
    assert plain.about.book_fingerprint == farm.fingerprint
    assert (plain.about.weeks, plain.about.near_weeks, plain.about.seed) == (8, 2, 1)
    assert {"frag-scheduler", "python", "ortools"} <= set(plain.about.versions)
    assert plain.value == sum(line.amount for line in plain.lines)
    near = {c.colony for c in plain.cuts if c.week <= 2}
    assert {h.colony for h in plain.held} == {c.colony for c in farm.colonies} - near


def test_stages_are_told_in_order() -> None:
    told: list[str] = []
    plan_farm(small_farm(), limits=LIMITS, stage=told.append)
    assert told == ["season", "near weeks", "later weeks", "value", "what would help", "audit"]


def balanced(farm: Farm, plan: Plan) -> None:
    for row in plan.balance:
        assert row.sold + row.cleared + row.died + row.detached + row.on_racks == row.started
        assert min(row.sold, row.cleared, row.died, row.detached, row.on_racks) >= 0
    ours = {(r.strain, r.week): r for r in plan.balance}
    assert ours == {(r.strain, r.week): r for r in balance_rows(Context(farm, plan))}


def test_the_balance_is_exact(plain: Plan) -> None:
    balanced(small_farm(), plain)


def test_a_farm_with_nothing_to_decide_is_planned() -> None:
    idle = changed(small_farm(), "colonies", condition="no cut")
    plan = planned(idle)
    assert plan.cuts == ()
    assert (plan.about.near.outcome, plan.about.near.value) == ("none needed", 0)
    assert {h.reason for h in plan.held} == {"not fit"}
    bare = planned(replace(idle, lots=(), orders=(), pins=()))
    assert bare.sales == ()


def test_codes_are_new_every_time() -> None:
    farm = small_farm()
    codes = Codes(farm)
    found = [codes("AAA", 1) for _ in range(60)]
    assert found[:2] == ["AA-2649a", "AA-2649b"]
    assert found[26] == "AA-2649aa"
    assert len(set(found)) == 60
    taken = replace(farm, lots=(*farm.lots, farm.lots[0].model_copy(update={"lot": "AA-2649a"})))
    assert Codes(taken)("AAA", 1) == "AA-2649b"


# ---- pins -------------------------------------------------------------------------------------------------------------


def test_a_colony_pinned_is_cut_and_one_barred_is_not(plain: Plan) -> None:
    most = max(("A1", "A2", "B1", "L1", "Q1", "Z1"), key=lambda c: pieces_of(plain, c))
    assert pieces_of(plain, most)
    barred = planned(with_pins({"kind": "no cut", "colony": most}))
    assert pieces_of(barred, most) == 0
    held = next(h for h in barred.held if h.colony == most)
    assert held.reason == "pinned"
    assert "P1" in held.detail
    for colony in ("A1", "Z1", "Q1"):
        assert pieces_of(planned(with_pins({"kind": "cut", "colony": colony})), colony) > 0


def test_pins_on_the_number_of_pieces() -> None:
    for pieces in (5, 24):
        assert pieces_of(planned(with_pins({"kind": "at least", "colony": "A2", "pieces": pieces})), "A2") >= pieces
    assert pieces_of(planned(with_pins({"kind": "at most", "colony": "A1", "pieces": 6})), "A1") <= 6
    both = planned(with_pins(*({"kind": k, "colony": "B1", "pieces": 7} for k in ("at least", "at most"))))
    assert pieces_of(both, "B1") == 7


@pytest.mark.parametrize("session", ["bench 2026-12-01", "bench 2026-12-08"])
def test_a_pin_on_a_session(session: str) -> None:
    plan = planned(with_pins({"kind": "cut", "colony": "A1"}, {"kind": "session", "colony": "A1", "session": session}))
    assert [c.session for c in plan.cuts if c.colony == "A1" and c.week <= 2] == [session]


@pytest.mark.parametrize("rack", ["N1-a", "S1-a"])
def test_a_pin_on_a_rack(rack: str) -> None:
    plan = planned(with_pins({"kind": "cut", "colony": "A1"}, {"kind": "rack", "colony": "A1", "rack": rack}))
    (lot,) = [c.lot for c in plan.cuts if c.colony == "A1" and c.week <= 2]
    assert [s.rack for s in plan.stands if s.lot == lot and s.rack] == [rack]


@pytest.mark.parametrize("what", [{"rack": "N1-a"}, {"tank": "N1"}])
def test_a_place_kept_free_takes_nothing_new(what: dict[str, str]) -> None:
    plan = planned(with_pins({"kind": "keep free"} | what))
    assert not any(s.zone.startswith("N1 PAR 190") for s in plan.stands)


@pytest.mark.parametrize("kind", ["no sale", "hold lot"])
def test_a_lot_pinned_is_not_sold_in_those_weeks(plain: Plan, kind: str) -> None:
    assert any(s.lot == "OA" and s.week <= 4 for s in plain.sales)
    plan = planned(with_pins({"kind": kind, "lot": "OA", "to_date": date(2026, 12, 27)}))
    assert not any(s.lot == "OA" and s.week <= 4 for s in plan.sales)
    assert any(s.lot == "OA" for s in plan.sales)


def conflict_of(farm: Farm, *drop: str) -> PinConflict:
    with pytest.raises(PinConflict) as caught:
        planned(farm, *drop)
    return caught.value


AGAINST = (
    {"kind": "no cut", "colony": "L1"}, {"kind": "at least", "colony": "A1", "pieces": 9},
    {"kind": "at most", "colony": "B1", "pieces": 5}, {"kind": "at most", "colony": "A1", "pieces": 8},
)  # fmt: skip


def test_contradictory_pins_name_a_minimal_set() -> None:
    conflict = conflict_of(with_pins(*AGAINST))
    assert conflict.pins == ("P2", "P4")
    assert conflict.sentences == ("P2: cut at least 9 of A1", "P4: cut at most 8 of A1")
    assert "--drop-pin P2" in str(conflict)


@pytest.mark.parametrize("drop", ["P2", "P4"])
def test_a_dropped_pin_lets_the_others_hold(drop: str) -> None:
    plan = planned(with_pins(*AGAINST), drop)
    assert plan.about.dropped_pins == (drop,)
    assert [n.text[:2] for n in plan.notices if n.kind == "pin dropped"] == [drop]
    assert (pieces_of(plan, "A1") <= 8) if drop == "P2" else (pieces_of(plan, "A1") >= 9)


def test_a_pin_that_cannot_hold_by_itself() -> None:
    assert conflict_of(with_pins({"kind": "cut", "colony": "B1"}, {"kind": "at least", "colony": "A1", "pieces": 25})).pins == (
        "P2",
    )


def test_pins_that_fit_a_rack_by_count_but_not_side_by_side_are_named_alone() -> None:
    # 18 positions, 9 pieces of each strain, and one clear position wanted between the strains
    farm = tiny_farm(
        strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "M"), "C1": ("A", "M")}, racks={"T-a": (3, 6)},
        keep_free_share=0, usable_share=1.0,
        pins=rows_of({"kind": "no cut", "colony": "C1"}, at_least("A1", 9), at_least("B1", 9)),
    )  # fmt: skip
    assert conflict_of(farm).pins == ("P2", "P3")
    assert planned(farm, "P2").cuts


def test_every_kind_of_pin_has_a_sentence() -> None:
    rows: list[dict[str, Any]] = [
        {"kind": "cut", "colony": "A1", "to_date": WEEK_1}, {"kind": "session", "colony": "A1", "session": "bench"},
        {"kind": "rack", "colony": "A1", "rack": "N1-a"}, {"kind": "keep free", "tank": "N1", "from_date": MONDAY},
        {"kind": "no sale", "lot": "OA"}, {"kind": "hold lot", "lot": "OA"},
    ]  # fmt: skip
    farm = with_pins(*rows)
    assert [describe_pin(farm, p.pin) for p in farm.pins] == [
        "P1: cut A1 to 2026-12-06", "P2: cut A1 in session bench", "P3: put the frags of A1 on rack N1-a",
        "P4: keep N1 free from 2026-11-30", "P5: do not sell OA", "P6: neither sell nor move OA",
    ]  # fmt: skip


# ---- what gives way ---------------------------------------------------------------------------------------------------


def test_an_order_nobody_can_fill_gives_way_in_words() -> None:
    farm = small_farm()
    big = replace(farm, orders=(farm.orders[0].model_copy(update={"quantity": 400}), *farm.orders[1:]))
    plan = planned(big)
    (text,) = [n.text for n in plan.notices if n.kind == "gave way" and "order one" in n.text]
    assert "of 400 AAA small" in text


def test_stand_by_colonies_share_the_water_of_their_session(plain: Plan) -> None:
    farm = small_farm()
    cut = {c.colony for c in plain.cuts if c.week <= 2}
    for row in plain.stand_by:
        waters = {farm.system_of_tank(farm.colony[c.colony].tank) for c in plain.cuts if c.session == row.session}
        assert row.colony not in cut
        assert farm.system_of_tank(farm.colony[row.colony].tank) in waters


# ---- the demo farm ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo() -> tuple[Farm, Plan]:
    farm = read_book(DEMO).farm
    return farm, plan_farm(farm, limits=Limits(seconds=600, deterministic=1, seed=1)).plan


def test_the_demo_farm_is_planned(demo: tuple[Farm, Plan]) -> None:
    farm, plan = demo
    assert audit(farm, plan).clean
    assert plan.value > 0
    assert {c.week for c in plan.cuts} & set(farm.weeks.near_weeks)
    assert {c.week for c in plan.cuts} & set(farm.weeks.later_weeks)


def test_the_demo_farm_is_in_balance(demo: tuple[Farm, Plan]) -> None:
    balanced(*demo)


def test_codes_of_the_demo_plan_are_unique(demo: tuple[Farm, Plan]) -> None:
    farm, plan = demo
    codes = [c.lot for c in plan.cuts] + [x.lot for x in farm.lots]
    assert len(codes) == len(set(codes))


def test_no_position_of_the_demo_farm_is_held_twice(demo: tuple[Farm, Plan]) -> None:
    farm, plan = demo
    view = PlanView(farm, plan)
    for week in farm.weeks.near_weeks:
        held: list[tuple[str | None, tuple[int, int]]] = []
        for lot in view.lots.values():
            if lot.first_week <= week:
                stand, traits = lot.stand(week), farm.traits(lot.strain)
                blocks = trim(stand.blocks, lot.left(week))
                held += [(stand.rack, p) for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
        assert len(held) == len(set(held))


def test_on_racks_stays_level_where_as_many_frags_come_as_go(demo: tuple[Farm, Plan]) -> None:
    """Frags on racks at a week's end are those before, and the ones that came, less all that left, strain by strain."""
    _, plan = demo
    rows = {(r.strain, r.week): r for r in plan.balance}
    for (strain, week), row in rows.items():
        before = rows.get((strain, week - 1))
        if before is None:
            continue
        gone = sum((getattr(row, k) - getattr(before, k) for k in ("sold", "cleared", "died", "detached")), Decimal(0))
        assert row.on_racks - before.on_racks == row.started - before.started - gone
