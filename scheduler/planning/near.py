"""The near weeks: what could be done, the model, and tidy places for what it chose."""

from __future__ import annotations

import math
import threading
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from scheduler.errors import NoPlanFound, PinConflict
from scheduler.farm.farm import Farm
from scheduler.planning.near_layouts import LayoutMaker, made_free
from scheduler.planning.near_places import Coming, most_on, shapes, tidy
from scheduler.solving import Budget, Outcome, Progress, Solved, minimal_conflict, solve
from scheduler.solving import Limits as SolveLimits
from scheduler.week.floor import Floor, Section
from scheduler.week.model import MOST_PIECES, ChosenCut, ChosenMove, Limits, NearModel, Space, Spot, Start
from scheduler.week.options import NearWorth, Option, Refusal, option, with_ways
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move, NoStock, Stock, moves

COUNTED_SHARE, LAYOUT_SHARES = 0.3, (0.55, 1.0)
"""Shares of the work and time left: for the bound, and for each round with layouts."""

ROUNDS_BY_CHANCE, ROUNDS_AROUND = 32, 12
"""Most layouts tried by chance for each rack, and around what stands there in each round."""

PIN_WORK = SolveLimits(seconds=30)
"""Most time for one question about pins; the work allowed depends on how exactly it is asked."""

MOST_LOSS = 0.5
"""An early sale that loses more than this share of what it brings is made for pins only: farm choice, no published source."""

PIN_KINDS = ("cut", "no cut", "at least", "at most", "session", "rack", "keep free", "hold lot", "no sale")
"""Pins the near weeks have to honour: those on colonies and places, and those that keep a lot of the book where it is."""

ASKING = ("cut", "at least")
"""Pins that ask for pieces: without them, doing nothing keeps every rule."""


Begin = Callable[[Sequence[Option], Prices, Limits], Sequence[ChosenCut]]
"""Makes lawful cuts with their places, given what could be cut, its worth and what is left of everything."""


@dataclass(frozen=True)
class NearPlan:
    """The near weeks: cuts, moves and early sales, why other colonies cannot be cut, how the model ended, what gave way.

    ``work``: what it took of the solver, in its own units.
    """

    cuts: tuple[ChosenCut, ...]
    options: tuple[Option, ...]
    refusals: Mapping[str, Refusal]
    outcome: Outcome | None
    gave_way: tuple[str, ...]
    moves: tuple[ChosenMove, ...] = ()
    sales: tuple[EarlySale, ...] = ()
    work: float = 0.0


class NearPlanner:
    """Plans the near weeks of one farm. Without ``stock`` the lots of the book sell as planned and stay where they are.

    ``begin`` gives cuts to begin the search from, which also stand where time is too short for better ones.
    """

    def __init__(
        self, farm: Farm, floor: Floor, worth: NearWorth, limits: Limits, pins: Collection[str], solving: SolveLimits,
        progress: Progress | None = None, stop: threading.Event | None = None, stock: Stock | None = None,
        begin: Begin | None = None,
    ) -> None:  # fmt: skip
        self.farm, self.worth, self.limits, self.begin = farm, worth, limits, begin
        self.pins = [p.pin for p in farm.pins if p.pin in pins and p.kind in PIN_KINDS]
        self.solving, self.progress, self.stop = solving, progress, stop
        self._budget = Budget(solving)
        self._stock: Stock = stock or NoStock()
        self._bare = floor
        self.moves, self.sales = self._stirring(self.pins)
        moves_at_all, sales_at_all = self._stirring(())
        self.floor = floor.loosened({*(s.lot for s in sales_at_all), *(m.lot for m in moves_at_all)})

    def _stirring(self, pins: Collection[str]) -> tuple[tuple[Move, ...], tuple[EarlySale, ...]]:
        """What lots of the book could do under some pins."""
        return tuple(moves(self.farm, self._bare, self._stock, pins)), tuple(self._stock.early_sales(pins))

    def plan(self) -> NearPlan:
        """Solve and place. Raises ``PinConflict`` if the pins cannot hold together, ``NoPlanFound`` if time was too short."""
        options, refusals = self._options(self.pins)
        start = self._fewest(self.pins)
        if start is None:
            names = minimal_conflict(self.pins, self._hold)
            raise PinConflict(names, [describe_pin(self.farm, name) for name in names])
        if not options:
            return NearPlan((), (), refusals, None, (), work=self._budget.work)
        chosen, outcome = self._search(options, start)
        return replace(self._placed(chosen, options, refusals, outcome), work=self._budget.work)

    def _search(self, options: list[Option], start: Start) -> tuple[Start, Outcome]:
        """Counts of positions alone give a bound and a direction; layouts of the racks, round by round, the plan.

        Of all that lots of the book could do, the layouts look at what is worth it by counts.
        """
        prices = Prices(self.worth, options)
        offered = [s for s in self.sales if s in start.sales or s.loss <= MOST_LOSS * s.brings]
        options = self._beside(worthwhile(self.farm, options, prices, self.pins, self.limits), self.moves, offered)
        self.limits = replace(self.limits, most=most_on(self.farm, (*options, *self.moves)))
        if self.begin is not None and not start.cuts:
            start = replace(start, cuts=tuple(self.begin(options, prices, self.limits)))
        counted = self._model(options, prices, None, self.moves, offered)
        first = self._solve(counted, COUNTED_SHARE, improve=False)
        found = first.outcome.found
        standing = counted.standing(first) if found else {}
        moving = [m for m in self.moves if m in (counted.moved(first) if found else ()) or m in [c.move for c in start.moves]]
        sales = [s for s in offered if s in (counted.sold(first) if found else ()) or s in start.sales]
        options = self._beside(options, moving, sales)
        maker = self._maker(options, moving, sales, prices)
        for rack, spots in _spots(start).items():
            maker.exactly(rack, spots)
        maker.by_chance(ROUNDS_BY_CHANCE)
        best, outcome = start, replace(first.outcome, outcome="feasible", value=None if start.cuts else 0.0)
        for share in LAYOUT_SHARES:
            if outcome.reason == "interrupted":
                break
            maker.around(standing, ROUNDS_AROUND)
            model = self._model(options, prices, tuple(maker.made), moving, sales)
            if first.outcome.bound is not None:
                model.cap(first.outcome.bound)
            model.start_from(best)
            solved = self._solve(model, share, improve=True)
            seconds = outcome.seconds + solved.outcome.seconds
            if solved.outcome.found:
                best, standing, outcome = model.chosen(solved), model.standing(solved), solved.outcome
            outcome = replace(outcome, reason=solved.outcome.reason, seconds=seconds)
            if _reached(outcome, first.outcome):
                break
        return best, _ended(outcome, first.outcome)

    def _beside(self, options: list[Option], moving: Sequence[Move], sales: Sequence[EarlySale]) -> list[Option]:
        """Options on the ground that these moves and sales could leave free."""
        lots = {m.lot for m in moving} | {s.lot for s in sales}
        return [found for o in options if (found := with_ways(self.farm, o, lots)) is not None]

    def _solve(self, model: NearModel, share: float, *, improve: bool) -> Solved:
        """Solve with a share of the work and time left."""
        limits = self._budget.part(share)
        solved = solve(model.model, limits, stage="near weeks", progress=self.progress, stop=self.stop, improve=improve)
        self._budget.spend(solved.outcome.work)
        return solved

    def _maker(
        self, options: Sequence[Option], moves: Sequence[Move], sales: Sequence[EarlySale], prices: Prices
    ) -> LayoutMaker:  # fmt: skip
        """Layouts of what could be worth it: a colony's best week, and every move."""
        worth = dict.fromkeys((m.lot for m in moves), 1.0)
        for o in options:
            worth[o.name] = max(worth.get(o.name, 0.0), float(prices.best(o, min(o.most, MOST_PIECES))))
        return LayoutMaker(self.farm, self.floor, (*options, *moves), sales, worth, self.solving.seed)

    def _options(self, pins: Collection[str]) -> tuple[list[Option], dict[str, Refusal]]:
        return options_of(self.farm, self.floor, pins)

    def _asked_for(self, pins: Collection[str]) -> dict[str, int]:
        """Fewest pieces that pins ask for, by colony."""
        asked: dict[str, int] = {}
        for p in self.farm.pins:
            if p.pin in pins and p.kind in ASKING and p.colony:
                asked[p.colony] = max(asked.get(p.colony, 1), p.pieces or 1)
        return asked

    def _model(
        self, options: list[Option], prices: Prices, space: Space, moves: Sequence[Move], sales: Sequence[EarlySale]
    ) -> NearModel:  # fmt: skip
        return NearModel(
            self.farm,
            self.floor,
            options,
            space,
            prices,
            self.limits,
            self.pins,
            moves=moves,
            sales=sales,
            together=space is None,
        )

    # ---- places ---------------------------------------------------------------------------------------------------

    def _placed(self, chosen: Start, options: list[Option], refusals: Mapping[str, Refusal], outcome: Outcome) -> NearPlan:
        """The plan with final blocks; a cut whose lot cannot stand mostly in its zone with fewer plugs shrinks, and is told."""
        sold, moved, cuts = chosen.sales, chosen.moves, chosen.cuts
        coming = [
            Coming(_name(c), c.option.strain, c.pieces, c.section, self._ground(c.option, c.section, moved, sold), c.blocks)
            for c in cuts
        ] + [Coming(_name(m), m.move.strain, m.move.pieces, m.section, frozenset(m.move.places[m.section.rack]), m.blocks)
             for m in moved]  # fmt: skip
        found = tidy(self.farm, coming, self.solving.seed)
        placed, gave_way = [], []
        for cut in cuts:
            blocks = found.get(_name(cut), ())
            got = sum(b.plugs for b in blocks)
            if got < cut.pieces:
                gave_way.append(f"{cut.option.colony.colony}: {got} of {cut.pieces} pieces found a place on {cut.section.rack}")
            if got:
                placed.append(replace(cut, pieces=got, blocks=blocks))
        broken = broken_pins(self.farm, self.pins, placed)
        if broken:
            raise NoPlanFound(f"No places were found for all pieces that pins ask for: {'; '.join(broken)}.")
        moved = tuple(replace(m, blocks=found[_name(m)]) for m in moved)
        return NearPlan(tuple(placed), tuple(options), refusals, outcome, tuple(gave_way), moved, sold)

    def _ground(
        self, option: Option, section: Section, moved: Collection[ChosenMove], sold: Collection[EarlySale]
    ) -> frozenset[tuple[int, int]]:
        """Positions open to a cut once lots of the book have moved or been sold."""
        ground = option.places[section.rack]
        left = {s.lot: self.floor.left(s.lot, option.week) - s.pieces for s in sold if s.week <= option.week}
        left |= {m.move.lot: 0 for m in moved if m.move.week < option.week}
        return made_free(ground, left)

    # ---- pins -----------------------------------------------------------------------------------------------------

    def _hold(self, pins: frozenset[str]) -> bool:
        """Whether pins can hold together, or at least are not shown to be impossible."""
        try:
            return self._fewest(pins) is not None
        except NoPlanFound:
            return True

    def _fewest(self, pins: Collection[str]) -> Start | None:
        """The fewest pieces that pins allow, with their places; ``None`` if the pins cannot hold.

        Looked for with counts of positions alone (to see what cannot be), with some layouts, and last with every block.
        """
        asked = self._asked_for(pins)
        if not asked:
            return Start()
        options = [o for o in self._options(pins)[0] if o.name in asked]
        moving, sales = (self.moves, self.sales) if list(pins) == self.pins else self._stirring(pins)
        comers: list[Option | Move] = [*options, *moving]
        prices = Prices(self.worth, options)

        def tried(space: Space, work: float) -> Solved:
            model = NearModel(
                self.farm, self.floor, options, space, prices, self.limits, pins, moves=moving, sales=sales, with_objective=False
            )
            most = self._budget.part().within(replace(PIN_WORK, deterministic=work))
            solved = solve(model.model, most, stage="pins", stop=self.stop)
            self._budget.spend(solved.outcome.work)
            found.extend([model.chosen(solved)] if solved.outcome.found and space is not None else [])
            return solved

        found: list[Start] = []
        if tried(None, 1).outcome.outcome == "infeasible":
            return None
        maker = LayoutMaker(self.farm, self.floor, comers, sales, dict.fromkeys((c.name for c in comers), 1.0), self.solving.seed)
        maker.by_chance(ROUNDS_BY_CHANCE)
        if tried(tuple(maker.made), 1).outcome.found:
            return found[0]
        wanted = {o.name: max(asked[o.name], o.fewest) for o in options}
        last = tried(shapes(self.farm, comers, wanted), 5).outcome
        if not last.found and last.outcome != "infeasible":
            raise NoPlanFound(f"No plan for the near weeks was found: {last.reason}. Allow more time with --time-limit.")
        return found[0] if found else None


def options_of(farm: Farm, floor: Floor, pins: Collection[str]) -> tuple[list[Option], dict[str, Refusal]]:
    """What every colony could give in each near week, and of those that can give nothing the first reason."""
    options: list[Option] = []
    refusals: dict[str, Refusal] = {}
    for colony in farm.colonies:
        found = [option(farm, floor, colony, w, pins) for w in farm.weeks.near_weeks]
        good = [o for o in found if isinstance(o, Option)]
        options += good
        bad = [o for o in found if isinstance(o, Refusal)]
        if not good and bad:
            refusals[colony.colony] = bad[0]
    return options, refusals


def worthwhile(farm: Farm, options: Sequence[Option], prices: Prices, pins: Collection[str], limits: Limits) -> list[Option]:
    """Options that could bring something, are pinned, or were announced: leaving out the others loses nothing."""
    kept = {p.colony for p in farm.pins if p.pin in pins} | {a.colony for a in limits.announced}
    return [o for o in options if o.name in kept or prices.best(o, min(o.most, MOST_PIECES)) > 0]


def broken_pins(farm: Farm, pins: Collection[str], placed: Collection[ChosenCut]) -> list[str]:
    """Pins that ask for more than what found a place, in words."""
    cut = Counter[str]()
    for c in placed:
        cut[c.option.colony.colony] += c.pieces
    asked = [(p, 1 if p.kind == "cut" else p.pieces or 0) for p in farm.pins if p.pin in pins and p.kind in ASKING]
    return [describe_pin(farm, p.pin) for p, least in asked if cut[p.colony or ""] < least]


def _ended(last: Outcome, first: Outcome) -> Outcome:
    """The last solve against the bound of the first, which sees counts of positions only and so holds for every plan."""
    proved = _reached(last, first)
    reason = "proved" if proved else last.reason if last.reason != "proved" else "best of the layouts tried"
    return replace(last, bound=first.bound, outcome="optimal" if proved else "feasible", reason=reason)


def _reached(last: Outcome, first: Outcome) -> bool:
    """Whether the value of one solve is the bound of another."""
    return first.bound is not None and last.value is not None and math.floor(first.bound + 1e-6) <= last.value + 1e-6


def _spots(start: Start) -> dict[str, list[Spot]]:
    """What a choice puts on each rack, as spots."""
    found: dict[str, list[Spot]] = {}
    for cut in start.cuts:
        found.setdefault(cut.section.rack, []).append(Spot(cut.option.name, cut.section.zone, cut.blocks))
    for moved in start.moves:
        found.setdefault(moved.section.rack, []).append(Spot(moved.move.lot, moved.section.zone, moved.blocks))
    return found


def _name(item: ChosenCut | ChosenMove) -> str:
    """A name for a lot that comes to stand, unlike every other."""
    return f"move {item.move.lot}" if isinstance(item, ChosenMove) else f"cut {item.option.colony.colony} {item.option.week}"


def describe_pin(farm: Farm, pin_id: str) -> str:
    """A pin in the grower's words."""
    pin = next(p for p in farm.pins if p.pin == pin_id)
    what = {
        "cut": f"cut {pin.colony}", "no cut": f"do not cut {pin.colony}", "at least": f"cut at least {pin.pieces} of {pin.colony}",
        "at most": f"cut at most {pin.pieces} of {pin.colony}", "session": f"cut {pin.colony} in session {pin.session}",
        "rack": f"put the frags of {pin.colony} on rack {pin.rack}", "keep free": f"keep {pin.rack or pin.tank} free",
        "no sale": f"do not sell {pin.lot}", "hold lot": f"neither sell nor move {pin.lot}",
    }[pin.kind]  # fmt: skip
    when = "".join(f" {word} {day}" for word, day in (("from", pin.from_date), ("to", pin.to_date)) if day)
    return f"{pin.pin}: {what}{when}"
