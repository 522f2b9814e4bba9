"""Sheets and tables of what would help, why colonies are cut, and how even tanks of like light are used."""

from __future__ import annotations

from decimal import Decimal
from io import BytesIO

import pytest
from example import farm, plan
from openpyxl import Workbook, load_workbook

from scheduler.plan.model import Held, Help, Plan, SeasonResult, WeekPrice, Why
from scheduler.plan.view import PlanView
from scheduler.planning.lines import unevenness
from scheduler.reporting import all_tables
from scheduler.reporting.workbook import build_workbook
from scheduler.sheets import workbook_bytes
from tests.audit.small_farm import small_farm, small_plan


def helped(*, explained: bool = False) -> Plan:
    rows = (
        Help(
            kind="rack", subject="North PAR 190-250 medium flow", text="one more rack of 80 positions at about PAR 210", amount=Decimal(80),
            unit="positions", gain=Decimal("250.40"), up_to=Decimal("120.10") if explained else None,
            prices=(WeekPrice(week=3, price=Decimal("1.250")), WeekPrice(week=4, price=Decimal("0.500"))),
        ),
        Help(kind="mother", subject="LAN", text="one more mother of Lantern Branch", amount=Decimal(1), unit="colonies", gain=Decimal(90)),
    )  # fmt: skip
    why = (Why(colony="LAN-01", week=1, reason="worth more now", detail="12 pieces now", at_stake=Decimal("-4.20")),)
    held = (Held(colony="EMB-02", reason="resting", detail="rests", ready_week=6, at_stake=Decimal("31.00")),)
    season = SeasonResult(
        bound=Decimal(1000),
        value_without_cuts=Decimal(400),
        gap_percent=Decimal("10.00"),
        gap_of_bound_percent=Decimal("6.00"),
        rounds=9,
    )
    about = plan().about.model_copy(update={"season": season})
    return plan().model_copy(update={"about": about, "helps": rows, "why": why, "held": held})


def built(of: Plan) -> Workbook:
    return load_workbook(BytesIO(workbook_bytes(build_workbook(PlanView(farm(), of), all_tables(farm(), of), "passed"))))


def rows_of(book: Workbook, sheet: str) -> list[list[object]]:
    return [[v for v in r if v is not None] for r in book[sheet].iter_rows(values_only=True)]


def test_the_ranking_and_the_prices_are_on_the_sheet() -> None:
    rows = rows_of(built(helped()), "what would help")
    assert any(r[:1] == ["more of"] and len(r) == 2 for r in rows)
    assert ["one more rack of 80 positions at about PAR 210", 250.4] in rows
    assert ["North PAR 190-250 medium flow", 1.25, 0.5] in rows


def test_what_solving_again_leaves_is_a_column_of_its_own() -> None:
    rows = rows_of(built(helped(explained=True)), "what would help")
    assert ["one more rack of 80 positions at about PAR 210", 250.4, 120.1] in rows
    assert ["one more mother of Lantern Branch", 90] in rows


def test_a_plan_in_which_nothing_helps_says_so() -> None:
    assert ["nothing: no limit of the season holds money back"] in rows_of(built(plan()), "what would help")


def test_reasons_carry_what_is_at_stake() -> None:
    book = built(helped())
    assert any(r[:1] == ["LAN-01"] and r[-1] == -4.2 for r in rows_of(book, "why cut"))
    assert any(r[:1] == ["EMB-02"] and r[-1] == 31 for r in rows_of(book, "not cut"))


def test_the_about_sheet_says_how_near_the_best_the_plan_is() -> None:
    said = [r for r in rows_of(built(helped()), "about") if r[:1] == ["season"]]
    assert said
    assert str(said[0][1]).startswith("within 6.0 % of the best possible (10.0 % of the gain over no new cuts)")


def test_tables_hold_every_price() -> None:
    tables = all_tables(farm(), helped(explained=True))
    assert tables["what_would_help"].column("up_to") == (Decimal("120.10"), None)
    assert tables["prices"].pick("week", "one_more") == ((3, Decimal("1.250")), (4, Decimal("0.500")))
    assert tables["why_cut"].column("reason") == ("worth more now",)
    assert tables["not_cut"].column("at_stake") == (Decimal("31.00"),)


# ---- evenness -----------------------------------------------------------------------------------------------------------


def test_the_worst_week_is_the_unevenness_that_is_weighed() -> None:
    book = small_farm()
    view = PlanView(book, small_plan(book))
    table = all_tables(book, view.plan)["evenness"]
    worst = max(Decimal(str(v)) for v in table.column("difference"))
    assert worst == pytest.approx(unevenness(book, view), abs=Decimal("0.01"))


def test_before_counts_the_lots_on_racks_where_they_stand() -> None:
    """North has tanks N1 and N2 at PAR 190-250: before the plan lot OA's ten plugs (5 sold in week 2) stand in N1 alone."""
    book = small_farm()
    plan_ = small_plan(book)
    table = all_tables(book, plan_)["evenness"]
    rows = {(c, w): (d0, d) for c, w, d0, d in table.pick("light_class", "week", "difference_before", "difference")}
    first = rows["North PAR 190-250 medium flow", 1]
    assert float(str(first[0])) == pytest.approx(100 * 10 / 79, abs=0.01)
    assert first[1] != first[0]
    without = plan_.model_copy(update={"cuts": (), "stands": tuple(s for s in plan_.stands if s.lot == "OA"), "sales": ()})
    bare = all_tables(book, without)["evenness"].pick("week", "difference_before")
    assert all(float(str(d)) > 0 for _, d in bare)
