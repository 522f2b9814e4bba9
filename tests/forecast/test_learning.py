from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard
from scheduler.forecast.learn import CUTTING, GROWTH, LOSS_TRAITS, MOUNTING, PIECES, learn, learned_farm
from scheduler.forecast.shrink import GROUP_WEIGHT, beta_prior, blend, blend_error, effective_sample, group_factor
from scheduler.forecast.survival import Interval, split_losses, weekly_losses_of
from tests.forecast.rack_farm import TRAITS, count, past, past_cut, rack_farm

WEIGHTLESS = (np.full((2, 2), 1e-9), np.full((2, 2), 1e-7))


def with_history(strain_lots: dict[str, list[tuple[int, list[tuple[int, int, dict[str, Any]]]]]], **more: Any) -> Farm:
    """A farm whose past lots were cut 52 weeks ago: by strain (started, [(age, alive, more), ...])."""
    lots, counts = [], []
    for strain, rows in strain_lots.items():
        for i, (started, found) in enumerate(rows):
            lots.append(past(f"{strain}{i}", 52, started, strain))
            counts += [count(f"{strain}{i}", 52 - age, alive, **extra) for age, alive, extra in found]
    strains = tuple(dict.fromkeys(("AMB", *strain_lots)))
    return rack_farm(strains=strains, tables={"past_lots": tuple(lots), "counts": tuple(counts)} | more)


# ---- losses between counts ----------------------------------------------------------------------------------------------


def test_losses_of_one_week_are_put_where_they_were_counted() -> None:
    rows = [Interval(0, 1, 20, 2, 1, 0), Interval(1, 2, 17, 1, 0, 0), Interval(2, 3, 16, 0, 0, 0)]
    losses = split_losses(rows, np.full((2, 2), 0.01), 1)
    assert losses.events.tolist() == [[2, 1, 0], [1, 0, 0]]
    assert losses.exposure.tolist() == [[20, 17, 16], [20, 17, 16]]
    assert losses.curve() == pytest.approx([17 / 20, 16 / 20, 16 / 20])


def test_rates_from_counts_weeks_apart_are_the_most_likely_ones() -> None:
    """One stage: 100 frags, 34 lost in 8 weeks; the weekly loss is 1 - 0.66 ** (1 / 8), shared as the causes are."""
    rates, losses = weekly_losses_of([Interval(4, 12, 100, 20, 14, 0)], 0, WEIGHTLESS)
    loss = 1 - 0.66 ** (1 / 8)
    assert rates[:, 0] == pytest.approx([loss * 20 / 34, loss * 14 / 34], rel=1e-6)
    assert losses.curve()[-1] == pytest.approx(0.66, rel=1e-6)


def test_an_interval_over_both_stages_is_split_by_what_is_known_of_each() -> None:
    rows = [Interval(0, 2, 400, 80, 0, 0), Interval(2, 10, 320, 16, 0, 0), Interval(0, 10, 400, 96, 0, 0)]
    rates, losses = weekly_losses_of(rows, 2, WEIGHTLESS)
    early = losses.by_stage(2)[0][0, 1]
    assert early == pytest.approx(160, abs=1.5)
    assert rates[0, 1] == pytest.approx(1 - 0.8**0.5, rel=0.02)
    assert rates[0, 0] == pytest.approx(1 - 0.95 ** (1 / 8), rel=0.05)


def test_what_is_sold_is_no_loss_and_at_risk_for_half_of_the_time() -> None:
    losses = split_losses([Interval(5, 9, 20, 0, 0, 8)], np.full((2, 2), 0.01), 0)
    assert losses.events.sum() == 0
    assert losses.exposure[0].sum() == pytest.approx(4 * (20 - 8 / 2))


def test_deaths_under_stress_are_set_against_the_light_they_stood_in() -> None:
    calm, _ = weekly_losses_of([Interval(4, 8, 100, 8, 0, 0)], 0, WEIGHTLESS)
    stressed, _ = weekly_losses_of([Interval(4, 8, 100, 8, 0, 0, stress=2.0)], 0, WEIGHTLESS)
    assert stressed[0, 0] == pytest.approx(calm[0, 0] / 2, rel=0.02)


# ---- shrinkage ----------------------------------------------------------------------------------------------------------


def test_the_rules_of_blending() -> None:
    assert blend(1.0, 2.0, 10, 10) == 1.5
    a, b = beta_prior(0.02, 0.5)
    assert float(a / (a + b)) == pytest.approx(0.02)
    assert math.sqrt(float(a * b / ((a + b) ** 2 * (a + b + 1)))) == pytest.approx(0.01)
    assert blend_error(0.3, 0.2, 0, 10) == 0.3
    assert blend_error(0.3, 0.2, 10, 10) == pytest.approx(math.hypot(0.15, 0.5 * 0.2 / math.sqrt(10)))
    assert effective_sample(1) == 1
    assert effective_sample(3) == 1.5
    assert group_factor([], [], 10) == 1
    assert group_factor([2.0, 2.0], [10, 10], 10) == (GROUP_WEIGHT + 2) / (GROUP_WEIGHT + 1)


def test_without_counts_everything_is_the_default() -> None:
    farm = rack_farm(detach_late=0.0)
    learned = learn(farm)
    for name in (*LOSS_TRAITS, GROWTH):
        found = learned.blends["AMB", name]
        assert found.blended == found.default == getattr(farm.traits("AMB"), name)
        assert (found.data, found.sample) == (None, 0)
    assert learned.value("AMB", CUTTING) == learned.value("AMB", MOUNTING) == 1
    assert learned.value("AMB", PIECES) == farm.settings.pieces_share
    assert learned_farm(farm, learned).fingerprint == farm.fingerprint


def growing(lots: int, counts: int, mm: float, **more: Any) -> Farm:
    """So many lots, each measured so often, having grown ``mm`` a week where 1 is expected."""
    sizes = [(age, 20, {"size_mm": 30 + mm * age}) for age in (10, 14, 18, 22)[:counts]]
    return with_history({"AMB": [(20, sizes)] * lots}, **more)


@pytest.mark.parametrize(("lots", "counts", "low", "high"), [(1, 3, 0.05, 0.20), (3, 1, 0.10, 0.25), (100, 3, 0.90, 1.0)])
def test_growth_of_three_counts_hardly_moves_and_of_three_hundred_stands_alone(
    lots: int, counts: int, low: float, high: float
) -> None:
    found = learn(growing(lots, counts, 1.4)).blends["AMB", GROWTH]
    assert found.data == pytest.approx(1.4)
    assert low < (found.blended - 1) / 0.4 < high
    assert found.weight == pytest.approx((found.blended - 1) / 0.4)


@pytest.mark.parametrize(("lots", "low", "high"), [(1, 0.03, 0.20), (100, 0.90, 1.0)])
def test_losses_likewise(lots: int, low: float, high: float) -> None:
    """Lots of 20, counted three times after the early weeks, lose twice what the defaults expect of them."""
    rows = [(3, 18, {"detached": 1}), (7, 17, {}), (11, 16, {}), (15, 15, {})]
    learned = learn(with_history({"AMB": [(20, rows)] * lots}))
    found = learned.blends["AMB", "death_late"]
    assert found.data is not None
    moved = (found.blended - found.default) / (found.data - found.default)
    assert low < moved < high
    assert found.default < found.blended < found.data
    assert found.spread < 0.4


def test_a_strain_nobody_counted_leans_on_its_group() -> None:
    many = [(20, [(12, 20, {"size_mm": 30 + 1.4 * 12})])] * 60
    learned = learn(with_history({"AMB": [], "BRI": many, "CIN": many}))
    assert 1.05 < learned.value("AMB", GROWTH) < 1.2
    assert learned.value("BRI", GROWTH) > 1.32
    assert learned.blends["AMB", GROWTH].sample == 0


def test_more_weeks_of_counts_bring_the_values_nearer_the_truth() -> None:
    rng = np.random.default_rng(3)
    errors = []
    for weeks in (0, 13, 26, 52):
        lots, counts = [], []
        for i in range(0, weeks, 2):
            lots.append(past(f"P{i}", weeks - i, 24))
            left = 24
            for age in range(1, weeks - i + 1):
                lost = int(rng.binomial(left, 0.06 if age <= 3 else 0.012))
                left -= lost
                if age % 4 == 0 and left:
                    seen = sum(c.detached for c in counts if c.lot == f"P{i}")
                    counts.append(count(f"P{i}", weeks - i - age, left, size_mm=30 + 1.3 * age + rng.normal(0, 1)))
                    assert seen == 0
        learned = learn(rack_farm(tables={"past_lots": tuple(lots), "counts": tuple(counts)}))
        late = sum(learned.value("AMB", n) for n in ("death_late", "detach_late"))
        errors.append((abs(learned.value("AMB", GROWTH) - 1.3), abs(late - 0.012)))
    growth, losses = zip(*errors, strict=True)
    assert list(growth) == sorted(growth, reverse=True)
    assert losses[3] < losses[1] < losses[0]
    assert growth[3] < growth[0] / 2


def test_pieces_and_minutes() -> None:
    cuts = tuple(past_cut(f"C{i}", i + 1, 10, 8, minutes_cutting=1.5 * (6 + 8), minutes_mounting=8 * 1.15) for i in range(90))
    learned = learn(rack_farm(tables={"past_cuts": cuts}))
    assert learned.value("AMB", PIECES) == pytest.approx(0.81)
    assert learned.value("AMB", CUTTING) == pytest.approx(1.45)
    assert learned.value("AMB", MOUNTING) == pytest.approx(1.0)
    farm = learned_farm(rack_farm(tables={"past_cuts": cuts}), learned)
    assert farm.traits("AMB").minutes_cut == pytest.approx(TRAITS["minutes_cut"] * 1.45)
    assert farm.traits("AMB").minutes_colony == pytest.approx(TRAITS["minutes_colony"] * 1.45)
    assert farm.traits("AMB").minutes_mount == TRAITS["minutes_mount"]


@pytest.mark.parametrize(
    "settings",
    [{}, {"allowance_share": 0.1}, {"allowance_share": 0.1, "allowance_base": "shift"}, {"labelling": "block"}],
    ids=str,
)
def test_standard_minutes_follow_the_recorded_ones(settings: dict[str, Any]) -> None:
    """Ninety cuts that took half as long again as the standard: blended with ten of the book's, 1.45 times it, labels included."""
    farm = rack_farm(settings=settings)
    book = standard(farm, "AMB", False)
    minutes = {"minutes_cutting": 1.5 * float(book.cutter(8)), "minutes_mounting": 1.5 * float(book.mounter(8, 1))}
    cuts = tuple(past_cut(f"C{i}", i + 1, 8, 8, **minutes) for i in range(90))
    learned = standard(learned_farm(replace(farm, past_cuts=cuts)), "AMB", False)
    assert float(learned.cutter(8)) == pytest.approx(1.45 * float(book.cutter(8)))
    tag = 0.45 * float(book.tag)  # the one tag keeps its minutes
    assert float(learned.mounter(8, 1)) == pytest.approx(1.45 * float(book.mounter(8, 1)) - tag)
    assert learned.label == book.label


def test_a_wild_value_is_named_and_left_out() -> None:
    cuts = (past_cut("C1", 1, 10, 10, minutes_cutting=400), past_cut("C2", 2, 10, 0))
    farm = growing(2, 2, 1.0, past_cuts=cuts)
    wild = learn(
        rack_farm(
            tables={"past_lots": farm.past_lots, "counts": (*farm.counts, count("AMB0", 20, 20, size_mm=700)), "past_cuts": cuts}
        )
    )
    assert wild.value("AMB", GROWTH) == pytest.approx(1.0)
    assert any("AMB0" in text and "670 mm" in text for text in wild.left_out)
    assert any("C1" in text for text in wild.left_out)
    assert wild.blends["AMB", PIECES].data == 0.5
    assert wild.blends["AMB", CUTTING].data is None


def test_learned_traits_override_the_strains_own() -> None:
    farm = growing(100, 3, 1.4)
    new = learned_farm(farm)
    assert new.traits("AMB").frag_mm_per_week == pytest.approx(1.4, abs=0.05)
    assert new.fingerprint != farm.fingerprint
    assert new.traits("AMB").death_early < farm.traits("AMB").death_early
    again = type(new.strains[0]).model_validate(dict(new.strains[0]))
    assert again == new.strains[0]


def test_counts_tell_how_a_lot_itself_grows_and_how_unlike_lots_are() -> None:
    rows = [count(f"L{i:04d}", 1, 20, size_mm=46.0 if i % 2 == 0 else 54.0) for i in range(40)]
    learned = learn(rack_farm([(-20, 20)] * 40, tables={"counts": tuple(rows)}))
    assert learned.lots["L0000"].mean < -0.1
    assert learned.lots["L0001"].mean > 0.1
    assert learned.lots["L0001"].spread < learned.spreads.lots
    assert 0.12 < learned.spreads.lots < 0.2  # 0.2 apart from the mean, less the error of measuring
    assert learn(growing(40, 1, 1.0)).spreads.lots < 0.07


def test_a_lot_is_planned_with_its_own_growth() -> None:
    """The growth a plan takes for a lot, times its strain's, is what its size says, but for what one size may be wrong."""
    rows = [count(f"L{i:04d}", 1, 20, size_mm=46.0 if i % 2 == 0 else 54.0) for i in range(40)]
    farm = rack_farm([(-20, 20)] * 40, tables={"counts": tuple(rows)})
    taught = learned_farm(farm)
    assert taught.pace.keys() == {f"L{i:04d}" for i in range(40)}
    assert taught.pace["L0000"] < 0.9 < 1.1 < taught.pace["L0001"]
    assert farm.pace == {}
    assert learned_farm(replace(farm, counts=())).pace == {}


def test_bad_months_of_a_tank_are_told_from_bad_luck() -> None:
    """Forty lots a month lose alike, or all of them well in one month and badly in the next."""
    even, uneven = [], []
    for month in range(10):
        for i in range(40):
            lost = 1 if i % 5 == 0 else 0
            even.append((month, i, lost))
            uneven.append((month, i, 0 if month % 2 else int(i % 5 < 2)))

    def spread(rows: list[tuple[int, int, int]]) -> float:
        lots = tuple(past(f"P{m}-{i}", 50 - 4 * m, 20) for m, i, _ in rows)
        counts = tuple(count(f"P{m}-{i}", 46 - 4 * m, 20 - lost) for m, i, lost in rows)
        return learn(rack_farm(tables={"past_lots": lots, "counts": counts})).spreads.shock

    assert spread(even) < 0.4 < 0.5 < spread(uneven)


def test_a_lot_miscounted_upwards_counts_no_deaths_twice() -> None:
    farm = with_history({"AMB": [(20, [(4, 15, {}), (8, 17, {}), (12, 17, {})])]})
    learned = learn(farm)
    assert learned.losses["AMB"].events.sum() == pytest.approx(5)
    assert np.isfinite(learned.losses["AMB"].curve()).all()
