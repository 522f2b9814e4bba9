"""Sales announced for the near weeks, kept where the season does not mind.

In which week of a month frags leave for the market, and of which lot of a strain, is all the same to the season; another
choice every week would leave the places of announced cuts taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from scheduler.farm.farm import Farm
from scheduler.plan.model import Sale
from scheduler.season.guide import Wish
from scheduler.season.outlets import Outlet
from scheduler.season.sales import Growing


def with_told(
    farm: Farm, lots: Sequence[Growing], wishes: Mapping[str, Sequence[Wish]], told: Sequence[Sale]
) -> dict[str, list[Wish]]:  # fmt: skip
    """The same wishes for each strain and month, with the lots and weeks that were announced as far as they go.

    What a lot was told to sell at list price it sells in that week instead of later in the month, or in the place of another
    lot of its strain, which then leaves in the way the first would have. Wishes for orders stay as they are.
    """
    return _Told(farm, lots, wishes).kept(told)


class _Told:
    def __init__(self, farm: Farm, lots: Sequence[Growing], wishes: Mapping[str, Sequence[Wish]]) -> None:
        self.farm, self.lots = farm, {lot.id: lot for lot in lots}
        self.wishes = {name: list(mine) for name, mine in wishes.items()}

    def kept(self, told: Sequence[Sale]) -> dict[str, list[Wish]]:
        names = {sale.lot for sale in told}
        for sale in sorted(told, key=lambda s: (s.week, s.lot, s.size_class)):
            lot = self.lots.get(sale.lot)
            if lot is None or sale.lot not in self.wishes or not lot.life.reached(sale.size_class, sale.week):
                continue
            short = sale.pieces - sum(w.pieces for w in self.wishes[sale.lot] if w.outlet.week <= sale.week)
            short -= self._sooner(sale, short)
            for other in self.lots.values():
                if other.strain == lot.strain and other.id not in names and other.id in self.wishes and short > 0:
                    short -= self._exchanged(sale, other, short)
        return {name: sorted(mine, key=lambda w: w.outlet.week) for name, mine in self.wishes.items()}

    def _alike(self, sale: Sale, outlet: Outlet) -> bool:
        """Whether an outlet is list price for the class of a sale in its month."""
        weeks = self.farm.weeks
        if outlet.kind != "list" or outlet.size_class != sale.size_class or outlet.week > weeks.count:
            return False
        return weeks.month(outlet.week) == weeks.month(sale.week)

    def _sooner(self, sale: Sale, most: int) -> int:
        """Sell a lot's own pieces in the week told instead of later in the month; returns how many."""
        done = 0
        for wish in list(self.wishes[sale.lot]):
            if done < most and wish.outlet.week > sale.week and self._alike(sale, wish.outlet):
                n = min(most - done, wish.pieces)
                self._replace(sale.lot, wish, n, replace(wish.outlet, week=sale.week))
                done += n
        return done

    def _exchanged(self, sale: Sale, other: Growing, most: int) -> int:
        """Exchange a later way out of the lot told for another lot's list price in the month; returns the pieces."""
        done = 0
        for theirs in list(self.wishes[other.id]):
            if not self._alike(sale, theirs.outlet):
                continue
            rest = theirs.pieces
            for mine in sorted(self.wishes[sale.lot], key=lambda w: -w.outlet.week):
                n = min(most - done, rest, mine.pieces)
                if n <= 0 or mine.outlet.week <= sale.week or not self._open(other, mine.outlet):
                    continue
                self._replace(sale.lot, mine, n, replace(theirs.outlet, week=sale.week))
                self._replace(other.id, replace(theirs, pieces=rest), n, mine.outlet)
                rest, done = rest - n, done + n
        return done

    def _open(self, lot: Growing, outlet: Outlet) -> bool:
        """Whether a lot could leave by a way out meant for another: not for an order, and its class reached by then."""
        if outlet.order is not None:
            return False
        return outlet.week > self.farm.weeks.count or lot.life.reached(outlet.size_class, outlet.week)

    def _replace(self, name: str, wish: Wish, pieces: int, outlet: Outlet) -> None:
        """Let so many pieces of a wish leave by another outlet."""
        mine = self.wishes[name]
        at = mine.index(wish)
        mine[at : at + 1] = [replace(wish, pieces=wish.pieces - pieces)] if wish.pieces > pieces else []
        mine.append(Wish(outlet, pieces))
