"""Near weeks filled cut by cut: a place at the bench, and the first place on a rack that fits, to the hole."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random
from statistics import fmean

import numpy as np

from scheduler.biology.zones import zones
from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.work import condition_days, plugs_ready, sessions_in
from scheduler.plan.model import Announced
from scheduler.planning.ground import beside, grid_of
from scheduler.planning.hand.bench import Bench, Place
from scheduler.planning.near.told import home_of
from scheduler.planning.pins import pinned_colonies
from scheduler.racks import Grid, Request, greedy
from scheduler.racks.candidates import widest
from scheduler.racks.requests import closing, shadow
from scheduler.season.ledger import Ledger
from scheduler.week.floor import Floor, Section, blocks_positions, free_now
from scheduler.week.kept import as_told, kept_range
from scheduler.week.model import MOST_PIECES, ChosenCut, Limits, Start
from scheduler.week.options import Option
from scheduler.week.prices import Prices
from scheduler.week.worth import told_pieces

SHAKEN = 0.35
"""By how much chance changes what a cut is taken to be worth for its share of bench and racks (standard deviation of its logarithm)."""


@dataclass(frozen=True)
class Wanted:
    """A cut as it is wanted: pieces, and who does it when; ``least``: fewest pieces it is worth making with."""

    option: Option
    pieces: int
    place: Place
    least: int = 0


class Placing:
    """Cuts of the near weeks, entered one after the other; each keeps every rule beside those before it."""

    def __init__(
        self, farm: Farm, floor: Floor, ledger: Ledger, limits: Limits, prices: Prices, pins: Iterable[str]
    ) -> None:  # fmt: skip
        self.farm, self.floor, self.limits, self.prices = farm, floor, limits, prices
        self.bench = Bench(farm, ledger, limits.fill)
        self.cuts: list[ChosenCut] = []
        self._zones = zones(farm)
        self._system = dict(limits.system)
        self._zone: dict[str, int] = {}
        for (zone, _), room in limits.zone.items():
            self._zone[zone] = min(room, self._zone.get(zone, room))
        self._fresh: dict[tuple[str, int], int] = defaultdict(int)
        self._on_rack: dict[str, list[tuple[str, frozenset[Position]]]] = defaultdict(list)
        self._strains: dict[tuple[str, str], set[str]] = defaultdict(set)
        """Strains of new lots by ("tank" or "system", its name)."""
        self._ground: dict[tuple[str, int, str], Grid] = {}
        self._pinned = pinned_colonies(farm, pins)

    # ---- what was announced ---------------------------------------------------------------------------------------

    def keep_announced(self, options: Iterable[Option]) -> None:
        """Enter the announced cuts that can still be made, unless pins speak of their colonies.

        First all that can be made just as announced, then those that need other people or other places.
        """
        done = {c.option.name for c in self.cuts} | self._pinned
        table = {(o.name, o.week): o for o in options if o.name not in done}
        told = [(a, table[a.colony, a.week]) for a in self.limits.announced if (a.colony, a.week) in table]
        for row, option in [(row, option) for row, option in told if not self._as_announced(row, option)]:
            most = min(row.pieces, option.most, MOST_PIECES)
            place = self.bench.place(option.colony, [s for s in option.sessions if s.id == row.session], most)
            least, _ = kept_range(row.pieces)
            if place is not None and place.most >= least:
                self.add(Wanted(option, min(most, place.most), place, least), home_of(self.farm, row, row.pieces))

    def _as_announced(self, row: Announced, option: Option) -> bool:
        """Enter an announced cut with its people in its blocks; ``False`` if that cannot be."""
        session = next((s for s in option.sessions if s.id == row.session), None)
        section = home_of(self.farm, row, row.pieces)
        if session is None or section not in option.sections or row.cutter is None or row.mounter is None:
            return False
        pieces = min(row.pieces, option.most, MOST_PIECES, self._room(option, section), self._plugs_left(option, session))
        place = self.bench.place_of(option.colony, session, row.cutter, row.mounter, pieces) if pieces > 0 else None
        least, _ = kept_range(row.pieces)
        if place is None or place.most < max(least, option.fewest) or self._clash(option, section):
            return False
        blocks, traits = trim(row.blocks, place.most), self.farm.traits(option.strain)
        held = blocks_positions(blocks, traits.plug_rows, traits.plug_cols)
        ground, free = option.places[section.rack], self._free(option, section.rack)
        if sum(b.plugs for b in blocks) < place.most or not all(p in ground and free[p] for p in held):
            return False
        if home_of(self.farm, row, place.most) != section:
            return False
        self.keep(ChosenCut(option, place.most, session.id, place.cutter, place.mounter, section, blocks), place)
        return True

    # ---- what is worth it -----------------------------------------------------------------------------------------

    def fill(self, options: Iterable[Option], chance: Random | None = None) -> None:
        """Cut, most worth for its share of bench and racks first, whatever brings something and is neither cut yet nor pinned.

        ``chance`` shakes the order (``SHAKEN``).
        """
        done = {c.option.name for c in self.cuts} | self._pinned
        rest = {i: o for i, o in enumerate(options) if o.name not in done}
        shake = {i: chance.lognormvariate(0.0, SHAKEN) if chance is not None else 1.0 for i in rest}
        merit = {i: self._merit(o) * shake[i] for i, o in rest.items()}
        while rest:
            best = max(rest, key=lambda i: (merit[i], -i))
            if merit[best] <= 0:
                return
            option = rest[best]
            pieces, _ = self._best(option)
            place = self.bench.place(option.colony, option.sessions, pieces)
            if place is not None and self.add(Wanted(option, min(pieces, place.most), place)):
                rest = {i: o for i, o in rest.items() if o.name != option.name}
                merit |= {i: self._merit(o) * shake[i] for i, o in rest.items() if o.strain == option.strain}
            else:
                del rest[best]

    def _merit(self, option: Option) -> float:
        """Worth of the best cut, by the share it takes of the week's bench minutes and of the racks."""
        pieces, worth = self._best(option)
        if worth <= 0:
            return 0.0
        traits, s = self.farm.traits(option.strain), self.farm.settings
        minutes = traits.minutes_colony + pieces * (traits.minutes_cut + traits.minutes_mount + s.label_minutes)
        return worth / (minutes / self._minutes(option.sessions) + pieces * traits.plug_area / self._positions)

    def _minutes(self, sessions: Sequence[BenchSession]) -> float:
        return max(1.0, sum(s.minutes * len(s.people) for s in sessions))

    @property
    def _positions(self) -> int:
        return max(1, sum(max(0, room) for room in self._zone.values()) or sum(max(0, r) for r in self._system.values()))

    def _best(self, option: Option) -> tuple[int, float]:
        """(pieces, cents) of the best cut beside those entered, as if every place were free."""
        strain, before = option.strain, sum(c.pieces for c in self.cuts if c.option.strain == option.strain)
        told = told_pieces(self.limits.announced, self.cuts)[strain]
        row = next((a.pieces for a in self.limits.announced if (a.colony, a.week) == (option.name, option.week)), 0)
        lost = self.prices.too_many(strain, before, told)
        piece = max(self.prices.piece(option, section.zone) for section in option.sections)
        most = min(option.most, MOST_PIECES)
        worth = {
            n: piece * n - self.prices.too_many(strain, before + n, told + as_told(row, n)) + lost - self.prices.cost(option, n)
            for n in range(option.fewest, most + 1)
        }  # fmt: skip
        best = max(worth, key=lambda n: (worth[n], -n))
        return best, worth[best]

    # ---- entering -------------------------------------------------------------------------------------------------

    def resume(self, before: Start) -> None:
        """Enter what was planned before where it was, cuts worth most first, as far as their sessions still have the time."""
        for moved in before.moves:
            self._stand(moved.move.strain, moved.move.week, moved.move.pieces, moved.section, moved.blocks)
        for cut in sorted(before.cuts, key=lambda c: (-self._worth(c, c.pieces), c.option.name)):
            sessions = [s for s in cut.option.sessions if s.id == cut.session]
            place = self.bench.place(cut.option.colony, sessions, cut.pieces)
            if place is not None and self._worth(cut, place.most) > 0:
                self.keep(replace(cut, pieces=place.most, cutter=place.cutter, mounter=place.mounter), place)

    def _worth(self, cut: ChosenCut, pieces: int) -> int:
        """Cents of a cut of so many pieces where it is, at list price."""
        return pieces * self.prices.piece(cut.option, cut.section.zone) - self.prices.cost(cut.option, pieces)

    def add(self, wanted: Wanted, first: Section | None = None) -> bool:
        """Enter a cut where its frags are worth most and most of them fit, ``first`` before all; ``False`` if they fit nowhere."""
        option, best = wanted.option, list[ChosenCut]()
        pieces = min(wanted.pieces, self._plugs_left(option, wanted.place.session))
        least = max(option.fewest, wanted.least)
        for section in self._sections(option, first):
            most = min(pieces, self._room(option, section))
            if most < least or (best and most <= best[0].pieces) or self._clash(option, section):
                continue
            blocks = self._blocks(option, section, most)
            got = sum(b.plugs for b in blocks)
            if got >= least and (not best or got > best[0].pieces):
                place = wanted.place
                best = [ChosenCut(option, got, place.session.id, place.cutter, place.mounter, section, blocks)]
            if best and best[0].pieces >= pieces:
                break
        for cut in best:
            self.keep(cut, wanted.place)
        return bool(best)

    def _sections(self, option: Option, first: Section | None) -> Iterator[Section]:
        """Sections by what a piece is worth there, of equals the nearest light."""
        par = option.colony.par_umol

        def key(section: Section) -> tuple[bool, int, float]:
            light = abs(self._zones[section.zone].par_in(option.week) - par)
            return section != first, -self.prices.piece(option, section.zone), light

        yield from sorted(option.sections, key=key)

    def keep(self, cut: ChosenCut, place: Place) -> None:
        """Enter a cut just as it is; the caller knows that it can be done."""
        option = cut.option
        self.cuts.append(cut)
        self.bench.enter(option.colony, place, cut.pieces)
        self._fresh[self._zones[cut.section.zone].system, option.week] += cut.pieces
        self._stand(option.strain, option.week, cut.pieces, cut.section, cut.blocks)

    def _stand(self, strain: str, week: int, plugs: int, section: Section, blocks: tuple[Block, ...]) -> None:
        """Enter the places of a lot that comes to stand in a week."""
        traits, zone = self.farm.traits(strain), self._zones[section.zone]
        self._on_rack[section.rack].append((strain, blocks_positions(blocks, traits.plug_rows, traits.plug_cols)))
        if zone.id in self._zone:
            self._zone[zone.id] -= plugs * traits.plug_area
        for system, w in self._system:
            if system == zone.system and w >= week:
                self._system[system, w] -= plugs * traits.plug_area
        self._strains["tank", zone.tank].add(strain)
        self._strains["system", zone.system].add(strain)

    def begin_with(self, start: Start) -> None:
        """Enter cuts and moves of lots decided already; what early sales free is not counted on."""
        benches = {s.id: s for w in self.farm.weeks.near_weeks for s in sessions_in(self.farm, w)}
        for cut in start.cuts:
            self.keep(cut, Place(benches[cut.session], cut.cutter, cut.mounter, cut.pieces))
        for m in start.moves:
            self._stand(m.move.strain, m.move.week, m.move.pieces, m.section, m.blocks)

    # ---- rules ----------------------------------------------------------------------------------------------------

    def _room(self, option: Option, section: Section) -> int:
        """L1, L9, S5: most pieces that zone, system and the week's limit of fresh frags take."""
        zone, week = self._zones[section.zone], option.week
        rooms = [room for (system, w), room in self._system.items() if system == zone.system and w >= week]
        rooms += [self._zone[zone.id]] if zone.id in self._zone else []
        area = self.farm.traits(option.strain).plug_area
        fresh = self.farm.system[zone.system].max_fresh - self._fresh[zone.system, week]
        return min([fresh, *(room // area for room in rooms)])

    def _clash(self, option: Option, section: Section) -> bool:
        """L7: whether a new lot kept apart from this strain stands in the tank, or in the system."""
        zone, farm = self._zones[section.zone], self.farm
        in_system = {farm.strains_apart(option.strain, other) for other in self._strains["system", zone.system]}
        in_tank = {farm.strains_apart(option.strain, other) for other in self._strains["tank", zone.tank]}
        return "system" in in_system or "tank" in in_tank

    def _plugs_left(self, option: Option, session: BenchSession) -> int:
        """S6: plugs of the option's kind that have stood in water long enough and are not used by then or later."""
        kind = self.farm.traits(option.strain).plug_kind
        if not condition_days(self.farm, kind):
            return MOST_PIECES
        benches = {s.id: s for s in _sessions(self.cuts, session)}
        left = MOST_PIECES
        for day in sorted({session.day, *(s.day for s in benches.values() if s.day > session.day)}):
            ready = plugs_ready(self.farm, kind, day)
            if ready is not None:
                mine = [c for c in self.cuts if self.farm.traits(c.option.strain).plug_kind == kind]
                left = min(left, ready - sum(c.pieces for c in mine if benches[c.session].day <= day))
        return left

    # ---- racks ----------------------------------------------------------------------------------------------------

    def _blocks(self, option: Option, section: Section, plugs: int) -> tuple[Block, ...]:
        """L1, L2, L4: blocks for up to so many plugs, most of their positions in the section's zone; none below the fewest.

        One block for all of them where it spoils least ground for other strains, else as many as fit.
        """
        farm, traits, row = self.farm, self.farm.traits(option.strain), self.farm.rack[section.rack]
        home = frozenset(p for rack, p in self._zones[section.zone].positions if rack == section.rack)
        free = self._free(option, section.rack)
        request = Request(
            lot="fresh", strain=option.strain, plugs=plugs, min_plugs=option.fewest, plug_rows=traits.plug_rows,
            plug_cols=traits.plug_cols, allowed=frozenset(), value=1, home=home,
        )  # fmt: skip
        whole = [b for b in widest(free, request) if b.plugs >= plugs and request.at_home((b,))]
        if whole:
            spoiled = self._spoiled(option, section.rack)
            return (min(whole, key=lambda b: (spoiled(request.span(b), b.top, b.left), b.top, b.left, b.across)),)
        inside = np.zeros_like(free)
        for p in home:
            inside[p] = True
        nothing = np.zeros_like(free)
        for grid in (free, free & inside):
            found = greedy(
                [request], {"fresh": grid}, {"fresh": nothing}, lambda a, b: farm.clear_positions(a, b, row.pitch_mm),
                farm.settings.max_blocks,
            )  # fmt: skip
            if "fresh" in found:
                return found["fresh"]
        return ()

    def _free(self, option: Option, rack: str) -> Grid:
        """Positions open to an option beside what was entered."""
        row, key = self.farm.rack[rack], (option.name, option.week, rack)
        if key not in self._ground:
            self._ground[key] = grid_of(row, free_now(option.places[rack]))
        return beside(self.farm, row, option.strain, self._ground[key], self._on_rack[rack])

    def _spoiled(self, option: Option, rack: str) -> Callable[[tuple[int, int], int, int], int]:
        """(rows and columns of a block, top, left) -> positions now open to some other strain that it takes or keeps clear."""
        farm, row = self.farm, self.farm.rack[rack]
        gaps = [farm.clear_positions(option.strain, s.strain, row.pitch_mm) for s in farm.strains if s.strain != option.strain]
        wide = round(fmean(gaps)) if gaps else 0
        grid = grid_of(row, self.floor.free(rack, option.week))
        standing = [t.positions for t in self.floor.taken(rack, option.week)] + [held for _, held in self._on_rack[rack]]
        for positions in standing:  # its own kind closes ground to others as well, so beside it less is spoiled
            grid[shadow(row.rows, row.cols, positions, wide)] = False
        return closing(grid, wide)


def _sessions(cuts: Iterable[ChosenCut], session: BenchSession) -> Iterator[BenchSession]:
    """Sessions of some cuts, and one more."""
    yield session
    for cut in cuts:
        yield from (s for s in cut.option.sessions if s.id == cut.session)
