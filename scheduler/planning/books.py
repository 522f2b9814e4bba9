"""What a plan in the making has promised: one ledger and the seller that enters sales in it, begun anew for every try."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING
from scheduler.plan.model import Sale
from scheduler.planning.on_racks import lots_on_racks, sell_as_wished, wishes_of
from scheduler.planning.season_plan import SeasonPlan
from scheduler.planning.told_sales import with_told
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth
from scheduler.week.model import ChosenMove


class Books:
    """Begins with nothing promised but standing work, mothers and the ``moved`` lots' moves."""

    def __init__(self, farm: Farm, worth: Worth, pins: Collection[str], moved: Sequence[ChosenMove] = ()) -> None:
        self.farm, self.moved = farm, moved
        self.ledger = Ledger(farm)
        for m in moved:
            self.ledger.outside[m.move.week][CARING] += m.move.minutes
        self.seller = Seller(farm, worth, self.ledger, frozenset(pins))

    def old_lots(self) -> list[Growing]:
        """Lots on racks with nothing sold; those that move in the near weeks grow on in their new zone."""
        return lots_on_racks(self.farm, self.moved)

    def sell(self, lots: Sequence[Growing], plan: SeasonPlan, until: int, told: Sequence[Sale] = ()) -> None:
        """Sell lots as a season plan wishes, up to a week; pieces whose wish cannot be met look for another way.

        Of what is all the same to the season, as ``told``.
        """
        sell_as_wished(self.seller, lots, with_told(self.farm, lots, wishes_of(plan), told), until)

    def occupy(self, lots: Sequence[Growing]) -> None:
        """Enter the positions lots hold after their sales."""
        for lot in lots:
            self.ledger.occupy(lot.zone, lot.strain, lot.life, lot.left(self.farm.weeks.count))
