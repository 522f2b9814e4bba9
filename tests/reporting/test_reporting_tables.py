"""The tables say what the plan says."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from example import FORMULA, TUESDAY, farm, plan

from scheduler.audit.context import Context
from scheduler.audit.hours import hours_in
from scheduler.plan.view import PlanView
from scheduler.reporting import Table, all_tables
from scheduler.reporting.tables import csv_bytes
from scheduler.reporting.tables.bench import cutting_minutes, session_views
from scheduler.reporting.tables.places import rack_state
from scheduler.reporting.tables.season import month_text, sellable_table
from scheduler.reporting.tables.stock import supply_use
from scheduler.reporting.tables.trade import Promise, positions_text, promises


@pytest.fixture(scope="module")
def tables() -> dict[str, Table]:
    return all_tables(farm(), plan())


def test_every_cut_is_in_the_table_with_its_rack(tables: dict[str, Table]) -> None:
    rows = {r[0]: r[1:] for r in tables["cuts"].pick("lot", "pieces", "to_rack", "to_blocks")}
    assert set(rows) == {c.lot for c in plan().cuts}
    assert rows["DU-2649a"] == (5, "S1-a", "A9:D12; F1:G2")


def test_a_colony_on_rock_takes_longer_to_cut() -> None:
    cut = next(c for c in plan().cuts if c.colony == "LAN-02")
    assert cutting_minutes(farm(), cut) == (Decimal(6) + Decimal("0.6") * 9) * Decimal("1.5")


def test_a_session_lists_its_water_systems_in_order() -> None:
    first, second = session_views(farm(), plan())
    assert first.session.id == TUESDAY
    assert (first.systems, first.changes, first.pieces) == (("North", "South"), 1, 28)
    assert second.systems == ("North",)


def test_positions_of_a_rack_follow_sales_cuts_and_moves() -> None:
    view = PlanView(farm(), plan())
    state = rack_state(view, "N1-a", 1)
    assert state[0, 0].kind == "blocked"
    assert sum(o.id == "LN-2636a" for o in state.values()) == 11
    assert {o.kind for o in state.values() if o.id == "LN-2649a"} == {"new"}
    assert {o.kind for o in rack_state(view, "N1-b", 1).values() if o.id == "LN-2641a"} == {"moved out"}
    assert {o.kind for o in rack_state(view, "N2-a", 1).values() if o.id == "LN-2641a"} == {"moved in"}
    later = rack_state(view, "N2-a", 2)
    assert {o.kind for o in later.values() if o.id == "LN-2641a"} == {"old"}
    assert "LN-2641a" not in {o.id for o in rack_state(view, "N1-b", 2).values()}
    assert {o.kind for o in later.values() if o.id == "EMB-02"} == {"mother"}
    assert sum(o.id == "DU-2649a" for o in rack_state(view, "S1-a", 1).values()) == 5 * 4


def test_a_move_names_the_light_of_its_positions(tables: dict[str, Table]) -> None:
    assert tables["moves"].pick("lot", "from_rack", "to_rack", "from_par", "to_par") == (("LN-2641a", "N1-b", "N2-a", 200, 220),)


def test_sold_plugs_leave_from_the_end(tables: dict[str, Table]) -> None:
    rows = tables["sales"].pick("lot", "pieces", "leaves_from", "week")
    assert ("LN-2636a", 3, "N1-a: D6:D8", 1) in rows
    assert ("LN-2636a", 2, "N1-a: D4:D5", 1) in rows
    assert ("DU-2638a", 1, "S1-a: C5:D6", 2) in rows


def test_positions_are_written_as_rectangles() -> None:
    assert positions_text(((1, 0), (1, 1), (2, 0), (2, 1), (1, 3), (0, 9))) == "A10; B1:C2; B4"


def test_orders_get_graded_frags_and_the_rest_is_short(tables: dict[str, Table]) -> None:
    found = {p.order: p for p in promises(PlanView(farm(), plan()))}
    lot = PlanView(farm(), plan()).lots["LN-2636a"]
    assert found["1001"].in_time == 3 * lot.life.alive[1] * Decimal("0.95")
    assert found["1001"].in_time + found["1001"].late + found["1001"].short == 5
    assert [found[o].at_risk for o in ("1001", "1002", "1003")] == [True, True, False]
    assert dict(tables["orders"].pick("order", "promise"))["1003"] == "due later"


@pytest.mark.parametrize(
    ("in_time", "late", "short", "inside", "words"),
    [(5, 0, 0, True, "in time"), (0, 5, 0, True, "late"), (3, 2, 0, True, "part late"), (3, 1, 1, True, "short"),
     (0, 0, 5, False, "due later"), (5, 0, 0, False, "in time")],
)  # fmt: skip
def test_what_can_be_said_of_an_order(in_time: int, late: int, short: int, inside: bool, words: str) -> None:
    assert Promise("1", {}, Decimal(in_time), Decimal(late), Decimal(short), inside).in_words == words


def test_each_frag_reaches_its_first_class_once(tables: dict[str, Table]) -> None:
    rows = tables["sellable"].pick("first_class", "expected_frags")
    frags = sum(Decimal(str(v)) for first, v in rows if first)
    pieces = sum(lot.pieces for lot in PlanView(farm(), plan()).lots.values())
    assert 0 < frags <= pieces


def test_frags_sold_small_do_not_reach_the_larger_class(tables: dict[str, Table]) -> None:
    """All 12 pieces of LN-2649a go in week 9. They grow 1.2 mm x tanh(185 / 110) = 1.1 mm a week at 185 PAR or more: from 25 to 32 mm
    in 7 weeks, to 40 mm in 14, by which time none is left (hyperbolic tangent law, Jassby and Platt 1976, from memory)."""
    lot = PlanView(farm(), plan()).lots["LN-2649a"]
    assert lot.life.ready["small"] <= 9 < lot.life.ready["show"] <= 16
    alone = PlanView(farm(), plan().model_copy(update={"sales": ()}))
    whole = {r[:2]: r[2] for r in sellable_table(alone).pick("month", "size_class", "expected_frags", "strain") if r[3] == "LAN"}
    sold = {r[:2]: r[2] for r in tables["sellable"].pick("month", "size_class", "expected_frags", "strain") if r[3] == "LAN"}
    month = month_text(farm().weeks.month(lot.life.ready["show"]))
    missing = Decimal(str(whole[month, "show"])) - Decimal(str(sold.get((month, "show"), 0)))
    assert missing == pytest.approx(12 * lot.life.alive[lot.life.ready["show"]], abs=Decimal("0.002"))
    small = month_text(farm().weeks.month(lot.life.ready["small"]))
    assert whole[small, "small"] == sold[small, "small"]


def test_rack_use_of_a_near_week_counts_plugs_and_mothers(tables: dict[str, Table]) -> None:
    rows = tables["rack_use"].pick("week", "tank", "held")
    assert sum(Decimal(str(h)) for w, t, h in rows if (w, t) == (1, "N2")) == 4 + 10
    assert sum(Decimal(str(h)) for w, t, h in rows if (w, t) == (2, "N2")) == 4 + 10 + 9
    assert sum(Decimal(str(h)) for w, t, h in rows if (w, t) == (1, "N1")) == 11 + 12 + 12 + 10 + 8


def test_supplies_are_compared_with_stock(tables: dict[str, Table]) -> None:
    plugs = next(s for s in farm().supplies if s.item == "plug small")
    assert supply_use(PlanView(farm(), plan()), plugs) == {1: 20, 2: 9, 6: 10}
    row = dict(zip(tables["supplies"].columns, tables["supplies"].rows[0], strict=True))
    assert (row["near_weeks_need"], row["order_units"], row["short_in"]) == (29, 100, "2026-W50")
    assert str(row["note"]).startswith("order now")


def test_stale_counts_and_readings_come_first(tables: dict[str, Table]) -> None:
    assert tables["count_colonies"].pick("colony", "stale")[0] == ("EMB-02", True)
    assert tables["measure_light"].pick("rack", "stale")[0] == ("N2-a", True)


def test_text_that_looks_like_a_formula_is_marked_in_csv_and_numbers_are_not(tables: dict[str, Table]) -> None:
    rows = list(csv.DictReader(io.StringIO(csv_bytes(tables["cuts"]).decode())))
    assert next(r for r in rows if r["colony"] == "LAN-01")["place"] == f"'{FORMULA}"
    assert next(r for r in rows if r["colony"] == "EMB-01")["place"] == "'+back corner"
    lines = list(csv.DictReader(io.StringIO(csv_bytes(tables["lines"]).decode())))
    assert sum(Decimal(r["amount"]) for r in lines) == plan().value


def test_a_row_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match="2 values for 1 columns"):
        Table("x", ("a",), ((1, 2),))


def test_hours_are_what_cuts_need_and_what_people_who_can_offer(tables: dict[str, Table]) -> None:
    """Week 1 by hand: 6 minutes a colony and 0.6 a piece for the cutter; (180 + 150 - 2 x set-up) x fill of one person who can cut."""
    rows = {
        (r[0], r[1], r[2]): r[3:] for r in tables["hours"].pick("week", "where", "skills", "minutes_needed", "minutes_offered")
    }
    s = farm().settings
    offered = round((180 + 150 - 2 * s.session_minutes) * s.bench_fill, 1)
    assert rows[1, "bench", "cutters"] == (6 + 0.6 * 12 + 6 + 0.6 * 8, offered)
    assert rows[1, "bench", "scalpel + toxic"][0] == pytest.approx(6 + 0.6 * 5 + 6 + 0.6 * 3)
    assert rows[3, "bench", "cutters"][0] == 0
    assert rows[6, "bench", "cutters"][0] == 6 + 0.6 * 10
    paid = 2 * (38 * 60 - 180 - 150)
    assert rows[1, "outside sessions", "care"][1] == paid
    assert rows[1, "outside sessions", "pack"][1] == paid / 2


def test_hours_outside_sessions_are_the_audits(tables: dict[str, Table]) -> None:
    ctx = Context(farm(), plan())
    rows = tables["hours"].pick("week", "where", "minutes_needed")
    for week in farm().weeks.all:
        minutes = sum(float(str(m)) for w, where, m in rows if (w, where) == (week, "outside sessions"))
        assert minutes == pytest.approx(hours_in(ctx, week).demand / 60, abs=0.12)
