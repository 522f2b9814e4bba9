"""A plan as it was entered in the ledger, said again in the words of its season: programmes and ways out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from scheduler.biology.growth import levels
from scheduler.plan.model import Cut, Sale
from scheduler.season.capacity import LIST_PRICE
from scheduler.season.chosen import Chosen
from scheduler.season.columns import Season
from scheduler.season.later import LaterCut
from scheduler.season.outlets import Outlet
from scheduler.season.pool import Pattern
from scheduler.season.sales import Growing
from scheduler.season.ways_out import Way


class _Markets:
    """What list-price markets still take, while sales are told in the order of their weeks."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.left = season.capacity.limits.copy()

    def sold(self, track: int, week: int, outlet: int, most: int) -> int:
        """Pieces of at most so many that the rows of a list-price outlet still take; they are taken off."""
        frags, rows = self.season.tracks.frags(track, week), self.season.capacity.rows
        uses = ((r, a * frags) for r, a in self.season.outlets.uses_of(outlet) if rows[r].kind in LIST_PRICE)
        markets = [(r, a) for r, a in uses if a > 0]
        fits = min((max(0, int(self.left[r] / a + 1e-9)) for r, a in markets), default=most)
        pieces = min(most, fits)
        for r, a in markets:
            self.left[r] -= a * pieces
        return pieces


def as_entered(season: Season, cuts: Sequence[Cut], lots: Sequence[Growing], later: Sequence[LaterCut]) -> Chosen:
    """The choice a plan amounts to, given all its cuts and lots; ``later``: the cuts of the season itself. What is sold before
    the season is past.
    """
    farm, last = season.farm, season.farm.weeks.count
    done: dict[str, dict[int, int]] = defaultdict(dict)
    for cut in cuts:
        done[cut.colony][cut.week] = cut.pieces
    planned: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
    track_of = {lot.id: season.tracks.lot_from + j for j, lot in enumerate(season.lots)}
    for x in later:
        track = track_of[x.cut.lot] = _track(season, x)
        planned[season.place[x.cut.colony]].append((x.cut.week, x.cut.pieces, track))
    patterns: dict[int, Pattern] = {}
    for i, colony in enumerate(season.colonies):
        end = levels(farm, colony, done[colony.colony], until=last + 1)[last + 1]
        programmes, _ = season.strains[colony.strain]
        patterns[i] = tuple(sorted(planned[i])), programmes.index(end) + programmes.low
    leaving: dict[tuple[int, Way], float] = defaultdict(float)
    markets = _Markets(season)
    sales = sorted(
        ((s, track_of[lot.id]) for lot in lots if lot.id in track_of for s in lot.sales if s.week >= season.first),
        key=lambda x: (x[0].week, x[0].lot, x[0].route),
    )
    for sale, track in sales:
        for outlet, pieces in _outlets(season, markets, track, sale):
            leaving[track, (sale.week, outlet)] += pieces
    staying = [(track_of[lot.id], lot.unrouted) for lot in lots if lot.id in track_of and lot.unrouted > 0]
    for track, pieces in sorted(staying, key=lambda x: (-_end_worth(season, x[0]), x[0])):
        for outlet, n in _left(season, markets, track, pieces):
            leaving[track, (last + 1, outlet)] += n
    return Chosen(patterns, dict(leaving), float("nan"))


def _track(season: Season, x: LaterCut) -> int:
    pair = season.tracks.pair_of[x.cut.strain, season.tracks.class_of[x.stand.zone]]
    return season.tracks.track(pair, x.cut.week)


def _outlets(season: Season, markets: _Markets, track: int, sale: Sale) -> list[tuple[int, int]]:
    """(outlet, pieces) a sale amounts to: the market at list price while it takes them, then beyond."""
    strain = int(season.tracks.strain[track])
    names = [c.size_class for c in season.farm.size_classes(season.farm.strains[strain].strain)]
    open_to = {
        _key(season.outlets.rows[o]): o
        for o in season.outlets.at(strain, sale.week, names.index(sale.size_class))
        if season.outlets.rows[o].channel == sale.channel
    }
    if sale.route != "market":
        return [(open_to[sale.route, sale.order], sale.pieces)]
    listed = markets.sold(track, sale.week, open_to["list", None], sale.pieces)
    return [(o, n) for o, n in ((open_to["list", None], listed), (open_to["discount", None], sale.pieces - listed)) if n]


def _key(outlet: Outlet) -> tuple[str, str | None]:
    return outlet.kind, outlet.order


def _end_outlets(season: Season, track: int) -> dict[str, int]:
    tracks, last = season.tracks, season.farm.weeks.count
    return {
        season.outlets.rows[o].kind: o
        for o in season.outlets.at(int(tracks.strain[track]), last + 1, int(tracks.left_class[track]))
    }


def _end_worth(season: Season, track: int) -> float:
    kind = "left old" if season.tracks.left_old[track] else "left listed"
    return season.tracks.worth(track, season.farm.weeks.count + 1, _end_outlets(season, track)[kind])


def _left(season: Season, markets: _Markets, track: int, pieces: int) -> list[tuple[int, int]]:
    """(outlet, pieces) of those still there at the horizon."""
    kinds = _end_outlets(season, track)
    if season.tracks.left_old[track]:
        return [(kinds["left old"], pieces)]
    listed = markets.sold(track, season.farm.weeks.count + 1, kinds["left listed"], pieces)
    return [(o, n) for o, n in ((kinds["left listed"], listed), (kinds["left beyond"], pieces - listed)) if n]
