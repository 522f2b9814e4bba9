"""L1, L4, L5, L9: positions on racks, reach, and how full systems and zones are."""

from dataclasses import replace
from typing import Any

import pytest
from small_farm import N1A, N1B, N2A, audited, broken, changed, cut, sale, small_farm, small_plan, stand, with_row

from scheduler.farm.blocks import parse_block
from scheduler.plan.model import Stand

FARM = small_farm()
PLAN = small_plan(FARM)


def placed(lot: str, *places: Stand) -> tuple[Stand, ...]:
    """The plan's stands with those of one lot replaced."""
    return (*(s for s in PLAN.stands if s.lot != lot), *places)


def na_at(blocks: str, rack: str = "N1-a", zone: str = N1A, pieces: int = 0) -> tuple[Stand, ...]:
    """The plan's stands with lot NA settling elsewhere."""
    return placed("NA", stand("NA", 1, zone, rack, blocks, pieces), stand("NA", 4, N1B, pieces=12))


@pytest.mark.parametrize(
    ("blocks", "rule"),
    [
        ("D1:E6", set()), ("C1:D6", set()), ("H1:H10 G9:G10", set()), ("B1:C6", {"L1"}), ("A5:B10", {"L1"}), ("A1:B6", {"L1"}),
    ],
)  # fmt: skip
def test_l1_a_position_holds_one_plug(blocks: str, rule: set[str]) -> None:
    assert broken(FARM, PLAN, stands=na_at(blocks)) == rule


def test_l1_positions_freed_by_sales_can_be_used_the_same_week_but_not_earlier() -> None:
    nb = placed("NB", stand("NB", 2, "S1 PAR 190-250 medium flow", "S1-a", "B1:C5"))
    close = changed(FARM, "strains", reach_mm=0.0)
    assert broken(close, PLAN, stands=nb) == set()
    kept = tuple(s for s in PLAN.sales if s.lot != "OB")
    assert broken(close, PLAN, stands=nb, sales=kept) == {"L1"}


def test_l1_positions_freed_by_a_move_can_be_used_the_week_after() -> None:
    farm = changed(FARM, "settings", near_weeks=3)
    plan = PLAN.model_copy(update={"about": PLAN.about.model_copy(update={"near_weeks": 3})})
    for week, rule in ((2, {"L1"}), (3, set())):
        more: dict[str, Any] = {"session": f"bench 2026-12-{8 if week == 2 else 15:02d}", "cutter": "Ada", "mounter": "Ben"}
        late = cut("NC", "A2", "AAA", week, 5, **more).model_copy(update={"run_order": 0 if week == 2 else 1})
        cuts = (*(c for c in PLAN.cuts if c.lot != "LA"), late)
        stands = (*(s for s in PLAN.stands if s.lot != "LA"), stand("NC", week, N1A, "N1-a", "A1:A5"))
        assert broken(farm, plan, cuts=cuts, stands=stands) == rule


def test_l1_mothers_take_positions() -> None:
    moved = placed("OA", stand("OA", 2, N1B, "N1-b", "H4:H8"))
    assert broken(FARM, PLAN, stands=moved) == set()
    moved = placed("OA", stand("OA", 2, N1B, "N1-b", "H5:H9"))
    assert broken(FARM, PLAN, stands=moved) == {"L1"}


@pytest.mark.parametrize("blocks", ["D1:D10 D9:D10", "D1:E6 D1:D1"])
def test_l1_blocks_of_a_lot_do_not_overlap(blocks: str) -> None:
    assert "L1" in broken(FARM, PLAN, stands=na_at(blocks, pieces=12))


def test_l1_blocked_positions_and_the_rack_s_edge() -> None:
    assert broken(changed(FARM, "racks", "N1-a", blocked=("A10", "F1")), PLAN) == set()
    assert broken(changed(FARM, "racks", "N1-a", blocked=("A10", "E6")), PLAN) == {"L1"}
    assert broken(changed(FARM, "racks", "N1-a", blocked=("D1", "D2")), PLAN) == {"L1"}
    assert broken(FARM, PLAN, stands=na_at("H1:I6")) == {"L1"}
    assert broken(FARM, PLAN, stands=na_at("D6:E11")) == {"L1"}
    assert broken(FARM, PLAN, stands=na_at("Z90:AA95")) == {"L1"}


def test_l1_an_old_lot_on_a_blocked_position_is_excused() -> None:
    assert broken(changed(FARM, "racks", "N1-a", blocked=("A10", "A1")), PLAN) == set()


@pytest.mark.parametrize(("most", "rule"), [(4, set()), (2, set()), (1, {"L1"})])
def test_l1_number_of_blocks(most: int, rule: set[str]) -> None:
    farm = changed(FARM, "settings", max_blocks=most)
    assert broken(farm, PLAN, stands=na_at("D1:D6 F1:F6")) == rule


def test_l1_plug_kind_and_count() -> None:
    assert broken(changed(FARM, "strains", "ZZZ", plug_kind="large"), PLAN) == {"L1"}
    assert broken(FARM, PLAN, stands=na_at("D1:E5", pieces=12)) == {"L1"}
    assert broken(FARM, PLAN, stands=na_at("D1:E7", pieces=12)) == {"L1"}


def test_l1_the_zone_is_that_of_the_positions() -> None:
    assert broken(FARM, PLAN, stands=na_at("D1:E6", zone=N2A)) >= {"L1"}
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "NZ", zone=N1B)) == {"L1"}


def test_l1_near_stands_name_rack_and_blocks() -> None:
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "NA", 1, rack=None)) == {"L1"}
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "NZ", blocks=())) == {"L1"}


# Week 4, zone N1-a: 79 positions; LA's 10, and NA's 12 that hold their old place in the week of their move.
@pytest.mark.parametrize(("share", "rule"), [(0.9, set()), (0.279, set()), (0.278, {"L1"}), (0.05, {"L1"})])
def test_zones_are_filled_to_the_usable_share_in_later_weeks(share: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "settings", usable_share=share), PLAN) == rule


def test_zone_share_at_its_limit() -> None:
    # Week 6, zone S1-a: NB's 10 at the count of age 4 (0.8 left) = 8, OB's 3 x 1; 79 positions.
    only = {
        "cuts": tuple(c for c in PLAN.cuts if c.lot == "NB"), "stands": tuple(s for s in PLAN.stands if s.lot == "NB"),
        "sales": tuple(s for s in PLAN.sales if s.lot == "OB"),
    }  # fmt: skip
    cuts = with_row(only["cuts"], "NB", run_order=1)
    only["cuts"] = cuts
    assert broken(changed(FARM, "settings", usable_share=13 / 79), PLAN, **only) == set()
    report = audited(changed(FARM, "settings", usable_share=12.99 / 79), PLAN, **only)
    assert report.rules == {"L1"}
    assert {b.text.split(" in week ")[1][0] for b in report.breaches} == {"3", "4", "5"}


def test_what_old_lots_take_alone_is_excused() -> None:
    idle: dict[str, Any] = {"cuts": (), "stands": (), "sales": ()}
    assert broken(changed(FARM, "settings", usable_share=0.01), PLAN, **idle) == set()
    assert broken(changed(FARM, "settings", keep_free_share=0.99), PLAN, **idle) == set()
    assert broken(changed(FARM, "settings", keep_free_share=0.99), PLAN) == {"L9"}


# South, 79 positions: 5 of OB and 10 of NB in week 2.
@pytest.mark.parametrize(("held", "rule"), [(30.0, set()), (15.0, set()), (14.99, {"L9"}), (10.0, {"L9"})])
def test_l9_positions_of_a_system(held: float, rule: set[str]) -> None:
    only = {
        "cuts": tuple(c for c in PLAN.cuts if c.lot == "NB"), "stands": tuple(s for s in PLAN.stands if s.lot == "NB"),
        "sales": tuple(s for s in PLAN.sales if s.lot == "OB"),
    }  # fmt: skip
    assert broken(changed(FARM, "settings", keep_free_share=1 - held / 79), PLAN, **only) == rule


# Lot OA of another strain holds A1:B5, so columns 1 to 5.
@pytest.mark.parametrize(
    ("reach", "left", "rule"),
    [
        (30.0, 7, set()), (30.0, 6, {"L4"}), (15.0, 7, set()), (31.0, 7, {"L4"}), (31.0, 8, set()), (60.0, 8, set()),
        (61.0, 8, {"L4"}), (0.0, 6, set()),
    ],
)  # fmt: skip
def test_l4_clear_positions_in_a_row(reach: float, left: int, rule: set[str]) -> None:
    farm = changed(changed(FARM, "strains", reach_mm=reach), "colonies", "Z1", strain="BBB")
    cuts = with_row(PLAN.cuts, "NZ", strain="BBB", pieces=4)
    block = parse_block(f"A{left}:D{left}=4")
    nz = stand("NZ", 1, N1A, "N1-a", pieces=4).model_copy(update={"blocks": (block,)})
    na = stand("NA", 1, N1A, "N1-a", "F1:G1 H1:H10=10", 12)
    stands = (*(s for s in PLAN.stands if s.lot not in ("NA", "NZ")), nz, na, stand("NA", 4, N1B, pieces=12))
    assert broken(farm, PLAN, cuts=cuts, stands=stands) == rule


@pytest.mark.parametrize(("blocks", "rule"), [("D7:E9", set()), ("C7:D9", set()), ("C6:D8", {"L4"}), ("B6:C8", {"L4"})])
def test_l4_diagonals_count_the_larger_gap(blocks: str, rule: set[str]) -> None:
    farm = changed(FARM, "colonies", "Z1", strain="BBB")
    cuts = with_row(PLAN.cuts, "NZ", strain="BBB")
    nz = stand("NZ", 1, N1A, "N1-a", blocks)
    stands = (*(s for s in PLAN.stands if s.lot not in ("NA", "NZ")), nz, stand("NA", 1, N1B, "N1-b", "D1:E6"))
    farm = changed(farm, "colonies", "A1", par_umol=280.0)
    assert broken(farm, PLAN, cuts=cuts, stands=stands) == rule


def test_l4_between_two_old_lots_is_excused_until_one_is_moved() -> None:
    other = FARM.lots[1].model_copy(update={"lot": "OC", "rack": "N1-a", "blocks": ("C1:D5",)})
    farm = replace(FARM, lots=(*FARM.lots, other))
    clear = na_at("F1:G6")
    assert broken(farm, PLAN, stands=clear) == set()
    moved = (*clear, stand("OC", 1, N1A, "N1-a", "A7:B11", 10))
    assert "L1" in broken(farm, PLAN, stands=moved)
    beside = (*clear, stand("OC", 1, N1A, "N1-a", "A6:B9 C9:D9", 10))
    assert broken(farm, PLAN, stands=beside) == {"L4"}


def test_l5_a_lot_stands_in_one_place_at_a_time() -> None:
    assert broken(FARM, PLAN, stands=(*PLAN.stands, stand("NA", 1, N1A, "N1-a", "G1:H6"))) == {"L5"}
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "NA", 4, pieces=11)) == {"L5"}
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "OA", 2, blocks=(parse_block("A1:A6"),), pieces=6)) == {"L5"}


def test_a_lot_that_is_gone_cannot_be_moved() -> None:
    sales = (*PLAN.sales, sale("OA", 4, 1, size_class="large"))
    assert broken(FARM, PLAN, sales=sales, stands=(*PLAN.stands, stand("OA", 5, N1A, pieces=1))) == {"L5"}
