"""Quick planning: the near weeks alone, at prices of the season that are carried from week to week.

For replays and other uses where a farm is planned every week and only the first is carried out. Every rule holds as in a
full plan. Left out: layouts of racks (cuts are chosen by counts of positions and take the first place that fits), moves
and early sales to make room, the clock of sessions (S6: such a plan has no clock times), and cuts of later weeks.
"""

from __future__ import annotations

import platform
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from importlib.metadata import version

from scheduler import __version__
from scheduler.errors import NoPlanFound
from scheduler.farm.farm import Farm
from scheduler.farm.work import sessions_in
from scheduler.plan.model import About, Announced, Cut, NearWeeksResult, Plan, Sale, Stand
from scheduler.planning.finish import LIBRARIES, Codes, merged, valued
from scheduler.planning.hand.bench import Place, order_of_work
from scheduler.planning.near.options import options_of, worthwhile
from scheduler.planning.near.places import most_on
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.on_racks import as_lot, countable, lots_on_racks, room_left, sell_as_wished
from scheduler.planning.pins import ASKING, PIN_KINDS, broken_pins
from scheduler.planning.placing import Placing, Wanted
from scheduler.planning.quick_farm import going_on
from scheduler.planning.quick_orders import serve
from scheduler.planning.quick_season import QuickSeason
from scheduler.planning.quick_sooner import sell_sooner
from scheduler.planning.quick_tidy import Tidying
from scheduler.planning.since import announced_cuts, announced_sales
from scheduler.planning.told_sales import with_told
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.whole_orders import fill_whole_orders
from scheduler.season.worth import Worth
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import solve
from scheduler.week.floor import Floor
from scheduler.week.model import ChosenCut, Limits, NearModel, Start
from scheduler.week.options import Option
from scheduler.week.prices import Prices

WORK = 0.1
"""Solver work for the counts of the near weeks."""

SAFETY_SECONDS = 30.0
"""Far more than that work takes. One search of some ten thousand took steps for hours that the solver counted as no work."""


@dataclass(frozen=True)
class Memory:
    """What quick planning keeps in mind from one week to the next: the plan announced, and the season as last solved."""

    announced: Plan | None = None
    season: QuickSeason | None = None


class QuickPlanner:
    """Plans one farm again and again. With ``calm`` changes to what the last plan announced have their cost."""

    def __init__(self, *, calm: bool = True, seed: int = 1, work: float = WORK) -> None:
        self.calm, self.limits = calm, SolveLimits(deterministic=work, seconds=SAFETY_SECONDS, seed=seed)
        self.memory = Memory()

    def plan(self, farm: Farm) -> Plan:
        """The near weeks of a farm, and the sales of its lots on racks. Raises ``NoPlanFound`` where pins cannot be met."""
        last = self.memory.announced
        announced = announced_cuts(farm, last) if self.calm and last is not None else ()
        told = announced_sales(farm, last) if self.calm and last is not None else ()
        week = _Week(farm, announced, told, self.limits, self.memory.season)
        plan = week.plan()
        self.memory = Memory(plan, week.season)
        return plan


class _Week:
    """One quick plan."""

    def __init__(
        self, farm: Farm, announced: Sequence[Announced], told: Sequence[Sale], limits: SolveLimits, before: QuickSeason | None
    ) -> None:
        self.farm, self.limits, self.announced, self.told = farm, limits, tuple(announced), told
        self.pins = [p.pin for p in farm.pins]
        self.ledger = Ledger(farm)
        self.seller = Seller(farm, Worth(farm), self.ledger, frozenset(self.pins), within_market=True)
        self.lots = lots_on_racks(farm)
        fresh = before is None or not before.serves(farm)
        self.season = QuickSeason.solved(going_on(farm), self.lots, self.pins, before) if fresh or before is None else before

    def plan(self) -> Plan:
        last = self.farm.weeks.count
        serve(self.farm, self.seller, self.lots)
        wishes = with_told(self.farm, self.lots, self.season.wishes_now(self.farm, self.lots), self.told)
        sell_as_wished(self.seller, self.lots, wishes, last, all_now=False)
        sell_sooner(self.seller, self.lots, self.farm.weeks.near_weeks)
        for lot in self.lots:
            self.ledger.occupy(lot.zone, lot.strain, lot.life, lot.left(last))
        near = countable(self.farm, self.ledger, self._near(), self.pins, self.announced)
        cuts, stands, fresh = self._entered(near)
        lots = [*self.lots, *fresh]
        fill_whole_orders(self.farm, self.seller, lots, self.farm.weeks.all)
        sales = [s for lot in lots for s in lot.sales]
        return self._finished(cuts, [*stands, *self._tidied(near)], sales)

    def _tidied(self, near: NearPlan) -> Iterator[Stand]:
        """Moves of lots on racks that open ground for others."""
        tidying = Tidying(self.farm, self._floor(), self.ledger, near.cuts, self.pins)
        return tidying.moves({lot.id: lot.sales for lot in self.lots})

    def _floor(self) -> Floor:
        return Floor(self.farm, {lot.id: _left_before(lot, self.farm.weeks.count) for lot in self.lots})

    # ---- near weeks -----------------------------------------------------------------------------------------------

    def _near(self) -> NearPlan:
        """Cuts by counts of positions, begun from cuts placed one after the other, and placed likewise themselves."""
        farm, pins = self.farm, [p.pin for p in self.farm.pins if p.kind in PIN_KINDS]
        floor = self._floor()
        options, refusals = options_of(farm, floor, pins)
        prices = Prices(self.season.worth(farm, self.announced), options)
        system, zone = room_left(farm, self.ledger)
        limits = Limits(system, zone, announced=self.announced)
        options = worthwhile(farm, options, prices, pins, limits)
        limits = replace(limits, most=most_on(farm, options))

        def placing() -> Placing:
            return Placing(farm, floor, self.ledger, limits, prices, pins)

        start = placing()
        start.keep_announced(options)
        kept = {(c.option.name, c.option.week, c.session): c for c in start.cuts}
        start.fill(options)
        placed = placing()
        chosen = self._chosen(floor, options, prices, limits, pins, start.cuts)
        for cut in sorted(chosen, key=lambda c: (c.option.name, c.option.week, c.session) not in kept):
            session = next(s for s in cut.option.sessions if s.id == cut.session)
            place = Place(session, cut.cutter, cut.mounter, cut.pieces)
            as_told = kept.get((cut.option.name, cut.option.week, cut.session))
            if as_told is not None and as_told.pieces <= cut.pieces:
                placed.keep(replace(as_told, cutter=cut.cutter, mounter=cut.mounter), place)
            else:
                placed.add(Wanted(cut.option, cut.pieces, place), cut.section)
        placed.fill(options)
        broken = broken_pins(farm, pins, placed.cuts)
        if broken:
            raise NoPlanFound(f"Quick planning found no way to do what pins ask for: {'; '.join(broken)}.")
        return NearPlan(tuple(placed.cuts), tuple(options), refusals, None, ())

    def _chosen(
        self, floor: Floor, options: list[Option], prices: Prices, limits: Limits, pins: list[str], start: Sequence[ChosenCut]
    ) -> list[ChosenCut]:  # fmt: skip
        """What the counts choose, most worth first: those looked at first find their places first."""
        if not options:
            return []
        model = NearModel(self.farm, floor, options, None, prices, limits, pins)
        model.start_from(
            Start(tuple(ChosenCut(c.option, c.pieces, c.session, c.cutter, c.mounter, c.section, ()) for c in start))
        )  # fmt: skip
        asked = any(p.kind in ASKING for p in self.farm.pins)
        solved = solve(model.model, self.limits, stage="near weeks", improve=bool(start) and not asked)
        if not solved.outcome.found:
            if solved.outcome.outcome == "infeasible":
                raise NoPlanFound("Quick planning found no way to keep all pins.")
            return []
        return sorted(
            model.chosen(solved).cuts,
            key=lambda c: (prices.cost(c.option, c.pieces) - c.pieces * prices.piece(c.option, c.section.zone), c.option.name),
        )

    # ---- the plan -------------------------------------------------------------------------------------------------

    def _entered(self, near: NearPlan) -> tuple[list[Cut], list[Stand], list[Growing]]:
        """Cuts with their codes and the order of work, their places, and the lots they make."""
        codes, by_session = Codes(self.farm), defaultdict[str, list[ChosenCut]](list)
        for cut in near.cuts:
            by_session[cut.session].append(cut)
        found = []
        for session in (s for w in self.farm.weeks.near_weeks for s in sessions_in(self.farm, w)):
            mine = {c.option.name: c for c in by_session[session.id]}
            colonies = [c.option.colony for c in mine.values()]
            for number, colony in enumerate(order_of_work(self.farm, colonies, session.week), start=1):
                found.append(as_lot(self.farm, mine[colony.colony], codes(colony.strain, session.week), number))
        return [c for c, _, _ in found], [s for _, s, _ in found], [lot for _, _, lot in found]

    def _finished(self, cuts: Sequence[Cut], stands: Sequence[Stand], sales: Sequence[Sale]) -> Plan:
        zero, weeks = Decimal("0.00"), self.farm.weeks
        near = NearWeeksResult(
            outcome="feasible" if cuts else "none needed", reason="quick planning: near weeks by counts, first places that fit",
            value=zero, bound=zero, gap_percent=zero, seed=self.limits.seed, wall_seconds=zero,
        )  # fmt: skip
        about = About(
            farm_name=self.farm.settings.farm_name, book_fingerprint=self.farm.fingerprint, plan_monday=weeks.plan_monday,
            weeks=weeks.count, near_weeks=weeks.near, seed=self.limits.seed, near=near,
            versions={"frag-scheduler": __version__, "python": platform.python_version(), **{n: version(n) for n in LIBRARIES}},
        )  # fmt: skip
        ordered = sorted(merged(sales), key=lambda s: (s.week, s.lot, s.route, s.order or ""))
        plan = Plan(about=about, cuts=tuple(cuts), stands=tuple(stands), sales=tuple(ordered), announced=self.announced)
        return valued(self.farm, plan)


def _left_before(lot: Growing, last: int) -> dict[int, int]:
    """Pieces of a lot before the sales of each week: what is packed that week may fall short, and then frees no places."""
    left = lot.left(last)
    return {week: left.get(week - 1, lot.pieces) for week in left}
