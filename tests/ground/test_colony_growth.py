from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.biology.growth import (
    after_cut,
    curve,
    grow,
    level_of,
    levels,
    most_pieces,
    rested_from,
    season_open,
    size_after,
    uncut_level,
    weeks_grown,
)
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from tests.farms import one_strain_farm

LAWS = st.fixed_dictionaries(
    {
        "growth_law": st.sampled_from(["exponential", "linear", "logistic"]),
        "growth_per_week": st.floats(0.005, 0.4),
        "start_units": st.floats(1, 20),
        "cap_units": st.floats(25, 200),
        "unit_per_piece": st.sampled_from([0.5, 1, 1.5, 3]),
    }
)


def with_colony(farm: Farm, **values: Any) -> Farm:
    row = {"colony": "A-01", "strain": "A", "tank": "T", "par_umol": 200, "count": 40, "count_date": "2026-11-30"}
    return replace(farm, colonies=(Colony(**(row | {"condition": "fit", "condition_date": "2026-11-30"} | values)),))


@given(LAWS)
def test_curves_never_fall_and_stay_under_the_cap(law: dict[str, Any]) -> None:
    traits = one_strain_farm(**law).traits("A")
    sizes = curve(traits)
    assert all(a <= b for a, b in pairwise(sizes))
    assert sizes[0] == pytest.approx(traits.start_units / traits.unit_per_piece)
    assert sizes[-1] <= traits.cap_units / traits.unit_per_piece + 1e-9
    assert all(level_of(sizes, size) >= level for level, size in enumerate(sizes))
    assert grow(sizes, len(sizes) - 1, 5) == len(sizes) - 1
    assert size_after(traits, 1_000_000) == pytest.approx(traits.cap_units / traits.unit_per_piece)


@given(LAWS, st.integers(0, 60), st.integers(0, 40))
def test_a_cut_leaves_no_more_than_what_was_not_taken(law: dict[str, Any], weeks: int, pieces: int) -> None:
    sizes = curve(one_strain_farm(**law).traits("A"))
    level = grow(sizes, 0, weeks)
    after = after_cut(sizes, level, pieces)
    assert after <= max(level, level_of(sizes, sizes[level]))
    rest = sizes[level] - pieces
    if rest >= sizes[0]:
        assert sizes[after] <= rest + 1e-8
        assert after == len(sizes) - 1 or sizes[after + 1] > rest
    else:
        assert after == 0


@given(st.floats(0, 200), st.integers(1, 9), st.integers(0, 30), st.sampled_from([0.1, 0.3, 0.4, 0.5, 1.0]))
def test_the_most_a_cut_may_take(size: float, fewest: int, keep: int, part: float) -> None:
    traits = one_strain_farm(min_pieces=fewest, keep_pieces=keep, max_share=part).traits("A")
    most = most_pieces(traits, size)
    if most:
        assert most >= fewest
        assert most <= part * size + 1e-6
        assert size - most >= keep - 1e-6
    else:
        assert fewest > part * size - 1e-6 or fewest > size - keep - 1e-6
    bigger = most + 1 if most else fewest
    assert bigger > part * size - 1e-6 or size - bigger < keep + 1e-6


def test_the_most_by_hand() -> None:
    traits = one_strain_farm(min_pieces=4, keep_pieces=10, max_share=0.4).traits("A")
    assert [most_pieces(traits, s) for s in (13.9, 14, 16, 17.4, 30, 50)] == [0, 4, 6, 6, 12, 20]
    # 0.3 x 10 is 3 although 0.3 * 10 in floats might not be
    loose = one_strain_farm(min_pieces=1, keep_pieces=0, max_share=0.3).traits("A")
    assert most_pieces(loose, 10) == 3


@pytest.mark.parametrize(
    ("count_week", "week", "cut", "pause", "weeks"),
    [
        (0, 5, None, 2, 5), (5, 5, None, 2, 0), (6, 5, None, 2, 0), (0, 5, 0, 2, 3), (0, 5, -1, 2, 4), (0, 5, -2, 2, 5),
        (0, 1, 0, 3, 0), (0, 5, 0, 0, 5), (-6, 1, -8, 1, 7), (-8, 1, -8, 1, 8),
    ],
)  # fmt: skip
def test_weeks_grown_since_a_count(count_week: int, week: int, cut: int | None, pause: int, weeks: int) -> None:
    by_hand = sum(1 for w in range(count_week + 1, week + 1) if cut is None or not cut < w <= cut + pause)
    assert weeks_grown(count_week, week, cut, pause) == by_hand == weeks


def test_levels_after_cuts_by_hand() -> None:
    """Linear, one piece a week from 4: level n is n + 4 pieces."""
    farm = with_colony(
        one_strain_farm(
            growth_law="linear", growth_per_week=1.0, start_units=4, cap_units=60, unit_per_piece=1, pause_weeks=2, keep_pieces=3
        ),
        count=20.5,
    )
    colony = farm.colonies[0]
    sizes = curve(farm.traits("A"))
    assert uncut_level(farm, colony, 1) == 16
    assert uncut_level(farm, colony, 4) == 19
    found = levels(farm, colony, {2: 8, 7: 5})
    # week 2: 21 pieces; 8 taken leave 13; two weeks of pause, then one a week; week 7: 16; 5 taken leave 11
    pieces = [sizes[found[w]] for w in range(1, 13)]
    assert pieces == [20, 21, 13, 13, 14, 15, 16, 11, 11, 12, 13, 14]
    assert levels(farm, colony, {}) == {w: 15 + w for w in range(1, 13)}


@settings(deadline=None)
@given(st.dictionaries(st.integers(1, 12), st.integers(1, 6), max_size=3), st.integers(0, 4), st.floats(20, 90))
def test_levels_follow_the_rule_between_cuts(cuts: dict[int, int], pause: int, count: float) -> None:
    farm = with_colony(one_strain_farm(pause_weeks=pause), count=count)
    sizes = curve(farm.traits("A"))
    found = levels(farm, farm.colonies[0], cuts)
    weeks = sorted(cuts)
    for earlier, later in zip([*weeks, 12], [*weeks[1:], 12, 12], strict=False):
        if earlier in cuts and later > earlier:
            left = after_cut(sizes, found[earlier], cuts[earlier])
            assert found[later] == min(len(sizes) - 1, left + max(0, later - earlier - pause))
    first = min(weeks, default=12)
    assert all(found[w] == uncut_level(farm, farm.colonies[0], w) for w in range(1, first + 1))


def test_rest_counts_weeks_from_the_week_of_the_last_cut() -> None:
    farm = one_strain_farm(rest_weeks=8)
    for day, week in (("2026-10-05", 1), ("2026-10-11", 1), ("2026-10-12", 2), ("2026-10-04", 0)):
        cut = with_colony(farm, last_cut=day)
        assert rested_from(cut, cut.colonies[0]) == week
    unknown = with_colony(farm)
    assert rested_from(unknown, unknown.colonies[0]) <= 1


def test_closed_months_close_the_weeks_whose_thursday_they_hold() -> None:
    farm = with_colony(one_strain_farm(closed_months=(1,)))
    shut = [farm.weeks.monday(w) for w in farm.weeks.all if not season_open(farm, farm.colonies[0], w)]
    assert shut == [date(2027, 1, 4), date(2027, 1, 11), date(2027, 1, 18), date(2027, 1, 25)]
