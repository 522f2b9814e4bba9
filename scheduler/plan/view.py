"""Look-ups over a farm and a plan that everybody needs: a lot's pieces, places and life week by week."""

from __future__ import annotations

import bisect
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate

from scheduler.biology.life import Life, life
from scheduler.biology.zones import zone_of, zones
from scheduler.farm.blocks import Block
from scheduler.farm.farm import Farm
from scheduler.plan.model import Cut, Plan, Sale, Stand


@dataclass(frozen=True)
class LotView:
    """A lot, new or old, as the plan treats it.

    ``pieces``: started pieces of a new lot, or those counted alive of a lot on racks. ``cut_week`` and
    ``counted_week`` may be 0 or below. ``stands`` begins with the first place (of a lot on racks: where it stands before the plan, week 0).
    """

    id: str
    strain: str
    colony: str | None
    pieces: int
    cut_week: int
    counted_week: int
    is_new: bool
    stands: tuple[Stand, ...]
    sales: tuple[Sale, ...]
    life: Life

    @property
    def first_week(self) -> int:
        """First week of the plan in which it is on racks."""
        return max(1, self.cut_week)

    def left(self, week: int) -> int:
        """Started pieces not yet routed away after the sales of a week."""
        gone = self._gone
        return self.pieces - (
            gone[bisect.bisect_right(gone, week, key=lambda g: g[0]) - 1][1] if gone and gone[0][0] <= week else 0
        )

    @cached_property
    def _gone(self) -> list[tuple[int, int]]:
        """(week, pieces sold or cleared up to and with it), in order of weeks."""
        sold = Counter[int]()
        for sale in self.sales:
            sold[sale.week] += sale.pieces
        weeks = sorted(sold)
        return list(zip(weeks, accumulate(sold[w] for w in weeks), strict=True))

    def stand(self, week: int) -> Stand:
        """Where it stands at the end of a week, after moves."""
        return [s for s in self.stands if s.week <= week][-1]

    def stands_held(self, week: int) -> tuple[Stand, ...]:
        """Places it holds in a week: in the week of a move both the old and the new one."""
        place = max(i for i, s in enumerate(self.stands) if s.week <= week)
        now = self.stands[place]
        return (self.stands[place - 1], now) if place and now.week == week else (now,)


class PlanView:
    """A farm and a plan read together."""

    def __init__(self, farm: Farm, plan: Plan) -> None:
        self.farm = farm
        self.plan = plan

    @cached_property
    def cut(self) -> dict[str, Cut]:
        """Cuts by lot."""
        return {c.lot: c for c in self.plan.cuts}

    @cached_property
    def lots(self) -> dict[str, LotView]:
        """Every lot of the farm and of the plan by id, old ones first."""
        sales: dict[str, list[Sale]] = {}
        for sale in sorted(self.plan.sales, key=lambda s: s.week):
            sales.setdefault(sale.lot, []).append(sale)
        stands: dict[str, list[Stand]] = {}
        for stand in sorted(self.plan.stands, key=lambda s: s.week):
            stands.setdefault(stand.lot, []).append(stand)
        weeks = self.farm.weeks
        found: dict[str, LotView] = {}
        for lot in self.farm.lots:
            if lot.alive == 0:
                continue
            places = (old_stand(self.farm, lot.lot), *stands.get(lot.lot, ()))
            cut_week, counted = weeks.week_of(lot.cut_date), min(1, weeks.week_of(lot.count_date))
            found[lot.lot] = LotView(
                lot.lot, lot.strain, lot.colony, lot.alive, cut_week, counted, False, places,
                tuple(sales.get(lot.lot, ())), life_of_lot(self.farm, lot.lot, places),
            )  # fmt: skip
        for cut in self.plan.cuts:
            places = tuple(stands.get(cut.lot, ()))
            if not places:
                raise ValueError(f"lot {cut.lot} is cut in week {cut.week} but stands nowhere")
            found[cut.lot] = LotView(
                cut.lot, cut.strain, cut.colony, cut.pieces, cut.week, cut.week, True, places,
                tuple(sales.get(cut.lot, ())), life(self.farm, cut.strain, cut.week, cut.week, pars_of(self.farm, cut.week, places)),
            )  # fmt: skip
        return found


def old_stand(farm: Farm, lot_id: str) -> Stand:
    """Where a lot of the farm book stands before the plan."""
    lot = farm.lot[lot_id]
    traits = farm.traits(lot.strain)
    blocks: tuple[Block, ...] = farm.lot_blocks(lot)
    positions = [p for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
    return Stand(lot=lot_id, week=0, zone=zone_of(farm, lot.rack, positions), rack=lot.rack, blocks=blocks, pieces=lot.alive)


def life_of_lot(farm: Farm, lot_id: str, stands: tuple[Stand, ...]) -> Life:
    """The life of a lot of the book in the places it stands in (today's first), by its count and its own growth."""
    row, weeks = farm.lot[lot_id], farm.weeks
    counted = min(1, weeks.week_of(row.count_date))
    pars = pars_of(farm, 1, stands)
    return life(farm, row.strain, weeks.week_of(row.cut_date), counted, pars, farm.pace.get(lot_id, 1.0))


def pars_of(farm: Farm, first_week: int, stands: tuple[Stand, ...]) -> tuple[float, ...]:
    """Mean PAR of a lot's zone for weeks first_week..horizon. A lot grows in its old place in the week of a move."""
    table = zones(farm)
    found = []
    place = 0
    for week in range(first_week, farm.weeks.count + 1):
        while place + 1 < len(stands) and stands[place + 1].week < week:
            place += 1
        found.append(table[stands[place].zone].par_in(week))
    return tuple(found)
