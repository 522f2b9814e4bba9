"""Light zones and light classes: positions of like light, so that later weeks need not name every hole."""

from __future__ import annotations

import bisect
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

from scheduler.biology.light import par_of_rack
from scheduler.farm.blocks import Position
from scheduler.farm.farm import Farm


@dataclass(frozen=True)
class Zone:
    """The unblocked positions of one tank in one PAR band and flow class.

    ``positions`` are (rack, position); ``mothers`` of them are under mother colonies. ``par[week - 1]`` is their mean
    PAR (µmol m-2 s-1) in a week. ``light_class`` is shared by like zones of one water system. Membership is fixed by
    the light of week 1; a planned lamp change moves ``par`` only.
    """

    id: str
    tank: str
    system: str
    band: int
    flow: str
    light_class: str
    positions: tuple[tuple[str, Position], ...]
    mothers: int
    par: tuple[float, ...] = field(repr=False)

    @property
    def capacity(self) -> int:
        """Unblocked positions, those under mothers included."""
        return len(self.positions)

    def par_in(self, week: int) -> float:
        """Mean PAR in a week of the horizon (weeks outside it take the nearest)."""
        return self.par[min(max(week, 1), len(self.par)) - 1]


def band_text(farm: Farm, band: int) -> str:
    """``PAR 140-190``, ``PAR below 60`` or ``PAR from 320``."""
    edges = farm.settings.par_bands
    if not edges:
        return "PAR any"
    if band == 0:
        return f"PAR below {edges[0]:g}"
    return f"PAR from {edges[-1]:g}" if band == len(edges) else f"PAR {edges[band - 1]:g}-{edges[band]:g}"


@lru_cache(maxsize=64)
def zones(farm: Farm) -> dict[str, Zone]:
    """Every light zone by id, in the order of tanks and rising light."""
    members: dict[tuple[str, int, str], list[tuple[str, Position]]] = {}
    mothers = {(rack, p) for rack, rows in farm.mothers_on_racks.items() for _, held in rows for p in held}
    for rack in farm.racks:
        par = par_of_rack(farm, rack.rack, 1)
        for position in rack.open_positions:
            band = bisect.bisect_right(farm.settings.par_bands, round(float(par[position]), 6))
            members.setdefault((rack.tank, band, rack.flow), []).append((rack.rack, position))
    order = {t.tank: i for i, t in enumerate(farm.tanks)}
    found = {}
    for tank, band, flow in sorted(members, key=lambda k: (order[k[0]], k[1], k[2])):
        held = tuple(members[tank, band, flow])
        system = farm.system_of_tank(tank)
        text = f"{band_text(farm, band)} {flow} flow"
        par_by_week = tuple(
            sum(float(par_of_rack(farm, rack, week)[p]) for rack, p in held) / len(held) for week in farm.weeks.all
        )
        zone = Zone(
            id=f"{tank} {text}", tank=tank, system=system, band=band, flow=flow, light_class=f"{system} {text}",
            positions=held, mothers=sum(p in mothers for p in held), par=par_by_week,
        )  # fmt: skip
        found[zone.id] = zone
    return found


@lru_cache(maxsize=64)
def zone_by_position(farm: Farm) -> dict[tuple[str, Position], str]:
    """Zone id of every unblocked (rack, position)."""
    return {held: zone.id for zone in zones(farm).values() for held in zone.positions}


def zone_of(farm: Farm, rack: str, positions: Iterable[Position]) -> str:
    """The zone that holds most of the positions; of equals, the dimmer one. ``ValueError`` if none is in a zone."""
    by_position = zone_by_position(farm)
    counts = Counter(by_position[rack, p] for p in positions if (rack, p) in by_position)
    if not counts:
        raise ValueError(f"no usable position on rack {rack}")
    table = zones(farm)
    return min(counts, key=lambda z: (-counts[z], table[z].par_in(1), z))


def zone_racks(zone: Zone) -> tuple[str, ...]:
    """Racks that have positions in a zone."""
    return tuple(dict.fromkeys(rack for rack, _ in zone.positions))
