"""Orders that can be filled in time before all else: in the near weeks they get what is ready for them, earliest due first.

The season sees an order as so many frags at any time before it is due, and leaves nothing for frags that grow slower than
expected or for chance; a delivery made as soon as there are frags does. An order that will be late all the same is left to the
season, which weighs late and short costs against what its frags bring elsewhere.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from scheduler.biology.service import pieces_to_start
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.farm.work import may_deliver
from scheduler.plan.model import Sale
from scheduler.planning.quick_sooner import first_to_leave
from scheduler.season.sales import Growing, Seller


def serve(farm: Farm, seller: Seller, lots: Sequence[Growing]) -> None:
    """Enter the deliveries of the near weeks, each with the pieces its service level asks for."""
    for week in farm.weeks.near_weeks:
        for order in in_time(seller, lots):
            if seller.wanted(order.order) <= 1e-6 or not may_deliver(farm, order.order, week):
                continue
            need, parts = float(order.quantity) - _promised(farm, lots, order), list[tuple[Growing, int]]()
            for lot in _ready(seller, order, lots, week):
                pieces = min(lot.unrouted, _wanted(farm, lot, week, need))
                if need > 1e-6 and pieces > 0:
                    parts.append((lot, pieces))
                    need -= pieces * _graded(farm, lot, week)
            frags = sum(n * float(lot.life.alive[week]) for lot, n in parts)
            if (order.partial_ok or need <= 0) and frags <= seller.ledger.pieces_packable(order.channel, week, 1.0):
                for lot, pieces in parts:
                    seller.repeat(lot, [_sale(lot, order, week, pieces)])
                if need <= 0:
                    seller.settle(order.order)


def in_time(seller: Seller, lots: Sequence[Growing]) -> list[Order]:
    """Orders that frags on racks can fill by the day they are due, beside those due before; earliest due first."""
    farm, taken, found = seller.farm, defaultdict[str, float](float), list[Order]()
    for order in sorted(farm.orders, key=lambda o: (o.due, o.order)):
        week = min(farm.weeks.week_of(order.due), farm.weeks.count)
        need = float(order.quantity) - _promised(farm, lots, order)
        strains = (order.strain, *order.substitutes)
        coming = {
            s: sum(x.unrouted * _graded(farm, x, week) for x in lots if x.strain == s and seller.may_sell(x, order.size_class, week))
            - taken[s]
            for s in strains
        } if week >= 1 else {}  # fmt: skip
        if sum(max(0.0, frags) for frags in coming.values()) < need:
            continue
        found.append(order)
        for strain, frags in coming.items():
            part = min(need, max(0.0, frags))
            taken[strain] += part
            need -= part
    return found


def _ready(seller: Seller, order: Order, lots: Sequence[Growing], week: int) -> Iterator[Growing]:
    """Lots that have reached an order's class, those no larger than it first, of these the ones that are to leave first."""

    def key(lot: Growing) -> tuple[bool, int, tuple[bool, int, str]]:
        reached = sum(1 for ready in lot.life.ready.values() if ready <= week)
        return lot.strain != order.strain, reached, first_to_leave(seller.farm, lot, lot.unrouted)

    strains = (order.strain, *order.substitutes)
    may = (x for x in lots if x.strain in strains and x.unrouted > 0 and seller.may_sell(x, order.size_class, week))
    yield from sorted(may, key=key)


def _graded(farm: Farm, lot: Growing, week: int) -> float:
    """Graded frags to expect of a piece."""
    return float(lot.life.alive[week]) * farm.traits(lot.strain).good_share


def _promised(farm: Farm, lots: Sequence[Growing], order: Order) -> float:
    """Graded frags already planned for an order."""
    return sum(s.pieces * _graded(farm, lot, s.week) for lot in lots for s in lot.sales if s.order == order.order)


def _wanted(farm: Farm, lot: Growing, week: int, need: float) -> int:
    """Pieces that cover a need with the chance the farm wants."""
    chance = min(1.0, round(_graded(farm, lot, week), 9))
    return pieces_to_start(max(1, round(need)), chance, farm.settings.service_level) if chance > 0 else 0


def _sale(lot: Growing, order: Order, week: int, pieces: int) -> Sale:
    return Sale(
        lot=lot.id, week=week, route="order", size_class=order.size_class, order=order.order, channel=order.channel, pieces=pieces
    )  # fmt: skip
