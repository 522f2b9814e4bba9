"""Tables of supplies to order, and of what to count and measure."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import timedelta
from decimal import Decimal

from scheduler.biology.zones import zones
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Supply
from scheduler.farm.units import exact
from scheduler.farm.work import sessions_in
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.trade import expected_frags

LONGEST = 15
"""Most rows of each list of what to count or measure."""


def supply_use(view: PlanView, supply: Supply) -> dict[int, Decimal]:
    """Units of an item used by week. Later weeks take every session offered in a week with cuts."""
    farm, plan = view.farm, view.plan
    use: dict[int, Decimal] = defaultdict(Decimal)
    each = exact(supply.quantity_per)

    def wanted(strain: str) -> bool:
        return supply.only_for in (None, farm.traits(strain).plug_kind, farm.strain[strain].group)

    if supply.per in ("piece", "colony"):
        for cut in plan.cuts:
            if wanted(cut.strain):
                use[cut.week] += each * (cut.pieces if supply.per == "piece" else 1)
    elif supply.per == "session":
        for week in {c.week for c in plan.cuts}:
            named = {c.session for c in plan.cuts if c.week == week and c.session is not None}
            use[week] += each * (len(named) or len(sessions_in(farm, week)))
    else:
        for lot in view.lots.values():
            for sale in lot.sales:
                if wanted(lot.strain):
                    frags = expected_frags(lot, sale)
                    boxes = frags / exact(farm.channel[sale.channel].frags_per_box)
                    use[sale.week] += each * (frags if supply.per == "frag packed" else boxes)
    return dict(use)


def supplies_table(view: PlanView) -> Table:
    """Need against stock, and what to order by when: whole packs that cover all weeks planned."""
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    for s in farm.supplies:
        use = supply_use(view, s)
        near = sum((use.get(w, Decimal(0)) for w in farm.weeks.near_weeks), Decimal(0))
        total = sum(use.values(), Decimal(0))
        stock, pack = exact(s.stock), exact(s.pack_size)
        packs = max(0, math.ceil((total - stock) / pack))
        first_short, so_far = None, Decimal(0)
        for week in farm.weeks.all:
            so_far += use.get(week, Decimal(0))
            if so_far > stock:
                first_short = week
                break
        by = farm.weeks.monday(first_short) - timedelta(weeks=s.lead_weeks) if first_short is not None else None
        note = "covered" if by is None else ("order now" if by <= farm.weeks.monday(1) else "order by the date")
        if by is not None and by < farm.weeks.monday(1):
            note = "order now: comes too late for the need planned"
        rows.append(
            (s.item, s.unit, round(near, 2), stock, round(total, 2), farm.weeks.label(first_short) if first_short else None,
             by, packs * pack, packs, note)
        )  # fmt: skip
    columns = (
        "item",
        "unit",
        "near_weeks_need",
        "stock",
        "all_weeks_need",
        "short_in",
        "order_by",
        "order_units",
        "packs",
        "note",
    )
    return Table("supplies", columns, tuple(rows))


def counts_due_table(view: PlanView) -> Table:
    """Colonies in the cut lists or standing by with the oldest counts, oldest first; a size worked out from a cut is stale."""
    farm, plan = view.farm, view.plan
    cut = {c.colony for c in plan.cuts if c.week in farm.weeks.near_weeks}
    monday = farm.weeks.monday(1)
    rows: list[tuple[Value, ...]] = []
    for name in cut | {s.colony for s in plan.stand_by}:
        c = farm.colony[name]
        days = (monday - c.count_date).days
        why = "cut" if name in cut else "stand-by"
        stale = c.estimated or days > farm.settings.stale_count_days
        rows.append((name, farm.strain[c.strain].name, c.tank, c.place, why, c.count_date, days, stale))
    rows.sort(key=lambda r: (-int(str(r[6])), str(r[0])))
    columns = ("colony", "name", "tank", "place", "why", "count_date", "days_old", "stale")
    return Table("count_colonies", columns, tuple(rows[:LONGEST]))


def light_due_table(view: PlanView) -> Table:
    """Racks that take frags in the near weeks whose newest measured light is oldest."""
    farm = view.farm
    table = zones(farm)
    monday = farm.weeks.monday(1)
    racks: set[str] = set()
    for stand in view.plan.stands:
        if stand.week in farm.weeks.near_weeks:
            racks |= {stand.rack} if stand.rack else {rack for rack, _ in table[stand.zone].positions}
    rows: list[tuple[Value, ...]] = []
    for rack in racks:
        measured = [r.from_date for r in farm.light if r.rack == rack and not r.planned and r.from_date <= monday]
        newest = max(measured, default=None)
        days = (monday - newest).days if newest is not None else None
        stale = days is None or days > farm.settings.stale_par_days
        rows.append((rack, farm.rack[rack].tank, newest, days, stale))
    rows.sort(key=lambda r: (-(10**6 if r[3] is None else int(str(r[3]))), str(r[0])))
    return Table("measure_light", ("rack", "tank", "measured", "days_old", "stale"), tuple(rows[:LONGEST]))


def lots_to_count_table(view: PlanView) -> Table:
    """Lots that the calendar has counted in the near weeks: their age is a multiple of ``count_weeks``."""
    farm = view.farm
    every = farm.settings.count_weeks
    rows: list[tuple[Value, ...]] = []
    for week in farm.weeks.near_weeks:
        for lot in view.lots.values():
            age = week - lot.cut_week
            if age > 0 and age % every == 0 and lot.left(week):
                stand = lot.stand(week)
                where = stand.rack or stand.zone
                rows.append((week, farm.weeks.label(week), lot.id, farm.strain[lot.strain].name, where, age, lot.left(week)))
    rows.sort(key=lambda r: (r[0], str(r[4]), str(r[2])))
    return Table("count_lots", ("week", "iso_week", "lot", "name", "where", "age_weeks", "plugs"), tuple(rows))


def unsourced_traits(farm: Farm) -> tuple[tuple[str, str, str], ...]:
    """(group or strain, traits, what they rest on) for values without a published or counted source."""
    good = {"published", "dataset", "own counts"}
    known = {(s.group, s.strain, s.trait): s.evidence for s in farm.sources}
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    for group in farm.groups:
        for trait in Traits.model_fields:
            evidence = known.get((group.group, None, trait), "no source given")
            if evidence not in good:
                found[group.group, evidence].append(trait)
    for strain in farm.strains:
        for trait in Traits.model_fields:
            if getattr(strain, trait) is not None:
                evidence = known.get((strain.group, strain.strain, trait), "no source given")
                if evidence not in good:
                    found[f"{strain.strain} ({strain.name})", evidence].append(trait)
    return tuple((who, ", ".join(traits), evidence) for (who, evidence), traits in found.items())
