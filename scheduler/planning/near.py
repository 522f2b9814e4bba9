"""The near weeks: what could be done, the model, and tidy places for what it chose."""

from __future__ import annotations

import math
import threading
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

from scheduler.errors import NoPlanFound, PinConflict
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced
from scheduler.planning.near_layouts import LayoutMaker, made_free
from scheduler.planning.near_options import alone, foremost, options_of, worthwhile
from scheduler.planning.near_places import Coming, most_on, shapes, tidy
from scheduler.planning.near_told import ToldPlaces, as_told, told_places
from scheduler.solving import Budget, Outcome, Progress, Solved, minimal_conflict, solve
from scheduler.solving import Limits as SolveLimits
from scheduler.week.floor import Floor, Section
from scheduler.week.model import MOST_PIECES, ChosenCut, ChosenMove, Layout, Limits, NearModel, Space, Spot, Start
from scheduler.week.options import NearWorth, Option, Refusal, with_ways
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move, NoStock, Stock, moves
from scheduler.week.worth import change_cost, worth_of

COUNTED_SHARE, LAYOUT_SHARES = 0.3, (0.55, 1.0)
"""Shares of the work and time left: for the bound, and for each round with layouts."""

TOLD_SHARE = 0.1
"""Share of the work and time left to see how lots of the book make way for announced cuts again."""

ROUNDS_BY_CHANCE, ROUNDS_AROUND = 32, 12
"""Most layouts tried by chance for each rack, and around what stands there in each round."""

LEAST_ROUND = 0.05
"""Work left below which no further round with layouts is begun: reading the model alone takes more of a large farm."""

MANY_COLONIES = 200
"""From so many colonies on counts of positions, too many to be solved in the time, are not looked at: the search is left with cuts
placed one after the other and layouts around them, lots of the book stay where they are, and the bound is what all colonies would
bring if each had the bench and the racks to itself."""

MOST_OPTIONS = 600
"""Most cuts a large farm's search looks at: those that bring most for the bench minutes they take, and all pinned or announced."""

MOST_TRIALS = 1500
"""Most layouts tried on all racks together by chance."""

PIN_WORK = SolveLimits(seconds=30)
"""Most time for one question about pins; the work allowed depends on how exactly it is asked."""

MOST_LOSS = 0.5
"""An early sale that loses more than this share of what it brings is made for pins only: farm choice, no published source."""

PIN_KINDS = ("cut", "no cut", "at least", "at most", "session", "rack", "keep free", "hold lot", "no sale")
"""Pins the near weeks have to honour: those on colonies and places, and those that keep a lot of the book where it is."""

ASKING = ("cut", "at least")
"""Pins that ask for pieces: without them, doing nothing keeps every rule."""


class Begin(Protocol):
    """Makes lawful cuts with their places, one after the other."""

    def __call__(
        self, options: Sequence[Option], prices: Prices, limits: Limits, start: Start, *, keep: bool, fill: bool,
        before: Start | None = None,
    ) -> Sequence[ChosenCut]:  # fmt: skip
        """The cuts of ``start`` and more beside them: with ``keep`` what was announced, with ``fill`` whatever is worth it.

        Of the cuts of ``before`` those stay that the sessions still have the time for. The options are what could be cut, the
        prices its worth, the limits what is left of everything.
        """


@dataclass(frozen=True)
class NearPlan:
    """The near weeks: cuts, moves and early sales, why other colonies cannot be cut, how the model ended, what gave way.

    ``work``: what it took of the solver, in its own units. ``kept``: the near weeks that do nothing but what pins ask for
    and what was announced, if anything was. ``prices``: what the choice was made at, ``None`` where there was none to make.
    """

    cuts: tuple[ChosenCut, ...]
    options: tuple[Option, ...]
    refusals: Mapping[str, Refusal]
    outcome: Outcome | None
    gave_way: tuple[str, ...]
    moves: tuple[ChosenMove, ...] = ()
    sales: tuple[EarlySale, ...] = ()
    work: float = 0.0
    kept: NearPlan | None = None
    prices: Prices | None = None

    def worth(self, farm: Farm, announced: Sequence[Announced]) -> int:
        """Worth of the near weeks as they are, in cents, by the measure they were chosen by."""
        chosen = Start(self.cuts, self.moves, self.sales)
        return worth_of(farm, self.prices, Limits(announced=announced), chosen) if self.prices is not None else 0


@dataclass
class _Looked:
    """What stays when near weeks are planned again: how the solve with counts ended, what it or the last solve put on each rack,
    all options and those on the ground that what may move or leave early frees, announced places, and the layouts.
    """

    outcome: Outcome
    standing: Mapping[str, Sequence[tuple[str, int]]]
    every: list[Option]
    options: list[Option]
    moving: Sequence[Move]
    sales: Sequence[EarlySale]
    told: ToldPlaces
    maker: LayoutMaker


class NearPlanner:
    """Plans the near weeks of one farm. Without ``stock`` the lots of the book sell as planned and stay where they are.

    ``begin`` gives cuts to begin the search from, which also stand where time is too short for better ones. The near weeks can be
    planned again with less time in some sessions: what was looked at stays, and the search may begin from the plan before.
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
        self._looked: _Looked | None = None
        self._best = Start()
        self.many = len(farm.colonies) >= MANY_COLONIES
        bound_to_stir = bool(limits.announced) or any(p.pin in self.pins and p.kind in ASKING for p in farm.pins)
        self._stock: Stock = NoStock() if stock is None or (self.many and not bound_to_stir) else stock
        self._bare = floor
        self.moves, self.sales = self._stirring(self.pins)
        moves_at_all, sales_at_all = self._stirring(())
        self.floor = floor.loosened({*(s.lot for s in sales_at_all), *(m.lot for m in moves_at_all)})

    def _stirring(self, pins: Collection[str]) -> tuple[tuple[Move, ...], tuple[EarlySale, ...]]:
        """What lots of the book could do under some pins."""
        return tuple(moves(self.farm, self._bare, self._stock, pins)), tuple(self._stock.early_sales(pins))

    def plan(self) -> NearPlan:
        """Solve and place. Raises ``PinConflict`` if the pins cannot hold together, ``NoPlanFound`` if time was too short."""
        options, refusals = self._choices
        start = self._fewest(self.pins)
        if start is None:
            names = minimal_conflict(self.pins, self._hold)
            raise PinConflict(names, [describe_pin(self.farm, name) for name in names])
        if not options:
            return NearPlan((), (), refusals, None, (), work=self._budget.work)
        prices = Prices(self.worth, options)
        chosen, outcome, kept = self._search(options, start, prices)
        self._best = chosen
        found = self._placed(chosen, options, refusals, outcome)
        calm = self._placed(kept, options, refusals, outcome) if self.limits.announced else None
        calm = replace(calm, prices=prices) if calm is not None else None
        return replace(found, work=self._budget.work, kept=calm, prices=prices)

    def again(self, fill: Mapping[str, float], solving: SolveLimits) -> NearPlan:
        """Plan once more within limits of their own, with less of the clock in some sessions (a share, by session id)."""
        self.limits, self._budget = replace(self.limits, fill=fill), Budget(solving)
        return self.plan()

    @cached_property
    def _choices(self) -> tuple[list[Option], dict[str, Refusal]]:
        return self._options(self.pins)

    def _search(self, options: list[Option], start: Start, prices: Prices) -> tuple[Start, Outcome, Start]:
        """Counts of positions alone give a bound and a direction; layouts of the racks, round by round, the plan.

        Of all that lots of the book could do, the layouts look at what is worth it by counts. Beside the plan stands the
        start that only keeps what was announced. The bound holds for a plan made again, since sessions only get shorter.
        """
        if self._looked is None:
            start, kept, seen = self._look(options, prices, start)
            self._looked = seen
        else:
            seen = self._looked
            start, kept = self._begun(seen.every, prices, start, seen.told)
        for known in (_spots(start), _spots(kept), seen.told.spots):
            for rack, spots in known.items():
                seen.maker.exactly(rack, spots)
        if not self._best.cuts:
            seen.maker.by_chance(self._rounds(ROUNDS_BY_CHANCE))
        first = seen.outcome
        best, value = start, worth_of(self.farm, prices, self.limits, start)
        outcome = replace(first, outcome="feasible", value=float(value))
        for share in LAYOUT_SHARES:
            if outcome.reason == "interrupted" or self._budget.left < LEAST_ROUND:
                break
            seen.maker.around(seen.standing, self._rounds(ROUNDS_AROUND))
            model = self._model(seen.options, prices, tuple(seen.maker.made), seen.moving, seen.sales)
            if first.bound is not None and not self.many:
                model.cap(first.bound)
            model.start_from(best)
            solved = self._solve(model, share, improve=True)
            seconds = outcome.seconds + solved.outcome.seconds
            if solved.outcome.found and (solved.outcome.value or 0.0) >= value - 1e-6:
                best, seen.standing, outcome = model.chosen(solved), model.standing(solved), solved.outcome
                value = worth_of(self.farm, prices, self.limits, best)
            outcome = replace(outcome, reason=solved.outcome.reason, seconds=seconds)
            if _reached(outcome, first):
                break
        return best, _ended(outcome, first), kept

    def _look(self, options: list[Option], prices: Prices, start: Start) -> tuple[Start, Start, _Looked]:
        """Where to begin, what only keeps what was announced, and what counts tell; a large farm only leaves out what cannot matter."""
        offered = [s for s in self.sales if s in start.sales or s.loss <= MOST_LOSS * s.brings]
        options = self._beside(worthwhile(self.farm, options, prices, self.pins, self.limits), self.moves, offered)
        bound = float(alone(options, prices))
        if self.many:
            options = foremost(self.farm, options, prices, self.pins, self.limits, MOST_OPTIONS)
        else:
            self.limits = replace(self.limits, most=most_on(self.farm, (*options, *self.moves)))
        told = told_places(self.farm, self.limits.announced, options)
        start, kept = self._begun(options, prices, start, told)
        outcome = Outcome("unknown", "work limit", None, bound, 0.0)
        standing: Mapping[str, Sequence[tuple[str, int]]] = {}
        moved: Sequence[Move] = ()
        sold: Sequence[EarlySale] = ()
        if not self.many:
            counted = self._model(options, prices, None, self.moves, offered)
            first = self._solve(counted, COUNTED_SHARE, improve=False)
            outcome = first.outcome
            if outcome.found:
                standing, moved, sold = counted.standing(first), counted.moved(first), counted.sold(first)
        moving = [m for m in self.moves if m in moved or m in [c.move for c in start.moves] or m.lot in told.lots]
        sales = [s for s in offered if s in sold or s in start.sales or s.lot in told.lots]
        mine = self._beside(options, moving, sales)
        maker = self._maker(mine, moving, sales, prices, told)
        return start, kept, _Looked(outcome, standing, options, mine, moving, sales, told, maker)

    def _rounds(self, most: int) -> int:
        """Layouts to try on each rack."""
        return max(2, min(most, MOST_TRIALS // max(1, len(self.farm.racks)))) if self.many else most

    def _begun(self, options: list[Option], prices: Prices, start: Start, told: ToldPlaces) -> tuple[Start, Start]:
        """Where to begin: of what pins ask for, filled up with and without what was announced, the one worth most.

        And, for later, what pins ask for with what was announced and no more.
        """
        if self.begin is None:
            return start, start
        begin = self.begin

        def tried(one: Start, *, keep: bool, fill: bool, before: Start | None = None) -> Start:
            cuts = begin(options, prices, self.limits, one, keep=keep, fill=fill, before=before)
            return replace(before if before is not None else one, cuts=tuple(cuts))

        def worth(one: Start) -> int:
            return worth_of(self.farm, prices, self.limits, one)

        fresh = tried(start, keep=False, fill=True)
        if self._best.cuts and not start.cuts:
            fresh = max(tried(start, keep=False, fill=True, before=self._best), fresh, key=worth)
        if not self.limits.announced:
            return fresh, start
        bases = [start, *([self._stirred(options, prices, told)] if told.lots and not start.cuts else [])]
        kept = max((tried(one, keep=True, fill=False) for one in bases), key=worth)
        return max(*(tried(one, keep=True, fill=True) for one in bases), fresh, key=worth), kept

    def _stirred(self, options: list[Option], prices: Prices, told: ToldPlaces) -> Start:
        """Announced cuts in their places, lots of the book that stand there making way again."""
        colonies = {(a.colony, a.week) for a in self.limits.announced}
        moving, sales = [m for m in self.moves if m.lot in told.lots], [s for s in self.sales if s.lot in told.lots]
        mine = self._beside([o for o in options if (o.name, o.week) in colonies], moving, sales)
        layouts = [Layout(rack, tuple(spots)) for rack, spots in told.spots.items()]
        model = self._model(mine, prices, layouts, moving, sales)
        solved = self._solve(model, TOLD_SHARE, improve=False)
        return model.chosen(solved) if solved.outcome.found else Start()

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
        self, options: Sequence[Option], moves: Sequence[Move], sales: Sequence[EarlySale], prices: Prices, told: ToldPlaces
    ) -> LayoutMaker:  # fmt: skip
        """Layouts of what could be worth it: a colony's best week, and every move."""
        worth = dict.fromkeys((m.lot for m in moves), 1.0)
        change = {(a.colony, a.week): change_cost(self.farm, a) for a in self.limits.announced}
        for o in options:
            brings = prices.best(o, min(o.most, MOST_PIECES)) + change.get((o.name, o.week), 0)
            worth[o.name] = max(worth.get(o.name, 0.0), float(brings))
        return LayoutMaker(self.farm, self.floor, (*options, *moves), sales, worth, self.solving.seed, told.spots)

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
        told = {(a.colony, a.week): a for a in self.limits.announced}
        coming = [
            Coming(
                _name(c), c.option.strain, c.pieces, c.section, self._ground(c.option, c.section, moved, sold), *as_told(self.farm, c, told)
            )
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
    return next(p for p in farm.pins if p.pin == pin_id).text
