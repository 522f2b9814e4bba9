"""Whether a plan can be read at all: that it belongs to this book, and that everything it names exists."""

from __future__ import annotations

from collections import Counter

from scheduler.audit.context import Context
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Cut, Sale, Stand


def check_structure(ctx: Context) -> bool:
    """Note every broken reference; True if the plan can be read further."""
    before = len(ctx.breaches)
    _about(ctx)
    readable = len(ctx.breaches)
    for cut in ctx.plan.cuts:
        _cut(ctx, cut)
    lots = {lot.lot: lot.strain for lot in ctx.farm.lots if lot.alive > 0}
    strains = lots | {c.lot: c.strain for c in ctx.plan.cuts}
    _twice(ctx, lots)
    for stand in ctx.plan.stands:
        _stand(ctx, stand, strains)
    for sale in ctx.plan.sales:
        _sale(ctx, sale, strains)
    _overtime(ctx)
    if len(ctx.breaches) == readable:
        _first_stands(ctx)
        _too_many(ctx)
    return len(ctx.breaches) == readable and (before == readable or not _other_calendar(ctx))


def _other_calendar(ctx: Context) -> bool:
    about, weeks = ctx.plan.about, ctx.weeks
    return (about.plan_monday, about.weeks, about.near_weeks) != (weeks.plan_monday, weeks.count, weeks.near)


def _about(ctx: Context) -> None:
    about, weeks = ctx.plan.about, ctx.weeks
    if about.book_fingerprint != ctx.farm.fingerprint:
        ctx.add(
            "plan",
            ("book",),
            f"the plan is for the book {about.book_fingerprint[:12]}; this book is {ctx.farm.fingerprint[:12]}",
        )
    if _other_calendar(ctx):
        ctx.add(
            "plan",
            ("weeks",),
            f"the plan covers {about.weeks} weeks ({about.near_weeks} near) from {about.plan_monday}; "
            f"the book says {weeks.count} ({weeks.near} near) from {weeks.plan_monday}",
        )


def _week_fits(ctx: Context, what: str, week: int) -> bool:
    if week in ctx.weeks.all:
        return True
    ctx.add("plan", (what,), f"{what} names week {week}; the plan has weeks 1 to {ctx.weeks.count}")
    return False


def _known(ctx: Context, what: str, kind: str, name: str | None, names: object) -> bool:
    if name is not None and hasattr(names, "__contains__") and name in names:
        return True
    ctx.add("plan", (what,), f"{what} names the {kind} {name!r}, which the book does not have")
    return False


def _cut(ctx: Context, cut: Cut) -> None:
    farm, what = ctx.farm, f"cut of lot {cut.lot}"
    week_fits = _week_fits(ctx, what, cut.week)
    if _known(ctx, what, "colony", cut.colony, farm.colony) and farm.colony[cut.colony].strain != cut.strain:
        ctx.add("plan", (cut.lot,), f"{what} says strain {cut.strain}; colony {cut.colony} is {farm.colony[cut.colony].strain}")
    if not week_fits:
        return
    if cut.week in ctx.weeks.near_weeks:
        _known(ctx, what, f"session of week {cut.week}", cut.session, {s.id for s in sessions_in(farm, cut.week)})
        _known(ctx, what, "person", cut.cutter, farm.person)
        _known(ctx, what, "person", cut.mounter, farm.person)
        if cut.run_order is None:
            ctx.add("plan", (cut.lot,), f"{what} has no place in the session's order of work")
    elif any(v is not None for v in (cut.session, cut.cutter, cut.mounter, cut.run_order)):
        ctx.add("plan", (cut.lot,), f"{what} names a session or people in week {cut.week}, which is no near week")


def _twice(ctx: Context, old: dict[str, str]) -> None:
    for lot, times in Counter(c.lot for c in ctx.plan.cuts).items():
        if times > 1 or lot in old or lot in ctx.farm.lot:
            ctx.add("plan", (lot,), f"lot {lot} is the name of {times + (lot in ctx.farm.lot)} lots; a name stands for 1")
    for (stood, week), times in Counter((s.lot, s.week) for s in ctx.plan.stands).items():
        if times > 1:
            ctx.add("L5", (stood,), f"lot {stood} is put in {times} places in week {week}; it stands in 1 at a time")


def _stand(ctx: Context, stand: Stand, strains: dict[str, str]) -> None:
    what = f"place of lot {stand.lot} in week {stand.week}"
    _known(ctx, what, "lot", stand.lot, strains)
    _known(ctx, what, "zone", stand.zone, ctx.zones)
    if not _week_fits(ctx, what, stand.week):
        return
    if stand.week in ctx.weeks.later_weeks:
        if stand.rack is not None or stand.blocks:
            ctx.add("plan", (stand.lot,), f"{what} names a rack or blocks; later weeks name a zone only")
    elif stand.rack is None or not stand.blocks:
        ctx.add("L1", (stand.lot,), f"{what} names no rack or no blocks; near weeks need both")
    else:
        _known(ctx, what, "rack", stand.rack, ctx.farm.rack)


def _sale(ctx: Context, sale: Sale, strains: dict[str, str]) -> None:
    what = f"sale of lot {sale.lot} in week {sale.week}"
    _week_fits(ctx, what, sale.week)
    _known(ctx, what, "channel", sale.channel, ctx.farm.channel)
    if _known(ctx, what, "lot", sale.lot, strains):
        strain = strains[sale.lot]
        if strain in ctx.farm.strain and ctx.farm.size_class(strain, sale.size_class) is None:
            ctx.add("plan", (sale.lot,), f"{what} names the class {sale.size_class!r}, which strain {strain} does not have")
    if sale.route == "order":
        _known(ctx, what, "order", sale.order, ctx.farm.order)
    elif sale.order is not None:
        ctx.add("plan", (sale.lot,), f"{what} goes to the {sale.route} yet names order {sale.order}")


def _overtime(ctx: Context) -> None:
    for week, times in Counter(o.week for o in ctx.plan.overtime).items():
        _week_fits(ctx, "overtime", week)
        if times > 1:
            ctx.add("plan", (f"week {week}",), f"overtime of week {week} is given {times} times; at most 1")


def _first_stands(ctx: Context) -> None:
    first: dict[str, Stand] = {}
    for stand in sorted(ctx.plan.stands, key=lambda s: s.week):
        first.setdefault(stand.lot, stand)
    for cut in ctx.plan.cuts:
        stand_ = first.get(cut.lot)
        if stand_ is None:
            ctx.add("S5", (cut.lot,), f"lot {cut.lot} is cut in week {cut.week} with {cut.pieces} pieces but stands nowhere")
        elif stand_.week != cut.week:
            ctx.add("S5", (cut.lot,), f"lot {cut.lot} is cut in week {cut.week} but first stands in week {stand_.week}")


def _too_many(ctx: Context) -> None:
    pieces = {lot.lot: lot.alive for lot in ctx.farm.lots} | {c.lot: c.pieces for c in ctx.plan.cuts}
    routed = Counter[str]()
    for sale in ctx.plan.sales:
        routed[sale.lot] += sale.pieces
    for lot, count in routed.items():
        if count > pieces[lot]:
            ctx.add("O2", (lot,), f"lot {lot}: {count} pieces are sold or cleared; it has {pieces[lot]}")
