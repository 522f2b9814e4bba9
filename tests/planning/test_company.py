"""L7 where sales are decided anew: who would meet whom by staying on."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from scheduler.biology.life import life
from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.plan.model import Sale
from scheduler.planning.company import meetings, met
from scheduler.season.sales import Growing
from tests.audit.small_farm import changed, small_farm


def zone_of(farm: Farm, tank: str) -> str:
    return next(z.id for z in zones(farm).values() if z.tank == tank)


def lot(farm: Farm, name: str, strain: str, tank: str, first: int, leaves: int | None = None) -> Growing:
    """Ten pieces from a week on, all sold in a week (or never)."""
    system = next(t.system for t in farm.tanks if t.tank == tank)
    weeks = range(first, farm.weeks.count + 1)
    course = life(farm, strain, first, first, tuple(200.0 for _ in weeks))
    out = (
        [Sale(lot=name, week=leaves, route="market", size_class="small", channel="ship", pieces=10)] if leaves is not None else []
    )
    return Growing(name, strain, 10, course, system, zone_of(farm, tank), first, True, out)


def lots(farm: Farm, leather_leaves: int, *, tank: str = "N2") -> Sequence[Growing]:
    """Leather from week 3 in a tank, branching from week 5 in N2."""
    return [lot(farm, "L", "LLL", tank, 3, leather_leaves), lot(farm, "A", "AAA", "N2", 5), lot(farm, "Z", "ZZZ", "S1", 3)]


def test_a_lot_that_is_gone_when_the_other_comes_meets_nobody() -> None:
    farm = small_farm()
    assert meetings(farm, lots(farm, 5)) == set()


@pytest.mark.parametrize(("leaves", "weeks"), [(6, {5}), (8, {5, 6, 7})])
def test_a_lot_that_stays_on_meets_the_other_until_it_leaves(leaves: int, weeks: set[int]) -> None:
    farm = small_farm()
    assert meetings(farm, lots(farm, leaves)) == {("N2", w, frozenset(("AAA", "LLL"))) for w in weeks}
    assert met(farm, lots(farm, 5), lots(farm, leaves)) == {zone_of(farm, "N2")}
    assert met(farm, lots(farm, leaves), lots(farm, leaves)) == set()


def test_another_tank_is_far_enough_unless_the_water_counts() -> None:
    farm = small_farm()
    assert met(farm, lots(farm, 3, tank="N1"), lots(farm, 8, tank="N1")) == set()
    wide = changed(farm, "pairs", apart="system")
    assert met(wide, lots(wide, 3, tank="N1"), lots(wide, 8, tank="N1")) == {zone_of(farm, "N1"), zone_of(farm, "N2")}


def test_strains_that_get_along_never_count() -> None:
    farm = small_farm()
    together = [lot(farm, "A", "AAA", "N2", 3), lot(farm, "B", "BBB", "N2", 3), lot(farm, "Z", "ZZZ", "N2", 3)]
    assert meetings(farm, together) == set()
