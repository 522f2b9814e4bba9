"""What lots of the book could do in the near weeks to make room: leave early in part, or move. No solver."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from scheduler.biology.light import par_of_rack
from scheduler.farm.blocks import Position
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind
from scheduler.farm.pins import pin_covers
from scheduler.plan.view import old_stand
from scheduler.week.floor import Floor, Ground, Section
from scheduler.week.options import sections_of, takes


@dataclass(frozen=True)
class EarlySale:
    """Pieces of a lot of the book that could leave in a near week instead of later, or besides what leaves by then.

    ``brings`` is what they bring then, ``loss`` what the later sale would bring more, money. ``minutes`` of packing and
    decimal ``boxes`` of ``channel`` fall in that week; ``listed`` frags count against the room of ``market`` at list price.
    ``frees``: positions of ``zone`` that become free, by later week.
    """

    lot: str
    week: int
    pieces: int
    brings: float
    loss: float
    minutes: float
    channel: str
    boxes: float
    size_class: str
    market: tuple[str, str, tuple[int, int]]
    listed: float
    zone: str
    frees: Mapping[int, int]


@dataclass(frozen=True)
class Move:
    """A lot of the book that could move within its water in a near week; ``cost`` by zone, money, work included.

    ``frees``: positions of its old ``zone`` that become free, by later week.
    """

    lot: str
    strain: str
    week: int
    pieces: int
    places: Mapping[str, Ground]
    sections: tuple[Section, ...]
    cost: Mapping[str, float]
    minutes: float
    zone: str
    frees: Mapping[int, int]

    @property
    def name(self) -> str:
        """Name of the lot."""
        return self.lot


class Stock(Protocol):
    """What the near weeks need to know of the lots of the book: what selling early or moving would cost the season."""

    def early_sales(self, pins: Collection[str]) -> Sequence[EarlySale]:
        """Sales that could be brought forward into a near week under some pins; at most one of a lot is chosen."""

    def held(self, lot: str, week: int, pieces: int) -> int:
        """Whole positions that so many pieces of a lot free in a later week if they go."""

    def move_cost(self, lot: str, week: int, zone_id: str) -> float | None:
        """Worth a lot loses by growing on in another zone from the week after a move (gains count negative), money.

        ``None``: it may not be moved there.
        """


class NoStock:
    """Lots of the book that sell as planned and stay where they are."""

    def early_sales(self, pins: Collection[str]) -> Sequence[EarlySale]:  # noqa: ARG002
        """None."""
        return ()

    def held(self, lot: str, week: int, pieces: int) -> int:  # noqa: ARG002
        """Nothing goes."""
        return 0

    def move_cost(self, lot: str, week: int, zone_id: str) -> float | None:  # noqa: ARG002
        """No lot may be moved."""
        return None


def moves(farm: Farm, floor: Floor, stock: Stock, pins: Collection[str]) -> list[Move]:
    """L3, L7, L8, S3, L9 and pins: moves of lots of the book that leave their places free for a later near week.

    A lot that is sold in part after the move, but in the near weeks, is left where it is.
    """
    found = []
    for lot in farm.lots:
        for week in farm.weeks.near_weeks[:-1]:
            left = floor.left(lot.lot, farm.weeks.near_weeks[-1]) if lot.alive else 0
            if left and left == floor.left(lot.lot, week) and may_move(farm, lot, week, pins):
                move = _move(farm, floor, stock, lot, week, pins)
                if move.places:
                    found.append(move)
    return found


def may_move(farm: Farm, lot: Lot, week: int, pins: Collection[str]) -> bool:
    """L3, S3, P1: settled, not moved of late, its water not on hold, not pinned."""
    s, weeks = farm.settings, farm.weeks
    if week - weeks.week_of(lot.cut_date) < s.settle_weeks:
        return False
    if lot.moved_date is not None and week - weeks.week_of(lot.moved_date) < s.adapt_weeks:
        return False
    if farm.on_hold(farm.system_of_rack(lot.rack), week):
        return False
    held = (p for p in farm.pins if p.pin in pins and p.kind == "hold lot" and p.lot == lot.lot)
    return not any(pin_covers(farm, p, week) for p in held)


def _move(farm: Farm, floor: Floor, stock: Stock, lot: Lot, week: int, pins: Collection[str]) -> Move:
    traits, pieces = farm.traits(lot.strain), floor.left(lot.lot, week)
    home = farm.system_of_rack(lot.rack)
    minutes = farm.settings.move_lot_minutes + farm.settings.move_frag_minutes * pieces
    work = minutes / 60 * float(farm.settings.wage_per_hour)
    low, high = step(farm, floor, lot, week)
    places: dict[str, Ground] = {}
    for rack in farm.racks:
        same_water = rack.rack != lot.rack and farm.system_of_rack(rack.rack) == home
        if not same_water or rack.flow not in traits.flow_growing or not takes(farm, floor, rack, lot.strain, week, pins):
            continue
        par = par_of_rack(farm, rack.rack, week)
        ground = floor.ground(lot.strain, week, rack.rack, (low <= par) & (par <= high))
        free: dict[Position, Mapping[str, int]] = {p: ways for p, ways in ground.items() if not ways}
        if len(free) >= pieces * traits.plug_area:
            places[rack.rack] = free
    cost = {}
    for section in sections_of(farm, places):
        lost = stock.move_cost(lot.lot, week, section.zone)
        if lost is not None:
            cost[section.zone] = work + lost
    sections = tuple(s for s in sections_of(farm, places) if s.zone in cost)
    racks = {s.rack for s in sections}
    return Move(
        lot.lot, lot.strain, week, pieces, {r: g for r, g in places.items() if r in racks}, sections, cost, minutes,
        old_stand(farm, lot.lot).zone, {w: stock.held(lot.lot, w, floor.left(lot.lot, w)) for w in farm.weeks.later_weeks},
    )  # fmt: skip


def step(farm: Farm, floor: Floor, lot: Lot, week: int) -> tuple[float, float]:
    """L3: dimmest and brightest PAR a lot may be moved to in a week."""
    traits = farm.traits(lot.strain)
    par = par_of_rack(farm, lot.rack, week)
    (held,) = [t.positions for t in floor.taken(lot.rack, week) if t.name == lot.lot]
    lowest = min(float(par[p]) for p in held)
    return traits.par_min, min(traits.par_max, (1 + farm.settings.max_step_up) * lowest)


def work_of(sale: EarlySale) -> tuple[Kind, float]:
    """Kind and minutes of the work an early sale brings into its week."""
    return PACKING, sale.minutes


def work_of_move(move: Move) -> tuple[Kind, float]:
    """Kind and minutes of the work of a move."""
    return CARING, move.minutes
