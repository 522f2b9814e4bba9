"""What was done goes into the next book: colonies, lots, orders, counts, supplies."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from scheduler.biology.growth import curve, level_of, levels
from scheduler.biology.light import par_of_rack
from scheduler.book import check_farm
from scheduler.farm.bench import PlugKind
from scheduler.farm.codes import label_codes
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.space import LightReading
from scheduler.farm.trade import Pin
from scheduler.plan.model import Plan
from scheduler.record import Outcome, record
from tests.audit.small_farm import MONDAY, changed, finished, small_farm, small_plan
from tests.record.filling import Cells, filled

STOCKED = changed(changed(small_farm(), "settings", book_date=MONDAY), "supplies", None, stock=100.0)
PLAN = small_plan(STOCKED)
FIRST, SECOND = "session bench 2026-12-01", "session bench 2026-12-08"
SHIP, PICKUP = "packing ship 2026-W50", "packing pickup 2026-W50"
MOVES = "moves 2026-W50"
WEEK_1: Cells = {(FIRST, "mark"): "as planned"}
WEEK_2: Cells = WEEK_1 | {(key, "mark"): "as planned" for key in (SECOND, SHIP, PICKUP, MOVES)}


def done(folder: Path, cells: Cells, weeks: int = 1, farm: Farm = STOCKED) -> tuple[Farm, Outcome]:
    """The next farm, which has no faults, and what was said."""
    outcome = record(farm, filled(farm, PLAN if farm is STOCKED else finished(farm, PLAN), folder, cells), weeks=weeks)
    assert outcome.farm is not None
    faults, _ = check_farm(outcome.farm)
    assert not faults
    return outcome.farm, outcome


def replace_lot(plan: Plan, old: str, new: str) -> Plan:
    """The plan with a lot under another name."""
    return Plan.model_validate_json(plan.model_dump_json().replace(f'"{old}"', f'"{new}"'))


def lot(farm: Farm, name: str) -> Lot:
    return farm.lot[name]


def test_a_session_done_as_planned(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, WEEK_1)
    new = lot(farm, "NA")
    assert (new.colony, new.started, new.alive, new.rack, new.blocks) == ("A1", 12, 12, "N1-a", ("D1:E6",))
    assert new.cut_date == new.count_date == date(2026, 12, 1)
    mother = farm.colony["A1"]
    assert mother.last_cut == mother.count_date == date(2026, 12, 1)
    # counted 60 on the Monday of week 1, 12 taken
    assert (mother.count, mother.estimated) == (48, True)
    assert farm.colony["B1"] == STOCKED.colony["B1"]
    assert {r.colony: (r.pieces_planned, r.pieces_got) for r in farm.past_cuts} == {"A1": (12, 12), "Z1": (6, 6)}


def test_the_next_plan_begins_a_week_later(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, WEEK_1)
    assert farm.settings.book_date == date(2026, 12, 6)
    assert farm.weeks.plan_monday == date(2026, 12, 7)
    assert [(r.first_day, r.last_day) for r in farm.recorded] == [(date(2026, 11, 30), date(2026, 12, 6))]


def test_a_colony_reads_back_at_the_size_the_plan_gave_it(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, WEEK_2, weeks=2)
    for name, cut in {c.colony: c for c in PLAN.cuts if c.week <= 2}.items():
        then = levels(STOCKED, STOCKED.colony[name], {cut.week: cut.pieces}, until=6)
        now = levels(farm, farm.colony[name], {}, until=4)
        assert [now[w] for w in (1, 2, 3, 4)] == [then[w + 2] for w in (1, 2, 3, 4)]


def test_fewer_pieces_take_fewer_holes_and_plugs(tmp_path: Path) -> None:
    cells: Cells = {(FIRST, "mark"): "except", ("cut NA", "pieces"): 11, ("cut NA", "lost"): 2}
    farm, _ = done(tmp_path, cells)
    assert (lot(farm, "NA").started, lot(farm, "NA").blocks) == (9, ("D1:E6=9",))
    assert farm.colony["A1"].count == 49
    used = {s.item: 100 - s.stock for s in farm.supplies}
    assert used == {"plug": 9 + 6, "gloves": 2, "carton": 0}


def test_frags_that_went_elsewhere(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, {(FIRST, "mark"): "except", ("cut NA", "rack"): "N1-b", ("cut NA", "blocks"): "A1:B5; D1:D2"})
    assert (lot(farm, "NA").rack, lot(farm, "NA").blocks) == ("N1-b", ("A1:B5", "D1:D2"))


def test_a_count_of_what_is_left_wins_over_the_curve(tmp_path: Path) -> None:
    cells: Cells = {
        (FIRST, "mark"): "except",
        ("cut NA", "counted"): 41.5,
        ("cut NA", "minutes_cutting"): 20,
        ("cut NA", "minutes_mounting"): 17,
    }
    farm, _ = done(tmp_path, cells)
    assert (farm.colony["A1"].count, farm.colony["A1"].estimated) == (41.5, False)
    row = next(r for r in farm.past_cuts if r.colony == "A1")
    assert (row.minutes_cutting, row.minutes_mounting) == (20, 17)


def test_a_cut_left_out_and_a_stand_by_in_its_place(tmp_path: Path) -> None:
    more = f"{FIRST} more 1"
    cells: Cells = {
        (FIRST, "mark"): "except", ("cut NA", "mark"): "not done", (more, "name"): "B1", (more, "lot"): "BB-2649a",
        (more, "pieces"): 8, (more, "rack"): "S1-a", (more, "blocks"): "D1:D8",
    }  # fmt: skip
    farm, _ = done(tmp_path, cells)
    assert "NA" not in farm.lot
    assert farm.colony["A1"] == STOCKED.colony["A1"]
    assert (lot(farm, "BB-2649a").colony, lot(farm, "BB-2649a").alive) == ("B1", 8)
    assert farm.colony["B1"].last_cut == date(2026, 12, 1)
    assert {r.colony: r.pieces_got for r in farm.past_cuts} == {"A1": 0, "Z1": 6}


def test_a_session_not_held(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, {(FIRST, "mark"): "not done"})
    assert farm.lots == STOCKED.lots
    assert farm.colonies == STOCKED.colonies
    assert farm.supplies == STOCKED.supplies
    assert not farm.past_cuts


def test_sales_shrink_lots_and_fill_orders(tmp_path: Path) -> None:
    farm, outcome = done(tmp_path, WEEK_2, weeks=2)
    # OA: 5 of 10 plugs to order one (4 frags), the other 5 moved to N1-b
    assert (lot(farm, "OA").alive, lot(farm, "OA").rack, lot(farm, "OA").blocks) == (5, "N1-b", ("A1:A5",))
    assert lot(farm, "OA").moved_date == date(2026, 12, 13)
    assert "one" not in farm.order
    assert any("order one is filled" in n for n in outcome.notes)
    rows = {(r.lot, r.order): (r.plugs, r.frags) for r in farm.sales_done}
    assert rows["OA", "one"] == (5, 4)


def test_a_sale_as_it_really_was(tmp_path: Path) -> None:
    sale = "sale 2026-W50 OA order one small"
    more = f"{SHIP} more 1"
    cells = WEEK_2 | {
        (SHIP, "mark"): "except", (sale, "pieces"): 3, (sale, "counted"): 3, (more, "name"): "market", (more, "lot"): "OB",
        (more, "detail"): "small", (more, "pieces"): 2, (more, "counted"): 1, (MOVES, "mark"): "not done",
    }  # fmt: skip
    farm, _ = done(tmp_path, cells, weeks=2)
    assert farm.order["one"].quantity == 1
    assert (lot(farm, "OA").alive, lot(farm, "OA").blocks) == (7, ("A1:B5=7",))
    assert {(r.lot, r.route): (r.plugs, r.frags) for r in farm.sales_done}["OB", "market"] == (2, 1)
    # one box begun for 3 + 1 frags by ship, one for what pickup took
    assert next(s.stock for s in farm.supplies if s.item == "carton") == 98


def test_a_lot_sold_out_leaves_the_racks_and_is_remembered(tmp_path: Path) -> None:
    more = f"{SHIP} more 1"
    cells = WEEK_2 | {
        (SHIP, "mark"): "except", (more, "name"): "clear", (more, "lot"): "OB", (more, "detail"): "small", (more, "pieces"): 5,
        (more, "counted"): 4,
    }  # fmt: skip
    farm, _ = done(tmp_path, cells, weeks=2)
    assert "OB" not in farm.lot
    past = farm.past_lot["OB"]
    assert (past.strain, past.started, past.cut_date, past.tank, past.par_umol) == ("BBB", 10, date(2026, 10, 12), "S1", 200)


def test_counts_are_kept_with_what_was_sold_since(tmp_path: Path) -> None:
    cells = WEEK_2 | {
        ("counts 2026-W50 more 1", "lot"): "OA",
        ("counts 2026-W50 more 1", "counted"): 4,
        ("counts 2026-W50 more 1", "lost"): 1,
    }
    farm, _ = done(tmp_path, cells, weeks=2)
    row = farm.counts_of["OA"][-1]
    assert (row.date, row.alive, row.detached, row.sold) == (date(2026, 12, 13), 4, 1, 4)
    assert (lot(farm, "OA").alive, lot(farm, "OA").blocks) == (4, ("A1:A4",))


def test_a_colony_counted_and_judged(tmp_path: Path) -> None:
    more = "colonies 2026-W49 more 1"
    farm, _ = done(tmp_path, WEEK_1 | {(more, "name"): "L1", (more, "counted"): 33, (more, "mark"): "watch"})
    row = farm.colony["L1"]
    assert (row.count, row.condition, row.count_date, row.condition_date) == (33, "watch", date(2026, 12, 6), date(2026, 12, 6))


def test_a_proposed_code_is_kept_once_it_stands_on_plugs(tmp_path: Path) -> None:
    bare = changed(STOCKED, "strains", None, code="")
    code = label_codes(bare)["AAA"]
    plan = replace_lot(finished(bare, PLAN), "NA", f"{code}-2649a")
    outcome = record(bare, filled(bare, plan, tmp_path, WEEK_1))
    assert outcome.farm is not None
    assert [s.code for s in outcome.farm.strains] == [code, "", "", ""]
    assert any(f"AAA has the label code {code} from now on" in n for n in outcome.notes)


def test_plugs_in_water_are_used_up_and_put_in(tmp_path: Path) -> None:
    """Of 18 plugs mounted ten come from those longest in water; 25 more go in during the week."""
    rows = tuple(
        PlugKind(plug_kind="small", condition_days=14, in_water=n, in_water_from=day)
        for n, day in ((30, date(2026, 11, 9)), (10, date(2026, 11, 2)))
    )
    farm, outcome = done(tmp_path, WEEK_1 | {("plugs 2026-W49 small", "pieces"): 25}, farm=replace(STOCKED, plugs=rows))
    assert {r.in_water_from: r.in_water for r in farm.plugs} == {date(2026, 11, 9): 22, date(2026, 12, 6): 25}
    assert {r.condition_days for r in farm.plugs} == {14}
    assert not [n for n in outcome.notes if "stood in water" in n]


def test_a_kind_of_plug_stays_in_the_book_when_all_are_used(tmp_path: Path) -> None:
    row = PlugKind(plug_kind="small", condition_days=14, in_water=12, in_water_from=date(2026, 11, 9))
    farm, outcome = done(tmp_path, WEEK_1, farm=replace(STOCKED, plugs=(row,)))
    assert [(r.condition_days, r.in_water) for r in farm.plugs] == [(14, 0)]
    assert "small plugs: 6 more were mounted than stood in water" in outcome.notes


LIGHT = "light 2026-W49 more 1"


def test_light_measured_on_a_rack(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, WEEK_1 | {(LIGHT, "name"): "N1-b", (LIGHT, "pieces"): 240})
    assert set(farm.light) - set(STOCKED.light) == {LightReading(rack="N1-b", from_date=date(2026, 12, 6), par_umol=240.0)}
    assert set(STOCKED.light) <= set(farm.light)  # the old reading stays
    assert float(par_of_rack(farm, "N1-b", 1)[0, 0]) == 240.0


def test_light_at_the_four_corners_with_the_lamp_set_anew(tmp_path: Path) -> None:
    corners = dict(zip(("pieces", "lost", "counted", "minutes_cutting"), (250, 230, 220, 180.5), strict=True))
    cells: Cells = {(LIGHT, "name"): "N2-a", (LIGHT, "minutes_mounting"): 70} | {(LIGHT, c): x for c, x in corners.items()}
    farm, _ = done(tmp_path, WEEK_1 | cells)
    row = farm.light[-1]
    assert (row.rack, row.corners, row.lamp_percent, row.planned) == ("N2-a", (250, 230, 220, 180.5), 70, False)


def test_racks_whose_light_is_due_have_rows_and_a_lamp_keeps_its_setting(tmp_path: Path) -> None:
    farm = changed(changed(STOCKED, "settings", stale_par_days=20), "light", "N1-a", lamp_percent=65.0)
    farm, _ = done(tmp_path, WEEK_1 | {("light 2026-W49 N1-a", "pieces"): 210}, farm=farm)
    assert (farm.light[-1].rack, farm.light[-1].par_umol, farm.light[-1].lamp_percent) == ("N1-a", 210, 65)


def test_pins_that_are_done_leave_the_book(tmp_path: Path) -> None:
    rows = (
        Pin(pin="P1", kind="cut", colony="A1"), Pin(pin="P2", kind="no cut", colony="L1"),
        Pin(pin="P3", kind="no sale", lot="OB", to_date=date(2026, 12, 4)), Pin(pin="P4", kind="at most", colony="Z1", pieces=9),
    )  # fmt: skip
    farm, outcome = done(tmp_path, WEEK_1, farm=replace(STOCKED, pins=rows))
    assert [p.pin for p in farm.pins] == ["P2", "P4"]
    assert sum("leaves the book" in n for n in outcome.notes) == 2


def test_stock_does_not_fall_below_nothing(tmp_path: Path) -> None:
    farm, outcome = done(tmp_path, WEEK_1, farm=changed(STOCKED, "supplies", "plug", stock=10.0))
    assert next(s.stock for s in farm.supplies if s.item == "plug") == 0
    assert any("plug: 8 each more were used" in n for n in outcome.notes)


@pytest.mark.parametrize("weeks", [1, 2])
def test_plugs_balance_to_the_last_one(tmp_path: Path, weeks: int) -> None:
    farm, _ = done(tmp_path, WEEK_2 if weeks == 2 else WEEK_1, weeks=weeks)
    mounted = sum(r.pieces_got for r in farm.past_cuts)
    off = sum(r.plugs for r in farm.sales_done)
    assert sum(x.alive for x in farm.lots) == sum(x.alive for x in STOCKED.lots) + mounted - off
    assert next(s.stock for s in farm.supplies if s.item == "plug") == 100 - mounted


def test_sizes_of_every_colony_lie_on_its_curve(tmp_path: Path) -> None:
    farm, _ = done(tmp_path, WEEK_2, weeks=2)
    for colony in farm.colonies:
        sizes = curve(farm.traits(colony.strain))
        assert sizes[level_of(sizes, colony.count)] <= colony.count
