from __future__ import annotations

import math
from decimal import Decimal

import pytest

from scheduler.biology.life import life, weekly_losses, weeks_to_class
from scheduler.farm.farm import Farm
from tests.farms import one_strain_farm

BRIGHT = 2000.0


def plain(**traits: object) -> Farm:
    """Ten millimetres to grow at one a week in full light, healed after two weeks, held after three."""
    row = {
        "frag_mm": 30, "frag_mm_per_week": 1.0, "heal_weeks": 2, "attach_weeks": 3, "par_min": 0, "par_max": 3000, "par_k": 100,
        "early_weeks": 2, "death_early": 0.1, "death_late": 0.02, "detach_early": 0.05, "detach_late": 0.01,
    }  # fmt: skip
    return one_strain_farm(settings={"horizon_weeks": 20, "count_weeks": 4}, **(row | traits))


def test_losses_week_by_week_by_hand() -> None:
    found = life(plain(), "A", 3, 3, (BRIGHT,))
    shares = [1.0, 0.85, 0.85 * 0.85, 0.85 * 0.85 * 0.97, 0.85 * 0.85 * 0.97**2]
    for i, alive in enumerate(shares):
        assert float(found.alive[3 + i]) == pytest.approx(alive, abs=2e-9)
    assert float(found.died[5]) == pytest.approx(0.1 + 0.85 * 0.1, abs=1e-9)
    assert float(found.detached[5]) == pytest.approx(0.05 + 0.85 * 0.05, abs=1e-9)
    assert (found.first, found.age[3], found.age[20]) == (3, 0, 17)


def test_held_follows_the_counts() -> None:
    found = life(plain(), "A", 1, 1, (BRIGHT,))
    for week in range(1, 21):
        assert found.held[week] == found.alive[1 + (week - 1) // 4 * 4]


def test_a_lot_on_the_racks_counts_from_its_count() -> None:
    """S(age) / S(age at the count), whatever was lost before."""
    farm = plain()
    new = life(farm, "A", 1, 1, (BRIGHT,))
    old = life(farm, "A", -4, 0, (BRIGHT,))
    assert old.first == 1
    for week in (1, 5, 12):
        age = week + 4
        assert float(old.alive[week]) == pytest.approx(float(new.alive[1 + age] / new.alive[1 + 4]), abs=1e-8)
    assert old.age[1] == 5
    # counted in week 1 itself: nothing lost yet
    assert life(farm, "A", -4, 1, (BRIGHT,)).alive[1] == 1


def test_a_lot_with_a_growth_of_its_own_is_as_one_of_a_strain_that_grows_so() -> None:
    for pace in (0.5, 0.8, 2.0):
        own = life(plain(), "A", 1, 1, (BRIGHT,), pace)
        assert own.ready == life(plain(frag_mm_per_week=pace), "A", 1, 1, (BRIGHT,)).ready
        assert own.alive == life(plain(), "A", 1, 1, (BRIGHT,)).alive
    assert life(plain(), "A", 1, 1, (BRIGHT,), 0.5).ready == {"small": 21}


def test_ready_by_growth_by_healing_or_by_holding() -> None:
    grown = life(plain(), "A", 1, 1, (BRIGHT,))
    assert grown.ready == {"small": 11}
    assert grown.alive_when_ready["small"] == grown.alive[11]
    assert life(plain(frag_mm=40), "A", 1, 1, (BRIGHT,)).ready == {"small": 4}
    assert life(plain(frag_mm=40, attach_weeks=0), "A", 1, 1, (BRIGHT,)).ready == {"small": 3}
    assert life(plain(frag_mm=40, heal_weeks=0, attach_weeks=0), "A", 1, 1, (BRIGHT,)).ready == {"small": 1}
    assert life(plain(frag_mm_per_week=0), "A", 1, 1, (BRIGHT,)).ready == {}
    assert life(plain(frag_mm_per_week=0), "A", 1, 1, (BRIGHT,)).alive_when_ready == {"small": Decimal(0)}


def test_ready_beyond_the_horizon_is_still_known() -> None:
    found = life(plain(frag_mm_per_week=0.3), "A", 1, 1, (BRIGHT,))
    assert found.ready["small"] == 1 + math.ceil(10 / 0.3)
    assert not found.reached("small", 20)
    assert 0 < found.alive_when_ready["small"] < found.alive[20]


def test_growth_adds_up_over_changing_light() -> None:
    """Five weeks in full light, then half the rate: 5 + 10 weeks."""
    half = 100 * math.atanh(0.5)
    farm = plain()
    need = weeks_to_class(farm.traits("A"), farm.size_classes("A")[0], half)
    assert need == pytest.approx(20)
    # the week that ends in 2..6 is bright, from 7 on dim
    found = life(farm, "A", 1, 1, (BRIGHT,) * 6 + (half,))
    assert found.ready == {"small": 16}


def test_stress_outside_the_light_range() -> None:
    traits = plain(par_min=100, par_max=300).traits("A")
    assert weekly_losses(traits, 0, 200, 2.0) == (0.1, 0.05)
    assert weekly_losses(traits, 2, 300, 2.0) == (0.02, 0.01)
    assert weekly_losses(traits, 2, 301, 2.0) == (0.04, 0.01)
    assert weekly_losses(traits, 0, 99, 9.0) == (0.5, 0.05)


def test_classes_are_reached_in_order() -> None:
    farm = one_strain_farm(classes=[("large", 50), ("small", 36), ("middle", 40)], frag_mm=30, frag_mm_per_week=2, par_k=1)
    assert [c.size_class for c in farm.size_classes("A")] == ["small", "middle", "large"]
    ready = life(farm, "A", 1, 1, (200.0,)).ready
    assert (ready["small"], ready["middle"], ready["large"]) == (4, 6, 11)
