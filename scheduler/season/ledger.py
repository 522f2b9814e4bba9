"""What is already promised: positions, market, boxes and hours by week, so that one more cut or sale can be tested."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from scheduler.biology.life import Life
from scheduler.biology.zones import Zone, zones
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind, bench_offers, missing_minutes, outside_offers
from scheduler.farm.work import packing_days, standing_minutes

MARGIN = 0.5
"""Minutes kept in hand, so that rounding to seconds elsewhere never breaks a limit."""


class Ledger:
    """Running totals over the horizon. Weeks run 1..horizon."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self.weeks = farm.weeks
        self.zones = zones(farm)
        self.zone_held: dict[tuple[str, int], float] = defaultdict(float)
        self.held_in_system: dict[tuple[str, int], float] = defaultdict(float)
        self.fresh: dict[tuple[str, int], int] = defaultdict(int)
        self.outside: dict[int, dict[Kind, float]] = {}
        self.bench: dict[int, dict[Kind, float]] = defaultdict(dict)
        self.boxes: dict[tuple[str, int], float] = defaultdict(float)
        self.sold: dict[tuple[tuple[int, int], str, str], float] = defaultdict(float)
        self.sold_group: dict[tuple[tuple[int, int], str], float] = defaultdict(float)
        self.end_frags: dict[str, float] = defaultdict(float)
        self.tank_strains: dict[tuple[str, int], set[str]] = defaultdict(set)
        for week in self.weeks.all:
            need = standing_minutes(farm, week)
            self.outside[week] = {CARING: need["care"], PACKING: need["pack"]}
        for zone in self.zones.values():
            for week in self.weeks.all:
                self._take(zone.id, week, float(zone.mothers))
        for tank, strains in farm.mothers_in_tank.items():
            for week in self.weeks.all:
                self.tank_strains[tank, week] |= strains
        self._offers = {week: outside_offers(farm, week) for week in self.weeks.all}
        self._bench_offers = {week: bench_offers(farm, week) for week in self.weeks.all}
        self.system_limit = {s.system: system_limit(farm, s.system) for s in farm.systems}

    # ---- positions ------------------------------------------------------------------------------------------------

    def system_held(self, system: str, week: int) -> float:
        """Positions held in a water system."""
        return self.held_in_system[system, week]

    def _take(self, zone: str, week: int, positions: float) -> None:
        self.zone_held[zone, week] += positions
        self.held_in_system[self.zones[zone].system, week] += positions

    def room(self, zone: Zone, weeks: Iterable[int]) -> float:
        """Positions still free for more in every one of the weeks, by the zone's and the system's limit."""
        limit = zone_limit(self.farm, zone)
        return min(
            (
                min(limit - self.zone_held[zone.id, w], self.system_limit[zone.system] - self.system_held(zone.system, w))
                for w in weeks
            ),
            default=0.0,
        )

    def hold(self, zone: str, lot: Life, area: int, left: dict[int, int], sign: int = 1) -> None:
        """Enter (or take back) a lot's positions: pieces left by week, whole in near weeks, by the last count later."""
        near = self.weeks.near_weeks
        for week, pieces in left.items():
            share = 1.0 if week in near else float(lot.held[week])
            self._take(zone, week, sign * pieces * share * area)

    def occupy(self, zone: str, strain: str, lot: Life, left: dict[int, int]) -> None:
        """Enter a lot's positions and that its strain stands in the zone's tank while pieces are left."""
        traits = self.farm.traits(strain)
        self.hold(zone, lot, traits.plug_area, left)
        for week, pieces in left.items():
            if pieces:
                self.tank_strains[self.zones[zone].tank, week].add(strain)

    def fitting_share(self, zone: Zone, lot: Life, area: int, left: dict[int, int]) -> float:
        """Share of a lot that fits into a zone in every week; 1 or more if all of it does."""
        ratio = 1.0
        for week, pieces in left.items():
            need = pieces * (1.0 if week in self.weeks.near_weeks else float(lot.held[week])) * area
            room = self.room(zone, (week,)) if need else 0.0
            if need > room + 1e-9:
                ratio = min(ratio, max(0.0, room) / need)
        return ratio

    def fullest(self, zone: Zone, weeks: Iterable[int]) -> float:
        """Highest share of a zone's positions held in any of the weeks."""
        return max((self.zone_held[zone.id, w] for w in weeks), default=0.0) / max(1, zone.capacity)

    def clashes(self, strain: str, zone: Zone, weeks: Iterable[int]) -> bool:
        """L7: whether a strain would share a tank or system with one it is kept apart from in any of the weeks."""
        if self.farm.strain[strain].group not in self.farm.choosy_groups:
            return False
        tanks = self.farm.tanks_by_system[zone.system]
        for week in weeks:
            for tank in tanks:
                for other in self.tank_strains[tank, week]:
                    kept = self.farm.strains_apart(strain, other)
                    if kept == "system" or (kept == "tank" and tank == zone.tank):
                        return True
        return False

    # ---- hours ----------------------------------------------------------------------------------------------------

    def outside_fits(self, week: int, kind: Kind, minutes: float) -> bool:
        """Whether more packing or care fits outside sessions."""
        need = dict(self.outside[week])
        need[kind] = need.get(kind, 0.0) + minutes + MARGIN
        return missing_minutes(need, self._offers[week]) <= 0

    def bench_fits(self, week: int, more: dict[Kind, float]) -> bool:
        """Whether more bench work fits a later week."""
        need = dict(self.bench[week])
        for kind, minutes in more.items():
            need[kind] = need.get(kind, 0.0) + minutes
        need = {k: v + MARGIN for k, v in need.items()}
        return missing_minutes(need, self._bench_offers[week]) <= 0

    def care_fits(self, week: int, minutes: float) -> bool:
        """Whether more care (moves, counting) fits outside sessions."""
        return self.outside_fits(week, CARING, minutes)

    def care_fits_overtime(self, week: int, minutes: float) -> bool:
        """Whether more care fits outside sessions if overtime is used."""
        need = dict(self.outside[week])
        need[CARING] += minutes + MARGIN
        return missing_minutes(need, outside_offers(self.farm, week, overtime=True)) <= 0

    def overbooked(self, week: int) -> bool:
        """Whether work outside sessions exceeds paid hours and overtime, beyond what standing work alone does."""
        standing = standing_minutes(self.farm, week)
        offers = outside_offers(self.farm, week, overtime=True)
        alone = missing_minutes({CARING: standing["care"], PACKING: standing["pack"]}, offers)
        return missing_minutes(self.outside[week], offers) > alone + 1e-6

    def add_bench(self, week: int, more: dict[Kind, float]) -> None:
        """Enter bench work."""
        for kind, minutes in more.items():
            self.bench[week][kind] = self.bench[week].get(kind, 0.0) + minutes

    # ---- market ---------------------------------------------------------------------------------------------------

    def market_room(self, month: tuple[int, int], strain: str, size_class: str) -> float:
        """Frags of a class that still sell at list price in a month of the horizon (part months pro rata)."""
        part = self.weeks.planned_in_month(month) / self.weeks.weeks_in_month(month)
        own = (self.farm.market_quantity(month[1], strain=strain, size_class=size_class) or 0.0) * part
        group = self.farm.strain[strain].group
        limit = self.farm.market_quantity(month[1], group=group)
        room = own - self.sold[month, strain, size_class]
        if limit is not None:
            room = min(room, limit * part - self.sold_group[month, group])
        return max(0.0, room)

    def end_room(self, strain: str) -> float:
        """Frags of a strain that the months after the horizon still take."""
        return max(0.0, end_market(self.farm, strain) - self.end_frags[strain])

    # ---- packing --------------------------------------------------------------------------------------------------

    def pieces_packable(self, channel: str, week: int, alive: float) -> int:
        """How many more pieces of that survival can be packed for a channel in a week: boxes and hours."""
        row, s = self.farm.channel[channel], self.farm.settings
        days = len(packing_days(self.farm, channel, week))
        if not days or alive <= 0:
            return 0
        frags = (row.boxes_per_day * days - self.boxes[channel, week]) * row.frags_per_box
        per_frag = s.pack_frag_minutes + s.pack_box_minutes / row.frags_per_box
        most = int(max(0.0, frags) / alive + 1e-9)
        while most > 0 and not self.outside_fits(week, PACKING, most * alive * per_frag):
            most = most * 4 // 5 if most > 5 else most - 1
        return most

    def pack(self, channel: str, week: int, frags: float) -> None:
        """Enter packed frags."""
        row, s = self.farm.channel[channel], self.farm.settings
        self.boxes[channel, week] += frags / row.frags_per_box
        minutes = frags * (s.pack_frag_minutes + s.pack_box_minutes / row.frags_per_box)
        self.outside[week][PACKING] += minutes


def zone_limit(farm: Farm, zone: Zone) -> float:
    """L1: positions of a light zone that may be held in a later week, mothers included."""
    return farm.settings.usable_share * zone.capacity


def system_limit(farm: Farm, system: str) -> float:
    """L9: positions of a water system that may be held, mothers included."""
    return (1 - farm.settings.keep_free_share) * sum(z.capacity for z in zones(farm).values() if z.system == system)


def end_market(farm: Farm, strain: str) -> float:
    """Frags of a strain the ``end_months`` after the horizon's last month take."""
    _, month = farm.weeks.months[-1]
    later = [(month - 1 + step) % 12 + 1 for step in range(1, farm.settings.end_months + 1)]
    return sum(
        farm.market_quantity(m, strain=strain, size_class=c.size_class) or 0.0 for m in later for c in farm.size_classes(strain)
    )
