"""Farms taken for large ones: their later weeks in parts by light class, mended by light zone, and passed by the audit."""

from __future__ import annotations

import pytest

from scheduler.planning import season_plan
from scheduler.planning.entering import Entering
from scheduler.planning.pipeline import plan_farm
from scheduler.season import parts, relaxation
from scheduler.season.whole import WholeCuts
from tests.planning.test_plans import without_clock
from tests.planning.test_random_farms import LARGEST, LIMITS, check, farm_of


@pytest.fixture(autouse=True)
def small_is_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(relaxation, "LARGE", 1)
    monkeypatch.setattr(season_plan, "PARTED", 1)
    monkeypatch.setattr(parts, "PART", 8)


@pytest.mark.parametrize("seed", [1, 4, 6, 9, 13])
def test_plans_in_parts_pass_the_audit_within_their_bound(seed: int) -> None:
    check(farm_of(seed, LARGEST))


def test_it_is_planned_by_class_and_mended_by_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both with cuts to show, and what is mended is worth no less in the words of the zones."""
    farm, told = farm_of(4, LARGEST), []
    original, run = WholeCuts.mend, Entering.run

    def mend(self, entered, passes, **more):  # type: ignore[no-untyped-def]
        found = original(self, entered, passes, **more)
        told.append((self, original(self, entered, 0, **more), found))
        return found

    made = []

    def entered(self, first):  # type: ignore[no-untyped-def]
        found = run(self, first)
        made.extend(found)
        return found

    monkeypatch.setattr(WholeCuts, "mend", mend)
    monkeypatch.setattr(Entering, "run", entered)
    plan_farm(farm, limits=LIMITS)
    search, before, after = told[0]
    assert all(len(c.zones) == 1 for c in search.season.capacity.classes)
    assert after.value >= before.value - 1e-6
    assert len(made) == 1 + len(told) == 3
    assert all(x.later for x in made)
    wanted = sum(n for cuts, _ in after.patterns.values() for _, n, _ in cuts)
    assert sum(x.cut.pieces for x in made[1].later) >= 0.9 * wanted > 0


def test_a_large_farm_is_planned_the_same_again() -> None:
    first, second = (plan_farm(farm_of(6, LARGEST), limits=LIMITS).plan for _ in range(2))
    assert without_clock(first) == without_clock(second)
