"""Tanks, racks and lots for the page: exact positions in the near weeks, light zones in every week."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import groupby
from typing import Any

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import band_text, zone_by_position, zones
from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.codes import label_codes
from scheduler.farm.space import Rack
from scheduler.plan.model import Stand
from scheduler.plan.view import LotView, PlanView
from scheduler.reporting.tables import Table
from scheduler.reporting.tables.bench import blocks_text
from scheduler.reporting.tables.places import Kind, standings
from scheduler.season.ledger import zone_limit

STANDS, MOUNTED, MOVED_IN, SOLD, MOVED_OUT, MOTHER = range(6)
"""What is on a position. Sold: plugs packed in that week, whose places are free at its end."""

_KIND: dict[Kind, int] = {"old": STANDS, "new": MOUNTED, "moved in": MOVED_IN, "moved out": MOVED_OUT, "mother": MOTHER}

Runs = list[int]
"""Positions as first, length, first, length, ...; a position is row x columns + column."""


def runs(positions: Iterable[int]) -> Runs:
    """Sorted positions as runs."""
    found: Runs = []
    for _, members in groupby(enumerate(sorted(positions)), key=lambda pair: pair[1] - pair[0]):
        run = [position for _, position in members]
        found += [run[0], len(run)]
    return found


class Places:
    """What the page knows of tanks, racks, zones, strains, colonies and lots; lists are referred to by index."""

    def __init__(self, view: PlanView, tables: dict[str, Table]) -> None:
        self.view, self.farm, self.tables = view, view.farm, tables
        self.near = list(self.farm.weeks.near_weeks)
        self.rack = {r.rack: i for i, r in enumerate(self.farm.racks)}
        self.tank = {t.tank: i for i, t in enumerate(self.farm.tanks)}
        self.zone = {z: i for i, z in enumerate(zones(self.farm))}
        self.strain = {s.strain: i for i, s in enumerate(self.farm.strains)}
        self.colony = {c.colony: i for i, c in enumerate(self.farm.colonies)}
        self.lot = {lot: i for i, lot in enumerate(view.lots)}

    def payload(self) -> dict[str, Any]:
        """Everything about places."""
        farm = self.farm
        codes = label_codes(farm)
        traits = {s.strain: farm.traits(s.strain) for s in farm.strains}
        edges = farm.settings.par_bands
        return {
            "systems": [
                [s.system, s.health_rank, [w for w in farm.weeks.all if farm.in_quarantine(s.system, w)]] for s in farm.systems
            ],
            "tanks": [[t.tank, t.system, _closed(t.closed_from, t.closed_to)] for t in farm.tanks],
            "racks": [self._rack(r) for r in farm.racks],
            "zones": self._zones(),
            "bands": [band_text(farm, b) for b in range(len(edges) + 1)],
            "bandEdges": list(edges),
            "strains": [
                [s.strain, s.name, s.group, codes[s.strain], t.plug_kind, t.plug_rows, t.plug_cols, t.toxic]
                for s, t in ((s, traits[s.strain]) for s in farm.strains)
            ],
            "colonies": [
                [c.colony, self.strain[c.strain], c.tank, c.place or "", c.rack or "", round(c.par_umol), c.condition]
                for c in farm.colonies
            ],
            "lots": self._lots(),
            "near": [self._week(week) for week in self.near],
            "ahead": self._ahead(),
        }

    # ---- racks and zones ------------------------------------------------------------------------------------------

    def _rack(self, rack: Rack) -> dict[str, Any]:
        by_position = zone_by_position(self.farm)
        cells = [(r, c) for r in range(rack.rows) for c in range(rack.cols)]
        zone = [self.zone.get(by_position.get((rack.rack, p), ""), -1) for p in cells]
        lit: list[tuple[int, list[int]]] = []
        for week in self.farm.weeks.all:
            par = [round(float(x)) for x in par_of_rack(self.farm, rack.rack, week).flat]
            if not lit or lit[-1][1] != par:
                lit.append((week, par))
        return {
            "id": rack.rack, "tank": self.tank[rack.tank], "rows": rack.rows, "cols": rack.cols, "pitch": rack.pitch_mm,
            "flow": rack.flow, "plugs": list(rack.plug_kinds), "light": [[week, par] for week, par in lit],
            "zone": [x for key, members in groupby(zone) for x in (key, len(list(members)))],
            "blocked": runs(r * rack.cols + c for r, c in rack.blocked_positions),
        }  # fmt: skip

    def _zones(self) -> list[dict[str, Any]]:
        held: dict[str, list[float]] = defaultdict(list)
        percent: dict[str, list[float]] = defaultdict(list)
        for zone, share, taken in self.tables["rack_use"].pick("zone", "percent", "held"):
            held[str(zone)].append(float(str(taken)))
            percent[str(zone)].append(float(str(share)))
        found = []
        for z in zones(self.farm).values():
            par = [round(x) for x in z.par]
            found.append(
                {"id": z.id, "tank": self.tank[z.tank], "band": z.band, "flow": z.flow, "capacity": z.capacity, "mothers": z.mothers,
                 "limit": round(zone_limit(self.farm, z), 1), "par": _changes(par), "held": held[z.id], "percent": percent[z.id]}
            )  # fmt: skip
        return found

    # ---- lots -----------------------------------------------------------------------------------------------------

    @cached_property
    def _sales(self) -> dict[str, list[list[Any]]]:
        found: dict[str, list[list[Any]]] = defaultdict(list)
        rows = self.tables["sales"].pick(
            "lot", "week", "route", "size_class", "order", "channel", "pieces", "expected_frags", "expected_graded", "leaves_from"
        )
        for lot, week, route, size_class, order, channel, pieces, frags, graded, place in rows:
            place_text = place if isinstance(week, int) and week in self.near else ""
            found[str(lot)].append(
                [week, route, size_class, order or "", channel, pieces, _number(frags), _number(graded), place_text]
            )
        return found

    def _lots(self) -> list[list[Any]]:
        """Lot, strain, colony, week cut, pieces, new, stands, sales, first weeks of its classes, PAR in the near weeks."""
        found: list[list[Any]] = []
        for lot in self.view.lots.values():
            stands = [
                [s.week, self.zone[s.zone], -1 if s.rack is None else self.rack[s.rack], self._blocks(lot, s), s.pieces]
                for s in lot.stands
            ]
            ready = sorted(([name, week] for name, week in lot.life.ready.items()), key=lambda pair: (pair[1], pair[0]))
            found.append(
                [lot.id, self.strain[lot.strain], lot.colony or "", lot.cut_week, lot.pieces, int(lot.is_new), stands,
                 self._sales.get(lot.id, []), ready, [self._par(lot, week) for week in self.near]]
            )  # fmt: skip
        return found

    def _blocks(self, lot: LotView, stand: Stand) -> str:
        return blocks_text(stand, self.farm.traits(lot.strain)) if stand.rack is not None else ""

    def _par(self, lot: LotView, week: int) -> int | None:
        """Mean PAR of a lot's positions at the end of a near week, whole; nothing where it does not stand."""
        if lot.cut_week > week or not lot.left(week):
            return None
        stand = lot.stand(week)
        if stand.rack is None:
            return round(zones(self.farm)[stand.zone].par_in(week))
        par = par_of_rack(self.farm, stand.rack, week)
        held = self._positions(lot, stand, lot.left(week))
        return round(sum(float(par[p]) for p in held) / len(held))

    def _positions(self, lot: LotView, stand: Stand, plugs: int) -> tuple[Position, ...]:
        traits = self.farm.traits(lot.strain)
        return tuple(p for b in trim(stand.blocks, plugs) for p in b.positions(traits.plug_rows, traits.plug_cols))

    # ---- weeks ----------------------------------------------------------------------------------------------------

    def _week(self, week: int) -> list[list[Any]]:
        """A near week: rack, kind, lot or colony, plugs. The state at its end, as in the table of positions, and what is packed in it.

        Plugs are top, left, plugs a row, first plug and the one after the last, block after block.
        """
        found: list[list[Any]] = []
        for rack, rows in self.farm.mothers_on_racks.items():
            for colony, _ in rows:
                if colony.block is not None:
                    b = colony.block
                    found.append([self.rack[rack], MOTHER, self.colony[colony.colony], [b.top, b.left, b.across, 0, b.plugs]])
        for rack, lots in standings(self.view, week).items():
            for kind, lot, stand in lots:
                found.append([self.rack[rack], _KIND[kind], self.lot[lot.id], plugs_between(stand.blocks, 0, lot.left(week))])
        for lot in self.view.lots.values():
            place = packed_from(lot, week)
            if place is not None and place.rack is not None:
                gone = plugs_between(place.blocks, lot.left(week), lot.left(week - 1))
                found.append([self.rack[place.rack], SOLD, self.lot[lot.id], gone])
        return found

    def _ahead(self) -> list[list[Any]]:
        """Every week: cuts, pieces, moves, frags sold, as on the sheet of the weeks ahead."""
        weeks = self.farm.weeks.all
        cuts, pieces, moves = dict.fromkeys(weeks, 0), dict.fromkeys(weeks, 0), dict.fromkeys(weeks, 0)
        sold = dict.fromkeys(weeks, 0.0)
        for week, n in self.tables["cuts"].pick("week", "pieces"):
            cuts[int(str(week))] += 1
            pieces[int(str(week))] += int(str(n))
        for week in self.tables["moves"].column("week"):
            moves[int(str(week))] += 1
        for week, frags in self.tables["sales"].pick("week", "expected_frags"):
            sold[int(str(week))] += float(str(frags))
        return [[cuts[w], pieces[w], moves[w], round(sold[w], 1)] for w in weeks]


def plugs_between(blocks: Sequence[Block], first: int, last: int) -> list[int]:
    """The plugs of a lot from ``first`` up to ``last`` (not with it), counted through its blocks: five numbers a block."""
    found: list[int] = []
    for block in blocks:
        low, high = max(0, first), min(block.plugs, last)
        if low < high:
            found += [block.top, block.left, block.across, low, high]
        first, last = first - block.plugs, last - block.plugs
    return found


def packed_from(lot: LotView, week: int) -> Stand | None:
    """Where plugs of a lot packed in a near week leave from: packing comes before moves. Nothing where none leave."""
    if lot.cut_week >= week or lot.left(week - 1) == lot.left(week):
        return None
    return lot.stand(week - 1) if lot.stands[0].week < week else lot.stands[0]


def _number(value: object) -> float:
    return float(str(value))


def _changes(values: list[int]) -> list[list[int]]:
    """Weeks in which a value changes, each with the new value; the first week is always there."""
    return [[week, x] for week, x in enumerate(values, start=1) if week == 1 or values[week - 2] != x]


def _closed(first: object, last: object) -> str:
    if first is None:
        return ""
    return f"takes nothing new from {first}" + (f" to {last}" if last is not None else "")
