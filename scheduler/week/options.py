"""What could be done in the near weeks: for each colony and week the pieces, sessions, people and sections. No solver."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Protocol

from scheduler.biology.growth import curve, most_pieces, rested_from, season_open, uncut_level
from scheduler.biology.zones import zone_by_position
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import cut_kind, mount_kind
from scheduler.farm.people import BenchSession
from scheduler.farm.pins import kept_free
from scheduler.farm.space import Rack
from scheduler.farm.work import sessions_in
from scheduler.week.floor import Floor, Ground, Section


class NearWorth(Protocol):
    """What the near weeks need to know of the rest of the season. Money as floats."""

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:
        """Net worth of a fresh piece mounted in a week in a light zone, its rent of positions included."""

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:
        """Money that a cut now takes from the rest of the season (may be negative)."""

    def colony_cost(self, colony: Colony) -> float:
        """Cost of cutting a colony at all."""

    def list_room(self, strain: str, week: int) -> int:
        """How many new pieces of a strain cut in the near weeks will still sell at list price."""


@dataclass(frozen=True)
class Option:
    """A colony that could be cut in a near week, with the ground of every rack its frags could settle on."""

    colony: Colony
    week: int
    fewest: int
    most: int
    sessions: tuple[BenchSession, ...]
    places: Mapping[str, Ground]
    sections: tuple[Section, ...]
    """The racks by the zones their ground lies in: a lot belongs to the zone that holds most of its positions."""

    @property
    def name(self) -> str:
        """Name of the colony."""
        return self.colony.colony

    @property
    def strain(self) -> str:
        """Strain of the colony."""
        return self.colony.strain


def with_ways(farm: Farm, option: Option, lots: Collection[str]) -> Option | None:
    """An option on the ground that is free, or would be if only some lots of the book made way; ``None`` if too little is left."""
    traits = farm.traits(option.strain)
    places = {rack: {p: ways for p, ways in ground.items() if ways.keys() <= set(lots)} for rack, ground in option.places.items()}
    enough = option.fewest * traits.plug_area
    places = {rack: ground for rack, ground in places.items() if len(ground) >= enough}
    return replace(option, places=places, sections=sections_of(farm, places)) if places else None


@dataclass(frozen=True)
class Refusal:
    """Why a colony cannot be cut in the near weeks at all."""

    reason: str
    detail: str
    ready_week: int | None = None


def capable(farm: Farm, session: BenchSession, skills: Collection[str]) -> tuple[str, ...]:
    """People present at a session who have all the skills."""
    return tuple(p for p in session.people if set(skills) <= set(farm.person[p].skills))


def usable_sessions(farm: Farm, colony: Colony, week: int) -> tuple[BenchSession, ...]:
    """S2, S4: sessions of a week offering the colony's method with somebody to cut and somebody to mount."""
    method = farm.traits(colony.strain).method
    return tuple(
        s
        for s in sessions_in(farm, week)
        if method in s.methods
        and capable(farm, s, cut_kind(farm, colony.strain))
        and capable(farm, s, mount_kind(farm, colony.strain))
    )


def places(farm: Farm, floor: Floor, colony: Colony, week: int, pins: Collection[str]) -> dict[str, Ground]:
    """L2, L4, L6, L7, L8, L9, plug kind and keep-free pins: racks a colony's frags could settle on, with their positions."""
    traits = farm.traits(colony.strain)
    home = farm.system_of_tank(colony.tank)
    found = {}
    for rack in farm.racks:
        if not farm.may_settle_in(home, farm.system_of_rack(rack.rack), week) or rack.flow not in traits.flow_settling:
            continue
        if not takes(farm, floor, rack, colony.strain, week, pins):
            continue
        ground = floor.settling_ground(colony, week, rack.rack)
        if len(ground) >= traits.min_pieces * traits.plug_area:
            found[rack.rack] = ground
    return found


def takes(farm: Farm, floor: Floor, rack: Rack, strain: str, week: int, pins: Collection[str]) -> bool:
    """L1, L7, L9 and keep-free pins: whether a rack takes a lot of the strain in a week at all, if it has the room."""
    if farm.traits(strain).plug_kind not in rack.plug_kinds or farm.tank_closed(rack.tank, week):
        return False
    if kept_free(farm, pins, rack.tank, (rack.rack,), week):
        return False
    return not _clashes(farm, floor, strain, rack.tank, week)


def sections_of(farm: Farm, places: Mapping[str, Ground]) -> tuple[Section, ...]:
    """Every zone that positions of the racks lie in."""
    table = zone_by_position(farm)
    return tuple(dict.fromkeys(Section(rack, table[rack, p]) for rack, ground in places.items() for p in sorted(ground)))


def _clashes(farm: Farm, floor: Floor, strain: str, tank: str, week: int) -> bool:
    """L7: whether a strain kept apart from this one stands in the tank, or in its system."""
    if farm.strain[strain].group not in farm.choosy_groups:
        return False
    for other in farm.tanks_by_system[farm.system_of_tank(tank)]:
        kept = {farm.strains_apart(strain, s) for s in floor.strains_in_tank(other, week)}
        if "system" in kept or ("tank" in kept and tank == other):
            return True
    return False


def option(farm: Farm, floor: Floor, colony: Colony, week: int, pins: Collection[str]) -> Option | Refusal:
    """What a colony could give in a week, or the first thing that stands against it."""
    traits = farm.traits(colony.strain)
    system = farm.system_of_tank(colony.tank)
    if colony.condition != "fit":
        return Refusal("not fit", f"marked {colony.condition} on {colony.condition_date}")
    if farm.on_hold(system, week):
        until = farm.system[system].hold_until
        return Refusal(
            "system on hold",
            f"{system} is on hold until {until}",
            next((w for w in farm.weeks.all if w >= week and not farm.on_hold(system, w)), None),
        )
    rested = rested_from(farm, colony)
    if week < rested:
        return Refusal(
            "resting", f"last cut {colony.last_cut}, rests {traits.rest_weeks} weeks, until {_day(farm, rested)}", rested
        )
    if not season_open(farm, colony, week):
        return Refusal("closed season", f"not cut in month {farm.weeks.month(week)[1]}")
    sizes = curve(traits)
    size = sizes[uncut_level(farm, colony, week)]
    most = most_pieces(traits, size)
    if most == 0:
        ready = next((w for w in farm.weeks.all if most_pieces(traits, sizes[uncut_level(farm, colony, w)])), None)
        when = f", {traits.min_pieces} from {_day(farm, ready)}" if ready else ""
        return Refusal(
            "too small",
            f"about {size:.0f} pieces of which {traits.keep_pieces} stay; less than {traits.min_pieces} to give{when}",
            ready,
        )
    benches = usable_sessions(farm, colony, week)
    if not benches:
        return Refusal("no hands", f"no session offers {traits.method} with the people it needs")
    where = places(farm, floor, colony, week, pins)
    if not where:
        low, high = (1 - farm.settings.dim) * colony.par_umol, (1 + farm.settings.bright) * colony.par_umol
        return Refusal(
            "no place in its light",
            f"no {traits.min_pieces} free positions at PAR {low:.0f} to {high:.0f} for {traits.plug_kind} plugs",
        )
    return Option(colony, week, traits.min_pieces, most, benches, where, sections_of(farm, where))


def _day(farm: Farm, week: int) -> date:
    return farm.weeks.monday(week)
