"""L7 after sales have been decided anew: lots that stay longer may meet others whose places rest on their having left."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import combinations

from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.season.sales import Growing

Meeting = tuple[str, int, frozenset[str]]
"""Tank or water system, week, and two strains that may not share it."""


def met(farm: Farm, before: Sequence[Growing], after: Sequence[Growing]) -> set[str]:
    """Light zones of the lots that share a tank or system with strains to be kept apart in ``after`` and did not in ``before``."""
    new = meetings(farm, after) - meetings(farm, before)
    table, tank_system = zones(farm), {t.tank: t.system for t in farm.tanks}
    strains: dict[str, set[str]] = defaultdict(set)
    for place, _, pair in new:
        strains[place] |= pair
    found = set()
    for lot in after:
        tank = table[lot.zone].tank
        if lot.strain in strains[tank] | strains[tank_system[tank]]:
            found.add(lot.zone)
    return found


def meetings(farm: Farm, lots: Sequence[Growing]) -> set[Meeting]:
    """Where and when lots stand with strains to be kept apart, in the weeks after the near ones."""
    table = zones(farm)
    tanks: dict[tuple[str, int], set[str]] = defaultdict(set)
    systems: dict[tuple[str, int], set[str]] = defaultdict(set)
    for lot in (x for x in lots if farm.strain[x.strain].group in farm.choosy_groups):
        zone = table[lot.zone]
        for week, pieces in lot.left(farm.weeks.count).items():
            if pieces and week in farm.weeks.later_weeks:
                tanks[zone.tank, week].add(lot.strain)
                systems[zone.system, week].add(lot.strain)
    found: set[Meeting] = set()
    for places, kept in ((tanks, "tank"), (systems, "system")):
        for (place, week), strains in places.items():
            found |= {(place, week, frozenset(pair)) for pair in combinations(strains, 2) if farm.strains_apart(*pair) == kept}
    return found
