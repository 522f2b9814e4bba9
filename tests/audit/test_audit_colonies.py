"""C1 to C4: at the limit a plan passes, a step over it does not."""

from datetime import date
from typing import Any

import pytest
from small_farm import N1A, N1B, N2A, S1A, audited, broken, changed, cut, small_farm, small_plan, stand, with_row

FARM = small_farm()
PLAN = small_plan(FARM)


def first_cut(pieces: int) -> dict[str, Any]:
    """Parts of a plan in which lot NA alone is cut, with that many pieces."""
    rows = -(-pieces // 10)
    block = f"D1:{'CDEFG'[rows]}{min(pieces, 10) if rows == 1 else 10}={pieces}"
    return {
        "cuts": (cut("NA", "A1", "AAA", 1, pieces, 1),),
        "stands": (stand("NA", 1, N1A, "N1-a", block),),
        "sales": (),
    }


def test_the_small_plan_breaks_no_rule() -> None:
    report = audited(FARM, PLAN)
    assert report.breaches == ()
    assert report.clean
    assert report.lines == PLAN.lines
    assert report.value == PLAN.value != 0


@pytest.mark.parametrize("pieces", [4, 12, 23, 24])
def test_cuts_within_their_limits_pass(pieces: int) -> None:
    assert broken(FARM, PLAN, **first_cut(pieces)) == set()


@pytest.mark.parametrize("pieces", [25, 26, 38])
def test_c3_a_cut_takes_no_more_than_its_share(pieces: int) -> None:
    assert broken(FARM, PLAN, **first_cut(pieces)) == {"C3"}


@pytest.mark.parametrize(("keep", "rule"), [(10, set()), (47, set()), (48, set()), (49, {"C2"}), (50, {"C2"}), (60, {"C2"})])
def test_c2_enough_pieces_remain(keep: int, rule: set[str]) -> None:
    farm = changed(FARM, "strains", "AAA", keep_pieces=keep)
    assert broken(farm, PLAN, **first_cut(12)) == rule


@pytest.mark.parametrize(
    ("last_cut", "rule"),
    [
        (None, set()), (date(2026, 6, 1), set()), (date(2026, 11, 8), set()), (date(2026, 11, 9), {"C1"}),
        (date(2026, 11, 16), {"C1"}), (date(2026, 11, 29), {"C1"}),
    ],
)  # fmt: skip
def test_c1_rests_since_the_last_known_cut(last_cut: date | None, rule: set[str]) -> None:
    farm = changed(FARM, "colonies", "A1", last_cut=last_cut)
    assert broken(farm, PLAN, **first_cut(12)) == rule


@pytest.mark.parametrize(("week", "rule"), [(3, {"C1"}), (4, {"C1"}), (5, set()), (8, set())])
def test_c1_rests_between_two_cuts(week: int, rule: set[str]) -> None:
    parts = first_cut(12)
    parts["cuts"] += (cut("NC", "A1", "AAA", week, 6),)
    parts["stands"] += (stand("NC", week, N1A, pieces=6),)
    assert broken(FARM, PLAN, **parts) == rule


@pytest.mark.parametrize(("least", "rule"), [(4, set()), (12, set()), (13, {"C4"}), (20, {"C4"})])
def test_c4_a_cut_is_worth_its_while(least: int, rule: set[str]) -> None:
    assert broken(changed(FARM, "strains", "AAA", min_pieces=least), PLAN, **first_cut(12)) == rule


@pytest.mark.parametrize("condition", ["watch", "no cut"])
def test_c4_only_fit_colonies_are_cut(condition: str) -> None:
    assert broken(changed(FARM, "colonies", "A1", condition=condition), PLAN, **first_cut(12)) == {"C4"}


@pytest.mark.parametrize(("months", "rule"), [((1, 11), set()), ((12,), {"C4"}), ((6, 12), {"C4"})])
def test_c4_closed_months(months: tuple[int, ...], rule: set[str]) -> None:
    assert broken(changed(FARM, "strains", "AAA", closed_months=months), PLAN, **first_cut(12)) == rule


def test_c4_at_most_one_cut_per_colony_and_week() -> None:
    cuts = (*PLAN.cuts, cut("LB", "A2", "AAA", 4, 4))
    assert broken(FARM, PLAN, cuts=cuts, stands=(*PLAN.stands, stand("LB", 4, N1A, pieces=4))) == {"C4"}


def test_a_second_cut_is_measured_on_the_colony_the_first_one_left() -> None:
    parts = first_cut(24)
    parts["cuts"] += (cut("NC", "A1", "AAA", 5, 16),)
    parts["stands"] += (stand("NC", 5, N1A, pieces=16),)
    report = audited(FARM, PLAN, **parts)
    assert report.rules == {"C3"}
    assert "16 pieces cut of 39.00; at most 15" in report.breaches[0].text


# ---- S5 and L6: fresh frags ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("most", "rule"), [(40, set()), (18, set()), (17, {"S5"}), (5, {"S5"}), (0, {"S5"})])
def test_s5_fresh_frags_of_a_system_in_a_week(most: int, rule: set[str]) -> None:
    assert broken(changed(FARM, "systems", "North", max_fresh=most), PLAN) == rule


def test_s5_every_piece_has_its_place() -> None:
    stands = with_row(PLAN.stands, "LA", pieces=9)
    assert broken(FARM, PLAN, stands=stands) == {"S5"}


def test_s5_a_lot_stands_from_the_week_of_its_cut() -> None:
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "LA", week=5)) == {"S5"}
    assert broken(FARM, PLAN, stands=tuple(s for s in PLAN.stands if s.lot != "LA")) == {"S5"}


def test_l6_fresh_frags_settle_at_home_or_in_a_system_that_is_fed() -> None:
    assert broken(FARM, PLAN, stands=with_row(PLAN.stands, "LA", zone=S1A)) == set()
    starved = changed(FARM, "systems", "North", feeds=())
    assert broken(starved, PLAN, stands=with_row(PLAN.stands, "LA", zone=S1A)) == {"L6"}
    nb = tuple(stand("NB", 2, N1A, "N1-a", "G1:H5") if s.lot == "NB" else s for s in PLAN.stands)
    assert broken(FARM, PLAN, stands=nb) == {"L6"}


# ---- L2, L3, L8: light and flow --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("par", "rule"), [(200.0, set()), (174.0, set()), (173.9, {"L2"}), (285.7, set()), (285.8, {"L2"}), (100.0, {"L2"})]
)
def test_l2_settling_light_in_later_weeks(par: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "colonies", "A2", par_umol=par), PLAN) == rule


@pytest.mark.parametrize(
    ("par", "rule"), [(200.0, set()), (174.0, set()), (173.9, {"L2"}), (285.7, set()), (285.8, {"L2"}), (400.0, {"L2"})]
)
def test_l2_settling_light_in_near_weeks(par: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "colonies", "A1", par_umol=par), PLAN) == rule


@pytest.mark.parametrize(("step", "rule"), [(0.5, set()), (0.4, set()), (0.39, {"L3"}), (0.0, {"L3"})])
def test_l3_a_move_raises_light_by_little(step: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "settings", max_step_up=step), PLAN) == rule


@pytest.mark.parametrize(("par", "rule"), [(280.0, set()), (279.9, {"L3"}), (250.0, {"L3"})])
def test_l3_a_move_stays_in_the_light_range(par: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "strains", "AAA", par_max=par), PLAN) == rule


@pytest.mark.parametrize(("weeks", "rule"), [(2, set()), (3, set()), (4, {"L3", "L2"}), (5, {"L3", "L2"})])
def test_l3_no_move_while_settling(weeks: int, rule: set[str]) -> None:
    farm = changed(FARM, "settings", settle_weeks=weeks)
    assert broken(farm, PLAN) == rule - {"L2"}


@pytest.mark.parametrize(
    ("moved", "rule"),
    [(date(2026, 11, 16), set()), (date(2026, 11, 22), set()), (date(2026, 11, 23), {"L3"}), (date(2026, 11, 29), {"L3"})],
)
def test_l3_waits_after_a_move_before_the_plan(moved: date, rule: set[str]) -> None:
    assert broken(changed(FARM, "lots", "OA", moved_date=moved), PLAN) == rule


@pytest.mark.parametrize(("week", "rule"), [(6, {"L3"}), (5, {"L3"}), (7, set()), (8, set())])
def test_l3_waits_after_a_move_of_the_plan(week: int, rule: set[str]) -> None:
    stands = (*PLAN.stands, stand("NA", week, N1A, pieces=4))
    assert broken(FARM, PLAN, stands=stands) == rule


@pytest.mark.parametrize(
    ("traits", "rule"),
    [
        ({"flow_settling": ("low", "medium")}, set()), ({"flow_settling": ("low",)}, {"L8"}), ({"flow_settling": ("high",)}, {"L8"}),
        ({"flow_growing": ("medium",)}, set()), ({"flow_growing": ("high",)}, {"L8"}),
    ],
)  # fmt: skip
def test_l8_flow(traits: dict[str, Any], rule: set[str]) -> None:
    assert broken(changed(FARM, "strains", "AAA", **traits), PLAN) == rule


def test_l7_groups_kept_apart() -> None:
    moved = tuple(stand("NA", 4, N2A, pieces=12) if (s.lot, s.week) == ("NA", 4) else s for s in PLAN.stands)
    report = audited(FARM, PLAN, stands=moved)
    assert report.rules == {"L7"}
    assert report.breaches[0].things == ("N2", "lot NA")
    assert broken(changed(FARM, "pairs", apart=None), PLAN, stands=moved) == set()


def test_l7_a_mix_of_today_is_excused_and_nothing_is_added() -> None:
    mixed = changed(FARM, "colonies", "L1", tank="S1")
    without = {
        "cuts": tuple(c for c in PLAN.cuts if c.lot != "NB"), "stands": tuple(s for s in PLAN.stands if s.lot != "NB"),
    }  # fmt: skip
    assert broken(mixed, PLAN, **without) == set()
    assert broken(mixed, PLAN) == {"L7"}


def test_l7_by_system() -> None:
    farm = changed(FARM, "pairs", apart="system")
    report = audited(farm, PLAN)
    assert report.rules == {"L7"}
    assert all(b.things[0] == "North" for b in report.breaches)
    assert broken(changed(farm, "colonies", "L1", strain="ZZZ"), PLAN) == set()


def test_l9_closed_tanks_take_nothing() -> None:
    assert broken(changed(FARM, "tanks", "N1", closed_from=date(2026, 12, 28)), PLAN) == set()
    assert broken(changed(FARM, "tanks", "N1", closed_from=date(2026, 12, 27)), PLAN) == {"L9"}
    assert broken(changed(FARM, "tanks", "N1", closed_to=date(2026, 11, 29)), PLAN) == set()
    assert broken(changed(FARM, "tanks", "N1", closed_to=date(2026, 11, 30)), PLAN) == {"L9"}
    assert N1B in {s.zone for s in PLAN.stands}
