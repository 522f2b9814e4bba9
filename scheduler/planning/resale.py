"""With every cut decided, all sales once more together: an exact sales programme over all lots, made whole."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace

from scheduler.biology.zones import Zone, zones
from scheduler.errors import NoPlanFound
from scheduler.farm.farm import Farm
from scheduler.plan.view import old_stand
from scheduler.planning.books import Books
from scheduler.planning.company import met
from scheduler.planning.entering import Entered
from scheduler.planning.on_racks import wishes_of
from scheduler.planning.season_plan import SeasonPlan, plan_season
from scheduler.season.ledger import system_limit, zone_limit
from scheduler.season.sales import Growing
from scheduler.season.whole_orders import add_cover

TRIES = 4

MARGIN = 1.0
"""Positions kept back in each light zone, since whole pieces are not exactly what the programme mixes."""


def resell(
    farm: Farm, entered: Entered, *, first: int, pins: Sequence[str], seed: int, books: Callable[[], Books], warm: SeasonPlan,
    stop: threading.Event,
) -> Entered | None:  # fmt: skip
    """The lots with their sales from week ``first`` on decided anew; ``None`` if no way was found that keeps the limits.

    Sales before ``first`` stay, and so do those of lots in a light zone that the new sales would overrun, or where they would bring
    lots together that keep apart.
    """
    room = {(z.id, w): max(_room(farm, z) - MARGIN, 0.0) for z in zones(farm).values() for w in farm.weeks.later_weeks}
    full: set[str] = set()
    for _ in range(TRIES):
        opened = books()
        try:
            again = _sold(farm, entered.lots, full, room, first, pins, seed, opened, warm, stop)
        except NoPlanFound:
            return None
        over = overrun(farm, again) | met(farm, entered.lots, again)
        if not over:
            found = replace(entered, lots=again, need=opened.seller.needs())
            return None if any(opened.ledger.overbooked(w) for w in farm.weeks.all) else found
        if over <= full:
            return None
        full |= over
    return None


def overrun(farm: Farm, lots: Sequence[Growing]) -> set[str]:
    """L1, L9, P2: light zones that hold more than they or their water system may in a later week, and more than the lots of the
    book alone would, unmoved.
    """
    book = [replace(lot, zone=old_stand(farm, lot.id).zone) for lot in lots if not lot.is_new]
    return over_limits(farm, _used(farm, book), _used(farm, lots))


def over_limits(farm: Farm, alone: Mapping[tuple[str, int], float], all_: Mapping[tuple[str, int], float]) -> set[str]:
    """The same, from positions held by light zone and week: by the lots of the book, and by all."""
    table = zones(farm)
    found = {
        zone
        for (zone, week), amount in all_.items()
        if week in farm.weeks.later_weeks and amount > max(_room(farm, table[zone]), alone.get((zone, week), 0.0)) + 1e-6
    }
    for system in farm.systems:
        mine = [z for z in table.values() if z.system == system.system]
        limit = system_limit(farm, system.system) - sum(z.mothers for z in mine)
        for week in farm.weeks.later_weeks:
            held, by_book = (sum(used.get((z.id, week), 0.0) for z in mine) for used in (all_, alone))
            if held > max(limit, by_book) + 1e-6:
                found |= {z.id for z in mine}
    return found


def _room(farm: Farm, zone: Zone) -> float:
    return zone_limit(farm, zone) - zone.mothers


def _sold(
    farm: Farm, lots: Sequence[Growing], full: Collection[str], room: Mapping[tuple[str, int], float], first: int,
    pins: Sequence[str], seed: int, books: Books, warm: SeasonPlan, stop: threading.Event,
) -> list[Growing]:  # fmt: skip
    """The lots sold anew within ``room`` by zone and week, in fresh books; those in ``full`` zones, and for orders that refuse
    parts, as before.
    """
    ledger, seller = books.ledger, books.seller
    whole = {o.order for o in farm.orders if not o.partial_ok}
    again = [replace(lot, sales=[]) for lot in lots]
    free = []
    for lot, old in zip(again, lots, strict=True):
        stays = lot.zone in full or any(s.order in whole for s in old.sales)
        seller.repeat(lot, [s for s in old.sales if stays or s.week < first])
        seller.enter_counts(lot)
        if not stays:
            free.append(lot)
    plan = plan_season(
        farm, free, pins=pins, seed=seed, first=first, ledger=ledger, order_need=seller.still_to_plan(), cutting=False,
        single=True, room=room, warm=warm, stop=stop,
    )  # fmt: skip
    wishes = wishes_of(plan)
    for lot in free:
        if lot.id in wishes:
            failed = seller.sell_guided(lot, wishes[lot.id], farm.weeks.count)
            if failed:
                seller.sell_failed(lot, failed)
    add_cover(farm, seller, again, farm.weeks.later_weeks)
    for lot in again:
        seller.release_counts(lot)
    return again


def _used(farm: Farm, lots: Sequence[Growing]) -> dict[tuple[str, int], float]:
    """Positions lots hold by light zone and week."""
    found: dict[tuple[str, int], float] = {}
    for lot in lots:
        traits = farm.traits(lot.strain)
        area = traits.plug_area
        for week, pieces in lot.left(farm.weeks.count).items():
            share = 1.0 if week in farm.weeks.near_weeks else float(lot.life.held[week])
            found[lot.zone, week] = found.get((lot.zone, week), 0.0) + pieces * area * share
    return found
