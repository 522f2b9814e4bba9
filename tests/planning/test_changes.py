"""What-if changes in words: what each does to a farm, and what is said of words that fit nothing."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner

from scheduler.book import write_csv
from scheduler.cli.inputs import read_changes
from scheduler.cli.main import app
from scheduler.errors import ChangeError
from scheduler.farm.farm import Farm
from scheduler.plan.model import SeasonResult
from scheduler.plan.view import PlanView
from scheduler.planning.changes import FORMS, apply_change, apply_changes, note_of
from scheduler.planning.compare import Comparison, bound_of, compare_farms, slack_of
from scheduler.reporting.compare import cuts_table, money_table, months_table, order_answers, orders_table, racks_table
from scheduler.solving import Limits
from tests.audit.small_farm import MONDAY, changed, cut, finished, sale, small_farm, small_plan, stand

FARM = changed(small_farm(), "settings", book_date=MONDAY)
PLAN = small_plan(FARM)


def after(words: str) -> Farm:
    return apply_changes(FARM, [words])


def test_a_tank_out_of_use() -> None:
    tank = after("tank N1 out from 2026-12-14 to 2027-01-03").tank["N1"]
    assert (tank.closed_from, tank.closed_to) == (date(2026, 12, 14), date(2027, 1, 3))
    assert after("tank N1 out from 2026-12-14").tank["N1"].closed_to is None


def test_a_rack_added() -> None:
    farm = after("rack of 4 x 6 in S1 at 180 PAR")
    rack = farm.rack["what-if 1"]
    assert (rack.tank, rack.rows, rack.cols, rack.pitch_mm, rack.plug_kinds) == ("S1", 4, 6, 30.0, ("small",))
    reading = farm.reading("what-if 1", MONDAY)
    assert reading is not None
    assert reading.corners == (180,) * 4
    assert "what-if 2" in apply_changes(FARM, ["rack of 4 x 6 in S1 at 180 PAR"] * 2).rack


def test_a_person_away_and_hours_added() -> None:
    absence = after("away Ada from 2026-12-07 to 2026-12-20").absences[-1]
    assert (absence.person, absence.from_date, absence.to_date) == ("Ada", date(2026, 12, 7), date(2026, 12, 20))
    twice = apply_changes(FARM, ["away Ada from 2026-12-07 to 2026-12-20", "away Ada from 2026-12-07 to 2026-12-11"])
    assert [a.to_date for a in twice.absences] == [date(2026, 12, 20)]
    assert after("hours Ben +2.5").person["Ben"].hours_per_week == 12.5
    assert after("hours Ben -2.5").person["Ben"].hours_per_week == 7.5
    assert after("session bench +60 min").sessions[0].minutes == 240
    new = after("new session fri 13:00 120 min with Ada, Ben").sessions[-1]
    assert (new.weekday, new.minutes, new.people, new.methods) == ("Fri", 120, ("Ada", "Ben"), ("cutters", "scalpel"))


def test_a_price_changed_for_one_strain_only() -> None:
    farm = after("price AAA small 27.50")
    prices = {s: farm.size_class(s, "small") for s in ("AAA", "BBB")}
    assert [c.list_price for c in prices.values() if c] == [Decimal("27.50"), Decimal(20)]
    again = apply_changes(farm, ["price AAA small 28"]).size_class("AAA", "small")
    assert again is not None
    assert again.list_price == 28


def test_a_strain_dropped_is_still_sold_off() -> None:
    farm = after("drop AAA")
    assert {c.strain for c in farm.colonies} == {"BBB", "ZZZ", "LLL"}
    assert [x.lot for x in farm.lots] == ["OA", "OB", "OQ"]


def test_an_order_taken_on() -> None:
    order = after("order 40 AAA small at 18 due 2027-01-15 by pickup").order["what-if 1"]
    assert (order.quantity, order.channel, order.price, order.due) == (40, "pickup", 18, date(2027, 1, 15))
    assert after("order 40 AAA small at 18 due 2027-01-15").order["what-if 1"].channel == "ship"


def test_light_turned_up_from_a_day_on() -> None:
    farm = after("light N1 +10 % from 2026-12-14")
    for rack in ("N1-a", "N1-b"):
        before, then = farm.reading(rack, date(2026, 12, 13)), farm.reading(rack, date(2026, 12, 14))
        assert before is not None
        assert then is not None
        assert then.planned
        assert then.corners == pytest.approx([1.1 * x for x in before.corners or ()])
    assert after("light N1-a -50%").reading("N1-b", MONDAY) == FARM.reading("N1-b", MONDAY)
    # a change planned for later stays a change in proportion
    twice = apply_changes(FARM, ["light N1 +10 % from 2026-12-21", "light N1 +10 % from 2026-12-14"])
    last = twice.reading("N1-a", date(2026, 12, 21))
    assert last is not None
    assert last.par_umol == pytest.approx(200 * 1.21)


@pytest.mark.parametrize("form", FORMS, ids=lambda f: f.example)
def test_every_example_is_read_by_its_own_form(form: object) -> None:
    example = form.example  # type: ignore[attr-defined]
    assert next(f for f in FORMS if f.pattern.fullmatch(example)) is form


WRONG = [
    ("tank N3 out from 2026-12-14", "no tank 'N3'; did you mean N"), ("tank N1 out from 2026-13-01", "month must be"),
    ("away Eve from 2026-12-07 to 2026-12-20", "no person 'Eve'"), ("paint N1 blue", "is no change"),
    ("price AAA huge 3", "no size class 'huge'"), ("drop ABA", "did you mean"), ("order 5 AAA small at 3 due 2027-02-29", "day"),
    ("order 5 AAA small at 3 due 2027-02-28 by post", "no channel 'post'"), ("light N9 +5 %", "no rack or tank 'N9'"),
    ("light N1 -100 %", "cannot fall"), ("hours Ada +100", "hours_per_week"), ("rack of 99 x 4 in S1 at 180 PAR", "rows"),
    ("session bench +900 min", "minutes"), ("new session Fri 13:00 120 min with Ada, Eve", "no person 'Eve'"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "said"), WRONG, ids=[w for w, _ in WRONG])
def test_words_that_fit_nothing(words: str, said: str) -> None:
    with pytest.raises(ChangeError) as error:
        apply_change(FARM, words)
    assert said in str(error.value)
    assert words in str(error.value)


def test_all_wrong_changes_are_told_at_once() -> None:
    with pytest.raises(ChangeError) as error:
        apply_changes(FARM, ["drop XYZ", "drop AAA", "hours Eve +1"])
    assert str(error.value).count("--change") == 2


def test_a_farm_that_no_longer_fits_is_refused() -> None:
    with pytest.raises(ChangeError, match="after the changes"):
        apply_changes(FARM, ["away Ada from 2026-12-20 to 2026-12-07"])


def test_changes_from_a_table(tmp_path: Path) -> None:
    path = tmp_path / "changes.csv"
    path.write_text('note,change\nfirst,"new session Fri 13:00 120 min with Ada, Ben"\n,\nlast,drop AAA\n', encoding="utf-8-sig")
    assert read_changes(path) == ("new session Fri 13:00 120 min with Ada, Ben", "drop AAA")
    path.write_text("what\ndrop AAA\n", encoding="utf-8")
    with pytest.raises(ChangeError, match="no column 'change'"):
        read_changes(path)
    path.write_bytes(b"change\n\xff\xfe")
    with pytest.raises(ChangeError, match="UTF-8"):
        read_changes(path)
    with pytest.raises(ChangeError, match="cannot be read"):
        read_changes(tmp_path / "none.csv")


# ---- side by side -----------------------------------------------------------------------------------------------------


def weighed(value: str, bound: str) -> PlanView:
    """A plan of some value and bound."""
    zero = Decimal(0)
    season = SeasonResult(bound=Decimal(bound), value_without_cuts=zero, gap_percent=zero, gap_of_bound_percent=zero, rounds=1)
    about = PLAN.about.model_copy(update={"season": season})
    return PlanView(FARM, PLAN.model_copy(update={"value": Decimal(value), "about": about}))


@pytest.mark.parametrize(
    ("one", "two", "verdict"),
    [
        (("100", "100"), ("130", "130"), "better"),
        (("130", "130"), ("100", "100"), "worse"),
        (("100", "130"), ("130", "130"), "too close to tell"),  # 30 apart, 30 unproved: at the limit
        (("100", "129.99"), ("130", "130"), "better"),
        (("130", "130"), ("100", "130"), "too close to tell"),
        (("100", "100"), ("100", "100"), "too close to tell"),
    ],
)
def test_a_difference_within_what_is_unproved_tells_nothing(one: tuple[str, str], two: tuple[str, str], verdict: str) -> None:
    found = Comparison(weighed(*one), weighed(*two))
    assert found.verdict == verdict
    assert found.difference == Decimal(two[0]) - Decimal(one[0])
    assert found.bounds_difference == Decimal(two[1]) - Decimal(one[1])


@pytest.mark.parametrize(
    ("one", "two", "said"),
    [
        (("100", "100"), ("130", "130"), ["30.00 USD more", ": a gain", "differ by +30.00."]),
        (("130", "130"), ("100", "100"), ["30.00 USD less", ": a loss", "differ by -30.00."]),
        (
            ("100", "900"),
            ("130", "880"),
            ["30.00 USD more", "up to 800.00 short", "too close to tell", "-20.00", "the better guess: worth less"],
        ),
        (
            ("100", "2000"),
            ("90", "2000.9"),
            ["10.00 USD less", "too close to tell", "about 1, so they show no difference either"],
        ),
        (("100", "200"), ("100", "200"), ["makes no difference"]),
    ],
)
def test_plans_and_bounds_are_told_in_sentences(one: tuple[str, str], two: tuple[str, str], said: list[str]) -> None:
    told = " ".join(Comparison(weighed(*one), weighed(*two)).told())
    for text in said:
        assert text in told


def test_without_a_bound_on_the_season_the_search_of_the_near_weeks_counts() -> None:
    near = PLAN.about.near.model_copy(update={"value": Decimal(50), "bound": Decimal(58)})
    plan = PLAN.model_copy(update={"about": PLAN.about.model_copy(update={"near": near, "season": None})})
    assert (slack_of(plan), bound_of(plan)) == (8, PLAN.value + 8)


def test_tables_side_by_side() -> None:
    farm = apply_changes(FARM, ["order 6 BBB small at 30 due 2027-01-15"])
    more = sale("OB", 3, 3, "order", "small", order="what-if 1")
    other = finished(
        farm, PLAN, sales=(*(s for s in PLAN.sales if (s.lot, s.week) != ("OB", 3)), more),
        cuts=(cut("NA", "A1", "AAA", 1, 10, 1), *PLAN.cuts[1:]),
        stands=(stand("NA", 1, PLAN.stands[0].zone, "N1-a", "D1:E5"), *(s for s in PLAN.stands[1:] if s.lot != "NA")),
    )  # fmt: skip
    views = (PlanView(FARM, PLAN), PlanView(farm, other))
    for table in (money_table(*views), months_table(*views), orders_table(*views), racks_table(*views)):
        for row in table.rows:
            assert row[3] == row[2] - row[1]  # type: ignore[operator]
    money = {r[0]: r for r in money_table(*views).rows}
    assert money["value of the plan"][1:3] == (PLAN.value, other.value)
    assert sum(r[2] for r in money_table(*views).rows[:-1]) == other.value  # type: ignore[misc]
    assert cuts_table(*views).rows == (("A1", "12 pieces, bench 2026-12-01", "10 pieces, bench 2026-12-01"),)
    months = {r[0]: r[1] for r in months_table(*views).rows}
    assert list(months) == ["2026-12", "2027-01"]
    assert {r[0]: r[1] for r in orders_table(*views).rows}["orders due"] == 2
    tanks = {r[0]: r[1] for r in racks_table(*views).rows}
    assert set(tanks) == {"N1", "N2", "S1", "Q1"}
    assert all(0 < x < 100 for x in tanks.values())  # type: ignore[operator]


def test_an_order_taken_on_is_answered() -> None:
    farm = apply_changes(FARM, ["order 6 BBB small at 30 due 2027-01-15"])
    base = PlanView(FARM, PLAN)
    none = order_answers(base, PlanView(farm, finished(farm, PLAN)))
    assert len(none) == 1
    assert ": no, nothing of it is delivered" in none[0]
    some = finished(farm, PLAN, sales=(*PLAN.sales, sale("OB", 3, 3, "order", "small", order="what-if 1")))
    part = order_answers(base, PlanView(farm, some))[0]
    # 3 plugs of which nine tenths make grade, at 30
    assert ": in part: 2.7 in time, " in part
    assert " not within the weeks planned; 2.7 in 2026-W51 (late from 2027-W0" in part
    assert "It brings 81.00;" in part
    assert f"so the plan is worth {some.value - PLAN.value:,.2f} more" in part
    enough = apply_changes(FARM, ["order 2 BBB small at 30 due 2027-01-15"])
    plan = finished(enough, PLAN, sales=(*PLAN.sales, sale("OB", 3, 3, "order", "small", order="what-if 1")))
    assert ": yes, in time; 2.0 in 2026-W51. It brings 60.00" in order_answers(base, PlanView(enough, plan))[0]


def test_an_order_that_comes_late_says_so() -> None:
    base = PlanView(FARM, PLAN)
    farm = apply_changes(FARM, ["order 2 BBB small at 30 due 2026-12-10"])
    plan = finished(farm, PLAN, sales=(*PLAN.sales, sale("OB", 3, 3, "order", "small", order="what-if 1")))
    (text,) = order_answers(base, PlanView(farm, plan))
    assert ": wholly, but late: 0.0 in time, 2.0 late; 2.0 in 2026-W51 (late from 2026-W51)." in text


def test_what_is_taken_for_granted_is_said() -> None:
    assert "what stands there stays" in note_of("tank  N1 out from 2026-12-14")
    assert "for work outside sessions" in note_of("hours Ben +2.5")
    assert note_of("away Ben from 2026-12-07 to 2026-12-20") == ""


def test_two_farms_are_planned_with_the_same_search() -> None:
    limits = Limits(seconds=600, deterministic=0.1, seed=1, workers=1)
    same = compare_farms(FARM, FARM, limits=limits, jobs=1)
    assert same.base.plan.cuts == same.changed.plan.cuts
    assert (same.difference, same.verdict) == (0, "too close to tell")


def test_the_command_shows_both_sides(tmp_path: Path) -> None:
    write_csv(FARM, tmp_path / "book")
    words = ["compare", str(tmp_path / "book"), "--time-limit", "1", "--change", "order 4 AAA small at 30 due 2027-01-15"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.output
    for text in (
        "Change: order 4",
        "value of the plan",
        "orders in time",
        "Order: 4 AAA small",
        "The plan with the change",
        "The bounds",
    ):
        assert text in result.stdout
    bare = CliRunner().invoke(app, words[:2])
    assert bare.exit_code == 2
    assert "--change 'drop LAN'" in bare.stderr
