"""What stands on the racks, and what each mother can give, in the week a hand rule has reached."""

from __future__ import annotations

from collections import Counter, defaultdict

from scheduler.biology.growth import after_cut, curve, grow, most_pieces, rested_from, season_open, uncut_level
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING
from scheduler.plan.model import Sale
from scheduler.plan.view import life_of_lot, old_stand
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing


class Stock:
    """Lots and mothers. Weeks are passed in order, so that a lot's pieces without a route are those still on the rack."""

    def __init__(self, farm: Farm, ledger: Ledger) -> None:
        self.farm, self.ledger, self.weeks = farm, ledger, farm.weeks
        self.lots: list[Growing] = []
        self.left: dict[str, dict[int, int]] = {}
        """Pieces of every lot by week, as far as sales are decided."""
        self._live: dict[str, list[Growing]] = defaultdict(list)
        self._tanks: dict[str, Counter[str]] = {t.tank: Counter(farm.mothers_in_tank[t.tank]) for t in farm.tanks}
        self._cut: dict[str, tuple[int, int]] = {}
        for row in farm.lots:
            if row.alive:
                stand = old_stand(farm, row.lot)
                course = life_of_lot(farm, row.lot, (stand,))
                system = farm.system_of_rack(row.rack)
                self.add(Growing(row.lot, row.strain, row.alive, course, system, stand.zone, 1, False))

    # ---- lots -----------------------------------------------------------------------------------------------------

    def add(self, lot: Growing) -> None:
        """Put a lot on the racks: its positions and its counts to come, until it is sold."""
        self.lots.append(lot)
        self._live[lot.strain].append(lot)
        self._tanks[self.ledger.zones[lot.zone].tank][lot.strain] += 1
        self.left[lot.id] = lot.left(self.weeks.count)
        self.ledger.hold(lot.zone, lot.life, self.area(lot.strain), self.left[lot.id])
        self._count(self.counts_due(lot), 1)

    def counts_due(self, lot: Growing) -> list[int]:
        """Weeks in which a lot is counted as long as it stands."""
        every = self.farm.settings.count_weeks
        return [w for w in range(lot.first, self.weeks.count + 1) if lot.life.age[w] > 0 and lot.life.age[w] % every == 0]

    def sell(self, lot: Growing, sale: Sale) -> None:
        """Take pieces off the racks from the week of their sale on."""
        lot.sales.append(sale)
        gone = range(sale.week, self.weeks.count + 1)
        self.ledger.hold(lot.zone, lot.life, self.area(lot.strain), dict.fromkeys(gone, sale.pieces), sign=-1)
        for week in gone:
            self.left[lot.id][week] -= sale.pieces
        if not lot.unrouted:
            self._live[lot.strain].remove(lot)
            self._tanks[self.ledger.zones[lot.zone].tank][lot.strain] -= 1
            self._count([w for w in self.counts_due(lot) if w >= sale.week], -1)

    def _count(self, weeks: list[int], sign: int) -> None:
        """Enter the minutes for counting a lot, or take them back."""
        for week in weeks:
            self.ledger.outside[week][CARING] += sign * self.farm.settings.count_lot_minutes

    def area(self, strain: str) -> int:
        """Positions a plug of a strain fills."""
        traits = self.farm.traits(strain)
        return traits.plug_area

    def live(self, strain: str) -> tuple[Growing, ...]:
        """Lots of a strain with pieces on the racks, oldest first."""
        return tuple(sorted(self._live[strain], key=lambda x: (-x.life.age[self.weeks.count], x.id)))

    def frags(self, strain: str, week: int) -> float:
        """Frags of a strain expected alive on the racks, ready or growing."""
        return sum(x.unrouted * float(x.life.alive[week]) for x in self._live[strain])

    def strains_in(self, tank: str) -> list[str]:
        """Strains standing in a tank: mothers and lots."""
        return [strain for strain, count in self._tanks[tank].items() if count]

    # ---- mothers --------------------------------------------------------------------------------------------------

    def level(self, colony: Colony, week: int) -> int:
        """Level of a mother on its growth curve before any cut of the week."""
        last = self._cut.get(colony.colony)
        if last is None:
            return uncut_level(self.farm, colony, week)
        traits = self.farm.traits(colony.strain)
        return grow(curve(traits), last[1], week - last[0] - traits.pause_weeks)

    def cut(self, colony: Colony, week: int, pieces: int) -> None:
        """Set a mother back by a cut."""
        sizes = curve(self.farm.traits(colony.strain))
        self._cut[colony.colony] = (week, after_cut(sizes, self.level(colony, week), pieces))

    def size(self, colony: Colony, week: int) -> float:
        """Size of a mother in pieces."""
        return curve(self.farm.traits(colony.strain))[self.level(colony, week)]

    def most(self, colony: Colony, week: int) -> int:
        """C1-C4, S3: most pieces a mother may give in a week; 0 if it may not be cut."""
        farm, last = self.farm, self._cut.get(colony.colony)
        traits = farm.traits(colony.strain)
        rested = rested_from(farm, colony) if last is None else last[0] + traits.rest_weeks
        if colony.condition != "fit" or week < rested or not season_open(farm, colony, week):
            return 0
        if farm.on_hold(farm.system_of_tank(colony.tank), week):
            return 0
        return most_pieces(traits, self.size(colony, week))
