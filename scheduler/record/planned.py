"""What a plan wants done in its near weeks, as it is written on the sheet ``record`` and read back from it."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from scheduler.farm.farm import Farm
from scheduler.farm.units import exact
from scheduler.farm.work import sessions_in
from scheduler.plan.identity import plan_id
from scheduler.plan.model import About, Sale, Stand
from scheduler.plan.view import LotView, PlanView

RECORD_SHEET = "record"
KEY_SHEET = "record keys"

Section = Literal["session", "packing", "moves", "counts", "colonies", "light", "plugs"]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Thing(_Part):
    """One planned piece of work: a cut, sale or move, a lot to count, light to measure, plugs for water. Which parts are given depends on ``section``."""

    key: str = Field(description="name of its row")
    lot: str = Field(description="lot it is about")
    strain: str
    detail: str = Field(default="", description="what else its row says")
    pieces: int = Field(description="pieces to cut; plugs to take off, to move or to count")
    colony: str | None = None
    rack: str | None = None
    blocks: tuple[str, ...] = ()
    cutter: str | None = None
    mounter: str | None = None
    route: Literal["order", "market", "clear"] | None = None
    order: str | None = None
    size_class: str | None = None
    plug_kind: str | None = None
    frags: int | None = Field(default=None, description="frags a sale is expected to give, whole")

    @property
    def place(self) -> str:
        """Rack and blocks in words."""
        return f"{self.rack}: {'; '.join(self.blocks)}" if self.rack and self.blocks else self.rack or ""


class Group(_Part):
    """Work that is marked together: a session, a week's packing of one channel, its moves, counts, readings and so on."""

    key: str
    section: Section
    week: int
    title: str
    day: date = Field(description="day the work is dated: the session's, else the last day of the week")
    session: str | None = None
    channel: str | None = None
    things: tuple[Thing, ...] = ()
    spare: int = Field(description="empty rows below for what nobody planned")

    @property
    def marked(self) -> bool:
        """Whether the group wants a mark; counts, readings and plugs are taken as they are filled in."""
        return self.section not in ("counts", "colonies", "light", "plugs")

    @property
    def rows(self) -> tuple[str, ...]:
        """Keys of its rows on the sheet: the mark, the things, the spare rows."""
        return (self.key, *(t.key for t in self.things), *(f"{self.key} more {i}" for i in range(1, self.spare + 1)))


class PlannedWork(_Part):
    """Everything planned for the near weeks, and which plan and book it is from."""

    plan: str
    about: About
    groups: tuple[Group, ...]

    @property
    def monday(self) -> date:
        """Monday of week 1."""
        return self.about.plan_monday

    def last_day(self, weeks: int) -> date:
        """Sunday of the last of so many weeks."""
        return self.monday + timedelta(days=7 * weeks - 1)


def planned_work(view: PlanView) -> PlannedWork:
    """The near weeks of a plan, group by group in order of weeks."""
    farm = view.farm
    groups: list[Group] = []
    for week in farm.weeks.near_weeks:
        groups += _sessions(view, week)
        groups += _packing(view, week)
        groups += [_moves(view, week), _counts(view, week), _colonies(farm, week), _light(view, week), *_plugs(farm, week)]
    return PlannedWork(plan=plan_id(view.plan), about=view.plan.about, groups=tuple(groups))


def _last_day(farm: Farm, week: int) -> date:
    return farm.weeks.days(week)[-1]


def _place(farm: Farm, strain: str, stand: Stand) -> dict[str, object]:
    traits = farm.traits(strain)
    return {"rack": stand.rack, "blocks": tuple(b.text(traits.plug_rows, traits.plug_cols) for b in stand.blocks)}


def _sessions(view: PlanView, week: int) -> list[Group]:
    farm, found = view.farm, []
    for session in sessions_in(farm, week):
        cuts = sorted((c for c in view.plan.cuts if c.session == session.id), key=lambda c: (c.run_order or 0, c.lot))
        if not cuts:
            continue
        things = tuple(
            Thing(
                key=f"cut {c.lot}", lot=c.lot, strain=c.strain, pieces=c.pieces, colony=c.colony, cutter=c.cutter,
                mounter=c.mounter, detail=f"{farm.strain[c.strain].name}, in {farm.traits(c.strain).unit}",
                **_place(farm, c.strain, view.lots[c.lot].stands[0]),
            )
            for c in cuts
        )  # fmt: skip
        title = f"{session.name} {session.day:%a %Y-%m-%d}, {session.start:%H:%M}"
        found.append(
            Group(key=f"session {session.id}", section="session", week=week, title=title, day=session.day, session=session.id,
                  things=things, spare=3)
        )  # fmt: skip
    return found


def whole_frags(farm: Farm, lot: LotView, sale: Sale) -> int:
    """Frags a sale gives if all goes as expected, whole, half-even: for an order those that make grade, else all alive."""
    frags = sale.pieces * lot.life.alive[sale.week]
    if sale.route == "order":
        frags *= exact(farm.traits(lot.strain).good_share)
    return min(sale.pieces, int(Decimal(frags).to_integral_value(rounding=ROUND_HALF_EVEN)))


def _packing(view: PlanView, week: int) -> list[Group]:
    farm, found = view.farm, []
    label = farm.weeks.label(week)
    for channel in farm.channels:
        things = []
        for lot in view.lots.values():
            mine = [s for s in lot.sales if s.week == week and s.channel == channel.channel]
            for sale in sorted(mine, key=lambda s: (s.route, s.order or "", s.size_class)):
                things.append(
                    Thing(
                        key=f"sale {label} {lot.id} {sale.route} {sale.order or ''} {sale.size_class}".replace("  ", " "),
                        lot=lot.id, strain=lot.strain, pieces=sale.pieces, route=sale.route, order=sale.order,
                        size_class=sale.size_class, frags=whole_frags(farm, lot, sale), rack=lot.stand(week).rack,
                        detail=f"{farm.strain[lot.strain].name}, {sale.size_class}",
                    )
                )  # fmt: skip
        if things:
            things.sort(key=lambda t: (t.order or "~", t.lot))
            title = f"packing for {channel.channel}, {label}"
            found.append(
                Group(key=f"packing {channel.channel} {label}", section="packing", week=week, title=title,
                      day=_last_day(farm, week), channel=channel.channel, things=tuple(things), spare=3)
            )  # fmt: skip
    return found


def _moves(view: PlanView, week: int) -> Group:
    farm = view.farm
    label = farm.weeks.label(week)
    things = tuple(
        Thing(
            key=f"move {label} {lot.id}", lot=lot.id, strain=lot.strain, pieces=lot.left(week),
            detail=farm.strain[lot.strain].name, **_place(farm, lot.strain, stand),
        )
        for lot in view.lots.values()
        for stand in lot.stands[1:]
        if stand.week == week
    )  # fmt: skip
    return Group(key=f"moves {label}", section="moves", week=week, title=f"moves, {label}", day=_last_day(farm, week),
                 things=things, spare=2)  # fmt: skip


def _counts(view: PlanView, week: int) -> Group:
    farm = view.farm
    label = farm.weeks.label(week)
    things = []
    for lot in view.lots.values():
        age = week - lot.cut_week
        if age > 0 and age % farm.settings.count_weeks == 0 and lot.left(week):
            things.append(
                Thing(key=f"count {label} {lot.id}", lot=lot.id, strain=lot.strain, pieces=lot.left(week),
                      detail=farm.strain[lot.strain].name, rack=lot.stand(week).rack)
            )  # fmt: skip
    things.sort(key=lambda t: (t.rack or "", t.lot))
    return Group(key=f"counts {label}", section="counts", week=week, title=f"lots counted, {label}", day=_last_day(farm, week),
                 things=tuple(things), spare=4)  # fmt: skip


def _colonies(farm: Farm, week: int) -> Group:
    label = farm.weeks.label(week)
    return Group(key=f"colonies {label}", section="colonies", week=week, title=f"colonies counted or judged, {label}",
                 day=_last_day(farm, week), spare=6)  # fmt: skip


def _light(view: PlanView, week: int) -> Group:
    """Racks that take frags in the week and whose light was last measured too long ago; rows for any other rack."""
    farm, monday = view.farm, view.farm.weeks.monday(week)
    label = farm.weeks.label(week)
    measured: dict[str, date] = {}
    for row in farm.light:
        if not row.planned and row.from_date <= monday:
            measured[row.rack] = max(row.from_date, measured.get(row.rack, row.from_date))
    things = []
    for rack in sorted({s.rack for s in view.plan.stands if s.week == week and s.rack is not None}):
        last = measured.get(rack)
        if last is None or (monday - last).days > farm.settings.stale_par_days:
            detail = f"measured {last}" if last is not None else "never measured"
            things.append(Thing(key=f"light {label} {rack}", lot="", strain="", detail=detail, pieces=0, rack=rack))
    return Group(key=f"light {label}", section="light", week=week, title=f"light measured, {label}", day=_last_day(farm, week),
                 things=tuple(things), spare=4)  # fmt: skip


def _plugs(farm: Farm, week: int) -> list[Group]:
    """Kinds of plugs that stand in water before use; no list for a farm without any."""
    label = farm.weeks.label(week)
    things = tuple(
        Thing(key=f"plugs {label} {kind}", lot="", strain="", plug_kind=kind,
              pieces=sum(row.in_water for row in farm.plugs if row.plug_kind == kind))
        for kind in dict.fromkeys(row.plug_kind for row in farm.plugs if row.condition_days)
    )  # fmt: skip
    if not things:
        return []
    return [Group(key=f"plugs {label}", section="plugs", week=week, title=f"plugs put into water, {label}",
                  day=_last_day(farm, week), things=things, spare=0)]  # fmt: skip
