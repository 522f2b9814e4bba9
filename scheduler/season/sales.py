"""Where the pieces of a lot go: as the season plan wishes, and where that fails to the best option still open."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from scheduler.biology.life import Life
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING
from scheduler.farm.pins import pin_covers
from scheduler.farm.trade import Order
from scheduler.farm.work import may_deliver, packing_days
from scheduler.plan.model import Sale
from scheduler.season.cover import with_cover
from scheduler.season.guide import Wish
from scheduler.season.ledger import Ledger
from scheduler.season.outlets import Outlet
from scheduler.season.worth import Worth

PATIENT_WEEKS = 4
"""Weeks a sale the season plan wishes may be put off before another way is looked for."""

TRIFLE = 0.05
"""Expected frags of which an order that lacks fewer counts as filled: farm choice, no published source."""

RENT_SHARE = 0.15
"""A position is charged this share of a typical piece's worth over a typical stay: enough to prefer selling to storing."""


@dataclass
class Growing:
    """A lot with pieces not routed yet. ``first`` is the first week it is on racks."""

    id: str
    strain: str
    pieces: int
    life: Life
    system: str
    zone: str
    first: int
    is_new: bool
    sales: list[Sale] = field(default_factory=list)

    @property
    def unrouted(self) -> int:
        """Pieces without a route."""
        return self.pieces - sum(s.pieces for s in self.sales)

    @property
    def sellable_from(self) -> int:
        """First week in which it can leave: fresh frags not in the week of their cut, which comes after the sales."""
        return self.first + 1 if self.is_new else self.first

    def name(self, code: str) -> None:
        """Give the lot its label code."""
        self.id = code
        self.sales[:] = [s.model_copy(update={"lot": code}) for s in self.sales]

    def left(self, last: int) -> dict[int, int]:
        """Pieces on racks after the sales of each week, first..last."""
        return {w: self.pieces - sum(s.pieces for s in self.sales if s.week <= w) for w in range(self.first, last + 1)}


@dataclass(frozen=True)
class _Option:
    value: float
    week: int
    route: Literal["market", "clear", "stay"]
    size_class: str
    listed: bool


class Seller:
    """Routes pieces of lots and keeps the ledger true.

    ``within_market``: wishes for list price are met only while the month's market takes them. The wishes of a season's own weeks
    keep to it but for rounding; those carried to other weeks may not.
    """

    def __init__(
        self, farm: Farm, worth: Worth, ledger: Ledger, pins: frozenset[str], *, within_market: bool = False
    ) -> None:  # fmt: skip
        self.farm, self.within_market = farm, within_market
        self.worth = worth
        self.ledger = ledger
        self.weeks = farm.weeks
        self.kept = [p for p in farm.pins if p.pin in pins and p.kind in ("no sale", "hold lot")]
        self.market_channels = [c.channel for c in farm.channels if c.market]
        self._sent: dict[str, float] = defaultdict(float)
        """Graded frags sent to orders so far."""
        self._settled: set[str] = set()
        """Orders that have all the frags they want."""

    # ---- orders ---------------------------------------------------------------------------------------------------

    def lacking(self, order: str) -> float:
        """Graded frags an order has not got yet."""
        return 0.0 if order in self._settled else max(0.0, self.farm.order[order].quantity - self._sent[order])

    def is_filled(self, order: str) -> bool:
        """Whether an order has what it asks for, but for so little of a frag that nothing should leave for it once more."""
        return self.lacking(order) < TRIFLE

    def wanted(self, order: str) -> float:
        """The same with those that cover it against chance (``with_cover``)."""
        if order in self._settled:
            return 0.0
        return max(0.0, with_cover(self.farm, order) - self._sent[order])

    def still_to_plan(self) -> dict[str, float]:
        """Graded frags a season is to plan for, by order: with cover where it is still open, else none."""
        return {o.order: 0.0 if self.is_filled(o.order) else self.wanted(o.order) for o in self.farm.orders}

    def needs(self) -> dict[str, float]:
        """What every order is lacking."""
        return {o.order: self.lacking(o.order) for o in self.farm.orders}

    def settle(self, order: str) -> None:
        """An order has what it wants, whatever is counted."""
        self._settled.add(order)

    # ---- what is allowed ------------------------------------------------------------------------------------------

    def may_leave(self, lot: Growing, week: int) -> bool:
        """S3 and pins: not from quarantine, not on hold, not pinned."""
        if self.farm.in_quarantine(lot.system, week) or self.farm.on_hold(lot.system, week):
            return False
        return not any(p.lot == lot.id and pin_covers(self.farm, p, week) for p in self.kept)

    def may_sell(self, lot: Growing, size_class: str, week: int) -> bool:
        """O1 for order and market: class reached, not too old, may leave."""
        if week < lot.sellable_from or lot.life.age[week] > self.farm.settings.max_rack_weeks:
            return False
        return lot.life.reached(size_class, week) and self.may_leave(lot, week)

    # ---- by the season plan ---------------------------------------------------------------------------------------

    def sell_guided(self, lot: Growing, wishes: Sequence[Wish], until: int) -> int:
        """Sell as the season plan wishes, up to week ``until``; returns the pieces that were to leave and could not.

        A wish that cannot be met in its week (boxes, hours, a class reached later in this zone) is tried in the weeks after.
        """
        owed = 0
        for wish in wishes:
            if wish.outlet.week > until:
                continue
            owed += wish.pieces
            for week in range(wish.outlet.week, min(until, wish.outlet.week + PATIENT_WEEKS) + 1):
                owed -= self._grant(lot, wish.outlet, week, owed)
                if owed <= 0:
                    break
        return owed

    def _grant(self, lot: Growing, outlet: Outlet, week: int, wanted: int) -> int:
        """Pieces that leave by an outlet in a week."""
        if outlet.kind == "clear":
            return self._clear(lot, outlet, week, wanted)
        if not self.may_sell(lot, outlet.size_class, week):
            return 0
        alive = float(lot.life.alive[week])
        most = min(wanted, lot.unrouted, self.ledger.pieces_packable(outlet.channel, week, alive))
        if outlet.kind == "list" and self.within_market:
            most = min(most, self._listed_room(lot, outlet.size_class, week))
        if outlet.order is not None:
            need = self.wanted(outlet.order)
            if need <= 1e-6 or not may_deliver(self.farm, outlet.order, week):
                return 0
            most = min(most, math.ceil(need / max(self._graded(lot, week, 1), 1e-9) - 1e-9))
        if most > 0:
            self._sell(lot, week, "order" if outlet.order else "market", outlet.size_class, outlet.channel, most, outlet.order)
        return max(0, most)

    def _clear(self, lot: Growing, outlet: Outlet, week: int, wanted: int) -> int:
        old = lot.life.age[week] > self.farm.settings.max_rack_weeks
        if week < lot.sellable_from or not self.may_leave(lot, week) or not (old or lot.life.reached(outlet.size_class, week)):
            return 0
        most = min(wanted, lot.unrouted, self.ledger.pieces_packable(outlet.channel, week, float(lot.life.alive[week])))
        if most > 0:
            name = clearing_class(self.farm, lot.strain, lot.life, week)
            self._sell(lot, week, "clear", name, outlet.channel, most, None)
        return max(0, most)

    def sell_failed(self, lot: Growing, failed: int) -> None:
        """Find another way for pieces whose wish could not be met; the others stay to the horizon as planned."""
        self._stay(lot, lot.unrouted - failed)
        self.sell_rest(lot)

    def repeat(self, lot: Growing, sales: Sequence[Sale]) -> None:
        """Enter sales decided before."""
        for s in sales:
            self._sell(lot, s.week, s.route, s.size_class, s.channel, s.pieces, s.order)

    def divert(self, lot: Growing, sale: Sale | None, pieces: int, week: int, order: Order) -> None:
        """Send pieces to an order in a week instead of a later or equal market sale, or of staying (``sale`` is ``None``)."""
        if sale is not None:
            self._cancel(lot, sale)
            lot.sales.remove(sale)
            if sale.pieces > pieces:
                self._sell(lot, sale.week, "market", sale.size_class, sale.channel, sale.pieces - pieces, None)
        self._sell(lot, week, "order", order.size_class, order.channel, pieces, order.order)

    def _cancel(self, lot: Growing, sale: Sale) -> None:
        """Take a sale out of the ledger."""
        self._account(lot, sale, -1)

    def to_market(self, lot: Growing, sale: Sale) -> bool:
        """Send pieces planned for an order to the market in the same week instead; ``False`` if no channel takes them."""
        self._cancel(lot, sale)
        alive = float(lot.life.alive[sale.week])
        for channel in self.market_channels:
            if self.ledger.pieces_packable(channel, sale.week, alive) >= sale.pieces:
                lot.sales.remove(sale)
                self._sell(lot, sale.week, "market", sale.size_class, channel, sale.pieces, None)
                return True
        return False

    def bring_forward(self, lot: Growing, sale: Sale, week: int) -> None:
        """Sell what was to leave for the market later in an earlier week, as much of it as that week's market and packing take."""
        if not self.may_sell(lot, sale.size_class, week) or not packing_days(self.farm, sale.channel, week):
            return
        self._cancel(lot, sale)
        lot.sales.remove(sale)
        most = min(sale.pieces, self.ledger.pieces_packable(sale.channel, week, float(lot.life.alive[week])))
        most = max(0, min(most, self._listed_room(lot, sale.size_class, week)))
        for when, pieces in ((week, most), (sale.week, sale.pieces - most)):
            if pieces:
                self._sell(lot, when, "market", sale.size_class, sale.channel, pieces, None)

    def take_back(self, lot: Growing) -> None:
        """Undo every sale of a lot."""
        for sale in lot.sales:
            self._cancel(lot, sale)
        lot.sales.clear()

    # ---- market ---------------------------------------------------------------------------------------------------

    def sell_rest(self, lot: Growing) -> None:
        """Route a lot's remaining pieces by value: list price while the market takes them, else left, discounted or cleared."""
        for option in sorted(self._options(lot), key=lambda o: (-o.value, o.week, o.size_class)):
            if lot.unrouted <= 0 or option.value <= 0:
                break
            if option.route == "stay":
                frags = float(lot.life.alive[self.weeks.count])
                pieces = min(lot.unrouted, int(self.ledger.end_room(lot.strain) / max(frags, 1e-9) + 1e-9))
                self.ledger.end_frags[lot.strain] += pieces * frags
                self._stay(lot, pieces)
                continue
            self._sell_option(lot, option)
        self._unstay(lot)

    def _stay(self, lot: Growing, pieces: int) -> None:
        if pieces > 0:
            last = self.weeks.count
            lot.sales.append(
                Sale.model_construct(
                    lot=lot.id, week=last + 1, route="clear", size_class="", order=None, channel="", pieces=pieces
                )
            )

    def _unstay(self, lot: Growing) -> None:
        lot.sales[:] = [s for s in lot.sales if s.week <= self.weeks.count]

    def _sell_option(self, lot: Growing, option: _Option) -> None:
        alive = float(lot.life.alive[option.week])
        for channel in self.market_channels:
            most = min(lot.unrouted, self.ledger.pieces_packable(channel, option.week, alive))
            if option.listed:
                most = min(most, self._listed_room(lot, option.size_class, option.week))
            if most > 0:
                route: Literal["market", "clear"] = "clear" if option.route == "clear" else "market"
                self._sell(lot, option.week, route, option.size_class, channel, most, None)

    def _options(self, lot: Growing) -> list[_Option]:
        found: list[_Option] = []
        rent = self.rent(lot.strain)
        open_weeks = [
            w
            for w in range(lot.sellable_from, self.weeks.count + 1)
            if any(packing_days(self.farm, c, w) for c in self.market_channels) and self.may_leave(lot, w)
        ]
        old = self.farm.settings.max_rack_weeks
        for week in open_weeks:
            alive = float(lot.life.alive[week])
            stay = (week - lot.first) * rent
            if lot.life.age[week] > old:
                row = clearing_class(self.farm, lot.strain, lot.life, week)
                price = float(self.farm.size_class(lot.strain, row).discount_price) if row else 0.0  # type: ignore[union-attr]
                found.append(_Option(alive * (price - self.worth.packing_cost()) - stay, week, "clear", row, False))
                break
            for c in self.farm.size_classes(lot.strain):
                if lot.life.reached(c.size_class, week):
                    for listed in (True, False):
                        price = self.worth.graded_price(lot.strain, c.size_class, discount=not listed)
                        value = alive * (price - self.worth.packing_cost()) - stay
                        found.append(_Option(value, week, "market", c.size_class, listed))
        last = self.weeks.count
        if lot.life.age[last] <= old and lot.life.ready:
            first = min(lot.life.ready, key=lambda k: lot.life.ready[k])
            reached = [c.size_class for c in self.farm.size_classes(lot.strain) if lot.life.reached(c.size_class, last)]
            name = reached[-1] if reached else first
            alive = float(lot.life.alive[last] if reached else lot.life.alive_when_ready[first])
            value = alive * (self.worth.graded_price(lot.strain, name) - self.worth.packing_cost())
            value = value * self.farm.settings.end_frag_share - (last - lot.first) * rent
            found.append(_Option(value, last + 1, "stay", name, False))
        return found

    def rent(self, strain: str) -> float:
        """What holding one plug of a strain for a week is taken to cost, money."""
        traits = self.farm.traits(strain)
        classes = self.farm.size_classes(strain)
        typical = float(classes[0].list_price) if classes else 0.0
        return RENT_SHARE * typical * traits.plug_rows * traits.plug_cols / 26

    def _sell(
        self,
        lot: Growing,
        week: int,
        route: Literal["order", "market", "clear"],
        size_class: str,
        channel: str,
        pieces: int,
        order: str | None,
    ) -> None:
        sale = Sale(lot=lot.id, week=week, route=route, size_class=size_class, order=order, channel=channel, pieces=pieces)
        lot.sales.append(sale)
        self._account(lot, sale, 1)

    def _account(self, lot: Growing, sale: Sale, sign: int) -> None:
        """Enter a sale in the ledger, or (sign -1) take it out."""
        self.ledger.pack(sale.channel, sale.week, sign * sale.pieces * float(lot.life.alive[sale.week]))
        if sale.order is not None:
            self._sent[sale.order] += sign * self._graded(lot, sale.week, sale.pieces)
        if sale.route == "market":
            month, graded = self.weeks.month(sale.week), sign * self._graded(lot, sale.week, sale.pieces)
            self.ledger.sold[month, lot.strain, sale.size_class] += graded
            self.ledger.sold_group[month, self.farm.strain[lot.strain].group] += graded

    def _graded(self, lot: Growing, week: int, pieces: int) -> float:
        """Expected frags that make grade of pieces leaving in a week."""
        return pieces * float(lot.life.alive[week]) * self.farm.traits(lot.strain).good_share

    def _listed_room(self, lot: Growing, size_class: str, week: int) -> int:
        """Pieces of a lot the market of a week's month still takes at list price; below 0 where it holds too many."""
        room = self.ledger.market_room(self.weeks.month(week), lot.strain, size_class)
        return int(room / max(self._graded(lot, week, 1), 1e-9) + 1e-9)

    # ---- counting -------------------------------------------------------------------------------------------------

    def counted_in(self, lot: Growing) -> list[int]:
        """Weeks in which a lot is counted: pieces left and an age that is a multiple of ``count_weeks``."""
        every = self.farm.settings.count_weeks
        return [
            w
            for w, left in lot.left(self.weeks.count).items()
            if left > 0 and lot.life.age[w] > 0 and lot.life.age[w] % every == 0
        ]

    def enter_counts(self, lot: Growing) -> None:
        """Enter the minutes for counting a lot each time it has stood ``count_weeks`` while pieces are left."""
        for week in self.counted_in(lot):
            self.ledger.outside[week][CARING] += self.farm.settings.count_lot_minutes

    def release_counts(self, lot: Growing) -> None:
        """Take back the counting of weeks in which nothing of a lot is left, entered before its sales were known."""
        every = self.farm.settings.count_weeks
        for week, left in lot.left(self.weeks.count).items():
            age = lot.life.age[week]
            if left == 0 and age > 0 and age % every == 0:
                self.ledger.outside[week][CARING] -= self.farm.settings.count_lot_minutes


def clearing_class(farm: Farm, strain: str, found: Life, week: int) -> str:
    """The class whose discount price a cleared lot gets: the largest reached by then, else the smallest."""
    classes = farm.size_classes(strain)
    reached = [c.size_class for c in classes if found.reached(c.size_class, week)]
    return reached[-1] if reached else (classes[0].size_class if classes else "")
