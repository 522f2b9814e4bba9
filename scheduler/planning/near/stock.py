"""What the lots of the book could do in the near weeks to make room, and what that costs the sales planned for them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import combinations

from scheduler.biology.life import Life
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind, outside_offers
from scheduler.farm.pins import pin_covers
from scheduler.farm.work import packing_days
from scheduler.plan.model import Sale, Stand
from scheduler.plan.view import life_of_lot, old_stand
from scheduler.planning.near.plan import NearPlan
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth
from scheduler.week.model import ChosenMove, Market
from scheduler.week.releases import EarlySale

PARTS = (0.5, 1.0)
"""Shares of what could leave early that are offered to the near weeks."""


class StockLots:
    """Lots of the book with their planned sales, and what the ledger of those sales still leaves of hours and boxes."""

    def __init__(self, farm: Farm, lots: Sequence[Growing], worth: Worth, ledger: Ledger, seller: Seller) -> None:
        self.farm, self.worth, self.ledger, self.seller = farm, worth, ledger, seller
        self.lots = {lot.id: lot for lot in lots}
        self._near = farm.weeks.near_weeks

    # ---- what is left -----------------------------------------------------------------------------------------------

    def outside(self) -> dict[int, dict[frozenset[Kind], float]]:
        """Minutes outside sessions left in each near week, by set of kinds of work that have to share them."""
        found: dict[int, dict[frozenset[Kind], float]] = {}
        for week in self._near:
            offers, need = outside_offers(self.farm, week), self.ledger.outside[week]
            sets = [frozenset(c) for size in (1, 2) for c in combinations((PACKING, CARING), size)]
            found[week] = {
                kinds: sum(m for able, m in offers if able & kinds) - sum(need.get(k, 0.0) for k in kinds) for kinds in sets
            }
        return found

    def boxes(self) -> dict[tuple[str, int], float]:
        """Boxes left by market channel and near week."""
        return {
            (c.channel, w): c.boxes_per_day * len(packing_days(self.farm, c.channel, w)) - self.ledger.boxes[c.channel, w]
            for c in self.farm.channels
            if c.market
            for w in self._near
        }

    def market(self) -> dict[Market, float]:
        """Frags that still sell at list price, by strain, class and month of the near weeks."""
        return {
            (strain.strain, row.size_class, month): self.ledger.market_room(month, strain.strain, row.size_class)
            for strain in self.farm.strains
            for row in self.farm.size_classes(strain.strain)
            for month in dict.fromkeys(self.farm.weeks.month(w) for w in self._near)
        }

    # ---- early sales ------------------------------------------------------------------------------------------------

    def early_sales(self, pins: Collection[str]) -> Sequence[EarlySale]:
        """O1, P1: parts of lots that stay beyond the near weeks and are not promised to an order, in any near week they may leave."""
        found = []
        for lot in self.lots.values():
            later = sorted(self._later(lot))
            pieces = dict.fromkeys(int(len(later) * part) for part in PARTS)
            for week in self._near:
                for n in pieces:
                    sale = self._early(lot, week, n, later, pins) if n else None
                    if sale is not None:
                        found.append(sale)
        return found

    def _later(self, lot: Growing) -> list[float]:
        """What each piece that leaves after the near weeks without an order brings then, money."""
        last = self._near[-1]
        found: list[float] = []
        for sale in lot.sales:
            if sale.week > last and sale.order is None:
                found += [self._brings(lot.strain, lot.life, sale)] * sale.pieces
        return found + [self._stays(lot.strain, lot.life)] * lot.unrouted

    def _early(
        self, lot: Growing, week: int, pieces: int, later: Sequence[float], pins: Collection[str]
    ) -> EarlySale | None:  # fmt: skip
        reached = [c.size_class for c in self.farm.size_classes(lot.strain) if lot.life.reached(c.size_class, week)]
        channel = next((c for c in self.seller.market_channels if packing_days(self.farm, c, week)), None)
        if not reached or channel is None or not self._may_leave(lot, week, pins):
            return None
        s, month, alive = self.farm.settings, self.farm.weeks.month(week), float(lot.life.alive[week])
        graded = pieces * alive * self.farm.traits(lot.strain).good_share
        listed = self.ledger.market_room(month, lot.strain, reached[-1]) >= graded
        price = self.worth.graded_price(lot.strain, reached[-1], discount=not listed) - self.worth.packing_cost()
        per_box, brings = self.farm.channel[channel].frags_per_box, pieces * alive * price
        return EarlySale(
            lot=lot.id, week=week, pieces=pieces, brings=brings, loss=sum(later[:pieces]) - brings,
            minutes=pieces * alive * (s.pack_frag_minutes + s.pack_box_minutes / per_box), channel=channel,
            boxes=pieces * alive / per_box, size_class=reached[-1], market=(lot.strain, reached[-1], month),
            listed=graded if listed else 0.0, zone=lot.zone,
            frees={w: self.held(lot.id, w, min(pieces, left)) for w, left in lot.left(self.farm.weeks.count).items()},
        )  # fmt: skip

    def _may_leave(self, lot: Growing, week: int, pins: Collection[str]) -> bool:
        """S3, O1, P1: not from quarantine or on hold, not too old, not kept by a pin."""
        farm = self.farm
        if farm.in_quarantine(lot.system, week) or farm.on_hold(lot.system, week):
            return False
        if lot.life.age[week] > farm.settings.max_rack_weeks:
            return False
        kept = (p for p in farm.pins if p.pin in pins and p.kind in ("no sale", "hold lot") and p.lot == lot.id)
        return not any(pin_covers(farm, p, week) for p in kept)

    def sales(self, near: NearPlan) -> dict[str, list[Sale]]:
        """The early sales a near plan chose, by lot."""
        return {
            s.lot: [Sale(lot=s.lot, week=s.week, route="market", size_class=s.size_class, channel=s.channel, pieces=s.pieces)]
            for s in near.sales
        }

    def held(self, lot: str, week: int, pieces: int) -> int:
        """Whole positions that so many pieces free in a later week, by the last count before it."""
        growing = self.lots[lot]
        traits = self.farm.traits(growing.strain)
        return int(pieces * float(growing.life.held[week]) * traits.plug_rows * traits.plug_cols)

    # ---- moves ------------------------------------------------------------------------------------------------------

    def move_cost(self, lot: str, week: int, zone_id: str) -> float | None:
        """What a lot's planned sales lose if it grows on in another zone; ``None`` where an order's sale would not be ready."""
        growing = self.lots[lot]
        after = life_after(self.farm, lot, Stand(lot=lot, week=week, zone=zone_id, pieces=1))
        lost = 0.0
        for sale in growing.sales:
            if sale.week > week:
                if sale.order is not None and not after.reached(sale.size_class, sale.week):
                    return None
                lost += sale.pieces * (
                    self._brings(growing.strain, growing.life, sale) - self._brings(growing.strain, after, sale)
                )
        return lost + growing.unrouted * (self._stays(growing.strain, growing.life) - self._stays(growing.strain, after))

    def _brings(self, strain: str, course: Life, sale: Sale) -> float:
        """What a piece of a sale brings, money; what is not ready in its week waits for the end."""
        if sale.route != "clear" and not course.reached(sale.size_class, sale.week):
            return self._stays(strain, course)
        price = self.worth.graded_price(strain, sale.size_class, discount=sale.route == "clear")
        if sale.order is not None:
            price = float(self.farm.order[sale.order].price)
        return float(course.alive[sale.week]) * (price - self.worth.packing_cost())

    def _stays(self, strain: str, course: Life) -> float:
        """What a piece left at the horizon is worth there, money."""
        first = min(course.ready, key=lambda name: course.ready[name], default=None)
        if first is None:
            return 0.0
        value = self.worth.graded_price(strain, first) - self.worth.packing_cost()
        return self.farm.settings.end_frag_share * float(course.alive_when_ready[first]) * value


def life_after(farm: Farm, lot: str, stand: Stand) -> Life:
    """The life of a lot of the book that moves to another stand."""
    return life_of_lot(farm, lot, (old_stand(farm, lot), stand))


def move_stands(moved: Iterable[ChosenMove]) -> Mapping[str, Stand]:
    """The new place of every lot of the book that moves, by lot."""
    return {m.move.lot: stand_of(m) for m in moved}


def stand_of(moved: ChosenMove) -> Stand:
    """A move as the plan shows it: a second stand of the lot."""
    move = moved.move
    return Stand(
        lot=move.lot, week=move.week, zone=moved.section.zone, rack=moved.section.rack, blocks=moved.blocks, pieces=move.pieces
    )  # fmt: skip
