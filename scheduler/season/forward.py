"""The weeks after the near ones: a plain pass that cuts each colony when its programme says so and its frags have a way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from scheduler.biology.growth import after_cut, curve, grow, most_pieces, rested_from, season_open, uncut_level
from scheduler.biology.life import life
from scheduler.biology.zones import Zone, zone_racks
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import cut_kind, cutting_minutes, mount_kind, mounting_minutes
from scheduler.farm.pins import kept_free
from scheduler.plan.model import Cut, Stand
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth

_TRIES = 4


@dataclass(frozen=True)
class LaterCut:
    """A cut of a later week with the place its frags settle in."""

    cut: Cut
    stand: Stand
    lot: Growing


class ForwardPass:
    """Plans later weeks one after the other, best colonies first."""

    def __init__(
        self, farm: Farm, worth: Worth, ledger: Ledger, seller: Seller, code: Callable[[str, int], str], pins: frozenset[str]
    ) -> None:
        self.farm = farm
        self.worth = worth
        self.ledger = ledger
        self.seller = seller
        self.code = code
        self.pins = pins
        self.weeks = farm.weeks
        self._state: dict[str, tuple[int, int]] = {}

    def run(self, near_cuts: list[Cut]) -> list[LaterCut]:
        """All later cuts; ``near_cuts`` are already entered in the ledger."""
        for cut in near_cuts:
            self._note(self.farm.colony[cut.colony], cut.week, cut.pieces)
        found: list[LaterCut] = []
        for week in self.weeks.later_weeks:
            offers = []
            for colony in self.farm.colonies:
                pieces = self._wanted(colony, week)
                if pieces:
                    per_piece = self.worth.piece(colony.strain, week, colony.par_umol)
                    cost = self.worth.colony_cost(colony) / pieces
                    if per_piece > cost:
                        offers.append((cost - per_piece, colony.colony, pieces))
            for _, name, pieces in sorted(offers):
                done = self._try(self.farm.colony[name], week, pieces)
                if done is not None:
                    found.append(done)
                    self._note(self.farm.colony[name], week, done.cut.pieces)
        return found

    # ---- colonies -------------------------------------------------------------------------------------------------

    def _note(self, colony: Colony, week: int, pieces: int) -> None:
        sizes = curve(self.farm.traits(colony.strain))
        self._state[colony.colony] = (week, after_cut(sizes, self._level(colony, week), pieces))

    def _level(self, colony: Colony, week: int) -> int:
        last = self._state.get(colony.colony)
        if last is None:
            return uncut_level(self.farm, colony, week)
        traits = self.farm.traits(colony.strain)
        return grow(curve(traits), last[1], week - last[0] - traits.pause_weeks)

    def _wanted(self, colony: Colony, week: int) -> int:
        """Pieces the colony's programme takes in a week; 0 if it may not be cut or is better left."""
        farm = self.farm
        if colony.condition != "fit" or not season_open(farm, colony, week) or week < rested_from(farm, colony):
            return 0
        if farm.on_hold(farm.system_of_tank(colony.tank), week):
            return 0
        traits = farm.traits(colony.strain)
        last = self._state.get(colony.colony)
        if last is not None and week < last[0] + traits.rest_weeks:
            return 0
        level = self._level(colony, week)
        take = int(self.worth.programmes[colony.colony].take[week, level])
        return min(take, most_pieces(traits, curve(traits)[level]))

    # ---- places ---------------------------------------------------------------------------------------------------

    def _zones(self, colony: Colony, week: int) -> list[Zone]:
        """Zones its frags may settle in, nearest light first (L2, L6, L7, L8, L9 and pins)."""
        farm, s = self.farm, self.farm.settings
        traits = farm.traits(colony.strain)
        home = farm.system_of_tank(colony.tank)
        settling = range(week, min(week + max(s.settle_weeks, 1), self.weeks.count + 1))
        low, high = (1 - s.dim) * colony.par_umol, (1 + s.bright) * colony.par_umol
        found = []
        for zone in self.ledger.zones.values():
            if not farm.may_settle_in(home, zone.system, week) or zone.flow not in traits.flow_settling:
                continue
            if farm.tank_closed(zone.tank, week) or not all(low <= zone.par_in(w) <= high for w in settling):
                continue
            racks = zone_racks(zone)
            if not any(traits.plug_kind in farm.rack[r].plug_kinds for r in racks) or kept_free(
                farm, self.pins, zone.tank, racks, week
            ):
                continue
            if company_clash(farm, self.ledger, colony.strain, zone, range(week, self.weeks.count + 1)):
                continue
            found.append(zone)
        return sorted(found, key=lambda z: (abs(z.par_in(week) - colony.par_umol), z.id))

    def _try(self, colony: Colony, week: int, pieces: int) -> LaterCut | None:
        traits = self.farm.traits(colony.strain)
        for zone in self._zones(colony, week):
            wanted = min(pieces, self.farm.system[zone.system].max_fresh - self.ledger.fresh[zone.system, week])
            for _ in range(_TRIES):
                if wanted < traits.min_pieces:
                    break
                before = self.ledger.snapshot()
                needs = self.seller.order_need.copy()
                done, better = self._commit(colony, week, zone, wanted)
                if done is not None:
                    return done
                self.ledger.restore(before)
                self.seller.order_need = needs
                wanted = min(wanted - 1, better)
        return None

    def _commit(self, colony: Colony, week: int, zone: Zone, pieces: int) -> tuple[LaterCut | None, int]:
        """Enter a cut; ``None`` and a smaller number of pieces to try if something does not fit."""
        farm, ledger = self.farm, self.ledger
        traits = farm.traits(colony.strain)
        area = traits.plug_rows * traits.plug_cols
        bench = {cut_kind(farm, colony.strain): cutting_minutes(farm, colony.colony, pieces)}
        mount = mount_kind(farm, colony.strain)
        bench[mount] = bench.get(mount, 0.0) + mounting_minutes(farm, colony.strain, pieces)
        if not ledger.bench_fits(week, bench):
            return None, pieces * 2 // 3
        pars = tuple(zone.par_in(w) for w in range(week, self.weeks.count + 1))
        code = self.code(colony.strain, week)
        found = life(farm, colony.strain, week, week, pars)
        lot = Growing(code, colony.strain, pieces, found, zone.system, zone.id, week, True)
        self.seller.fill_orders([lot])
        self.seller.sell_rest(lot)
        left = lot.left(self.weeks.count)
        ratio = 1.0
        for w, count in left.items():
            need = count * float(found.held[w]) * area
            room = ledger.room(zone, (w,))
            if count and need > room + 1e-9:
                ratio = min(ratio, max(0.0, room) / need)
        if ratio < 1.0:
            return None, int(pieces * ratio)
        if not self._counts_fit(lot) or self._earned(lot) <= self._cost(colony, pieces):
            return None, 0
        ledger.hold(zone.id, found, area, left)
        ledger.add_bench(week, bench)
        ledger.fresh[zone.system, week] += pieces
        self.seller.enter_counts(lot)
        for w, count in left.items():
            if count:
                ledger.tank_strains[zone.tank, w].add(colony.strain)
        cut = Cut(lot=code, colony=colony.colony, strain=colony.strain, week=week, pieces=pieces)
        return LaterCut(cut, Stand(lot=code, week=week, zone=zone.id, pieces=pieces), lot), pieces

    def _counts_fit(self, lot: Growing) -> bool:
        minutes = self.farm.settings.count_lot_minutes
        return all(self.ledger.care_fits(w, minutes) for w in self.seller.counted_in(lot))

    def _earned(self, lot: Growing) -> float:
        """Sales of a lot and what is left of it at the end, less packing."""
        total = 0.0
        packing = self.worth.packing_cost()
        for sale in lot.sales:
            price = self.worth.graded_price(lot.strain, sale.size_class)
            if sale.order is not None:
                price = float(self.farm.order[sale.order].price)
            total += sale.pieces * float(lot.life.alive[sale.week]) * (price - packing)
        first = min(lot.life.ready, key=lambda k: lot.life.ready[k], default=None)
        if first is not None:
            rest = lot.unrouted * float(lot.life.alive_when_ready[first])
            total += rest * (self.worth.graded_price(lot.strain, first) - packing) * self.farm.settings.end_frag_share
        return total

    def _cost(self, colony: Colony, pieces: int) -> float:
        return self.worth.colony_cost(colony) + pieces * self.worth.work_cost(colony.strain)


def company_clash(farm: Farm, ledger: Ledger, strain: str, zone: Zone, weeks: range) -> bool:
    """L7: whether a strain would share a tank or system with one it is kept apart from in any of the weeks."""
    tanks = {t.tank: t.system for t in farm.tanks}
    for tank, system in tanks.items():
        if system != zone.system:
            continue
        for week in weeks:
            for other in ledger.tank_strains[tank, week]:
                kept = farm.strains_apart(strain, other)
                if kept == "system" or (kept == "tank" and tank == zone.tank):
                    return True
    return False
