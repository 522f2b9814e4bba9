"""Tables of the preparation sheets: plugs and labels, dips, supplies of each session, plugs that go into water."""

from __future__ import annotations

from decimal import Decimal

from scheduler.bench.dose import dose_text
from scheduler.bench.prep import Preparation, into_water, preparation
from scheduler.farm.people import WEEKDAYS, BenchSession
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.stock import supply_use


def preparations(view: PlanView, sessions: tuple[BenchSession, ...]) -> tuple[Preparation, ...]:
    """The preparation of each session."""
    return tuple(preparation(view.farm, view.plan, s) for s in sessions)


def labels_table(preps: tuple[Preparation, ...]) -> Table:
    """What is written on plugs and tags, by session and lot."""
    rows: list[tuple[Value, ...]] = [
        (p.session.id, x.lot, x.code, x.strain, x.plug_kind, x.pieces, x.labels, x.blocks) for p in preps for x in p.labels
    ]
    return Table("labels", ("session", "lot", "code", "name", "plug_kind", "pieces", "labels", "blocks"), tuple(rows))


def dips_table(preps: tuple[Preparation, ...]) -> Table:
    """Dip baths by session and water system."""
    rows: list[tuple[Value, ...]] = []
    for p in preps:
        for b in p.baths:
            least, most = b.frags
            mothers = f"{b.mothers[0]:g}-{b.mothers[1]:g}" if b.mothers else None
            rows.append(
                (p.session.id, b.system, b.dose.dip, b.dose.litres, dose_text(b.dose), b.dose.amount, b.dose.unit, b.baths,
                 b.mixes, b.pieces, f"{least:g}-{most:g}", mothers)
            )  # fmt: skip
    columns = (
        "session", "system", "dip", "litres", "dose", "amount", "unit", "baths", "mixes", "pieces", "minutes_frags", "minutes_mothers",
    )  # fmt: skip
    return Table("dip_baths", columns, tuple(rows))


def draws_table(view: PlanView, preps: tuple[Preparation, ...]) -> Table:
    """What each session takes of the supplies, and for how many weeks of the plan the stock lasts."""
    lasts = weeks_left(view)
    rows: list[tuple[Value, ...]] = [
        (p.session.id, d.item, d.unit, d.need, d.before, d.after, lasts[d.item]) for p in preps for d in p.draws
    ]
    return Table("bench_supplies", ("session", "item", "unit", "need", "stock_before", "stock_after", "weeks_left"), tuple(rows))


def weeks_left(view: PlanView) -> dict[str, int]:
    """Whole weeks from the start of the plan that the stock of each item covers; all weeks planned if it never runs out."""
    found = {}
    for supply in view.farm.supplies:
        use, so_far = supply_use(view, supply), Decimal(0)
        found[supply.item] = view.farm.weeks.count
        for week in view.farm.weeks.all:
            so_far += use.get(week, Decimal(0))
            if so_far > Decimal(str(supply.stock)):
                found[supply.item] = week - 1
                break
    return found


def into_water_table(view: PlanView) -> Table:
    """Plugs that go into water, by day."""
    rows: list[tuple[Value, ...]] = [
        (w.by, WEEKDAYS[w.by.weekday()], w.plug_kind, w.plugs, w.used_from, "too late" if w.overdue else "")
        for w in into_water(view.farm, view.plan)
    ]
    return Table("plugs_into_water", ("by", "weekday", "plug_kind", "plugs", "used_from", "note"), tuple(rows))
