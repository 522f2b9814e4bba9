"""Orders, last of all: those that refuse parts filled in one week from pieces of the market, and cover for those that are filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.biology.service import pieces_to_start
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.farm.work import first_late_week, may_deliver
from scheduler.plan.model import Sale
from scheduler.season.sales import Growing, Seller


@dataclass(frozen=True)
class _Source:
    """Pieces of a lot that could go to the order: from a market sale of the same week or later, or from those that stay."""

    lot: Growing
    sale: Sale | None
    pieces: int
    graded: float
    worth: float


def undo_parts(farm: Farm, seller: Seller, lots: Sequence[Growing]) -> bool:
    """Send what orders that refuse parts would get too little of, or in several weeks, to the market in its week.

    Returns ``False`` if the market cannot take it then.
    """
    for order in (o for o in farm.orders if not o.partial_ok):
        sent = [(lot, s) for lot in lots for s in lot.sales if s.order == order.order]
        if not sent:
            continue
        graded = sum(s.pieces * float(lot.life.alive[s.week]) * farm.traits(lot.strain).good_share for lot, s in sent)
        if len({s.week for _, s in sent}) == 1 and graded >= order.quantity:
            continue
        if not all(seller.to_market(lot, s) for lot, s in sent):
            return False
    return True


def still_whole(farm: Farm, seller: Seller) -> list[Order]:
    """Orders that refuse parts and have got nothing yet."""
    return [o for o in farm.orders if not o.partial_ok and seller.lacking(o.order) > 1e-6]


def fill_whole_orders(farm: Farm, seller: Seller, lots: Sequence[Growing], within: range) -> None:
    """Fill what orders without partial delivery can be filled whole and with gain in some weeks, earliest due first."""
    for order in sorted(still_whole(farm, seller), key=lambda o: (o.due, o.order)):
        late = first_late_week(farm, order.order)
        weeks = [w for w in within if may_deliver(farm, order.order, w)]
        for week in sorted(weeks, key=lambda w: (w >= late, w)):
            if _fill(farm, seller, order, lots, week):
                break


def add_cover(farm: Farm, seller: Seller, lots: Sequence[Growing], within: range) -> None:
    """Send filled orders more pieces with their last delivery, up to the service level, from what leaves for the market in the same month.

    What an order does not take sells at the month's market all the same, so this costs nothing; orders by a channel without a
    market are left as they are.
    """
    for order in farm.orders:
        sent = [(lot, s) for lot in lots for s in lot.sales if s.order == order.order]
        if not sent or not seller.is_filled(order.order) or not farm.channel[order.channel].market:
            continue
        week, pieces = max(s.week for _, s in sent), sum(s.pieces for _, s in sent)
        graded = sum(s.pieces * float(lot.life.alive[s.week]) * farm.traits(lot.strain).good_share for lot, s in sent)
        missing = pieces_to_start(order.quantity, min(1.0, graded / pieces), farm.settings.service_level) - pieces
        if week not in within:
            continue
        for lot, sale in _same_month(farm, seller, order, lots, week):
            if missing <= 0:
                break
            most = min(missing, sale.pieces)
            if (sale.week, sale.channel) != (week, order.channel):
                most = min(most, seller.ledger.pieces_packable(order.channel, week, float(lot.life.alive[week])))
            if most > 0:
                seller.divert(lot, sale, most, week, order)
                missing -= most


def _same_month(farm: Farm, seller: Seller, order: Order, lots: Sequence[Growing], week: int) -> list[tuple[Growing, Sale]]:
    """Market sales that could as well leave for an order in a week; those of the week itself first."""
    found = [
        (lot, s)
        for lot in lots
        if lot.strain in (order.strain, *order.substitutes) and seller.may_sell(lot, order.size_class, week)
        for s in lot.sales
        if s.route == "market" and s.size_class == order.size_class and s.week >= week
        if farm.weeks.month(s.week) == farm.weeks.month(week)
    ]
    return sorted(found, key=lambda x: (x[1].week, x[0].strain != order.strain, x[0].id))


def _fill(farm: Farm, seller: Seller, order: Order, lots: Sequence[Growing], week: int) -> bool:
    chosen: list[tuple[_Source, int]] = []
    need, lost = float(order.quantity), 0.0
    for source in sorted(_sources(farm, seller, order, lots, week), key=lambda s: (s.worth, s.lot.id)):
        pieces = min(source.pieces, max(1, -int(-need // source.graded)))
        chosen.append((source, pieces))
        need -= pieces * source.graded
        lost += pieces * source.graded * source.worth
        if need <= -1e-6 or abs(need) <= 1e-9:
            break
    gain = float(order.price + farm.settings.short_cost) * order.quantity - lost
    if need > 1e-9 or gain <= 0:
        return False
    new = sum(
        p * float(s.lot.life.alive[week])
        for s, p in chosen
        if s.sale is None or s.sale.week != week or s.sale.channel != order.channel
    )
    if seller.ledger.pieces_packable(order.channel, week, 1.0) < new:
        return False
    for source, pieces in chosen:
        seller.divert(source.lot, source.sale, pieces, week, order)
    return True


def _sources(farm: Farm, seller: Seller, order: Order, lots: Sequence[Growing], week: int) -> list[_Source]:
    """Pieces that have reached the class by the week and are not promised to another order; ``worth``: money a graded frag brings now."""
    found = []
    for lot in lots:
        if lot.strain not in (order.strain, *order.substitutes) or not seller.may_sell(lot, order.size_class, week):
            continue
        graded = float(lot.life.alive[week]) * farm.traits(lot.strain).good_share
        for sale in lot.sales:
            if sale.route != "market" or sale.week < week:
                continue
            row = farm.size_class(lot.strain, sale.size_class)
            found.append(_Source(lot, sale, sale.pieces, graded, float(row.list_price) if row else 0.0))
        if lot.unrouted > 0:
            row = farm.size_class(lot.strain, order.size_class)
            worth = float(row.list_price) * farm.settings.end_frag_share if row else 0.0
            found.append(_Source(lot, None, lot.unrouted, graded, worth))
    return found
