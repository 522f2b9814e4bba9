"""A plan by one of the hand rules: week by week, sell what is ready, then cut what the rule asks for. No solver."""

from __future__ import annotations

import platform
from decimal import Decimal
from importlib.metadata import version

from scheduler import __version__
from scheduler.biology.life import life
from scheduler.errors import NoPlanFound
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.trade import Pin
from scheduler.farm.work import sessions_in
from scheduler.plan.model import About, Cut, NearWeeksResult, Plan, Stand
from scheduler.plan.view import pars_of
from scheduler.planning.finish import LIBRARIES, Codes, merged, valued
from scheduler.planning.hand.bench import Bench, order_of_work
from scheduler.planning.hand.demand import Demand
from scheduler.planning.hand.places import Racks, Spot
from scheduler.planning.hand.rules import Experienced, Rule, RuleName, Simple
from scheduler.planning.hand.sell import Counter
from scheduler.planning.hand.stock import Stock
from scheduler.planning.pins import ASKING, describe_pin
from scheduler.planning.result import Result, audited
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing


def plan_by_hand(farm: Farm, rule: RuleName) -> Result:
    """Plan a farm by a hand rule and audit the plan.

    ``simple``: rested colonies with most pieces over keep first, nearest free rack of like light, no strain with more on the
    racks than three months of market take. ``experienced``: the strain with the shortest cover first, its ripest colony, until
    every strain is covered for its time to size and four weeks more; stragglers are cleared before cutting. Both fill orders
    first and sell what is ready. Raises ``NoPlanFound`` where a rule sees no way to do what a pin asks for, ``AuditFailed``
    for a defect of this program.
    """
    return audited(farm, _Hand(farm, rule).plan(), "The plan by hand")


class _Hand:
    def __init__(self, farm: Farm, rule: RuleName) -> None:
        self.farm, self.name = farm, rule
        self.ledger = Ledger(farm)
        self.stock = Stock(farm, self.ledger)
        self.demand = Demand(farm)
        self.bench = Bench(farm, self.ledger)
        self.racks = Racks(farm, self.ledger, self.stock, [p.pin for p in farm.pins])
        self.counter = Counter(farm, self.ledger, self.stock, self.demand, stragglers=rule == "experienced")
        chosen = Simple if rule == "simple" else Experienced
        self.rule: Rule = chosen(farm, self.stock, self.demand)
        self.codes = Codes(farm)
        self.cuts: list[Cut] = []
        self.stands: list[Stand] = []

    def plan(self) -> Plan:
        for week in self.farm.weeks.all:
            self.counter.sell(week)
            able = {c.colony: most for c in self.farm.colonies if (most := self.stock.most(c, week))}
            if week in self.farm.weeks.near_weeks:
                self._pinned(week, able)
            while (colony := self.rule.next(week, able)) is not None:
                self._cut(colony, week, able.pop(colony.colony))
        self._number()
        return self._finish()

    # ---- cutting --------------------------------------------------------------------------------------------------

    def _cut(self, colony: Colony, week: int, most: int, least: int = 1) -> bool:
        """Cut a colony if bench, racks and hours for counting take at least its fewest pieces."""
        if not all(self.ledger.care_fits(w, self.farm.settings.count_lot_minutes) for w in self._counts(week)):
            return False
        near = week in self.farm.weeks.near_weeks
        return self._near(colony, week, most, least) if near else self._later(colony, week, most)

    def _counts(self, week: int) -> range:
        every = self.farm.settings.count_weeks
        return range(week + every, self.farm.weeks.count + 1, every)

    def _near(self, colony: Colony, week: int, most: int, least: int) -> bool:
        sessions = [s for s in sessions_in(self.farm, week) if self._session_allowed(colony, s)]
        for session in sessions:
            most_here = min([most, *(self._allowance(p) for p in self._pins("at most", colony, session))])
            place = self.bench.place(colony, [session], most_here)
            if place is None:
                continue
            rack = next((p.rack for p in self._pins("rack", colony, session)), None)
            spot = self.racks.find(colony, week, place.most, rack)
            if spot is None or spot.pieces < least:
                continue
            self.bench.enter(colony, place, spot.pieces)
            lot = self._enter(colony, week, spot)
            cut = Cut(
                lot=lot, colony=colony.colony, strain=colony.strain, week=week, pieces=spot.pieces, session=session.id,
                run_order=1, cutter=place.cutter, mounter=place.mounter,
            )  # fmt: skip
            self.cuts.append(cut)
            return True
        return False

    def _later(self, colony: Colony, week: int, most: int) -> bool:
        pieces = self.bench.most_later(colony, week, most)
        if pieces < self.farm.traits(colony.strain).min_pieces:
            return False
        spot = self.racks.find(colony, week, pieces)
        if spot is None:
            return False
        self.bench.enter_later(colony, week, spot.pieces)
        lot = self._enter(colony, week, spot)
        self.cuts.append(Cut(lot=lot, colony=colony.colony, strain=colony.strain, week=week, pieces=spot.pieces))
        return True

    def _enter(self, colony: Colony, week: int, spot: Spot) -> str:
        lot = self.codes(colony.strain, week)
        stand = Stand(lot=lot, week=week, zone=spot.zone.id, rack=spot.rack, blocks=spot.blocks, pieces=spot.pieces)
        course = life(self.farm, colony.strain, week, week, pars_of(self.farm, week, (stand,)))
        self.stands.append(stand)
        self.stock.add(Growing(lot, colony.strain, spot.pieces, course, spot.zone.system, spot.zone.id, week, True))
        self.stock.cut(colony, week, spot.pieces)
        self.racks.enter(lot, colony, week, spot)
        return lot

    def _number(self) -> None:
        """Places in the order of work of each session, once all its cuts are known."""
        place = {
            (session, colony.colony): number
            for session, colonies in self.bench.works.items()
            for number, colony in enumerate(order_of_work(self.farm, colonies, self._week_of(session)), start=1)
        }
        self.cuts = [
            c if c.session is None else c.model_copy(update={"run_order": place[c.session, c.colony]}) for c in self.cuts
        ]

    def _week_of(self, session: str) -> int:
        return next(s.week for w in self.farm.weeks.near_weeks for s in sessions_in(self.farm, w) if s.id == session)

    # ---- pins -----------------------------------------------------------------------------------------------------

    def _pins(self, kind: str, colony: Colony, session: BenchSession) -> list[Pin]:
        return [p for p in self.farm.pins if p.kind == kind and p.colony == colony.colony and _on(p, session)]

    def _session_allowed(self, colony: Colony, session: BenchSession) -> bool:
        if self._pins("no cut", colony, session):
            return False
        return all(p.session == session.id for p in self._pins("session", colony, session))

    def _done(self, pin: Pin) -> int:
        """Pieces of a pin's colony cut within its dates."""
        days = {s.id: s for w in self.farm.weeks.near_weeks for s in sessions_in(self.farm, w)}
        return sum(c.pieces for c in self.cuts if c.colony == pin.colony and c.session and _on(pin, days[c.session]))

    def _allowance(self, pin: Pin) -> int:
        return (pin.pieces or 0) - self._done(pin)

    def _pinned(self, week: int, able: dict[str, int]) -> None:
        """P1: what pins ask for comes before what the rule wants."""
        asking = [p for p in self.farm.pins if p.kind in ASKING and p.colony]
        for pin in asking:
            least = max(1, pin.pieces or 0) if pin.kind == "at least" else 1
            missing = least - self._done(pin)
            name = pin.colony or ""
            if missing > 0 and name in able and self._cut(self.farm.colony[name], week, able[name], missing):
                del able[name]
            if week == self.farm.weeks.near_weeks[-1] and self._done(pin) < least:
                raise NoPlanFound(
                    f"The {self.name} hand rule found no way to do what a pin asks: {describe_pin(self.farm, pin.pin)}"
                )

    # ---- the finished plan ----------------------------------------------------------------------------------------

    def _finish(self) -> Plan:
        farm = self.farm
        sales = merged([s for lot in self.stock.lots for s in lot.sales])
        plan = Plan(
            about=self._about(),
            cuts=tuple(self.cuts),
            stands=tuple(self.stands),
            sales=tuple(sorted(sales, key=lambda s: (s.week, s.lot, s.route, s.order or ""))),
        )
        return valued(farm, plan)

    def _about(self) -> About:
        zero, weeks = Decimal("0.00"), self.farm.weeks
        near = NearWeeksResult(
            outcome="none needed", reason=f"planned by the {self.name} hand rule, without a solver", value=zero, bound=zero,
            gap_percent=zero, seed=0, wall_seconds=zero,
        )  # fmt: skip
        return About(
            farm_name=self.farm.settings.farm_name, book_fingerprint=self.farm.fingerprint, plan_monday=weeks.plan_monday,
            weeks=weeks.count, near_weeks=weeks.near, seed=0, near=near,
            versions={"frag-scheduler": __version__, "python": platform.python_version(), **{n: version(n) for n in LIBRARIES}},
        )  # fmt: skip


def _on(pin: Pin, session: BenchSession) -> bool:
    """Whether a session's day lies within a pin's dates."""
    return (pin.from_date is None or session.day >= pin.from_date) and (pin.to_date is None or session.day <= pin.to_date)
