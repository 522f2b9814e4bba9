"""O1: what may be sold, when, to whom and in how many boxes."""

from __future__ import annotations

from decimal import Decimal

from scheduler.audit.context import SHARE_TOLERANCE, Context
from scheduler.audit.minutes import boxes_of, frags_by_channel, frags_of
from scheduler.farm.units import exact
from scheduler.farm.work import first_late_week, may_deliver, packing_days
from scheduler.plan.model import Sale


def clear_class(ctx: Context, lot_id: str, week: int) -> str:
    """Class whose discount price a cleared lot gets: the largest reached by then, else the smallest."""
    lot = ctx.lots[lot_id]
    classes = ctx.farm.size_classes(lot.strain)
    reached = [c for c in classes if lot.life.reached(c.size_class, week)]
    return (reached[-1] if reached else classes[0]).size_class


def check_trade(ctx: Context) -> None:
    """Every sale, then orders wanted whole, then boxes."""
    for sale in ctx.plan.sales:
        _when(ctx, sale)
        if sale.route == "clear":
            wanted = clear_class(ctx, sale.lot, sale.week)
            if sale.size_class != wanted:
                ctx.add(
                    "O1",
                    (sale.lot,),
                    f"lot {sale.lot} is cleared in week {sale.week} as {sale.size_class}; its class is {wanted}",
                )
            _clearable(ctx, sale)
        else:
            _ready(ctx, sale)
        if sale.route == "order":
            _order(ctx, sale)
        elif not ctx.farm.channel[sale.channel].market:
            ctx.add(
                "O1",
                (sale.lot, sale.channel),
                f"lot {sale.lot} goes to the {sale.route} by {sale.channel}, which takes orders only",
            )
    _whole_orders(ctx)
    _boxes(ctx)


def _when(ctx: Context, sale: Sale) -> None:
    lot = ctx.lots[sale.lot]
    if lot.is_new and sale.week <= lot.cut_week:
        ctx.add(
            "O1",
            (lot.id,),
            f"lot {lot.id} leaves in week {sale.week}; it is cut in week {lot.cut_week}, so from {lot.cut_week + 1}",
        )
    if not packing_days(ctx.farm, sale.channel, sale.week):
        ctx.add(
            "O1",
            (lot.id, sale.channel),
            f"lot {lot.id} leaves in week {sale.week}, in which {sale.channel} has 0 open packing days",
        )


def _clearable(ctx: Context, sale: Sale) -> None:
    """Frags of no class yet have no price: they are cleared once a class is reached or past ``max_rack_weeks``."""
    lot, most = ctx.lots[sale.lot], ctx.farm.settings.max_rack_weeks
    reached = any(lot.life.reached(c.size_class, sale.week) for c in ctx.farm.size_classes(lot.strain))
    if not reached and sale.week - lot.cut_week <= most:
        ctx.add(
            "O1",
            (lot.id,),
            f"lot {lot.id} is cleared in week {sale.week} at age {sale.week - lot.cut_week} weeks; it has reached no class by then "
            f"and is no older than {most} weeks",
        )


def _ready(ctx: Context, sale: Sale) -> None:
    lot, most = ctx.lots[sale.lot], ctx.farm.settings.max_rack_weeks
    if not lot.life.reached(sale.size_class, sale.week):
        ready = lot.life.ready.get(sale.size_class)
        when = f"reached in week {ready}" if ready is not None else "never reached"
        ctx.add("O1", (lot.id,), f"lot {lot.id} is sold as {sale.size_class} in week {sale.week}; that class is {when}")
    age = sale.week - lot.cut_week
    if age > most:
        ctx.add(
            "O1", (lot.id,), f"lot {lot.id} is sold in week {sale.week} at age {age} weeks; at most {most}, then it is cleared"
        )


def _order(ctx: Context, sale: Sale) -> None:
    lot, order = ctx.lots[sale.lot], ctx.farm.order[sale.order or ""]
    who = (lot.id, order.order)
    if lot.strain not in (order.strain, *order.substitutes):
        wanted = ", ".join((order.strain, *order.substitutes))
        ctx.add("O1", who, f"order {order.order} gets strain {lot.strain} from lot {lot.id}; it takes {wanted}")
    if sale.size_class != order.size_class:
        ctx.add("O1", who, f"order {order.order} gets class {sale.size_class} from lot {lot.id}; it takes {order.size_class}")
    if sale.channel != order.channel:
        ctx.add("O1", who, f"order {order.order} leaves by {sale.channel}; its channel is {order.channel}")
    elif packing_days(ctx.farm, order.channel, sale.week) and not may_deliver(ctx.farm, order.order, sale.week):
        late = first_late_week(ctx.farm, order.order)
        limits = f"from {order.earliest or 'any day'}, due {order.due}, late from week {late}"
        limits += "" if order.late_ok else " (not wanted late)"
        ctx.add("O1", who, f"order {order.order} is delivered in week {sale.week}; it is wanted {limits}")


def _whole_orders(ctx: Context) -> None:
    for order in ctx.farm.orders:
        sales = [s for s in ctx.plan.sales if s.route == "order" and s.order == order.order]
        if order.partial_ok or not sales:
            continue
        weeks = sorted({s.week for s in sales})
        if len(weeks) > 1:
            ctx.add("O1", (order.order,), f"order {order.order} leaves in weeks {weeks}; it is wanted whole, in 1 week")
        good = sum((frags_of(ctx, s) * exact(ctx.traits(ctx.lots[s.lot]).good_share) for s in sales), Decimal(0))
        if good < order.quantity - exact(SHARE_TOLERANCE):
            ctx.add(
                "O1", (order.order,), f"order {order.order} gets {good:.3f} expected graded frags; wanted whole: {order.quantity}"
            )


def _boxes(ctx: Context) -> None:
    for week in sorted({s.week for s in ctx.plan.sales}):
        for channel, frags in frags_by_channel(ctx, week).items():
            days = len(packing_days(ctx.farm, channel, week))
            most = float(ctx.farm.channel[channel].boxes_per_day * days)
            boxes = float(boxes_of(ctx, channel, frags))
            if days and boxes > most + SHARE_TOLERANCE:
                ctx.add(
                    "O1", (channel, f"week {week}"), f"{boxes:.3f} boxes leave by {channel} in week {week}; at most {most:.3f}"
                )
