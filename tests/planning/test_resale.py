"""All sales decided once more: what they would overrun keeps its sales."""

from __future__ import annotations

from dataclasses import replace

from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.planning.on_racks import lots_on_racks
from scheduler.planning.resale import over_limits, overrun
from tests.audit.small_farm import changed, small_farm

WEEK = 5


def roomy(keep_free_share: float) -> Farm:
    return changed(small_farm(), "settings", keep_free_share=keep_free_share, usable_share=0.9)


def held(farm: Farm, share: float) -> dict[tuple[str, int], float]:
    """Lots and mothers take a share of every zone in one week."""
    return {(z.id, WEEK): share * z.capacity - z.mothers for z in zones(farm).values()}


def test_zones_filled_as_far_as_they_may_are_no_over_limits() -> None:
    farm = roomy(0.1)
    assert over_limits(farm, {}, held(farm, 0.9)) == set()


def test_a_zone_beyond_its_usable_share_is_named() -> None:
    farm = roomy(0.0)
    now = held(farm, 0.5)
    first = next(iter(zones(farm)))
    now[first, WEEK] = 0.95 * zones(farm)[first].capacity
    assert over_limits(farm, {}, now) == {first}
    assert over_limits(farm, now, now) == set()


def test_zones_within_their_share_whose_system_keeps_too_little_free_are_all_named() -> None:
    farm = roomy(0.3)
    assert over_limits(farm, {}, held(farm, 0.75)) == set(zones(farm))
    assert over_limits(farm, {}, held(farm, 0.7)) == set()
    assert over_limits(farm, held(farm, 0.75), held(farm, 0.75)) == set()


def test_a_lot_that_moves_into_a_zone_beyond_its_share_is_too_much_there() -> None:
    farm = changed(small_farm(), "settings", usable_share=0.1)
    one, other, quarantined = lots_on_racks(farm)
    full = replace(one, pieces=40)  # more than the zone may hold: as it stands, that is how it is
    assert overrun(farm, [full, other, replace(quarantined, pieces=1)]) == set()
    moved = replace(other, zone=one.zone)
    assert overrun(farm, [full, moved, replace(quarantined, pieces=1)]) == {one.zone}
