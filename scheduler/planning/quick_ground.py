"""Where on the racks ground is wanted: by what the mothers could give that would settle there.

Colonies stand in all lights and racks hang in all lights, but not as many of the one as of the other. A position in the light
of many mothers is worth keeping open, one in a light that few stand in is where grown frags can wait for their customers.
"""

from __future__ import annotations

from collections import defaultdict

from scheduler.biology.zones import Zone, zones
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm


def wanted_ground(farm: Farm, week: int) -> dict[str, float]:
    """How much a position of each rack is wanted, the mean of all positions being 1 (all 1 where no frags are to come).

    The spare pieces of a fit colony ask for the positions they hold, of all light zones they could settle in alike.
    """
    asked: dict[str, float] = defaultdict(float)
    for colony in farm.colonies:
        fit = [z for z in zones(farm).values() if _settles(farm, colony, z, week)]
        room = sum(z.capacity for z in fit)
        for z in fit:
            asked[z.id] += _spare(farm, colony) * farm.traits(colony.strain).plug_area / room
    total: dict[str, float] = defaultdict(float)
    count: dict[str, int] = defaultdict(int)
    for z in zones(farm).values():
        for rack, _ in z.positions:
            total[rack] += asked[z.id]
            count[rack] += 1
    mean = sum(total.values()) / max(1, sum(count.values()))
    return {r.rack: total[r.rack] / count[r.rack] / mean if mean and count[r.rack] else 1.0 for r in farm.racks}


def _spare(farm: Farm, colony: Colony) -> float:
    """Pieces a colony has over what it keeps, 0 unless it is fit to be cut."""
    traits = farm.traits(colony.strain)
    return max(0.0, colony.count / traits.unit_per_piece - traits.keep_pieces) if colony.condition == "fit" else 0.0


def _settles(farm: Farm, colony: Colony, zone: Zone, week: int) -> bool:
    """L2, L6, L8: whether a colony's frags could settle in a light zone, by its mean light."""
    s, par = farm.settings, colony.par_umol
    return (
        zone.flow in farm.traits(colony.strain).flow_settling
        and farm.may_settle_in(farm.system_of_tank(colony.tank), zone.system, week)
        and (1 - s.dim) * par <= zone.par_in(week) <= (1 + s.bright) * par
    )
