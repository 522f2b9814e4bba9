"""Packing a week's sales: the crew picks living frags of size, and customers buy as many as they truly want."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta

import numpy as np

from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.plan.model import Sale
from scheduler.replay.chance import stream
from scheduler.replay.records import market_left
from scheduler.replay.state import Frags
from scheduler.replay.world import World

SURE = 0.85
"""Pieces planned for list price hold some losses in hand; what is planned above this share of them is meant for the discount."""


class Packing:
    """The sales of one week. ``book`` is the farm record the plan was made from."""

    def __init__(self, world: World, book: Farm) -> None:
        self.world, self.book, self.truth = world, book, world.truth
        self.day = world.monday() + timedelta(days=6)
        self._room = dict(market_left(world))
        self._beyond: dict[tuple[str, str], int] = {}
        """Pieces by strain and class that the plan means to sell beyond the market, at discount."""
        self._packed: dict[str, int] = defaultdict(int)

    def pack(self, sales: Iterable[Sale]) -> None:
        """Pack the sales: orders first, then the market, then what is cleared."""
        rows = sorted(sales, key=lambda s: (("order", "market", "clear").index(s.route), s.order or "", s.lot, s.size_class))
        whole: dict[str, list[Sale]] = defaultdict(list)
        self._beyond = self._meant_beyond(rows)
        for sale in rows:
            if self._held_up(sale):
                continue
            if sale.route == "order":
                order = self.world.orders.get(sale.order or "")
                if order is None:
                    continue
                if order.partial_ok:
                    self._deliver(order, [sale])
                else:
                    whole[order.order].append(sale)
            elif sale.route == "market":
                self._market(sale)
            else:
                self._clear(sale)
        for name, parts in whole.items():
            self._deliver(self.world.orders[name], parts)
        self._work()

    def _meant_beyond(self, sales: Iterable[Sale]) -> dict[tuple[str, str], int]:
        pieces: dict[tuple[str, str], int] = defaultdict(int)
        for sale in sales:
            if sale.route == "market" and sale.lot in self.world.lots:
                pieces[self.world.lots[sale.lot].strain, sale.size_class] += sale.pieces
        return {key: int(max(0.0, SURE * count - self._room.get(key, 0.0))) for key, count in pieces.items()}

    # ---- picking --------------------------------------------------------------------------------------------------

    def _held_up(self, sale: Sale) -> bool:
        """Whether nothing can leave after all: lot gone, system on hold, channel closed."""
        lot = self.world.lots.get(sale.lot)
        if lot is None:
            return True
        if self.world.on_hold(self.book.tank[lot.tank].system) or self.world.closed(sale.channel):
            self.world.tally.add("sales held up")
            return True
        return False

    def _pick(self, lot: Frags, sale: Sale) -> list[int]:
        """Frags to take, by index: those only just of size first."""
        row = self.book.size_class(lot.strain, sale.size_class)
        least = row.min_mm if row is not None and sale.route != "clear" else None
        fit = np.flatnonzero(self.world.of_size(lot, least)) if least is not None else np.arange(lot.alive)
        order = fit[np.argsort(lot.sizes[fit], kind="stable")]
        return [int(i) for i in order[: sale.pieces]]

    def _good(self, lot: Frags, count: int) -> list[bool]:
        """Which of so many frags make grade."""
        if self.world.chance.even:
            return [self._next_good(lot.strain) for _ in range(count)]
        rng = stream(self.world.seed, "graded", lot.id, self.world.week, lot.alive)
        return [bool(x) for x in rng.random(count) < self.truth.good_share(lot.strain)]

    def _next_good(self, strain: str) -> bool:
        owed = self.world.good[strain] + self.truth.good_share(strain)
        self.world.good[strain] = owed % 1
        return owed >= 1

    def _take(self, lot: Frags, taken: list[int], sale: Sale, *, enough: bool = False) -> None:
        """Frags leave the rack. Where fewer were found than the plan says, and not because it was enough, the lot is counted."""
        mask = np.ones(lot.alive, dtype=np.bool_)
        mask[taken] = False
        lot.keep(mask)
        lot.recorded -= len(taken)
        lot.sold += len(taken)
        self._packed[sale.channel] += len(taken)
        self._supplies(lot, len(taken))
        if len(taken) < sale.pieces and not enough:
            self.world.tally.add("short picks")
            self.world.count_lot(lot, self.day)
        elif lot.recorded <= 0:
            self.world.count_lot(lot, self.day)

    # ---- routes ---------------------------------------------------------------------------------------------------

    def _deliver(self, order: Order, sales: list[Sale]) -> None:
        """Deliver to an order until it is full; what does not make grade sells at the B price. Whole orders go whole or stay."""
        need = order.quantity
        picks: list[tuple[Sale, Frags, list[int], int]] = []
        for sale in sales:
            lot, taken, graded = self.world.lots[sale.lot], list[int](), 0
            chosen = self._pick(lot, sale)
            for index, good in zip(chosen, self._good(lot, len(chosen)), strict=True):
                if need > 0:
                    taken.append(index)
                    graded += good
                    need -= good
            picks.append((sale, lot, taken, graded))
        if need > 0 and not order.partial_ok:
            self.world.tally.add("whole orders put off")
            return
        for sale, lot, taken, graded in picks:
            row = self.book.size_class(lot.strain, sale.size_class)
            self.world.tally.earn("orders", graded * float(order.price))
            self.world.tally.earn("B grade", (len(taken) - graded) * float(row.b_price if row else 0))
            self.world.tally.add("frags to orders", graded)
            self.world.tally.add("frags B", len(taken) - graded)
            self._take(lot, taken, sale, enough=need <= 0)
        self._book(order, order.quantity - need)

    def _book(self, order: Order, delivered: int) -> None:
        """Write down a delivery."""
        if delivered < order.quantity:
            self.world.orders[order.order] = order.model_copy(update={"quantity": order.quantity - delivered})
            return
        del self.world.orders[order.order]
        if self.world.on_time[order.order] is None:
            self.world.on_time[order.order] = self.world.monday() <= order.due

    def _market(self, sale: Sale) -> None:
        """Sell at list price what was meant to sell so, while customers want it; what was meant beyond that, at discount."""
        world, lot = self.world, self.world.lots[sale.lot]
        row = self.book.size_class(lot.strain, sale.size_class)
        if row is None:
            return
        key, month, enough = (lot.strain, sale.size_class), world.month(), False
        chosen, taken = self._pick(lot, sale), list[int]()
        for index, good in zip(chosen, self._good(lot, len(chosen)), strict=True):
            wanted = self._wanted(month, lot.strain, sale.size_class)
            if not good:
                world.tally.earn("B grade", float(row.b_price))
                world.tally.add("frags B")
            elif wanted and self._room.get(key, 0.0) > 0:
                self._room[key] -= 1
                world.list_sold[month, lot.strain, sale.size_class] += 1
                world.tally.earn("list", float(row.list_price))
                world.tally.add("frags at list")
            elif self._beyond.get(key, 0) > 0:
                self._beyond[key] -= 1
                world.tally.earn("discount", float(row.discount_price))
                world.tally.add("frags at discount")
            else:
                enough = True
                if not wanted:
                    world.dry.add((month, *key))
                    world.tally.add("customers lacking")
                break
            taken.append(index)
        self._take(lot, taken, sale, enough=enough)

    def _wanted(self, month: tuple[int, int], strain: str, size_class: str) -> bool:
        """Whether one more customer comes this month for a class, and for the group."""
        world, group = self.world, self.book.strain[strain].group
        if world.list_sold[month, strain, size_class] >= self.truth.walk_in(month, strain, size_class):
            return False
        most = self.truth.walk_in_group(month, group)
        if most is None:
            return True
        kin = sum(n for (m, s, _), n in world.list_sold.items() if m == month and self.book.strain[s].group == group)
        return kin < most

    def _clear(self, sale: Sale) -> None:
        lot = self.world.lots[sale.lot]
        row = self.book.size_class(lot.strain, sale.size_class)
        taken = self._pick(lot, sale)
        self.world.tally.earn("cleared", len(taken) * float(row.discount_price if row else 0))
        self.world.tally.add("frags cleared", len(taken))
        self._take(lot, taken, sale)

    # ---- work and supplies ----------------------------------------------------------------------------------------

    def _supplies(self, lot: Frags, frags: int) -> None:
        uses = (self.book.traits(lot.strain).plug_kind, self.book.strain[lot.strain].group, None)
        for item in self.book.supplies:
            if item.per == "frag packed" and item.only_for in uses:
                self.world.tally.earn("supplies", -frags * item.quantity_per * float(item.unit_cost))

    def _work(self) -> None:
        s, tally = self.book.settings, self.world.tally
        for channel, frags in self._packed.items():
            boxes = frags / self.book.channel[channel].frags_per_box
            tally.work("packing", frags * s.pack_frag_minutes + boxes * s.pack_box_minutes)
            for item in self.book.supplies:
                if item.per == "box":
                    tally.earn("supplies", -boxes * item.quantity_per * float(item.unit_cost))
