"""Moves that even out tanks of like light, where unevenness costs: each is worth more than its minutes and whatever else it changes.

A finished plan is taken and changed by one move at a time: a grown lot of the fullest light zone in the worst week goes to the
emptiest zone of the same light class in the first week. What that is worth is the value of the plan with the move, every line of
money worked out anew; a plan that breaks a rule is not considered.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator, Sequence
from statistics import fmean

import numpy as np

from scheduler.audit import audit
from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import zone_by_position, zone_racks, zones
from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.farm import Farm
from scheduler.farm.space import Rack
from scheduler.plan.model import Plan, Stand
from scheduler.plan.view import LotView, PlanView
from scheduler.planning.finish import valued
from scheduler.planning.ground import beside, grid_of
from scheduler.planning.lines import most_uneven, positions_held
from scheduler.racks import Request
from scheduler.racks.candidates import widest
from scheduler.week.floor import Floor, blocks_positions
from scheduler.week.options import takes
from scheduler.week.releases import may_move, step

MOST_MOVES = 8
"""Moves for evenness in one plan: farm choice, no published source."""

TRIES = 6
"""Lots looked at for one move, those first that leave the two tanks most alike."""

_WEEK = 1


def evened(farm: Farm, plan: Plan, pins: Sequence[str], stop: threading.Event | None = None) -> Plan:
    """The plan with the moves that pay; the plan itself where unevenness costs nothing or no move pays."""
    if not farm.settings.uneven_cost:
        return plan
    for _ in range(MOST_MOVES):
        if stop is not None and stop.is_set():
            break
        better = next((p for p in _with_a_move(farm, plan, pins) if p.value > plan.value and not audit(farm, p).breaches), None)
        if better is None:
            break
        plan = better
    return plan


def _with_a_move(farm: Farm, plan: Plan, pins: Sequence[str]) -> Iterator[Plan]:
    """The plan with one more move against its worst unevenness, the most promising first."""
    view = PlanView(farm, plan)
    worst = most_uneven(farm, view)
    if worst is None:
        return
    table = zones(farm)
    held = positions_held(farm, view, worst.week)
    full, empty = table[worst.fullest], table[worst.emptiest]

    def left_over(lot: LotView) -> float:
        """Difference of use between the two zones once a lot has moved, percentage points."""
        more = _held(farm, lot, worst.week)
        return abs(100 * (float(held[full.id]) - more) / full.capacity - 100 * (float(held[empty.id]) + more) / empty.capacity)

    movable = [x for x in view.lots.values() if _may_go(farm, x, worst.fullest, pins) and x.left(worst.week)]
    racks = _Racks(farm, view, pins)
    for lot in sorted(movable, key=lambda x: (left_over(x), x.id))[:TRIES]:
        stand = racks.place(lot, worst.emptiest)
        if stand is not None:
            yield valued(farm, plan.model_copy(update={"stands": (*plan.stands, stand)}))


def _held(farm: Farm, lot: LotView, week: int) -> float:
    part = 1.0 if week in farm.weeks.near_weeks else float(lot.life.held[week])
    return lot.left(week) * farm.traits(lot.strain).plug_area * part


def _may_go(farm: Farm, lot: LotView, zone: str, pins: Sequence[str]) -> bool:
    """A lot of the book that stands in a zone all season and may move in the first week."""
    here = len(lot.stands) == 1 and lot.stands[0].zone == zone
    return not lot.is_new and here and lot.left(_WEEK) > 0 and may_move(farm, farm.lot[lot.id], _WEEK, pins)


class _Racks:
    """The racks of the near weeks as a plan fills them."""

    def __init__(self, farm: Farm, view: PlanView, pins: Sequence[str]) -> None:
        self.farm, self.view, self.pins = farm, view, pins
        last = farm.weeks.count
        self.floor = Floor(
            farm, {x.id: {w: x.left(w) for w in range(1, last + 1)} for x in view.lots.values() if not x.is_new}
        )  # fmt: skip

    def place(self, lot: LotView, zone_id: str) -> Stand | None:
        """L1, L3, L4, L7, L8: one block for all of a lot in a light zone, nearest to the light it has; ``None`` if there is none."""
        farm, traits, pieces = self.farm, self.farm.traits(lot.strain), lot.left(_WEEK)
        zone, table = zones(farm)[zone_id], zone_by_position(farm)
        low, high = step(farm, self.floor, farm.lot[lot.id], _WEEK)
        request = Request(
            lot=lot.id, strain=lot.strain, plugs=pieces, min_plugs=pieces, plug_rows=traits.plug_rows,
            plug_cols=traits.plug_cols, allowed=frozenset(), value=1,
        )  # fmt: skip
        mine = blocks_positions(trim(lot.stands[0].blocks, pieces), traits.plug_rows, traits.plug_cols)
        light_now = fmean(float(par_of_rack(farm, farm.lot[lot.id].rack, _WEEK)[p]) for p in mine)
        found: list[tuple[float, str, Block]] = []
        for rack in (farm.rack[name] for name in zone_racks(zone)):
            if rack.flow not in traits.flow_growing or not takes(farm, self.floor, rack, lot.strain, _WEEK, self.pins):
                continue
            par = par_of_rack(farm, rack.rack, _WEEK)
            inside = np.array([[table.get((rack.rack, (r, c))) == zone_id for c in range(rack.cols)] for r in range(rack.rows)])
            free = beside(farm, rack, lot.strain, grid_of(rack, rack.open_positions), self._standing(rack))
            free &= (par >= low) & (par <= high) & inside
            for block in widest(free, request):
                if block.plugs == pieces:
                    off = abs(float(par[block.top, block.left]) - light_now)
                    found.append((off, rack.rack, block))
        if not found:
            return None
        _, rack_name, block = min(found, key=lambda x: (x[0], x[1], x[2].top, x[2].left, x[2].across))
        return Stand(lot=lot.id, week=_WEEK, zone=zone_id, rack=rack_name, blocks=(block,), pieces=pieces)

    def _standing(self, rack: Rack) -> Iterator[tuple[str, Iterable[Position]]]:
        """Strains and positions of the mothers and of all lots in every near week."""
        farm = self.farm
        for colony, positions in farm.mothers_on_racks.get(rack.rack, ()):
            yield colony.strain, positions
        for lot in self.view.lots.values():
            traits = farm.traits(lot.strain)
            for week in farm.weeks.near_weeks:
                if week < lot.first_week:
                    continue
                for stand in lot.stands_held(week):
                    if stand.rack == rack.rack and stand.blocks:
                        blocks = trim(stand.blocks, lot.left(week))
                        yield lot.strain, blocks_positions(blocks, traits.plug_rows, traits.plug_cols)
