"""From a farm to an audited plan."""

from __future__ import annotations

import platform
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from importlib.metadata import version

from scheduler import __version__
from scheduler.audit import Report, audit
from scheduler.biology.life import life
from scheduler.biology.zones import zones
from scheduler.errors import AuditFailed, PinConflict
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, missing_minutes, outside_offers
from scheduler.farm.units import CENT, seconds
from scheduler.farm.work import standing_minutes
from scheduler.plan.model import About, Cut, NearWeeksResult, Notice, Overtime, Plan, Sale, Stand
from scheduler.plan.view import PlanView, old_stand, pars_of
from scheduler.planning.balance import balance_table
from scheduler.planning.lines import Valuation
from scheduler.planning.near import NearCut, NearPlan, NearPlanner, describe_pin
from scheduler.planning.reasons import held_back, stand_by
from scheduler.season.forward import ForwardPass, LaterCut
from scheduler.season.ledger import Ledger
from scheduler.season.near_worth import NearValuation
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Progress
from scheduler.week.floor import Floor
from scheduler.week.model import Limits

LIBRARIES = ("ortools", "numpy", "pandas", "pydantic", "openpyxl", "scipy")


@dataclass(frozen=True)
class Result:
    """A plan and the report of the audit it passed."""

    plan: Plan
    report: Report


def plan_farm(
    farm: Farm, *, limits: SolveLimits, drop_pins: Sequence[str] = (), progress: Progress | None = None,
    stage: Callable[[str], None] = lambda _: None, stop: threading.Event | None = None,
) -> Result:  # fmt: skip
    """Plan a farm and audit the plan. Raises ``PinConflict``, ``NoPlanFound`` or ``AuditFailed`` (a defect of this program)."""
    plan = _Planner(farm, limits, tuple(drop_pins), progress, stage, stop).plan()
    stage("audit")
    report = audit(farm, plan)
    if report.breaches:
        first = "\n".join(f"  {b.rule} {', '.join(b.things)}: {b.text}" for b in report.breaches[:20])
        raise AuditFailed(f"The plan breaks {len(report.breaches)} rules and is not handed out:\n{first}")
    return Result(plan, report)


class Codes:
    """Label codes of new lots: the strain's code, year and week, and a letter; never one already on the racks."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self._used = {lot.lot for lot in farm.lots}
        self._count: Counter[str] = Counter()

    def __call__(self, strain: str, week: int) -> str:
        """The next free code of a strain in a week."""
        year, number, _ = self.farm.weeks.monday(week).isocalendar()
        stem = f"{self.farm.strain[strain].code}-{year % 100:02d}{number:02d}"
        while True:
            index = self._count[stem]
            self._count[stem] += 1
            letters = chr(97 + index % 26) if index < 26 else chr(96 + index // 26) + chr(97 + index % 26)
            if stem + letters not in self._used:
                self._used.add(stem + letters)
                return stem + letters


class _Planner:
    def __init__(
        self, farm: Farm, limits: SolveLimits, drop_pins: tuple[str, ...], progress: Progress | None,
        stage: Callable[[str], None], stop: threading.Event | None,
    ) -> None:  # fmt: skip
        self.farm, self.limits, self.drop_pins = farm, limits, drop_pins
        self.progress, self.stage, self.stop = progress, stage, stop
        self.pins = [p.pin for p in farm.pins if p.pin not in drop_pins]
        self.worth = Worth(farm)
        self.ledger = Ledger(farm)
        self.seller = Seller(farm, self.worth, self.ledger, frozenset(self.pins))
        self.codes = Codes(farm)

    def plan(self) -> Plan:
        self.stage("lots on racks")
        old = self._old_lots()
        self.stage("near weeks")
        near, cuts, stands, fresh = self._near(old)
        self.stage("later weeks")
        later = ForwardPass(self.farm, self.worth, self.ledger, self.seller, self.codes, frozenset(self.pins)).run(cuts)
        self.stage("value")
        return self._finish(near, cuts, stands, [*old, *fresh, *(x.lot for x in later)], later)

    # ---- lots on racks --------------------------------------------------------------------------------------------

    def _old_lots(self) -> list[Growing]:
        farm, weeks = self.farm, self.farm.weeks
        found = []
        for lot in farm.lots:
            if lot.alive:
                stand = old_stand(farm, lot.lot)
                counted = min(1, weeks.week_of(lot.count_date))
                course = life(farm, lot.strain, weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, (stand,)))
                system = farm.system_of_rack(lot.rack)
                found.append(Growing(lot.lot, lot.strain, lot.alive, course, system, stand.zone, 1, False))
        for growing in found:
            self.seller.enter_counts(growing)
        self.seller.fill_orders(found)
        for growing in sorted(found, key=lambda g: (-g.life.age[1], g.id)):
            self.seller.sell_rest(growing)
        for growing in found:
            self.seller.release_counts(growing)
            self._occupy(growing)
        return found

    def _occupy(self, lot: Growing) -> None:
        traits = self.farm.traits(lot.strain)
        left = lot.left(self.farm.weeks.count)
        self.ledger.hold(lot.zone, lot.life, traits.plug_rows * traits.plug_cols, left)
        tank = zones(self.farm)[lot.zone].tank
        for week, pieces in left.items():
            if pieces:
                self.ledger.tank_strains[tank, week].add(lot.strain)

    # ---- near weeks -----------------------------------------------------------------------------------------------

    def _near(self, old: list[Growing]) -> tuple[NearPlan, list[Cut], list[Stand], list[Growing]]:
        farm, weeks = self.farm, self.farm.weeks
        floor = Floor(farm, {lot.id: lot.left(weeks.count) for lot in old})
        valuation = NearValuation(farm, self.worth, self.ledger, self.seller)
        system = {
            (s.system, w): int(self.ledger.system_limit[s.system] - self.ledger.system_held(s.system, w) + 1e-9)
            for s in farm.systems
            for w in weeks.near_weeks
        }
        zone = (
            {z.id: int(self.ledger.room(z, weeks.later_weeks) + 1e-9) for z in self.ledger.zones.values()}
            if weeks.later_weeks
            else {}
        )
        planner = NearPlanner(farm, floor, valuation, Limits(system, zone), self.pins, self.limits, self.progress, self.stop)
        near = planner.plan()
        near = self._countable(near)
        cuts, stands, fresh = [], [], []
        numbered = {id(c): n for n, c in self._run_order(near.cuts)}
        for near_cut in sorted(near.cuts, key=lambda c: (c.option.week, c.session, numbered[id(c)])):
            cut, stand, growing = self._enter(near_cut, numbered[id(near_cut)])
            cuts.append(cut)
            stands.append(stand)
            fresh.append(growing)
        self.seller.fill_orders(fresh)
        for growing in fresh:
            self.seller.sell_rest(growing)
            self.seller.enter_counts(growing)
            self._occupy(growing)
        self._held = held_back(farm, near, valuation)
        self._stand_by = stand_by(farm, near, tuple(cuts))
        return near, cuts, stands, fresh

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

    def _run_order(self, cuts: Sequence[NearCut]) -> list[tuple[int, NearCut]]:
        """S3, S4: clean systems by health rank, toxic last, quarantine after; slimy corals after the others."""
        farm = self.farm

        def mix(session: str, system: str) -> int:
            """0: no toxic cut from the system in the session, 1: some, 2: nothing else."""
            here = [c.option.colony for c in cuts if c.session == session and farm.system_of_tank(c.option.colony.tank) == system]
            toxic = {farm.traits(c.strain).toxic for c in here}
            return {frozenset({True}): 2, frozenset({True, False}): 1}.get(frozenset(toxic), 0)

        def key(cut: NearCut) -> tuple[bool, int, int, str, bool, bool, str, str]:
            colony = cut.option.colony
            name = farm.system_of_tank(colony.tank)
            traits = farm.traits(colony.strain)
            shut = farm.in_quarantine(name, cut.option.week)
            rank, order = farm.system[name].health_rank, mix(cut.session, name)
            return shut, rank, order, name, traits.toxic, traits.slimy, traits.method, colony.colony

        found = []
        for session in dict.fromkeys(c.session for c in cuts):
            found += list(enumerate(sorted((c for c in cuts if c.session == session), key=key), start=1))
        return found

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

    def _finish(self, near: NearPlan, cuts: list[Cut], stands: list[Stand], lots: list[Growing], later: list[LaterCut]) -> Plan:
        sales: list[Sale] = [s for lot in lots for s in lot.sales]
        plan = Plan(
            about=self._about(near),
            cuts=(*cuts, *(x.cut for x in later)),
            stands=(*stands, *(x.stand for x in later)),
            sales=tuple(sorted(_merged(sales), key=lambda s: (s.week, s.lot, s.route, s.order or ""))),
            held=self._held,
            stand_by=self._stand_by,
            notices=tuple(self._notices(near)),
        )
        plan = plan.model_copy(update={"overtime": overtime_rows(self.farm, PlanView(self.farm, plan))})
        lines = Valuation(self.farm, plan).lines()
        balance = balance_table(self.farm, PlanView(self.farm, plan))
        total = sum((line.amount for line in lines), Decimal(0))
        return plan.model_copy(update={"lines": lines, "balance": balance, "value": total})

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
            near=self._near_result(near),
        )

    def _near_result(self, near: NearPlan) -> NearWeeksResult:
        zero = Decimal("0.00")
        if near.outcome is None:
            return NearWeeksResult(
                outcome="none needed", reason="no colony can be cut in the near weeks", value=zero, bound=zero, gap_percent=zero,
                seed=self.limits.seed, wall_seconds=zero,
            )  # fmt: skip
        value = Decimal(round(near.outcome.value or 0)) / 100
        bound = max(value, Decimal(round(near.outcome.bound or 0)) / 100)
        gap = (100 * (bound - value) / bound).quantize(CENT) if bound > 0 else zero
        return NearWeeksResult(
            outcome="optimal" if near.outcome.outcome == "optimal" else "feasible",
            reason=near.outcome.reason, value=value, bound=bound, gap_percent=gap, seed=self.limits.seed,
            wall_seconds=Decimal(str(round(near.outcome.seconds, 1))),
        )  # fmt: skip

    def _notices(self, near: NearPlan) -> list[Notice]:
        found = [Notice(kind="gave way", text=text) for text in near.gave_way]
        for order in self.farm.orders:
            need = self.seller.order_need[order.order]
            if need > 0.5 and order.due <= self.farm.weeks.days(self.farm.weeks.count)[-1]:
                text = f"order {order.order}: about {need:.0f} of {order.quantity} {order.strain} {order.size_class} (due {order.due}) are not covered"
                found.append(Notice(kind="gave way", text=text))
        found += [Notice(kind="pin dropped", text=describe_pin(self.farm, p)) for p in self.drop_pins]
        return found


def _merged(sales: Sequence[Sale]) -> list[Sale]:
    """Sales that say the same of one lot and week, added up."""
    found: dict[tuple[object, ...], Sale] = {}
    for s in sales:
        key = (s.lot, s.week, s.route, s.size_class, s.order, s.channel)
        found[key] = s if key not in found else s.model_copy(update={"pieces": found[key].pieces + s.pieces})
    return list(found.values())


def overtime_rows(farm: Farm, view: PlanView) -> tuple[Overtime, ...]:
    """S1: overtime of each week: what packing, moves, counting and standing work need beyond paid hours outside sessions."""
    s = farm.settings
    rows = []
    for week in farm.weeks.all:
        need = standing_minutes(farm, week)
        for lot in view.lots.values():
            if week < lot.first_week:
                continue
            age, left = lot.life.age[week], lot.left(week)
            if left and age > 0 and age % s.count_weeks == 0:
                need["care"] += s.count_lot_minutes
            need["care"] += sum(s.move_lot_minutes + s.move_frag_minutes * left for stand in lot.stands[1:] if stand.week == week)
            for sale in lot.sales:
                if sale.week == week:
                    frags = sale.pieces * float(lot.life.alive[week])
                    per_box = farm.channel[sale.channel].frags_per_box
                    need["pack"] += frags * (s.pack_frag_minutes + s.pack_box_minutes / per_box)
        demand = {CARING: float(seconds(need["care"])), PACKING: float(seconds(need["pack"]))}
        offers = [(able, float(int(minutes * 60 + 1e-6))) for able, minutes in outside_offers(farm, week)]
        missing = round(missing_minutes(demand, offers))
        if missing > 0:
            rows.append(Overtime(week=week, minutes=Decimal(missing) / 60))
    return tuple(rows)
