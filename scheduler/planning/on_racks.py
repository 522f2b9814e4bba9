"""Lots on racks between season and near weeks: as they grow, as a season plan sells them, and the near weeks' cuts as new lots."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from scheduler.biology.life import life
from scheduler.biology.zones import zones
from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced, Cut, Stand
from scheduler.plan.view import life_of_lot, old_stand, pars_of
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.near.stock import move_stands
from scheduler.planning.pins import ASKING, describe_pin
from scheduler.planning.season_plan import SeasonPlan
from scheduler.season.guide import Wish
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.week.model import ChosenCut, ChosenMove


def lots_on_racks(farm: Farm, moved: Iterable[ChosenMove] = ()) -> list[Growing]:
    """Lots of the book; those that move in the near weeks grow on in their new zone."""
    new_places = move_stands(moved)
    found = []
    for lot in farm.lots:
        if lot.alive:
            stands = (old_stand(farm, lot.lot), *((new_places[lot.lot],) if lot.lot in new_places else ()))
            course = life_of_lot(farm, lot.lot, stands)
            system = farm.system_of_rack(lot.rack)
            found.append(Growing(lot.lot, lot.strain, lot.alive, course, system, stands[-1].zone, 1, False))
    return found


def wishes_of(plan: SeasonPlan) -> dict[str, list[Wish]]:
    """How the lots of a season plan should leave, by lot."""
    guide = plan.guide()
    return {lot.id: guide.lot(n) for n, lot in enumerate(plan.season.lots)}


def sell_as_wished(
    seller: Seller, lots: Sequence[Growing], wishes: Mapping[str, Sequence[Wish]], until: int, *, all_now: bool = True
) -> None:
    """Sell lots up to a week as a season plan wishes; pieces whose wish cannot be met look for another way.

    Without ``all_now`` they stay: there will be another plan.
    """
    for lot in lots:
        seller.enter_counts(lot)
    failed = {lot.id: seller.sell_guided(lot, wishes[lot.id], until) for lot in lots if lot.id in wishes}
    for lot in lots:
        if all_now and failed.get(lot.id):
            seller.sell_failed(lot, failed[lot.id])
        seller.release_counts(lot)


def room_left(farm: Farm, ledger: Ledger) -> tuple[dict[tuple[str, int], int], dict[tuple[str, int], int]]:
    """L1, L9: whole positions the ledger leaves, by system and near week, and by light zone and later week; below 0 where lots hold
    more than they may.
    """
    weeks = farm.weeks
    system = {
        (s.system, w): int(ledger.system_limit[s.system] - ledger.system_held(s.system, w) + 1e-9)
        for s in farm.systems
        for w in weeks.near_weeks
    }
    zone = {(z.id, w): math.floor(ledger.room(z, (w,)) + 1e-9) for z in ledger.zones.values() for w in weeks.later_weeks}
    return system, zone


def countable(
    farm: Farm, ledger: Ledger, near: NearPlan, pinned: Collection[str], announced: Sequence[Announced] = ()
) -> NearPlan:  # fmt: skip
    """S1: leaves out cuts whose lots nobody could count, where standing work alone fills a coming week; announced ones last.

    Raises ``PinConflict`` where one of the ``pinned`` asks for such a cut.
    """
    s = farm.settings
    kept, gave_way = [], list(near.gave_way)
    counts: Counter[int] = Counter()
    told = {(a.colony, a.week) for a in announced}
    for cut in sorted(near.cuts, key=lambda c: (c.option.name, c.option.week) not in told):
        name, week = cut.option.colony.colony, cut.option.week
        due = range(week + s.count_weeks, farm.weeks.count + 1, s.count_weeks)
        full = [w for w in due if not ledger.care_fits_overtime(w, (counts[w] + 1) * s.count_lot_minutes)]
        if not full:
            counts.update(due)
            kept.append(cut)
            continue
        pins = [p.pin for p in farm.pins if p.pin in pinned and p.colony == name and p.kind in ASKING]
        if pins:
            why = f"{farm.weeks.label(full[0])} has no hours left to count its lot"
            raise PinConflict(pins, [f"{describe_pin(farm, p)}, but {why}" for p in pins])
        gave_way.append(f"{name}: not cut, since {farm.weeks.label(full[0])} has no hours left to count its lot")
    return replace(near, cuts=tuple(kept), gave_way=tuple(gave_way))


def as_lot(farm: Farm, near_cut: ChosenCut, code: str, number: int) -> tuple[Cut, Stand, Growing]:
    """A near cut with its label code and its place in the session's order, where its frags stand, and the lot they are."""
    colony, week = near_cut.option.colony, near_cut.option.week
    zone = zones(farm)[near_cut.section.zone]
    cut = Cut(
        lot=code, colony=colony.colony, strain=colony.strain, week=week, pieces=near_cut.pieces, session=near_cut.session,
        run_order=number, cutter=near_cut.cutter, mounter=near_cut.mounter,
    )  # fmt: skip
    stand = Stand(
        lot=code, week=week, zone=zone.id, rack=near_cut.section.rack, blocks=near_cut.blocks, pieces=near_cut.pieces
    )  # fmt: skip
    course = life(farm, colony.strain, week, week, pars_of(farm, week, (stand,)))
    return cut, stand, Growing(code, colony.strain, near_cut.pieces, course, zone.system, zone.id, week, True)
