"""Lines of sales: orders, market, late, short and service."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction

from scheduler.audit.context import Context
from scheduler.audit.market import group_limit, strain_limit
from scheduler.audit.minutes import frags_of
from scheduler.audit.money import Till, ratio
from scheduler.biology.service import pieces_to_start
from scheduler.farm.coral import SizeClass
from scheduler.farm.trade import Order
from scheduler.farm.work import first_late_week


@dataclass
class Delivery:
    """What went to an order: pieces, and graded frags by week."""

    pieces: int = 0
    graded: dict[int, Fraction] = field(default_factory=lambda: defaultdict(Fraction))

    def before(self, week: int) -> Fraction:
        """Graded frags delivered before a week."""
        return sum((g for w, g in self.graded.items() if w < week), Fraction(0))

    @property
    def total(self) -> Fraction:
        """All graded frags."""
        return sum(self.graded.values(), Fraction(0))


def sale_lines(ctx: Context, till: Till) -> None:
    """Every line that comes from sales. Orders are filled in order of weeks, then lots."""
    market: dict[tuple[str, str, int], Fraction] = defaultdict(Fraction)
    deliveries: dict[str, Delivery] = {o.order: Delivery() for o in ctx.farm.orders}
    for sale in sorted(ctx.plan.sales, key=lambda s: (s.week, s.lot)):
        strain = ctx.lots[sale.lot].strain
        row = _class(ctx, strain, sale.size_class)
        frags, name = Fraction(frags_of(ctx, sale)), f"{strain}/{sale.size_class}"
        if sale.route == "clear":
            till.add("market sale", f"{name} clear", sale.week, frags * ratio(row.discount_price))
            continue
        good = ratio(ctx.farm.traits(strain).good_share)
        till.add("market sale", f"{name} B", sale.week, frags * (1 - good) * ratio(row.b_price))
        graded = frags * good
        if sale.route == "order":
            order = ctx.farm.order[sale.order or ""]
            delivery = deliveries[order.order]
            taken = min(graded, max(order.quantity - delivery.total, Fraction(0)))
            delivery.pieces += sale.pieces
            delivery.graded[sale.week] += graded
            till.add("order sale", order.order, sale.week, taken * ratio(order.price))
            graded = graded - taken if ctx.farm.channel[sale.channel].market else Fraction(0)
        market[strain, sale.size_class, sale.week] += graded
    _market(ctx, till, market)
    for name, delivery in deliveries.items():
        _order(ctx, till, ctx.farm.order[name], delivery)


def _class(ctx: Context, strain: str, name: str) -> SizeClass:
    row = ctx.farm.size_class(strain, name)
    if row is None:
        raise ValueError(f"strain {strain} has no class {name}")
    return row


def _order(ctx: Context, till: Till, order: Order, delivery: Delivery) -> None:
    s, last = ctx.farm.settings, ctx.weeks.count
    quantity = Fraction(order.quantity)
    if order.late_ok:
        for week in range(first_late_week(ctx.farm, order.order), last + 1):
            open_frags = max(quantity - delivery.before(week), Fraction(0))
            till.add("late", order.order, week, -ratio(s.late_cost) * open_frags)
    if ctx.weeks.week_of(order.due) <= last:
        till.add("short", order.order, 0, -ratio(s.short_cost) * max(quantity - delivery.total, Fraction(0)))
    if delivery.pieces:
        alive = Fraction(round(delivery.total / delivery.pieces * 10**9), 10**9)
        if alive > 0:
            wanted = pieces_to_start(order.quantity, float(alive), s.service_level)
            till.add("service", order.order, 0, -ratio(s.service_cost) * max(0, wanted - delivery.pieces) * alive)


def _market(ctx: Context, till: Till, sold: dict[tuple[str, str, int], Fraction]) -> None:
    months: dict[tuple[int, int], dict[tuple[str, str], Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    last: dict[tuple[tuple[int, int], str, str], int] = {}
    for (strain, size_class, week), graded in sold.items():
        if graded > 0:
            month = ctx.weeks.month(week)
            months[month][strain, size_class] += graded
            last[month, strain, size_class] = max(week, last.get((month, strain, size_class), 0))
    for month, amounts in months.items():
        part = Fraction(ctx.weeks.planned_in_month(month), ctx.weeks.weeks_in_month(month))
        at_list = {k: min(v, strain_limit(ctx.farm, month[1], *k) * part) for k, v in amounts.items()}
        _fit_groups(ctx, month[1], part, at_list)
        for (strain, size_class), graded in amounts.items():
            row, week = _class(ctx, strain, size_class), last[month, strain, size_class]
            listed = at_list[strain, size_class]
            till.add("market sale", f"{strain}/{size_class} list", week, listed * ratio(row.list_price))
            till.add("market sale", f"{strain}/{size_class} discount", week, (graded - listed) * ratio(row.discount_price))


def _fit_groups(ctx: Context, month: int, part: Fraction, at_list: dict[tuple[str, str], Fraction]) -> None:
    """Cut list sales to each group's limit, beginning where discount loses least; of equals the first by strain and class."""

    def loss(key: tuple[str, str]) -> tuple[Fraction, str, str]:
        row = _class(ctx, *key)
        return ratio(row.list_price) - ratio(row.discount_price), key[0], key[1]

    for group in ctx.farm.groups:
        limit = group_limit(ctx.farm, month, group.group)
        if limit is None:
            continue
        room = limit * part
        for key in sorted((k for k in at_list if ctx.farm.strain[k[0]].group == group.group), key=loss, reverse=True):
            at_list[key] = min(at_list[key], room)
            room -= at_list[key]
