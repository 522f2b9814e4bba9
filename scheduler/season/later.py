"""The weeks after the near ones: the season plan's cuts entered one by one, with a tank for each lot and whole sales."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.biology.growth import after_cut, curve, grow, most_pieces
from scheduler.biology.life import life
from scheduler.biology.zones import Zone, zone_racks
from scheduler.farm.coral import Colony
from scheduler.farm.hours import bench_need
from scheduler.farm.pins import kept_free
from scheduler.plan.model import Cut, Stand
from scheduler.season.admission import Admission
from scheduler.season.chosen import Chosen
from scheduler.season.columns import Season
from scheduler.season.guide import Guide, Wish
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller

SHRINKS = 4
"""How often a cut that does not fit is tried smaller before it is left out."""


@dataclass(frozen=True)
class LaterCut:
    """A cut of a later week with the place its frags settle in."""

    cut: Cut
    stand: Stand
    lot: Growing


class LaterWeeks:
    """Enters the cuts of a season plan in the ledger, week by week, as far as they fit."""

    def __init__(
        self, season: Season, chosen: Chosen, guide: Guide, ledger: Ledger, seller: Seller, code: Callable[[str, int], str]
    ) -> None:
        self.season, self.chosen, self.guide = season, chosen, guide
        self.farm, self.weeks = season.farm, season.farm.weeks
        self.ledger, self.seller, self.code = ledger, seller, code
        self.admission = Admission(self.farm, season.pins)
        self._state: dict[str, tuple[int, int]] = {}

    def run(self) -> list[LaterCut]:
        """All later cuts that fit, in order of weeks; within a week the most pieces first."""
        wanted = [
            (week, -pieces, self.season.colonies[i], track)
            for i, (cuts, _) in self.chosen.patterns.items()
            for week, pieces, track in cuts
        ]
        found = []
        for week, negative, colony, track in sorted(wanted, key=lambda x: (x[0], x[1], x[2].colony)):
            wishes = self.guide.take(track, -negative)
            done = self._try(colony, week, min(-negative, self._most(colony, week)), track, wishes)
            if done is not None:
                found.append(done)
                self._note(colony, week, done.cut.pieces)
        return found

    # ---- colonies -------------------------------------------------------------------------------------------------

    def _level(self, colony: Colony, week: int) -> int | None:
        """Level before a cut in a week; ``None`` while it still rests (a cut before turned out later or was left out)."""
        sizes = curve(self.farm.traits(colony.strain))
        start = self.season.starts[colony.colony]
        last = self._state.get(colony.colony)
        if last is None:
            return None if week < start.week else grow(sizes, start.level, week - start.week)
        traits = self.farm.traits(colony.strain)
        if week < last[0] + traits.rest_weeks:
            return None
        return grow(sizes, last[1], week - last[0] - traits.pause_weeks)

    def _most(self, colony: Colony, week: int) -> int:
        level = self._level(colony, week)
        traits = self.farm.traits(colony.strain)
        return 0 if level is None else most_pieces(traits, curve(traits)[level])

    def _note(self, colony: Colony, week: int, pieces: int) -> None:
        level = self._level(colony, week)
        assert level is not None
        self._state[colony.colony] = (week, after_cut(curve(self.farm.traits(colony.strain)), level, pieces))

    # ---- places ---------------------------------------------------------------------------------------------------

    def _try(self, colony: Colony, week: int, pieces: int, track: int, wishes: Sequence[Wish]) -> LaterCut | None:
        least = self.farm.traits(colony.strain).min_pieces
        for _ in range(SHRINKS):
            if pieces < least:
                return None
            better = 0
            for zone in self._zones(colony, week, track):
                done, fits = self._commit(colony, week, zone, pieces, wishes)
                if done is not None:
                    return done
                better = max(better, fits)
            pieces = min(pieces - 1, better)
        return None

    def _zones(self, colony: Colony, week: int, track: int) -> list[Zone]:
        """Zones its frags may settle in: the planned light class first, and in it the emptiest tank first.

        Where uneven use of tanks costs, all zones of like light count as planned, whatever zone the season chose.
        """
        tracks, ledger = self.season.tracks, self.ledger
        planned = {z.id for z in tracks.classes[int(tracks.light_class[track])].zones}
        if self.farm.settings.uneven_cost:
            alike = {ledger.zones[z].light_class for z in planned}
            planned |= {z.id for z in ledger.zones.values() if z.light_class in alike}
        stay = range(week, min(week + 12, self.weeks.count) + 1)
        found = []
        for k in np.flatnonzero(self.admission.suits(colony)[week - 1]).tolist():
            zone = self.admission.zones[k]
            if kept_free(self.farm, self.season.pins, zone.tank, zone_racks(zone), week):
                continue
            if ledger.clashes(colony.strain, zone, range(week, self.weeks.count + 1)):
                continue
            use = ledger.fullest(zone, stay)
            off = abs(zone.par_in(week) - colony.par_umol) / colony.par_umol
            found.append(((zone.id not in planned, use if zone.id in planned else off, zone.id), zone))
        return [zone for _, zone in sorted(found, key=lambda x: x[0])]

    def _commit(self, colony: Colony, week: int, zone: Zone, pieces: int, wishes: Sequence[Wish]) -> tuple[LaterCut | None, int]:
        """Enter a cut; ``None`` and a smaller number of pieces to try if something does not fit."""
        farm, ledger = self.farm, self.ledger
        traits = farm.traits(colony.strain)
        fresh = farm.system[zone.system].max_fresh - ledger.fresh[zone.system, week]
        bench = bench_need(farm, colony.colony, pieces)
        if not ledger.bench_fits(week, bench):
            return None, pieces * 3 // 4
        if fresh < pieces:
            return None, fresh
        pars = tuple(zone.par_in(w) for w in range(week, self.weeks.count + 1))
        lot = Growing("", colony.strain, pieces, life(farm, colony.strain, week, week, pars), zone.system, zone.id, week, True)
        failed = self.seller.sell_guided(lot, _scaled(wishes, pieces), self.weeks.count)
        if failed:
            self.seller.sell_failed(lot, failed)
        area = traits.plug_area
        left = lot.left(self.weeks.count)
        ratio = ledger.fitting_share(zone, lot.life, area, left)
        counts = farm.settings.count_lot_minutes
        if ratio < 1.0 or not all(ledger.care_fits(w, counts) for w in self.seller.counted_in(lot)):
            self.seller.take_back(lot)
            return None, int(pieces * ratio) if ratio < 1.0 else 0
        lot.name(self.code(colony.strain, week))
        ledger.occupy(zone.id, colony.strain, lot.life, left)
        ledger.add_bench(week, bench)
        ledger.fresh[zone.system, week] += pieces
        self.seller.enter_counts(lot)
        cut = Cut(lot=lot.id, colony=colony.colony, strain=colony.strain, week=week, pieces=pieces)
        return LaterCut(cut, Stand(lot=lot.id, week=week, zone=zone.id, pieces=pieces), lot), pieces


def _scaled(wishes: Sequence[Wish], pieces: int) -> list[Wish]:
    """Wishes for fewer pieces: the last to leave are given up first."""
    found, left = [], pieces
    for wish in wishes:
        n = min(left, wish.pieces)
        if n > 0:
            found.append(Wish(wish.outlet, n))
            left -= n
    return found
