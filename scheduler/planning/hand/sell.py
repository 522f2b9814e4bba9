"""Selling what is ready, week by week: orders first, then the market at list price; what grew too old is cleared."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Literal

from scheduler.biology.service import pieces_to_start
from scheduler.farm.farm import Farm
from scheduler.farm.pins import pin_covers
from scheduler.farm.trade import Order
from scheduler.farm.work import first_late_week, may_deliver, packing_days
from scheduler.plan.model import Sale
from scheduler.planning.hand.demand import Demand
from scheduler.planning.hand.stock import Stock
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, clearing_class

Route = Literal["order", "market", "clear"]


class Counter:
    """Sells in one week after the other."""

    def __init__(self, farm: Farm, ledger: Ledger, stock: Stock, demand: Demand, *, stragglers: bool) -> None:
        self.farm, self.ledger, self.stock, self.demand = farm, ledger, stock, demand
        self.stragglers = stragglers
        self.pins = [p for p in farm.pins if p.kind in ("no sale", "hold lot")]
        self.channels = [c.channel for c in farm.channels if c.market]

    def sell(self, week: int) -> None:
        """All sales of a week."""
        for order in sorted(self.farm.orders, key=lambda o: (o.due, o.order)):
            if self.demand.open(order.order, week) and may_deliver(self.farm, order.order, week):
                self._whole(order, week) if not order.partial_ok else self._parts(order, week)
        kept = self._set_aside(week)
        open_channels = [c for c in self.channels if packing_days(self.farm, c, week)]
        for strain in self.farm.strains:
            for channel in open_channels:
                self._market(strain.strain, channel, week, kept)
                self._clear(strain.strain, channel, week, kept)

    # ---- what may leave -------------------------------------------------------------------------------------------

    def _may_leave(self, lot: Growing, week: int) -> bool:
        """S3, P1, O1: out of quarantine, not on hold, not pinned, not cut this very week."""
        if week < lot.sellable_from or self.farm.in_quarantine(lot.system, week) or self.farm.on_hold(lot.system, week):
            return False
        return not any(p.lot == lot.id and pin_covers(self.farm, p, week) for p in self.pins)

    def _ready(self, strain: str, size_class: str, week: int) -> list[Growing]:
        """O1: lots of a strain that reached a class and are not too old, oldest first."""
        old = self.farm.settings.max_rack_weeks
        return [
            x
            for x in self.stock.live(strain)
            if x.first <= week and x.life.reached(size_class, week) and x.life.age[week] <= old and self._may_leave(x, week)
        ]

    def _graded(self, lot: Growing, week: int) -> float:
        return float(lot.life.alive[week]) * self.farm.traits(lot.strain).good_share

    # ---- orders ---------------------------------------------------------------------------------------------------

    def _wanted(self, lot: Growing, week: int, need: float) -> int:
        """Pieces that cover what an order needs with the chance the farm wants."""
        chance = min(1.0, round(self._graded(lot, week), 9))
        return pieces_to_start(max(1, round(need)), chance, self.farm.settings.service_level)

    def _for_order(self, order: Order, week: int) -> list[Growing]:
        return [x for strain in (order.strain, *order.substitutes) for x in self._ready(strain, order.size_class, week)]

    def _parts(self, order: Order, week: int) -> None:
        for lot in self._for_order(order, week):
            need = self.demand.need[order.order]
            if need <= 1e-6:
                return
            alive = float(lot.life.alive[week])
            wanted = self._wanted(lot, week, need)
            pieces = min(lot.unrouted, wanted, self.ledger.pieces_packable(order.channel, week, alive))
            if pieces > 0:
                self._sell(lot, week, "order", order.size_class, order.channel, pieces, order.order)
                self.demand.need[order.order] = 0.0 if pieces == wanted else max(0.0, need - pieces * self._graded(lot, week))

    def _whole(self, order: Order, week: int) -> None:
        """Deliver an order that refuses parts at once, or not yet."""
        need, frags = float(order.quantity), 0.0
        chosen: list[tuple[Growing, int]] = []
        for lot in self._for_order(order, week):
            pieces = min(lot.unrouted, self._wanted(lot, week, need))
            chosen.append((lot, pieces))
            need -= pieces * self._graded(lot, week)
            frags += pieces * float(lot.life.alive[week])
            if need <= 0:
                break
        if need > 0 or frags > self.ledger.pieces_packable(order.channel, week, 1.0):
            return
        for lot, pieces in chosen:
            self._sell(lot, week, "order", order.size_class, order.channel, pieces, order.order)
        self.demand.need[order.order] = 0.0

    def _set_aside(self, week: int) -> dict[str, int]:
        """Pieces by lot kept from the market for orders still open, earliest due first: from the lots of their size soonest.

        Nothing is kept for an order that frags still to be cut can fill, nor for one wanted whole that all lots together cannot.
        """
        kept: dict[str, int] = defaultdict(int)
        for order in sorted(self.farm.orders, key=lambda o: (o.due, o.order)):
            if not self.demand.open(order.order, week) or self.demand.too_soon(order, week):
                continue
            need, mine = self.demand.need[order.order], dict[str, int]()
            last = self.farm.weeks.count if order.late_ok else first_late_week(self.farm, order.order) - 1
            lots = [x for x in self.stock.live(order.strain) if x.life.reached(order.size_class, last)]
            for lot in sorted(lots, key=lambda x: max(week, x.life.ready[order.size_class])):
                if need > 0:
                    mine[lot.id] = min(lot.unrouted - kept[lot.id], self._wanted(lot, week, need))
                    need -= mine[lot.id] * self._graded(lot, week)
            if order.partial_ok or need <= 0:
                for name, pieces in mine.items():
                    kept[name] += pieces
        return kept

    # ---- market ---------------------------------------------------------------------------------------------------

    def _market(self, strain: str, channel: str, week: int, kept: Mapping[str, int]) -> None:
        """What the month still takes at list price, largest class first."""
        month = self.farm.weeks.month(week)
        for row in reversed(self.farm.size_classes(strain)):
            for lot in self._ready(strain, row.size_class, week):
                graded, alive = self._graded(lot, week), float(lot.life.alive[week])
                room = self.ledger.market_room(month, strain, row.size_class)
                pieces = min(
                    lot.unrouted - kept[lot.id],
                    int(room / graded + 1e-9) if graded > 0 else 0,
                    self.ledger.pieces_packable(channel, week, alive) if room > 0 else 0,
                )
                if pieces > 0:
                    self._sell(lot, week, "market", row.size_class, channel, pieces)

    def _clear(self, strain: str, channel: str, week: int, kept: Mapping[str, int]) -> None:
        """Lots too old to sell, and stragglers if the rule clears them: more than will sell before they are too old."""
        oldest = self.farm.settings.max_rack_weeks
        ahead = 0.0
        for lot in self.stock.live(strain):
            if lot.first > week or not self._may_leave(lot, week):
                continue
            age, alive = lot.life.age[week], float(lot.life.alive[week])
            free = lot.unrouted - kept[lot.id]
            surplus = lot.unrouted if age > oldest else 0
            if self.stragglers and age <= oldest and alive > 0 and any(lot.life.reached(c, week) for c in lot.life.ready):
                last = week + oldest - age
                takes = sum(self.demand.market(strain, w) for w in range(week, last + 1))
                frags = ahead + lot.unrouted * alive - takes - self.demand.owed(strain, week, last)
                surplus = min(free, max(0, int(frags / alive)))
            ahead += (lot.unrouted - surplus) * alive
            pieces = min(surplus, self.ledger.pieces_packable(channel, week, alive)) if surplus else 0
            if pieces > 0:
                self._sell(lot, week, "clear", clearing_class(self.farm, strain, lot.life, week), channel, pieces)

    def _sell(
        self, lot: Growing, week: int, route: Route, size_class: str, channel: str, pieces: int, order: str | None = None
    ) -> None:
        sale = Sale(lot=lot.id, week=week, route=route, size_class=size_class, order=order, channel=channel, pieces=pieces)
        self.stock.sell(lot, sale)
        self.ledger.pack(channel, week, pieces * float(lot.life.alive[week]))
        if route == "market":
            month, graded = self.farm.weeks.month(week), pieces * self._graded(lot, week)
            self.ledger.sold[month, lot.strain, size_class] += graded
            self.ledger.sold_group[month, self.farm.strain[lot.strain].group] += graded
