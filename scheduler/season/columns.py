"""What colonies and lots can do all season, as columns of a linear programme, and what each is worth at some prices.

At given prices the best way out of every track and the best cut programme of every colony are exact maxima.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.course import course
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING
from scheduler.farm.standard import standard
from scheduler.season.capacity import Capacity
from scheduler.season.cut_costs import CutCosts, CutUse
from scheduler.season.ledger import Ledger
from scheduler.season.outlets import Outlets, interest, unserved_cost
from scheduler.season.programmes import Programme, StrainProgrammes, start_of
from scheduler.season.tracks import StandingLot, Tracks, Ways

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class PlannedCut:
    """One cut of a column: week, pieces, the track its frags take and how they leave."""

    week: int
    pieces: int
    track: int
    leaves: int
    outlet: int


@dataclass(frozen=True)
class Column:
    """What one colony (``source`` < number of colonies) does all season, or how one piece of a lot leaves."""

    source: int
    worth: float
    uses: Mapping[int, float]
    cuts: tuple[PlannedCut, ...] = ()
    end_level: int = 0
    leaves: int = 0
    outlet: int = -1


@dataclass(frozen=True)
class Prices:
    """Prices of all rows, and what follows from them: ways out, worth of a piece by colony and week, worth of waiting.

    ``settles[colony]``: the pair (strain and light class) its frags settle as, by week of the season.
    """

    rows: Floats
    ways: Ways
    piece: dict[str, Floats]
    settles: dict[str, Ints]
    tables: dict[str, tuple[Floats, Ints]]


class Season:
    """Everything the relaxation of one farm is made of. ``first``: first week with decisions still open."""

    def __init__(
        self, farm: Farm, lots: Sequence[StandingLot], *, first: int = 1, ledger: Ledger | None = None,
        cuts: Mapping[str, Mapping[int, int]] | None = None, pins: Collection[str] = (), cutting: bool = True, single: bool = False,
        rent: float = 0.0, within_market: bool = False,
    ) -> None:  # fmt: skip
        self.farm, self.first, self.cutting = farm, first, cutting
        self.pins = frozenset(pins)
        self.capacity = Capacity(farm, first, ledger, single=single)
        self.outlets = Outlets(farm, self.capacity)
        self.tracks = Tracks(farm, self.capacity, self.outlets, lots, self.pins, rent, within_market, cutting)
        self.lots = tuple(lots)
        self.colonies = list(farm.colonies)
        self.starts = {c.colony: start_of(farm, c, first, (cuts or {}).get(c.colony, {})) for c in self.colonies}
        by_strain: dict[str, list[int]] = defaultdict(list)
        for i, colony in enumerate(self.colonies):
            by_strain[colony.strain].append(i)
        self.strains = {
            strain: (
                StrainProgrammes(farm, strain, [self.colonies[i] for i in who], self.starts, first, self.pins),
                np.array(who),
            )
            for strain, who in by_strain.items()
        }
        if not cutting:
            for programmes, _ in self.strains.values():
                programmes.may_cut[:] = False
        self.place = {c.colony: i for i, c in enumerate(self.colonies)}
        self.costs = CutCosts(farm, self.capacity)
        self._spares: dict[int, tuple[float, float, float]] = {}

    # ---- what a cut costs and uses --------------------------------------------------------------------------------

    def cut_use(self, i: int, week: int) -> CutUse:
        """What cutting colony ``i`` in a week costs and uses."""
        return self.costs.use(self.colonies[i], week)

    # ---- prices ---------------------------------------------------------------------------------------------------

    def price(self, rows: Floats) -> Prices:
        """Everything that follows from row prices."""
        ways = self.tracks.ways(rows)
        hours = self.costs.hour_prices(rows)
        fresh = self.fresh_prices(rows)
        piece: dict[str, Floats] = {}
        settles: dict[str, Ints] = {}
        tables: dict[str, tuple[Floats, Ints]] = {}
        weeks = slice(self.first, self.farm.weeks.count + 1)
        for strain, (programmes, who) in self.strains.items():
            values = np.full((len(who), self.farm.weeks.count + 2), -np.inf)
            costs = np.zeros_like(values)
            best, pairs = self._places(strain, ways, fresh)
            for local, i in enumerate(who):
                colony = self.colonies[i]
                once, each = self.costs.priced(strain, colony.on_rock, hours)
                able = programmes.may_cut[local, weeks]
                costs[local, weeks] = np.where(able, once, 0.0)
                values[local, weeks] = np.where(able, best[local] - each, -np.inf)
                piece[colony.colony], settles[colony.colony] = values[local], pairs[local]
            tables[strain] = programmes.solve(values, costs, self.end_worth(strain, rows))
        return Prices(rows, ways, piece, settles, tables)

    def _places(self, strain: str, ways: Ways, fresh: Floats) -> tuple[Floats, Ints]:
        """(best worth of a piece, pair it settles as) over the light classes a colony may use, shape (colonies, weeks)."""
        tracks, (_, who) = self.tracks, self.strains[strain]
        pairs, weeks = tracks.pairs_of[strain], len(self.capacity.weeks)
        if not pairs:
            return np.full((len(who), weeks), -np.inf), np.zeros((len(who), weeks), dtype=np.int64)
        worth = ways.worth[pairs[0] * weeks : (pairs[-1] + 1) * weeks].reshape(len(pairs), weeks)
        table = (worth - fresh[[tracks.pairs[p][1] for p in pairs]]).T
        admitted = np.stack([tracks.admits[self.colonies[i].colony] for i in who])
        chosen = np.where(admitted, table, -np.inf)
        return chosen.max(axis=2), np.array(pairs)[np.argmax(chosen, axis=2)]

    def fresh_prices(self, rows: Floats) -> Floats:
        """S5: price of settling one more frag by light class and week."""
        table = np.zeros((len(self.capacity.classes), len(self.capacity.weeks)))
        for c in self.capacity.classes:
            for k, week in enumerate(self.capacity.weeks):
                row = self.capacity.find("fresh", c.system, week)
                table[c.index, k] = rows[row] if row is not None else 0.0
        return table

    def end_worth(self, strain: str, rows: Floats) -> Floats:
        """Worth of each colony's size at the horizon by level, shape (colonies, levels)."""
        programmes, who = self.strains[strain]
        row = self.capacity.find("end market", strain)
        price = rows[row] if row is not None else 0.0
        found = []
        for i in who:
            found.append(programmes.spare * self.spare_at(int(i), price))
        return np.array(found)

    def spare_at(self, i: int, price: float) -> float:
        """Worth of a spare piece at the horizon where a frag of the coming market costs so much."""
        alive, listed, beyond = self.spare_worth(i)
        return max(listed - alive * price, beyond)

    def spare_worth(self, i: int) -> tuple[float, float, float]:
        """Of a spare piece at the horizon: (frags of the coming market it takes, worth inside it, worth beyond it)."""
        if i not in self._spares:
            self._spares[i] = self._spare_piece(self.colonies[i])
        return self._spares[i]

    def _spare_piece(self, colony: Colony) -> tuple[float, float, float]:
        farm, s = self.farm, self.farm.settings
        traits = farm.traits(colony.strain)
        fresh = course(farm, colony.strain, (colony.par_umol,))
        classes = farm.size_classes(colony.strain)
        k = min(range(len(classes)), key=lambda x: fresh.ready[x], default=None)
        if k is None or fresh.ready[k] >= len(fresh.alive):
            return 0.0, 0.0, 0.0
        alive, row = fresh.alive_when_ready(k), classes[k]
        wage = float(s.wage_per_hour) / 60
        minutes = standard(farm, colony.strain, colony.on_rock)
        work = float(minutes.cut + minutes.each) * wage + self.costs.per_piece(colony.strain)
        rest = (1 - traits.good_share) * float(row.b_price) - s.pack_frag_minutes * wage
        share = s.end_colony_share * interest(farm, farm.weeks.count)
        listed = share * max(0.0, alive * (traits.good_share * float(row.list_price) + rest) - work)
        beyond = share * max(0.0, alive * (traits.good_share * float(row.discount_price) + rest) - work)
        return alive, listed, beyond

    # ---- columns --------------------------------------------------------------------------------------------------

    def column(self, i: int, programme: Programme, prices: Prices) -> Column:
        """A colony's programme with the best routes at some prices."""
        colony = self.colonies[i]
        pairs = prices.settles[colony.colony]
        cuts = []
        for week, pieces in programme.cuts:
            track = self.tracks.track(int(pairs[week - self.first]), week)
            cuts.append(PlannedCut(week, pieces, track, int(prices.ways.week[track]), int(prices.ways.outlet[track])))
        return self.compose(i, tuple(cuts), programme.end_level, prices.rows)

    def compose(self, i: int, cuts: tuple[PlannedCut, ...], end_level: int, rows: Floats) -> Column:
        """Worth and uses of a colony's cuts and end."""
        uses: dict[int, float] = defaultdict(float)
        worth = 0.0
        for cut in cuts:
            once, each, _ = self.cut_use(i, cut.week)
            worth += cut.pieces * (self.tracks.worth(cut.track, cut.leaves, cut.outlet) - each) - once
            for row, amount in self.cutting_rows(i, cut.week, cut.pieces, cut.track):
                uses[row] += amount
            for row, amount in self.tracks.uses(cut.track, cut.leaves, cut.outlet).items():
                uses[row] += amount * cut.pieces
        strain = self.colonies[i].strain
        programmes, _ = self.strains[strain]
        spare = float(programmes.spare[programmes.index(end_level)])
        alive, listed, beyond = self.spare_worth(i)
        coming = self.capacity.find("end market", strain)
        if coming is not None and spare and alive > 0 and listed - alive * rows[coming] >= beyond:
            worth += spare * listed
            uses[coming] += spare * alive
        else:
            worth += spare * beyond
        return Column(i, worth, dict(uses), cuts, end_level)

    def cutting_rows(self, i: int, week: int, pieces: int, track: int) -> Iterator[tuple[int, float]]:
        """S1, S5: rows of bench minutes and of fresh frags that cutting pieces of colony ``i`` onto a track uses."""
        for row, once, each in self.cut_use(i, week)[2]:
            yield row, once + each * pieces
        fresh = self.fresh_row(track, week)
        if fresh is not None:
            yield fresh, float(pieces)

    def fresh_row(self, track: int, week: int) -> int | None:
        """S5: the row of fresh frags a cut on a track uses."""
        return self.capacity.find("fresh", self.tracks.classes[int(self.tracks.light_class[track])].system, week)

    def lot_column(self, j: int, prices: Prices) -> Column:
        """The best way out for a piece of a lot."""
        n = self.tracks.lot_from + j
        return self._lot_way(j, int(prices.ways.week[n]), int(prices.ways.outlet[n]))

    def left_column(self, j: int) -> Column:
        """A piece of a lot that stays to the horizon and finds no market then: always possible."""
        return self._lot_way(j, self.farm.weeks.count + 1, self.tracks.left_beyond(self.tracks.lot_from + j))

    def _lot_way(self, j: int, week: int, outlet: int) -> Column:
        """A piece of a lot on one way out."""
        n = self.tracks.lot_from + j
        worth = self.tracks.worth(n, week, outlet)
        return Column(len(self.colonies) + j, worth, self.tracks.uses(n, week, outlet), leaves=week, outlet=outlet)

    def uncut_column(self, i: int) -> Column:
        """A colony never cut that finds no market at the end: always possible."""
        programmes, _ = self.strains[self.colonies[i].strain]
        start = self.starts[self.colonies[i].colony]
        grown = programmes.index(start.level) + self.farm.weeks.count + 1 - start.week
        end = min(grown, len(programmes.sizes) - 1) + programmes.low
        return self.compose(i, (), end, np.full(len(self.capacity.rows), np.inf))

    def reduced(self, prices: Prices) -> tuple[Floats, list[Callable[[], Column]]]:
        """Worth of the best column of every source at some prices (of all, by number), and a way to make it (by ``sources``)."""
        worth = np.zeros(len(self.colonies) + len(self.lots))
        makers: dict[int, Callable[[], Column]] = {}
        for strain, (programmes, who) in self.strains.items():
            table, choice = prices.tables[strain]
            best = programmes.worth_of_start(table)
            for local, i in enumerate(who):
                worth[i] = best[local]
                makers[int(i)] = lambda i=int(i), p=programmes, c=choice, k=local: self.column(i, p.follow(c, k), prices)  # type: ignore[misc]
        for j in (i - len(self.colonies) for i in self.sources if i >= len(self.colonies)):
            worth[len(self.colonies) + j] = prices.ways.worth[self.tracks.lot_from + j]
            makers[len(self.colonies) + j] = lambda j=j: self.lot_column(j, prices)  # type: ignore[misc]
        return worth, [makers[i] for i in self.sources]

    def standing_column(self, source: int) -> Column:
        """What a colony or lot can always do: never be cut, or stay."""
        return self.uncut_column(source) if source < len(self.colonies) else self.left_column(source - len(self.colonies))

    @cached_property
    def sources(self) -> Sequence[int]:
        """Colonies, and after them lots, by number: all of them, or those of the part this season is."""
        return range(len(self.colonies) + len(self.lots))

    @cached_property
    def strain_of(self) -> list[str]:
        """Strain of every source."""
        return [c.strain for c in self.colonies] + [lot.strain for lot in self.lots]

    def part(self, strains: Collection[str], limits: Floats) -> Season:
        """The season of some strains, with limits of their own; everything keeps its number."""
        other = copy(self)
        other.capacity = self.capacity.limited(limits)
        other.strains = {s: rows for s, rows in self.strains.items() if s in strains}
        other.tracks = self.tracks.part(strains)
        other.sources = [i for i in self.sources if self.strain_of[i] in strains]
        other.amounts = np.zeros_like(self.amounts)
        other.amounts[other.sources] = self.amounts[other.sources]
        return other

    @cached_property
    def amounts(self) -> Floats:
        """1 for every colony, the pieces of every lot."""
        return np.array([1.0] * len(self.colonies) + [float(lot.pieces) for lot in self.lots])

    def raised(self, limits: Mapping[int, float], sources: Mapping[int, float]) -> Season:
        """The same season with more of some rows, and with more colonies like some of its own: index -> how many more."""
        other = copy(self)
        other.capacity = self.capacity.raised(limits)
        other.amounts = self.amounts + np.array([sources.get(i, 0.0) for i in range(len(self.amounts))])
        return other

    @property
    def constant(self) -> float:
        """Money of the season that no decision changes: orders not served at all."""
        return -unserved_cost(self.farm)

    def overtime_columns(self) -> list[tuple[float, dict[int, float]]]:
        """One a week: a minute of overtime costs its extra wage and relieves the rows of paid hours."""
        s = self.farm.settings
        extra = max(0.0, float(s.overtime_wage_per_hour - s.wage_per_hour)) / 60
        found = []
        for week in self.capacity.weeks:
            rows = {*self.capacity.sets_by_kind["outside", PACKING, week], *self.capacity.sets_by_kind["outside", CARING, week]}
            found.append((-extra * interest(self.farm, week), dict.fromkeys(rows, -1.0)))
        return found
