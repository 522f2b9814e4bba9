"""The weeks after the near ones: what the season chooses, entered lot by lot, mended within what is then left, entered again."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from scheduler.farm.farm import Farm
from scheduler.plan.model import Cut, Sale, Stand
from scheduler.planning.books import Books
from scheduler.planning.company import meetings
from scheduler.planning.finish import Codes
from scheduler.planning.season_plan import MANY_COLONIES, SeasonPlan, by_zone, is_large, plan_season
from scheduler.season.entered import as_entered
from scheduler.season.later import LaterCut, LaterWeeks
from scheduler.season.sales import Growing
from scheduler.season.whole_orders import add_cover, fill_whole_orders, still_whole, undo_parts
from scheduler.solving import Progress

ROUNDS = 2
"""How often what has been entered is mended and entered again on farms of less than ``MANY_COLONIES``; on others once."""

MENDS = 2
"""How often all strains are gone through again each time, within what the others leave."""


@dataclass(frozen=True)
class Entered:
    """Every cut with its first place, and every lot with its sales; ``need``: frags orders still lack."""

    cuts: Sequence[Cut]
    stands: Sequence[Stand]
    lots: Sequence[Growing]
    later: Sequence[LaterCut] = ()
    need: Mapping[str, float] = field(default_factory=dict)


class Entering:
    """Enters the later weeks beside near weeks that are decided.

    ``near``: their cuts, places and lots (moves of lots among the places); ``soon``: sales of the lots of the book in them.
    ``books`` begins a ledger anew.
    """

    def __init__(
        self, farm: Farm, near: Entered, soon: Mapping[str, Sequence[Sale]], books: Callable[[], Books], codes: Codes,
        *, pins: Sequence[str], seed: int, progress: Progress | None, stop: threading.Event,
    ) -> None:  # fmt: skip
        self.farm, self.near, self.soon, self.books, self.codes = farm, near, soon, books, codes
        self.pins, self.seed, self.progress, self.stop = pins, seed, progress, stop

    def run(self, first: SeasonPlan) -> list[Entered]:
        """Plans to choose from, the season's own wishes first; ``first``: the season plan whose prices to begin from."""
        weeks = self.farm.weeks.later_weeks
        books, lots = self._begun()
        if not weeks:
            return [replace(self.near, lots=lots, need=books.seller.needs())]
        orders = [o.order for o in still_whole(self.farm, books.seller)]
        done: dict[str, dict[int, int]] = defaultdict(dict)
        for cut in self.near.cuts:
            done[cut.colony][cut.week] = cut.pieces
        large = is_large(self.farm, lots)
        plan = plan_season(
            self.farm, lots, pins=self.pins, seed=self.seed, whole=True, first=weeks.start, single=not large, ledger=books.ledger,
            cuts=done, order_need=books.seller.still_to_plan(), warm=first, progress=self.progress, stop=self.stop,
        )  # fmt: skip
        entered = self._entered(plan, books, lots)
        assert entered is not None  # the first choice leaves out the orders that refuse parts
        if large:
            books, lots = self._begun()
            plan = by_zone(
                plan, lots, seed=self.seed, ledger=books.ledger, cuts=done, order_need=books.seller.still_to_plan(), stop=self.stop
            )  # fmt: skip
        assert plan.search is not None
        made = [entered]
        for _ in range(ROUNDS if len(self.farm.colonies) < MANY_COLONIES else 1):
            told = as_entered(plan.season, entered.cuts, entered.lots, entered.later)
            choice = plan.search.mend(told, MENDS, orders=orders, progress=self.progress)
            again = self._entered(replace(plan, chosen=choice), *self._begun())
            if again is None:
                break
            made.append(again)
            if self.stop.is_set():
                break
            entered = again
        return made

    def _begun(self) -> tuple[Books, list[Growing]]:
        """Books with the near weeks in them, and all lots known by then."""
        books = self.books()
        old = books.old_lots()
        for lot in old:
            books.seller.repeat(lot, self.soon[lot.id])
        fresh = [replace(lot, sales=[]) for lot in self.near.lots]
        for lot in fresh:
            books.ledger.fresh[lot.system, lot.first] += lot.pieces
        return books, [*old, *fresh]

    def _entered(self, plan: SeasonPlan, books: Books, lots: list[Growing]) -> Entered | None:
        """A season plan's choice in the ledger; ``None`` if an order that refuses parts is left with a part nobody else takes, or whose
        frags would stay on beside lots they keep apart from.
        """
        books.sell(lots, plan, self.farm.weeks.count)
        books.occupy(lots)
        later = LaterWeeks(plan.season, plan.chosen, plan.guide(), books.ledger, books.seller, self.codes.copy()).run()
        lots = [*lots, *(x.lot for x in later)]
        met = meetings(self.farm, lots)
        if not undo_parts(self.farm, books.seller, lots) or meetings(self.farm, lots) - met:
            return None
        fill_whole_orders(self.farm, books.seller, lots, self.farm.weeks.later_weeks)
        add_cover(self.farm, books.seller, lots, self.farm.weeks.later_weeks)
        cuts, stands = [*self.near.cuts, *(x.cut for x in later)], [*self.near.stands, *(x.stand for x in later)]
        return Entered(cuts, stands, lots, later, books.seller.needs())
