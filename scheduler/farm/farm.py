"""The whole farm: every table of the farm book, and the look-ups everybody needs."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from pydantic import BaseModel

from scheduler.farm.bench import USUAL_ROUTE, Dip, PlugKind, RouteStep
from scheduler.farm.blocks import Block, Position, parse_block
from scheduler.farm.coral import Colony, Group, GroupPair, Lot, SizeClass, Strain, Traits, TraitSource
from scheduler.farm.counts import Count, LotPace, PastCut, PastLot
from scheduler.farm.people import Absence, Person, Session, StandingWork
from scheduler.farm.recorded import RecordedPlan, SaleDone
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Closure, Market, Order, Pin, Supply
from scheduler.farm.weeks import Weeks, next_monday

TABLES: dict[str, type[Row]] = {
    cls.SHEET: cls
    for cls in (
        Settings, WaterSystem, Tank, Rack, LightReading, Group, Strain, TraitSource, GroupPair, SizeClass, Colony, Lot,
        Person, Absence, StandingWork, Session, RouteStep, Dip, PlugKind, Channel, Closure, Order, Market,
        Supply, Pin, Count, PastLot, PastCut, RecordedPlan, SaleDone,
    )
}  # fmt: skip
"""Every table of a farm book by sheet name, in the order of the sheets."""


@dataclass(frozen=True, eq=False)
class Farm:
    """An immutable farm. The fields are the tables of the book, named like its sheets, and what its counts taught of single lots.

    Two farms are the same if their ``fingerprint`` is; ``==`` means identity, so that look-ups can be cached.
    """

    settings: Settings
    systems: tuple[WaterSystem, ...] = ()
    tanks: tuple[Tank, ...] = ()
    racks: tuple[Rack, ...] = ()
    light: tuple[LightReading, ...] = ()
    groups: tuple[Group, ...] = ()
    strains: tuple[Strain, ...] = ()
    sources: tuple[TraitSource, ...] = ()
    pairs: tuple[GroupPair, ...] = ()
    classes: tuple[SizeClass, ...] = ()
    colonies: tuple[Colony, ...] = ()
    lots: tuple[Lot, ...] = ()
    people: tuple[Person, ...] = ()
    absences: tuple[Absence, ...] = ()
    standing: tuple[StandingWork, ...] = ()
    sessions: tuple[Session, ...] = ()
    channels: tuple[Channel, ...] = ()
    ship_calendar: tuple[Closure, ...] = ()
    orders: tuple[Order, ...] = ()
    market: tuple[Market, ...] = ()
    supplies: tuple[Supply, ...] = ()
    routes: tuple[RouteStep, ...] = ()
    dips: tuple[Dip, ...] = ()
    plugs: tuple[PlugKind, ...] = ()
    pins: tuple[Pin, ...] = ()
    recorded: tuple[RecordedPlan, ...] = ()
    sales_done: tuple[SaleDone, ...] = ()
    counts: tuple[Count, ...] = ()
    past_lots: tuple[PastLot, ...] = ()
    past_cuts: tuple[PastCut, ...] = ()
    paces: tuple[LotPace, ...] = ()

    # ---- identity -------------------------------------------------------------------------------------------------

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over every value of every table, the same for a workbook and its CSV folder."""
        digest = hashlib.sha256()
        for field in fields(self):
            value: Any = getattr(self, field.name)
            rows: Iterable[BaseModel] = (value,) if isinstance(value, BaseModel) else value
            for row in rows:
                digest.update(f"{field.name}:{row.model_dump_json()}\n".encode())
        return digest.hexdigest()

    @cached_property
    def weeks(self) -> Weeks:
        """The horizon."""
        s = self.settings
        monday = s.plan_monday or next_monday(s.book_date)
        return Weeks(monday, s.horizon_weeks, min(s.near_weeks, s.horizon_weeks))

    # ---- look-ups by name -----------------------------------------------------------------------------------------

    @cached_property
    def system(self) -> dict[str, WaterSystem]:
        """Water systems by name."""
        return {r.system: r for r in self.systems}

    @cached_property
    def tank(self) -> dict[str, Tank]:
        """Tanks by name."""
        return {r.tank: r for r in self.tanks}

    @cached_property
    def rack(self) -> dict[str, Rack]:
        """Racks by name."""
        return {r.rack: r for r in self.racks}

    @cached_property
    def group(self) -> dict[str, Group]:
        """Groups by name."""
        return {r.group: r for r in self.groups}

    @cached_property
    def strain(self) -> dict[str, Strain]:
        """Strains by id."""
        return {r.strain: r for r in self.strains}

    @cached_property
    def colony(self) -> dict[str, Colony]:
        """Colonies by name."""
        return {r.colony: r for r in self.colonies}

    @cached_property
    def lot(self) -> dict[str, Lot]:
        """Lots now on racks by label code."""
        return {r.lot: r for r in self.lots}

    @cached_property
    def pace(self) -> dict[str, float]:
        """Growth of lots on racks of which it is known, as a share of what strain and light expect."""
        return {r.lot: r.growth for r in self.paces}

    @cached_property
    def past_lot(self) -> dict[str, PastLot]:
        """Lots no longer on racks by label code."""
        return {r.lot: r for r in self.past_lots}

    @cached_property
    def counts_of(self) -> dict[str, tuple[Count, ...]]:
        """Counts of each lot, on racks or past, in order of days."""
        found: dict[str, list[Count]] = {}
        for row in sorted(self.counts, key=lambda r: r.date):
            found.setdefault(row.lot, []).append(row)
        return {lot: tuple(rows) for lot, rows in found.items()}

    @cached_property
    def person(self) -> dict[str, Person]:
        """People by name."""
        return {r.person: r for r in self.people}

    @cached_property
    def channel(self) -> dict[str, Channel]:
        """Channels by name."""
        return {r.channel: r for r in self.channels}

    @cached_property
    def order(self) -> dict[str, Order]:
        """Orders by number."""
        return {r.order: r for r in self.orders}

    # ---- corals ---------------------------------------------------------------------------------------------------

    @cached_property
    def _traits(self) -> dict[str, Traits]:
        found = {}
        for strain in self.strains:
            group = self.group[strain.group]
            own = {name: getattr(strain, name) for name in Traits.model_fields}
            merged = {n: getattr(group, n) if v is None else v for n, v in own.items()}
            found[strain.strain] = Traits.model_construct(**merged)
        return found

    def traits(self, strain: str) -> Traits:
        """A strain's traits: its own where given, else its group's."""
        return self._traits[strain]

    @cached_property
    def _classes(self) -> dict[str, tuple[SizeClass, ...]]:
        found = {}
        for strain in self.strains:
            rows = {c.size_class: c for c in self.classes if c.group == strain.group and c.strain is None}
            rows |= {c.size_class: c for c in self.classes if c.strain == strain.strain}
            found[strain.strain] = tuple(sorted(rows.values(), key=lambda c: (c.min_mm, c.size_class)))
        return found

    def size_classes(self, strain: str) -> tuple[SizeClass, ...]:
        """A strain's size classes from the smallest up."""
        return self._classes[strain]

    def size_class(self, strain: str, name: str) -> SizeClass | None:
        """One size class of a strain."""
        return next((c for c in self._classes[strain] if c.size_class == name), None)

    def lot_blocks(self, lot: Lot) -> tuple[Block, ...]:
        """The blocks a lot on the racks stands in."""
        traits = self.traits(lot.strain)
        return tuple(parse_block(text, traits.plug_rows, traits.plug_cols) for text in lot.blocks)

    @cached_property
    def _pairs(self) -> dict[frozenset[str], GroupPair]:
        return {frozenset((p.group_a, p.group_b)): p for p in self.pairs}

    def clear_positions(self, strain_a: str, strain_b: str, pitch_mm: float) -> int:
        """L4: clear positions wanted between lots of two strains on a rack of that pitch; 0 within a strain."""
        if strain_a == strain_b:
            return 0
        pair = self._pairs.get(frozenset((self.strain[strain_a].group, self.strain[strain_b].group)))
        if pair is not None and pair.get_along:
            return 0
        reach = max(self._traits[strain_a].reach_mm, self._traits[strain_b].reach_mm)
        return math.ceil(round(reach / pitch_mm, 9))

    def apart(self, group_a: str, group_b: str) -> str | None:
        """L7: ``"tank"`` or ``"system"`` where two groups may not share one, else ``None``.

        A group kept apart from itself means two strains of it.
        """
        pair = self._pairs.get(frozenset((group_a, group_b)))
        return pair.apart if pair is not None else None

    def strains_apart(self, strain_a: str, strain_b: str) -> str | None:
        """L7 for two strains; ``None`` for a strain and itself."""
        return None if strain_a == strain_b else self.apart(self.strain[strain_a].group, self.strain[strain_b].group)

    @cached_property
    def choosy_groups(self) -> frozenset[str]:
        """L7: groups that some group is kept apart from."""
        return frozenset(g for p in self.pairs if p.apart is not None for g in (p.group_a, p.group_b))

    @cached_property
    def tanks_by_system(self) -> dict[str, tuple[str, ...]]:
        """By water system: its tanks."""
        return {s.system: tuple(t.tank for t in self.tanks if t.system == s.system) for s in self.systems}

    @cached_property
    def mothers_in_tank(self) -> dict[str, frozenset[str]]:
        """By tank: strains of the colonies standing in it."""
        return {t.tank: frozenset(c.strain for c in self.colonies if c.tank == t.tank) for t in self.tanks}

    # ---- bench ----------------------------------------------------------------------------------------------------

    @cached_property
    def _routes(self) -> dict[str, tuple[RouteStep, ...]]:
        found: dict[str, list[RouteStep]] = {}
        for row in self.routes:
            found.setdefault(row.group, []).append(row)
        return {group: tuple(sorted(rows, key=lambda r: r.place)) for group, rows in found.items()}

    def route(self, group: str) -> tuple[RouteStep, ...]:
        """Steps of the work on a colony of a group, in order; the usual ones where the book has none."""
        return self._routes.get(group, USUAL_ROUTE)

    @cached_property
    def dip(self) -> dict[str, Dip]:
        """Dips other than iodine by substance."""
        return {r.dip: r for r in self.dips}

    # ---- water, tanks, light --------------------------------------------------------------------------------------

    def system_of_tank(self, tank: str) -> str:
        """Water system of a tank."""
        return self.tank[tank].system

    def system_of_rack(self, rack: str) -> str:
        """Water system of a rack."""
        return self.tank[self.rack[rack].tank].system

    def may_settle_in(self, home: str, other: str, week: int) -> bool:
        """L6, S3: whether fresh frags from system ``home`` may settle in system ``other``; from quarantine only at home."""
        return home == other or (other in self.system[home].feeds and not self.in_quarantine(home, week))

    def in_quarantine(self, system: str, week: int) -> bool:
        """S3: quarantined in that week; clean from the week that starts on or after the release date."""
        row = self.system[system]
        return row.quarantined and (row.release_date is None or self.weeks.monday(week) < row.release_date)

    def on_hold(self, system: str, week: int) -> bool:
        """S3: on hold in that week (any day of it before ``hold_until``)."""
        until = self.system[system].hold_until
        return until is not None and self.weeks.monday(week) < until

    def tank_closed(self, tank: str, week: int) -> bool:
        """L9: takes nothing new in that week (any day of it closed)."""
        row = self.tank[tank]
        if row.closed_from is None and row.closed_to is None:
            return False
        first, last = self.weeks.monday(week), self.weeks.monday(week) + timedelta(days=6)
        return (row.closed_from is None or row.closed_from <= last) and (row.closed_to is None or row.closed_to >= first)

    def reading(self, rack: str, day: date) -> LightReading | None:
        """The newest reading of a rack on or before a day; the earliest one if all are later."""
        rows = self._readings.get(rack, [])
        past = [r for r in rows if r.from_date <= day]
        return past[-1] if past else (rows[0] if rows else None)

    @cached_property
    def _readings(self) -> dict[str, list[LightReading]]:
        found: dict[str, list[LightReading]] = {}
        for row in sorted(self.light, key=lambda r: r.from_date):
            found.setdefault(row.rack, []).append(row)
        return found

    @cached_property
    def mothers_on_racks(self) -> dict[str, tuple[tuple[Colony, tuple[Position, ...]], ...]]:
        """By rack: colonies standing on it with the positions they cover."""
        found: dict[str, list[tuple[Colony, tuple[Position, ...]]]] = {}
        for colony in self.colonies:
            if colony.rack and colony.block:
                found.setdefault(colony.rack, []).append((colony, colony.block.positions()))
        return {rack: tuple(rows) for rack, rows in found.items()}

    # ---- market ---------------------------------------------------------------------------------------------------

    def market_quantity(
        self, month: int, *, group: str | None = None, strain: str | None = None, size_class: str | None = None
    ) -> float | None:
        """Market of a full calendar month (1-12) for a strain and class, or a group: its own row, else that for every month.

        ``None`` where the book has neither.
        """
        subject = (strain, size_class) if strain is not None else (None, group)
        return self._market.get((*subject, month), self._market.get((*subject, None)))

    @cached_property
    def _market(self) -> dict[tuple[str | None, str | None, int | None], float]:
        """Quantity by (strain, class, month) and (None, group, month); the first of several rows."""
        found: dict[tuple[str | None, str | None, int | None], float] = {}
        for row in self.market:
            subject = (row.strain, row.size_class) if row.strain is not None else (None, row.group)
            found.setdefault((*subject, row.month), row.quantity)
        return found
