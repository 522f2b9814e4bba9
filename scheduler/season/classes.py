"""Light classes: like zones of one water system taken together, so that the season model stays small.

A class admits what any of its zones admits and offers the best growth and survival of its zones: a true relaxation, so
that what cannot be earned with classes cannot be earned with zones.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import Zone, zone_racks, zones
from scheduler.farm.farm import Farm
from scheduler.farm.pins import pin_covers


@dataclass(frozen=True)
class LightClass:
    """Zones of like light and flow in one water system."""

    id: str
    index: int
    system: str
    flow: str
    zones: tuple[Zone, ...]

    @property
    def capacity(self) -> int:
        """Unblocked positions."""
        return sum(z.capacity for z in self.zones)


@lru_cache(maxsize=64)
def light_classes(farm: Farm, *, single: bool = False) -> tuple[LightClass, ...]:
    """Every light class, in the order of zones; ``single``: every zone a class of its own."""
    members: dict[str, list[Zone]] = {}
    for zone in zones(farm).values():
        members.setdefault(zone.id if single else zone.light_class, []).append(zone)
    return tuple(LightClass(name, i, rows[0].system, rows[0].flow, tuple(rows)) for i, (name, rows) in enumerate(members.items()))


@lru_cache(maxsize=4096)
def hole_light(farm: Farm, zone: str, week: int) -> tuple[float, float]:
    """Lowest and highest PAR of a zone's positions in a week."""
    held = zones(farm)[zone].positions
    pars = {rack: par_of_rack(farm, rack, week) for rack, _ in held}
    values = [float(pars[rack][p]) for rack, p in held]
    return min(values), max(values)


def settling_weeks(farm: Farm, week: int) -> range:
    """Weeks of the horizon in which a lot cut in a week settles."""
    return range(week, min(week + max(farm.settings.settle_weeks, 1), farm.weeks.count + 1))


def light_fits(farm: Farm, zone: Zone, par_umol: float, week: int) -> bool:
    """L2: whether frags of a mother at that PAR may settle in a zone from a week on.

    Later weeks are judged by the zone's mean, near weeks by whether any of its positions could do.
    """
    low, high = (1 - farm.settings.dim) * par_umol - 1e-9, (1 + farm.settings.bright) * par_umol + 1e-9
    if week in farm.weeks.later_weeks:
        return all(low <= zone.par_in(w) <= high for w in settling_weeks(farm, week))
    light = [hole_light(farm, zone.id, w) for w in settling_weeks(farm, week)]
    return all(dimmest <= high and brightest >= low for dimmest, brightest in light)


def kept_wholly_free(farm: Farm, pins: Collection[str], zone: Zone, week: int) -> bool:
    """Whether pins keep all of a zone free in that very week: then no plan may put anything there."""
    held = [p for p in farm.pins if p.pin in pins and p.kind == "keep free" and pin_covers(farm, p, week)]
    return any(p.tank == zone.tank and p.rack is None for p in held) or set(zone_racks(zone)) <= {p.rack for p in held}
