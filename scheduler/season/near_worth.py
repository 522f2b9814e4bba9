"""The valuation as the near weeks see it: piece, waiting, and how many pieces still sell at list price."""

from __future__ import annotations

from scheduler.biology.life import life
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Seller
from scheduler.season.worth import Worth


class NearValuation:
    """Joins the worth of pieces with what the market and the orders still take after the lots on racks are sold."""

    def __init__(self, farm: Farm, worth: Worth, ledger: Ledger, seller: Seller) -> None:
        self.farm, self.worth, self.ledger, self.seller = farm, worth, ledger, seller
        self._rooms: dict[tuple[str, int], int] = {}

    def piece(self, strain: str, week: int, par_umol: float, *, discount: bool = False) -> float:
        """Net worth of a fresh piece, money."""
        return self.worth.piece(strain, week, par_umol, discount=discount)

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:
        """Future pieces lost by cutting now."""
        return self.worth.waiting(colony, week, pieces)

    def colony_cost(self, colony: Colony) -> float:
        """Cost of cutting a colony at all, money."""
        return self.worth.colony_cost(colony)

    def list_room(self, strain: str, week: int) -> int:
        """Started pieces that will sell at list price or to an order before the strain's colonies can be cut again and grow on.

        Months from the first in which frags cut now are ready, over one rest and the market of a month more; beyond the
        horizon the coming months' market counts.
        """
        key = (strain, week)
        if key not in self._rooms:
            self._rooms[key] = self._room(strain, week)
        return self._rooms[key]

    def _room(self, strain: str, week: int) -> int:
        farm = self.farm
        traits = farm.traits(strain)
        par = (traits.par_min + traits.par_max) / 2
        found = life(farm, strain, week, week, (par,))
        frags = 0.0
        span = traits.rest_weeks + 4
        for name, ready in found.ready.items():
            if ready > farm.weeks.count:
                continue
            months = dict.fromkeys(farm.weeks.month(w) for w in range(ready, min(ready + span, farm.weeks.count) + 1))
            frags += sum(self.ledger.market_room(m, strain, name) for m in months)
        first = min(found.ready.values(), default=farm.weeks.count + 1)
        missing = max(0, first + span - farm.weeks.count)
        if missing:
            frags += min(1.0, missing / (farm.settings.end_months * 4.35 or 1)) * self.ledger.end_room(strain)
        frags += sum(self.seller.order_need[o.order] for o in farm.orders if o.strain == strain)
        alive = max((float(a) for a in found.alive_when_ready.values()), default=0.0)
        return int(frags / (alive * traits.good_share)) if alive else 0
