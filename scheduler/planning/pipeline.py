"""From a farm to an audited plan."""

from __future__ import annotations

import platform
import threading
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial
from importlib.metadata import version
from random import Random

from scheduler import __version__
from scheduler.errors import AuditFailed
from scheduler.farm.farm import Farm
from scheduler.farm.units import CENT
from scheduler.plan.model import About, Announced, NearWeeksResult, Notice, Plan, Sale, SeasonResult
from scheduler.planning.bench_day import BenchResult, with_bench
from scheduler.planning.books import Books
from scheduler.planning.entering import Entered, Entering
from scheduler.planning.evening_out import evened
from scheduler.planning.finish import LIBRARIES, Codes, merged, valued
from scheduler.planning.helps import helps
from scheduler.planning.near.clock import by_the_clock, working_name
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.near.planner import NearPlanner
from scheduler.planning.near.stock import StockLots, move_stands
from scheduler.planning.on_racks import as_lot, countable, room_left
from scheduler.planning.pins import ASKING, describe_pin
from scheduler.planning.placing import Placing
from scheduler.planning.reasons import reasons, stand_by
from scheduler.planning.resale import overrun, resell
from scheduler.planning.result import Result, audited
from scheduler.planning.season_plan import SeasonPlan, plan_season
from scheduler.planning.since import change_notices
from scheduler.season.near_worth import NearValuation
from scheduler.season.whole_orders import add_cover, fill_whole_orders
from scheduler.season.worth import Worth
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Progress
from scheduler.week.floor import Floor
from scheduler.week.model import ChosenCut, ChosenMove, Limits, Start
from scheduler.week.options import Option
from scheduler.week.prices import Prices

MOST_TRIED = 200
"""Most cuts looked at when others make way in near weeks, by chance if there are more."""


def plan_farm(
    farm: Farm, *, limits: SolveLimits, drop_pins: Sequence[str] = (), announced: Sequence[Announced] = (),
    sales_told: Sequence[Sale] = (), explain: bool = False, progress: Progress | None = None, stage: Callable[[str], None] = lambda _: None,
    stop: threading.Event | None = None,
) -> Result:  # fmt: skip
    """Plan a farm and audit the plan; ``announced`` cuts that are not kept have their cost.

    ``sales_told``: sales announced for the near weeks, kept where other lots or weeks would do no better.

    With ``explain`` the season is solved again with more of what would help most; that takes time of its own.

    Raises ``PinConflict``, ``NoPlanFound`` or ``AuditFailed`` (a defect of this program).
    """
    planner = _Planner(
        farm, limits, tuple(drop_pins), tuple(announced), tuple(sales_told), progress, stage, stop or threading.Event()
    )  # fmt: skip
    failed: AuditFailed | None = None
    for plan in planner.plans(explain):
        stage("audit")
        try:
            return audited(farm, plan if failed is None else second_choice(plan, failed), "The plan")
        except AuditFailed as failure:
            failed = failed or failure
    assert failed is not None  # there is always one plan to try
    raise failed


def second_choice(plan: Plan, failed: AuditFailed) -> Plan:
    """A plan that comes in the place of a better one which broke a rule."""
    text = f"A better plan was put aside, since it broke a rule. This is a defect of the program; please report it. {failed}"
    return plan.model_copy(update={"notices": (*plan.notices, Notice(kind="put aside", text=text))})


class _Planner:
    def __init__(
        self, farm: Farm, limits: SolveLimits, drop_pins: tuple[str, ...], announced: tuple[Announced, ...],
        sales_told: tuple[Sale, ...], progress: Progress | None, stage: Callable[[str], None], stop: threading.Event,
    ) -> None:  # fmt: skip
        self.farm, self.limits, self.drop_pins, self.announced = farm, limits, drop_pins, announced
        self.sales_told = sales_told
        self.progress, self.stage, self.stop = progress, stage, stop
        self.pins = [p.pin for p in farm.pins if p.pin not in drop_pins]
        self.worth = Worth(farm)
        self.codes = Codes(farm)

    def _books(self, moved: Sequence[ChosenMove] = ()) -> Books:
        return Books(self.farm, self.worth, self.pins, moved)

    def plans(self, explain: bool) -> Iterator[Plan]:
        """The best plan, and should it not pass its audit, the next best that was made on the way, and so on."""
        self.stage("season")
        first = self._season()
        self.stage("near weeks")
        near, soon = self._near(first)
        self.stage("later weeks")
        decided = self._entered(near)
        entering = Entering(
            self.farm, decided, soon, partial(self._books, near.moves), self.codes,
            pins=self.pins, seed=self.limits.seed, progress=self.progress, stop=self.stop,
        )  # fmt: skip
        made = entering.run(first)
        self.stage("value")
        ranked = [(plan, near) for plan in self._ranked(made, first, near)]
        bare = replace(near, cuts=(), moves=(), gave_way=())
        without = self._without_cuts(bare)
        if not any(p.kind in ASKING for p in self.farm.pins if p.pin in self.pins):
            # where no cut pays, selling the lots on racks alone does better
            ranked.insert(0 if without.value > ranked[0][0].value else len(ranked), (without, bare))
        if self.farm.settings.uneven_cost:
            self.stage("evenness")
            best, weeks = ranked[0]
            even = evened(self.farm, best, self.pins, self.stop)
            if even is not best:
                ranked.insert(0, (even, weeks))
        self.stage("what would help")
        explain = explain and not self.stop.is_set()
        found = helps(first.season, first.relaxed, explain=explain, progress=self.progress)
        for plan, weeks in ranked:
            about = plan.about.model_copy(update={"season": _gap(plan, first, without.value)})
            yield self._told(plan, weeks).model_copy(update={"about": about, "helps": found})

    # ---- season ---------------------------------------------------------------------------------------------------

    def _season(self, *, cutting: bool = True) -> SeasonPlan:
        return plan_season(
            self.farm, self._books().old_lots(), pins=self.pins, seed=self.limits.seed, cutting=cutting,
            progress=self.progress if cutting else None, stop=self.stop if cutting else None,
        )  # fmt: skip

    # ---- near weeks -----------------------------------------------------------------------------------------------

    def _near(self, first: SeasonPlan) -> tuple[NearPlan, dict[str, list[Sale]]]:
        """The near weeks, beside the lots on racks sold as the season plan wishes; and those lots' sales in the near weeks."""
        farm, weeks = self.farm, self.farm.weeks
        books = self._books()
        old = books.old_lots()
        books.sell(old, first, weeks.count, self.sales_told)
        fill_whole_orders(farm, books.seller, old, weeks.near_weeks)
        add_cover(farm, books.seller, old, weeks.near_weeks)
        books.occupy(old)
        floor = Floor(farm, {lot.id: lot.left(weeks.count) for lot in old})
        self.valuation = NearValuation(first.season, first.relaxed, announced=self.announced)
        ledger = books.ledger
        system, zone = room_left(farm, ledger)
        stock = StockLots(farm, old, self.worth, ledger, books.seller)
        room = Limits(system, zone, outside=stock.outside(), boxes=stock.boxes(), market=stock.market(), announced=self.announced)

        def one_by_one(
            options: Sequence[Option], prices: Prices, limits: Limits, start: Start, *, keep: bool, fill: bool,
            before: Start | None = None,
        ) -> Sequence[ChosenCut]:  # fmt: skip
            placing = Placing(farm, floor, ledger, limits, prices, self.pins)
            placing.begin_with(start)
            placing.resume(before or Start())
            if keep:
                placing.keep_announced(options)
            if fill:
                placing.fill(options)
            return placing.cuts

        def more(near: NearPlan, sessions: Collection[str], chance: Random | None) -> Sequence[ChosenCut]:
            assert near.prices is not None
            placing = Placing(farm, floor, ledger, room, near.prices, self.pins)
            placing.begin_with(Start(near.cuts, near.moves))
            free = [o for o in near.options if any(s.id in sessions for s in o.sessions)]
            if chance is not None:
                free = chance.sample(free, min(len(free), MOST_TRIED))
            placing.fill([replace(o, sessions=tuple(s for s in o.sessions if s.id in sessions)) for o in free], chance)
            return placing.cuts[len(near.cuts) :]

        def allowed(near: NearPlan) -> bool:
            return len(countable(farm, ledger, near, self.pins, self.announced).cuts) == len(near.cuts)

        planner: NearPlanner | None = None

        def planned(fill: Mapping[str, float], allowed: SolveLimits) -> NearPlan:
            nonlocal planner
            if planner is None:
                planner = NearPlanner(
                    farm, floor, self.valuation, room, self.pins, allowed, self.progress, self.stop, stock, one_by_one
                )
                found = planner.plan()
            else:
                found = planner.again(fill, allowed)
            kept = countable(farm, ledger, found.kept, self.pins, self.announced) if found.kept is not None else None
            return replace(countable(farm, ledger, found, self.pins, self.announced), kept=kept)

        near, self.bench = by_the_clock(
            farm, planned, self.valuation, self.pins, self.limits, announced=self.announced, more=more, allowed=allowed,
            progress=self.progress, stop=self.stop,
        )  # fmt: skip
        early = stock.sales(near)
        return near, {lot.id: [s for s in lot.sales if s.week in weeks.near_weeks] + early.get(lot.id, []) for lot in old}

    def _entered(self, near: NearPlan) -> Entered:
        """The near weeks' cuts with label codes, places and lots, in the order they are made; and the places of moved lots."""
        cuts, stands, fresh = [], [], []
        codes: dict[str, str] = {}
        order = self.bench.run_order
        for near_cut in sorted(near.cuts, key=lambda c: (c.option.week, c.session, order[working_name(c)])):
            code = self.codes(near_cut.option.colony.strain, near_cut.option.week)
            cut, stand, growing = as_lot(self.farm, near_cut, code, order[working_name(near_cut)])
            cuts.append(cut)
            stands.append(stand)
            fresh.append(growing)
            codes[working_name(near_cut)] = cut.lot
        self.bench = self.bench.renamed(codes)
        self._stand_by = stand_by(self.farm, near, tuple(cuts))
        return Entered(cuts, [*stands, *move_stands(near.moves).values()], fresh)

    # ---- the finished plan ----------------------------------------------------------------------------------------

    def _ranked(self, made: Sequence[Entered], first: SeasonPlan, near: NearPlan) -> list[Plan]:
        """The plans made, and the best of them with all its sales decided together once more, by what they are worth.

        A plan that its sales leave a little too full, since pieces are whole, comes last.
        """
        tried = sorted(
            ((bool(overrun(self.farm, x.lots)), self._finish(near, x), x) for x in made), key=lambda t: (t[0], -t[1].value)
        )
        ranked, (full, _, entered) = [plan for _, plan, _ in tried], tried[0]
        if not self.farm.weeks.later_weeks or self.stop.is_set():
            return ranked
        again = resell(
            self.farm, entered, first=self.farm.weeks.near_weeks.stop, pins=self.pins, seed=self.limits.seed,
            books=partial(self._books, near.moves), warm=first, stop=self.stop,
        )  # fmt: skip
        if again is not None:
            other = self._finish(near, again)
            worse = (n for n, plan in enumerate(ranked) if full or plan.value < other.value)
            ranked.insert(next(worse, len(ranked)), other)
        return ranked

    def _finish(self, near: NearPlan, entered: Entered) -> Plan:
        sales = [s for lot in entered.lots for s in lot.sales]
        plan = Plan(
            about=self._about(near),
            cuts=tuple(entered.cuts),
            stands=tuple(entered.stands),
            sales=tuple(sorted(merged(sales), key=lambda s: (s.week, s.lot, s.route, s.order or ""))),
            announced=self.announced,
            stand_by=self._stand_by,
            notices=tuple(self._notices(near, entered)),
        )
        return valued(self.farm, with_bench(plan, self.bench))

    def _told(self, plan: Plan, near: NearPlan) -> Plan:
        """The plan with the reasons for its cuts, for colonies left uncut and for changes to what was announced."""
        why, held = reasons(self.farm, near, self.valuation, plan.cuts, plan.sales)
        plan = plan.model_copy(update={"why": why, "held": held})
        return plan.model_copy(update={"notices": (*plan.notices, *change_notices(self.farm, plan))})

    def _without_cuts(self, bare: NearPlan) -> Plan:
        """The plan with no new cuts and the lots on racks sold as well as the same means allow: its value is V0."""
        books = self._books()
        lots = books.old_lots()
        books.sell(lots, self._season(cutting=False), self.farm.weeks.count)
        fill_whole_orders(self.farm, books.seller, lots, self.farm.weeks.all)
        add_cover(self.farm, books.seller, lots, self.farm.weeks.all)
        self.bench, self._stand_by = BenchResult(()), ()
        return self._finish(bare, Entered((), (), lots, need=books.seller.needs()))

    def _about(self, near: NearPlan) -> About:
        return About(
            farm_name=self.farm.settings.farm_name,
            book_fingerprint=self.farm.fingerprint,
            plan_monday=self.farm.weeks.plan_monday,
            weeks=self.farm.weeks.count,
            near_weeks=self.farm.weeks.near,
            seed=self.limits.seed,
            versions={"frag-scheduler": __version__, "python": platform.python_version(), **{n: version(n) for n in LIBRARIES}},
            dropped_pins=self.drop_pins,
            near=_near_result(near, self.limits.seed),
        )

    def _notices(self, near: NearPlan, entered: Entered) -> list[Notice]:
        found = [Notice(kind="gave way", text=text) for text in near.gave_way]
        for order in self.farm.orders:
            need = entered.need[order.order]
            if need > 0.5 and order.due <= self.farm.weeks.days(self.farm.weeks.count)[-1]:
                text = f"order {order.order}: about {need:.0f} of {order.quantity} {order.strain} {order.size_class} (due {order.due}) are not covered"
                found.append(Notice(kind="gave way", text=text))
        found += [Notice(kind="pin dropped", text=describe_pin(self.farm, p)) for p in self.drop_pins]
        return found


def _near_result(near: NearPlan, seed: int) -> NearWeeksResult:
    zero = Decimal("0.00")
    if near.outcome is None:
        return NearWeeksResult(
            outcome="none needed", reason="no colony can be cut in the near weeks", value=zero, bound=zero, gap_percent=zero,
            seed=seed, wall_seconds=zero,
        )  # fmt: skip
    value = Decimal(round(near.outcome.value or 0)) / 100
    bound = max(value, Decimal(round(near.outcome.bound or 0)) / 100)
    gap = (100 * (bound - value) / bound).quantize(CENT) if bound > 0 else zero
    return NearWeeksResult(
        outcome="optimal" if near.outcome.outcome == "optimal" else "feasible",
        reason=near.outcome.reason, value=value, bound=bound, gap_percent=gap, seed=seed,
        wall_seconds=Decimal(str(round(near.outcome.seconds, 1))),
    )  # fmt: skip


def _gap(plan: Plan, first: SeasonPlan, without: Decimal) -> SeasonResult:
    """The gap of a plan: (bound - value) / (bound - value without cuts), and by the bound alone."""
    rounding = Decimal("0.005") * (len(plan.lines) + 1)
    bound = (Decimal(repr(first.relaxed.bound)) + rounding).quantize(CENT)
    missing = max(Decimal(0), bound - plan.value)
    gain = bound - without
    return SeasonResult(
        bound=bound, value_without_cuts=without, rounds=first.relaxed.rounds,
        gap_percent=(100 * missing / gain).quantize(CENT) if gain > 0 else Decimal("0.00"),
        gap_of_bound_percent=(100 * missing / bound).quantize(CENT) if bound > 0 else Decimal("0.00"),
    )  # fmt: skip
