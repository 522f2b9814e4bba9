"""What a plan in the making has promised: one ledger and the seller that enters sales in it, begun anew for every try."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from scheduler.biology.life import life
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING
from scheduler.plan.view import old_stand, pars_of
from scheduler.planning.near import NearMove
from scheduler.planning.near_stock import move_stands
from scheduler.planning.season_plan import SeasonPlan
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth


class Books:
    """Begins with nothing promised but standing work, mothers and the ``moved`` lots' moves."""

    def __init__(self, farm: Farm, worth: Worth, pins: Collection[str], moved: Sequence[NearMove] = ()) -> None:
        self.farm, self.moved = farm, moved
        self.ledger = Ledger(farm)
        for m in moved:
            self.ledger.outside[m.move.week][CARING] += m.move.minutes
        self.seller = Seller(farm, worth, self.ledger, frozenset(pins))

    def old_lots(self) -> list[Growing]:
        """Lots on racks with nothing sold; those that move in the near weeks grow on in their new zone."""
        farm, weeks, moved = self.farm, self.farm.weeks, move_stands(self.moved)
        found = []
        for lot in farm.lots:
            if lot.alive:
                stands = (old_stand(farm, lot.lot), *((moved[lot.lot],) if lot.lot in moved else ()))
                counted = min(1, weeks.week_of(lot.count_date))
                course = life(farm, lot.strain, weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, stands))
                system = farm.system_of_rack(lot.rack)
                found.append(Growing(lot.lot, lot.strain, lot.alive, course, system, stands[-1].zone, 1, False))
        return found

    def sell(self, lots: Sequence[Growing], plan: SeasonPlan, until: int) -> None:
        """Sell lots as a season plan wishes, up to a week; pieces whose wish cannot be met look for another way."""
        for lot in lots:
            self.seller.enter_counts(lot)
        numbers = {lot.id: n for n, lot in enumerate(plan.season.lots)}
        guide = plan.guide()
        failed = {lot.id: self.seller.sell_guided(lot, guide.lot(numbers[lot.id]), until) for lot in lots if lot.id in numbers}
        for lot in lots:
            if failed.get(lot.id):
                self.seller.sell_failed(lot, failed[lot.id])
            self.seller.release_counts(lot)

    def occupy(self, lots: Sequence[Growing]) -> None:
        """Enter the positions lots hold after their sales."""
        for lot in lots:
            self.ledger.occupy(lot.zone, lot.strain, lot.life, lot.left(self.farm.weeks.count))
