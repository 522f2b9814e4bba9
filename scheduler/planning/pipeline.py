"""From a farm to an audited plan."""

from __future__ import annotations

import platform
import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from importlib.metadata import version

from scheduler import __version__
from scheduler.audit import Report, audit
from scheduler.biology.life import life
from scheduler.biology.zones import zones
from scheduler.errors import AuditFailed, PinConflict
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING
from scheduler.farm.units import CENT
from scheduler.plan.model import About, Announced, Cut, NearWeeksResult, Notice, Plan, Sale, SeasonResult, Stand
from scheduler.plan.view import PlanView, old_stand, pars_of
from scheduler.planning.balance import balance_table
from scheduler.planning.bench_day import BenchResult, with_bench
from scheduler.planning.finish import LIBRARIES, Codes, merged, overtime_rows
from scheduler.planning.helps import helps
from scheduler.planning.lines import Valuation
from scheduler.planning.near import NearCut, NearMove, NearPlan, NearPlanner, describe_pin
from scheduler.planning.near_clock import by_the_clock, working_name
from scheduler.planning.near_stock import StockLots, move_stands
from scheduler.planning.reasons import reasons, stand_by
from scheduler.planning.resale import resell
from scheduler.planning.season_plan import SeasonPlan, plan_season
from scheduler.planning.since import change_notices
from scheduler.season.later import LaterCut, LaterWeeks
from scheduler.season.ledger import Ledger
from scheduler.season.near_worth import NearValuation
from scheduler.season.sales import Growing, Seller
from scheduler.season.whole_orders import fill_whole_orders
from scheduler.season.worth import Worth
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Progress
from scheduler.week.floor import Floor
from scheduler.week.model import Limits

PASSES = 1
"""How often the whole cuts of the season are gone through again after the first choice."""


@dataclass(frozen=True)
class Result:
    """A plan and the report of the audit it passed."""

    plan: Plan
    report: Report


def plan_farm(
    farm: Farm, *, limits: SolveLimits, drop_pins: Sequence[str] = (), announced: Sequence[Announced] = (),
    explain: bool = False, progress: Progress | None = None, stage: Callable[[str], None] = lambda _: None,
    stop: threading.Event | None = None,
) -> Result:  # fmt: skip
    """Plan a farm and audit the plan; ``announced`` cuts that are not kept have their cost.

    With ``explain`` the season is solved again with more of what would help most; that takes time of its own.

    Raises ``PinConflict``, ``NoPlanFound`` or ``AuditFailed`` (a defect of this program).
    """
    plan = _Planner(farm, limits, tuple(drop_pins), tuple(announced), progress, stage, stop or threading.Event()).plan(explain)
    stage("audit")
    report = audit(farm, plan)
    if report.breaches:
        first = "\n".join(f"  {b.rule} {', '.join(b.things)}: {b.text}" for b in report.breaches[:20])
        raise AuditFailed(f"The plan breaks {len(report.breaches)} rules and is not handed out:\n{first}")
    return Result(plan, report)


class _Planner:
    def __init__(
        self, farm: Farm, limits: SolveLimits, drop_pins: tuple[str, ...], announced: tuple[Announced, ...],
        progress: Progress | None, stage: Callable[[str], None], stop: threading.Event,
    ) -> None:  # fmt: skip
        self.farm, self.limits, self.drop_pins, self.announced = farm, limits, drop_pins, announced
        self.progress, self.stage, self.stop = progress, stage, stop
        self.pins = [p.pin for p in farm.pins if p.pin not in drop_pins]
        self.worth = Worth(farm)
        self.codes = Codes(farm)
        self.moved: tuple[NearMove, ...] = ()
        self._fresh_books()

    def _fresh_books(self) -> None:
        """Start the ledger anew: nothing promised but standing work, mothers and the moves decided."""
        self.ledger = Ledger(self.farm)
        for moved in self.moved:
            self.ledger.outside[moved.move.week][CARING] += moved.move.minutes
        self.seller = Seller(self.farm, self.worth, self.ledger, frozenset(self.pins))

    def plan(self, explain: bool) -> Plan:
        self.stage("season")
        first = self._season(self._old_lots())
        self.stage("near weeks")
        near, soon = self._near(first)
        self.stage("later weeks")
        cuts, stands, lots, later = self._later(first, near, soon)
        self.stage("value")
        plan = self._finish(near, cuts, stands, lots, later)
        plan = self._resold(plan, first, near, cuts, stands, lots, later)
        bare = replace(near, cuts=(), moves=(), gave_way=())
        without = self._without_cuts(bare)
        if without.value > plan.value and not any(p.kind in ("cut", "at least") for p in self.farm.pins if p.pin in self.pins):
            plan, near = without, bare  # no cut pays here, and selling the lots on racks alone does better
        plan = self._told(plan, near)
        about = plan.about.model_copy(update={"season": _gap(plan, first, without.value)})
        self.stage("what would help")
        found = helps(first.season, first.relaxed, explain=explain, progress=self.progress)
        return plan.model_copy(update={"about": about, "helps": found})

    # ---- season ---------------------------------------------------------------------------------------------------

    def _old_lots(self) -> list[Growing]:
        """Lots on racks; those that move in the near weeks grow on in their new zone."""
        farm, weeks, moved = self.farm, self.farm.weeks, move_stands(self.moved)
        found = []
        for lot in farm.lots:
            if lot.alive:
                stands = (old_stand(farm, lot.lot), *((moved[lot.lot],) if lot.lot in moved else ()))
                counted = min(1, weeks.week_of(lot.count_date))
                course = life(farm, lot.strain, weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, stands))
                system = farm.system_of_rack(lot.rack)
                found.append(Growing(lot.lot, lot.strain, lot.alive, course, system, stands[-1].zone, 1, False))
        return found

    def _season(self, old: list[Growing]) -> SeasonPlan:
        return plan_season(
            self.farm, old, pins=self.pins, seed=self.limits.seed, passes=None, progress=self.progress, stop=self.stop
        )

    # ---- near weeks -----------------------------------------------------------------------------------------------

    def _near(self, first: SeasonPlan) -> tuple[NearPlan, dict[str, list[Sale]]]:
        """The near weeks, beside the lots on racks sold as the season plan wishes; and those lots' sales in the near weeks."""
        farm, weeks = self.farm, self.farm.weeks
        old = self._old_lots()
        self._route(old, first, weeks.count)
        for lot in old:
            self._occupy(lot)
        floor = Floor(farm, {lot.id: lot.left(weeks.count) for lot in old})
        self.valuation = NearValuation(first.season, first.relaxed)
        ledger = self.ledger
        system = {
            (s.system, w): int(ledger.system_limit[s.system] - ledger.system_held(s.system, w) + 1e-9)
            for s in farm.systems
            for w in weeks.near_weeks
        }
        later = weeks.later_weeks
        zone = {(z.id, w): int(ledger.room(z, (w,)) + 1e-9) for z in ledger.zones.values() for w in later}
        stock = StockLots(farm, old, self.worth, ledger, self.seller)
        room = Limits(system, zone, outside=stock.outside(), boxes=stock.boxes(), market=stock.market(), announced=self.announced)

        def planned(fill: Mapping[str, float]) -> NearPlan:
            limits = replace(room, fill=fill)
            planner = NearPlanner(farm, floor, self.valuation, limits, self.pins, self.limits, self.progress, self.stop, stock)
            return self._countable(planner.plan())

        near, self.bench = by_the_clock(
            farm, planned, self.valuation, self.pins, self.limits, progress=self.progress, stop=self.stop
        )
        early = stock.sales(near)
        return near, {lot.id: [s for s in lot.sales if s.week in weeks.near_weeks] + early.get(lot.id, []) for lot in old}

    def _route(self, lots: Sequence[Growing], plan: SeasonPlan, until: int) -> None:
        """Sell lots as a season plan wishes; pieces whose wish cannot be met look for another way."""
        for lot in lots:
            self.seller.enter_counts(lot)
        numbers = {lot.id: n for n, lot in enumerate(plan.season.lots)}
        failed = {
            lot.id: self.seller.sell_guided(lot, plan.guide.lot(numbers[lot.id]), until) for lot in lots if lot.id in numbers
        }
        for lot in lots:
            if failed.get(lot.id):
                self.seller.sell_failed(lot, failed[lot.id])
            self.seller.release_counts(lot)

    def _occupy(self, lot: Growing) -> None:
        self.ledger.occupy(lot.zone, lot.strain, lot.life, lot.left(self.farm.weeks.count))

    def _countable(self, near: NearPlan) -> NearPlan:
        """S1: leaves out cuts whose lots nobody could count, where standing work alone fills a coming week."""
        farm, s = self.farm, self.farm.settings
        kept, gave_way = [], list(near.gave_way)
        counts: Counter[int] = Counter()
        for cut in near.cuts:
            name, week = cut.option.colony.colony, cut.option.week
            due = range(week + s.count_weeks, farm.weeks.count + 1, s.count_weeks)
            full = [w for w in due if not self.ledger.care_fits_overtime(w, (counts[w] + 1) * s.count_lot_minutes)]
            if not full:
                counts.update(due)
                kept.append(cut)
                continue
            pins = [p.pin for p in farm.pins if p.pin in self.pins and p.colony == name and p.kind in ("cut", "at least")]
            if pins:
                why = f"{farm.weeks.label(full[0])} has no hours left to count its lot"
                raise PinConflict(pins, [f"{describe_pin(farm, p)}, but {why}" for p in pins])
            gave_way.append(f"{name}: not cut, since {farm.weeks.label(full[0])} has no hours left to count its lot")
        return replace(near, cuts=tuple(kept), gave_way=tuple(gave_way))

    # ---- later weeks ----------------------------------------------------------------------------------------------

    def _later(
        self, first: SeasonPlan, near: NearPlan, soon: dict[str, list[Sale]]
    ) -> tuple[list[Cut], list[Stand], list[Growing], list[LaterCut]]:
        """Everything after the near weeks, with what the near weeks decided in the ledger."""
        farm, weeks = self.farm, self.farm.weeks
        self.moved = near.moves
        self._fresh_books()
        old = self._old_lots()
        for lot in old:
            self.seller.repeat(lot, soon[lot.id])
        cuts, stands, fresh = self._entered(near)
        stands += move_stands(near.moves).values()
        self._stand_by = stand_by(farm, near, tuple(cuts))
        later: list[LaterCut] = []
        if weeks.later_weeks:
            done: dict[str, dict[int, int]] = defaultdict(dict)
            for cut in cuts:
                done[cut.colony][cut.week] = cut.pieces
            plan = plan_season(
                farm, [*old, *fresh], pins=self.pins, seed=self.limits.seed, passes=PASSES, first=weeks.later_weeks.start, single=True,
                ledger=self.ledger, cuts=done, order_need=self.seller.order_need, warm=first, progress=self.progress, stop=self.stop,
            )  # fmt: skip
            self._route([*old, *fresh], plan, weeks.count)
            for lot in (*old, *fresh):
                self._occupy(lot)
            later = LaterWeeks(plan.season, plan.chosen, plan.guide, self.ledger, self.seller, self.codes).run()
        lots = [*old, *fresh, *(x.lot for x in later)]
        fill_whole_orders(farm, self.seller, lots)
        return cuts, stands, lots, later

    def _resold(
        self, plan: Plan, first: SeasonPlan, near: NearPlan, cuts: list[Cut], stands: list[Stand], lots: list[Growing],
        later: list[LaterCut],
    ) -> Plan:  # fmt: skip
        """The plan with all its sales decided together once more, if that is worth more."""

        def books() -> tuple[Ledger, Seller]:
            self._fresh_books()
            return self.ledger, self.seller

        begin = self.farm.weeks.near_weeks.stop
        if not self.farm.weeks.later_weeks:
            return plan
        again = resell(
            self.farm, lots, first=begin, pins=self.pins, seed=self.limits.seed, books=books, warm=first, stop=self.stop
        )
        other = self._finish(near, cuts, stands, again, later) if again is not None else plan
        return other if other.value > plan.value else plan

    def _entered(self, near: NearPlan) -> tuple[list[Cut], list[Stand], list[Growing]]:
        """The near weeks' cuts with label codes, places and lots, in the order they are made."""
        cuts, stands, fresh = [], [], []
        codes: dict[str, str] = {}
        order = self.bench.run_order
        for near_cut in sorted(near.cuts, key=lambda c: (c.option.week, c.session, order[working_name(c)])):
            cut, stand, growing = self._enter(near_cut, order[working_name(near_cut)])
            cuts.append(cut)
            stands.append(stand)
            fresh.append(growing)
            codes[working_name(near_cut)] = cut.lot
        self.bench = self.bench.renamed(codes)
        return cuts, stands, fresh

    def _enter(self, near_cut: NearCut, number: int) -> tuple[Cut, Stand, Growing]:
        farm, colony, week = self.farm, near_cut.option.colony, near_cut.option.week
        code = self.codes(colony.strain, week)
        zone = zones(farm)[near_cut.section.zone]
        cut = Cut(
            lot=code, colony=colony.colony, strain=colony.strain, week=week, pieces=near_cut.pieces, session=near_cut.session,
            run_order=number, cutter=near_cut.cutter, mounter=near_cut.mounter,
        )  # fmt: skip
        stand = Stand(
            lot=code, week=week, zone=zone.id, rack=near_cut.section.rack, blocks=near_cut.blocks, pieces=near_cut.pieces
        )
        course = life(farm, colony.strain, week, week, pars_of(farm, week, (stand,)))
        self.ledger.fresh[zone.system, week] += near_cut.pieces
        return cut, stand, Growing(code, colony.strain, near_cut.pieces, course, zone.system, zone.id, week, True)

    # ---- the finished plan ----------------------------------------------------------------------------------------

    def _finish(
        self, near: NearPlan, cuts: Sequence[Cut], stands: Sequence[Stand], lots: Sequence[Growing], later: Sequence[LaterCut]
    ) -> Plan:
        sales: list[Sale] = [s for lot in lots for s in lot.sales]
        all_cuts = (*cuts, *(x.cut for x in later))
        plan = Plan(
            about=self._about(near),
            cuts=all_cuts,
            stands=(*stands, *(x.stand for x in later)),
            sales=tuple(sorted(merged(sales), key=lambda s: (s.week, s.lot, s.route, s.order or ""))),
            announced=self.announced,
            stand_by=self._stand_by,
            notices=tuple(self._notices(near)),
        )
        return _valued(self.farm, with_bench(plan, self.bench))

    def _told(self, plan: Plan, near: NearPlan) -> Plan:
        """The plan with the reasons for its cuts, for colonies left uncut and for changes to what was announced."""
        why, held = reasons(self.farm, near, self.valuation, plan.cuts, plan.sales)
        plan = plan.model_copy(update={"why": why, "held": held})
        return plan.model_copy(update={"notices": (*plan.notices, *change_notices(self.farm, plan))})

    def _without_cuts(self, bare: NearPlan) -> Plan:
        """The plan with no new cuts and the lots on racks sold as well as the same means allow: its value is V0."""
        self.moved = ()
        self._fresh_books()
        lots = self._old_lots()
        plan = plan_season(self.farm, lots, pins=self.pins, seed=self.limits.seed, passes=None, cutting=False, stop=self.stop)
        self._route(lots, plan, self.farm.weeks.count)
        fill_whole_orders(self.farm, self.seller, lots)
        self.bench, self._stand_by = BenchResult(()), ()
        return self._finish(bare, (), (), lots, ())

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

    def _notices(self, near: NearPlan) -> list[Notice]:
        found = [Notice(kind="gave way", text=text) for text in near.gave_way]
        for order in self.farm.orders:
            need = self.seller.order_need[order.order]
            if need > 0.5 and order.due <= self.farm.weeks.days(self.farm.weeks.count)[-1]:
                text = f"order {order.order}: about {need:.0f} of {order.quantity} {order.strain} {order.size_class} (due {order.due}) are not covered"
                found.append(Notice(kind="gave way", text=text))
        found += [Notice(kind="pin dropped", text=describe_pin(self.farm, p)) for p in self.drop_pins]
        return found


def _valued(farm: Farm, plan: Plan) -> Plan:
    """The plan with its overtime, balance, lines of money and value."""
    plan = plan.model_copy(update={"overtime": overtime_rows(farm, PlanView(farm, plan))})
    lines = Valuation(farm, plan).lines()
    balance = balance_table(farm, PlanView(farm, plan))
    return plan.model_copy(update={"lines": lines, "balance": balance, "value": sum((x.amount for x in lines), Decimal(0))})


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
