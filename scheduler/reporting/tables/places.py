"""Tables of places: what stands on each rack position, moves, and the use of racks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import zones
from scheduler.farm.blocks import Position, trim
from scheduler.farm.farm import Farm
from scheduler.plan.model import Stand
from scheduler.plan.view import LotView, PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.bench import blocks_text

Kind = Literal["old", "new", "moved in", "moved out", "mother", "blocked"]
"""What holds a position: a lot standing there before, a lot mounted or moved in that week, a place just left, ..."""


@dataclass(frozen=True)
class Occupant:
    """What is on a position. ``id`` is the lot or colony; empty for a blocked position."""

    kind: Kind
    id: str


Standing = tuple[Kind, LotView, Stand]
"""A lot at a place on a rack, and how it comes to be there."""


def standings(view: PlanView, week: int) -> dict[str, list[Standing]]:
    """Lots by rack at the end of a near week.

    New means mounted in that week. A place left by a move in that week is kept free until the next one (moved out).
    """
    found: dict[str, list[Standing]] = defaultdict(list)
    for lot in view.lots.values():
        if lot.cut_week > week or lot.left(week) == 0:
            continue
        held_now = lot.stands_held(week)
        for stand in held_now:
            if stand.rack is None:
                continue
            kind: Kind = "old"
            if stand is not held_now[-1]:
                kind = "moved out"
            elif lot.is_new and lot.cut_week == week:
                kind = "new"
            elif stand.week == week and len(lot.stands) > 1:
                kind = "moved in"
            found[stand.rack].append((kind, lot, stand))
    return found


def rack_state(
    view: PlanView, rack: str, week: int, lots: Mapping[str, Sequence[Standing]] | None = None
) -> dict[Position, Occupant]:
    """What stands on every taken position of a rack at the end of a near week. ``lots``: ``standings`` of that week, if known."""
    farm = view.farm
    found: dict[Position, Occupant] = {p: Occupant("blocked", "") for p in farm.rack[rack].blocked_positions}
    for colony, held in farm.mothers_on_racks.get(rack, ()):
        found |= dict.fromkeys(held, Occupant("mother", colony.colony))
    leaving: dict[Position, Occupant] = {}
    for kind, lot, stand in (standings(view, week) if lots is None else lots).get(rack, ()):
        placed = leaving if kind == "moved out" else found
        placed |= dict.fromkeys(standing_positions(farm, lot, stand, week), Occupant(kind, lot.id))
    return leaving | found


def standing_positions(farm: Farm, lot: LotView, stand: Stand, week: int) -> tuple[Position, ...]:
    """Positions of a lot at a place after the sales of a week."""
    traits = farm.traits(lot.strain)
    return tuple(p for b in trim(stand.blocks, lot.left(week)) for p in b.positions(traits.plug_rows, traits.plug_cols))


def positions_table(view: PlanView) -> Table:
    """What stands on every taken position at the end of each near week."""
    rows: list[tuple[Value, ...]] = []
    for week in view.farm.weeks.near_weeks:
        lots = standings(view, week)
        for rack in view.farm.racks:
            state = rack_state(view, rack.rack, week, lots)
            rows += [(week, rack.tank, rack.rack, p[0] + 1, p[1] + 1, o.kind, o.id) for p, o in sorted(state.items())]
    return Table("positions", ("week", "tank", "rack", "row", "column", "what", "lot_or_colony"), tuple(rows))


def _par(farm: Farm, lot: LotView, stand: Stand, week: int) -> float:
    """Mean PAR of a lot's positions at a place, or of its zone where no rack is named."""
    positions = standing_positions(farm, lot, stand, week)
    if stand.rack is None or not positions:
        return zones(farm)[stand.zone].par_in(week)
    par = par_of_rack(farm, stand.rack, week)
    return sum(float(par[p]) for p in positions) / len(positions)


def moves_table(view: PlanView) -> Table:
    """Every move of a lot, old or new."""
    farm, table = view.farm, zones(view.farm)
    rows: list[tuple[Value, ...]] = []
    for lot in view.lots.values():
        traits = farm.traits(lot.strain)
        for before, after in zip(lot.stands, lot.stands[1:], strict=False):
            week = after.week
            rows.append(
                (week, farm.weeks.label(week), lot.id, lot.strain, farm.strain[lot.strain].name, lot.left(week),
                 table[before.zone].tank, before.rack, blocks_text(before, traits), table[after.zone].tank, after.rack,
                 blocks_text(after, traits), round(_par(farm, lot, before, week)), round(_par(farm, lot, after, week)),
                 before.zone, after.zone)
            )  # fmt: skip
    rows.sort(key=lambda r: (r[0], str(r[6]), str(r[2])))
    columns = (
        "week", "iso_week", "lot", "strain", "name", "pieces", "from_tank", "from_rack", "from_blocks", "to_tank", "to_rack",
        "to_blocks", "from_par", "to_par", "from_zone", "to_zone",
    )  # fmt: skip
    return Table("moves", columns, tuple(rows))


def zone_use(view: PlanView, *, as_they_stand: bool = False) -> dict[tuple[str, int], Decimal]:
    """Positions held by (zone, week): near weeks one plug area a piece left, later weeks by expected frags; mothers count.

    In the week of a move both places count. ``as_they_stand``: lots on racks alone, without their moves.
    """
    farm = view.farm
    table = zones(farm)
    used = {(z.id, w): Decimal(z.mothers) for z in table.values() for w in farm.weeks.all}
    near = set(farm.weeks.near_weeks)
    lots = [lot for lot in view.lots.values() if not (as_they_stand and lot.is_new)]
    for lot in lots:
        traits = farm.traits(lot.strain)
        area = traits.plug_area
        for week in range(lot.first_week, farm.weeks.count + 1):
            left = lot.left(week)
            if not left:
                break
            share = Decimal(1) if week in near else lot.life.held[week]
            for stand in lot.stands[:1] if as_they_stand else lot.stands_held(week):
                used[stand.zone, week] += left * area * share
    return used


def rack_use_table(view: PlanView) -> Table:
    """Positions held by light zone and week."""
    table = zones(view.farm)
    rows: list[tuple[Value, ...]] = []
    for (zone_id, week), held in zone_use(view).items():
        z = table[zone_id]
        share = held / z.capacity * 100
        label = view.farm.weeks.label(week)
        rows.append((week, label, z.system, z.tank, zone_id, z.capacity, round(held, 3), round(share, 1)))
    columns = ("week", "iso_week", "system", "tank", "zone", "positions", "held", "percent")
    return Table("rack_use", columns, tuple(rows))


def tank_use(view: PlanView, use: Table) -> dict[str, dict[int, float]]:
    """Percent of each tank's unblocked positions held, by week."""
    capacity: dict[str, int] = defaultdict(int)
    for zone in zones(view.farm).values():
        capacity[zone.tank] += zone.capacity
    held: dict[str, dict[int, Decimal]] = {t: defaultdict(Decimal) for t in capacity}
    for week, tank, value in use.pick("week", "tank", "held"):
        held[str(tank)][int(str(week))] += Decimal(str(value))
    return {t: {w: float(100 * v / capacity[t]) for w, v in sorted(weeks.items())} for t, weeks in held.items()}


def zone_percent(use: Table) -> dict[str, dict[int, float]]:
    """Percent of each zone's positions held, by week."""
    found: dict[str, dict[int, float]] = defaultdict(dict)
    for zone, week, percent in use.pick("zone", "week", "percent"):
        found[str(zone)][int(str(week))] = float(str(percent))
    return found
