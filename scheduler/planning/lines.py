"""The planner's own valuation of a finished plan: lines of money over what was sold, worked and used."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cached_property

from scheduler.biology.service import pieces_to_start
from scheduler.biology.zones import Zone, zones
from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard
from scheduler.farm.units import SHARE_STEP, exact, share, to_cent
from scheduler.farm.work import bench_minutes, first_late_week, sessions_in
from scheduler.plan.model import Cut, Line, LineKind, Plan, Sale
from scheduler.plan.view import LotView, PlanView
from scheduler.planning.left import colonies_left, frags_left
from scheduler.planning.since import how_changed

Key = tuple[LineKind, str, int]


@dataclass(frozen=True)
class Leaving:
    """A sale with its expected frags: ``graded`` make grade, ``rest`` sell at the B price."""

    sale: Sale
    lot: LotView
    frags: Decimal
    graded: Decimal

    @property
    def rest(self) -> Decimal:
        """Frags that do not make grade."""
        return self.frags - self.graded


def leaving(farm: Farm, view: PlanView) -> list[Leaving]:
    """All sales in order of weeks, then lots."""
    found = []
    for lot in view.lots.values():
        good = exact(farm.traits(lot.strain).good_share)
        for sale in lot.sales:
            frags = sale.pieces * lot.life.alive[sale.week]
            found.append(Leaving(sale, lot, frags, frags * good))
    return sorted(found, key=lambda x: (x.sale.week, x.lot.id))


class Valuation:
    """Values one plan. ``lines()`` gives its lines, zero lines left out."""

    def __init__(self, farm: Farm, plan: Plan) -> None:
        self.farm = farm
        self.plan = plan
        self.view = PlanView(farm, plan)
        self.weeks = farm.weeks
        self._amounts: dict[Key, Fraction] = defaultdict(Fraction)
        self._minutes: dict[tuple[str, int], Fraction] = defaultdict(Fraction)
        self._leaving = leaving(farm, self.view)

    def lines(self) -> tuple[Line, ...]:
        """Every line of money, rounded once."""
        over = self._orders()
        self._market(over)
        self._bench()
        self._outside()
        self._wages()
        self._supplies()
        self._ends()
        self._changes()
        rows = [
            Line(line=kind, subject=subject, week=week, amount=to_cent(amount * Fraction(self._interest(week))))
            for (kind, subject, week), amount in sorted(self._amounts.items())
        ]
        return tuple(r for r in rows if r.amount)

    def _add(self, kind: LineKind, subject: str, week: int, amount: Decimal | Fraction) -> None:
        self._amounts[kind, subject, week] += Fraction(amount)

    def _work(self, kind: str, week: int, minutes: Decimal | Fraction) -> None:
        self._minutes[kind, week] += Fraction(minutes)

    def _wages(self) -> None:
        """Labour lines: minutes are added up first, so that a line is rounded once."""
        for (kind, week), minutes in self._minutes.items():
            self._add("labour", kind, week, -minutes * Fraction(self.farm.settings.wage_per_hour) / 60)

    def _interest(self, week: int) -> Decimal:
        rate = self.farm.settings.interest_percent_per_year
        return share((1 + rate / 100) ** (-(week or self.weeks.count) / 52))

    # ---- orders and market ----------------------------------------------------------------------------------------

    def _orders(self) -> dict[tuple[int, str, str], Decimal]:
        """Order, late, short and service lines; returns the graded frags orders got over their quantity."""
        s = self.farm.settings
        over: dict[tuple[int, str, str], Decimal] = defaultdict(Decimal)
        last_day = self.weeks.days(self.weeks.count)[-1]
        to_order: dict[str, list[Leaving]] = defaultdict(list)
        for x in self._leaving:
            if x.sale.route == "order" and x.sale.order is not None:
                to_order[x.sale.order].append(x)
        for order in self.farm.orders:
            got: dict[int, Decimal] = defaultdict(Decimal)
            delivered, pieces = Decimal(0), 0
            for x in to_order[order.order]:
                taken = min(x.graded, order.quantity - min(delivered, Decimal(order.quantity)))
                self._add("order sale", order.order, x.sale.week, taken * order.price)
                if self.farm.channel[x.sale.channel].market:  # a channel for orders only has no market for what is over
                    over[x.sale.week, x.lot.strain, x.sale.size_class] += x.graded - taken
                delivered += x.graded
                got[x.sale.week] += x.graded
                pieces += x.sale.pieces
            open_then = Decimal(order.quantity)
            late = first_late_week(self.farm, order.order)
            for week in self.weeks.all:
                if order.late_ok and week >= late and open_then > 0:
                    self._add("late", order.order, week, -s.late_cost * open_then)
                open_then = max(Decimal(0), open_then - got[week])
            if order.due <= last_day and open_then > 0:
                self._add("short", order.order, 0, -s.short_cost * open_then)
            if pieces:
                each = (delivered / pieces).quantize(SHARE_STEP)
                if each > 0:
                    wanted = pieces_to_start(order.quantity, float(each), s.service_level)
                    self._add("service", order.order, 0, -s.service_cost * max(0, wanted - pieces) * each)
        return over

    def _market(self, over: dict[tuple[int, str, str], Decimal]) -> None:
        frags: dict[tuple[tuple[int, int], str, str], Fraction] = defaultdict(Fraction)
        last: dict[tuple[tuple[int, int], str, str], int] = {}
        for x in self._leaving:
            week, strain, name = x.sale.week, x.lot.strain, x.sale.size_class
            row = self.farm.size_class(strain, name)
            if row is None:
                continue
            if x.sale.route == "clear":
                self._add("market sale", f"{strain}/{name} clear", week, x.frags * row.discount_price)
                continue
            self._add("market sale", f"{strain}/{name} B", week, x.rest * row.b_price)
            if x.sale.route == "market":
                over[week, strain, name] += x.graded
        for (week, strain, name), graded in over.items():
            if graded > 0:
                key = (self.weeks.month(week), strain, name)
                frags[key] += Fraction(graded)
                last[key] = max(last.get(key, 0), week)
        listed = {
            key: min(total, self._market_part(key[0], strain=key[1], size_class=key[2]) or Fraction(0))
            for key, total in frags.items()
        }
        self._group_limits(listed)
        for key, total in frags.items():
            row = self.farm.size_class(key[1], key[2])
            if row is not None:
                self._add("market sale", f"{key[1]}/{key[2]} list", last[key], listed[key] * Fraction(row.list_price))
                rest = (total - listed[key]) * Fraction(row.discount_price)
                self._add("market sale", f"{key[1]}/{key[2]} discount", last[key], rest)

    def _group_limits(self, listed: dict[tuple[tuple[int, int], str, str], Fraction]) -> None:
        def dearness(key: tuple[tuple[int, int], str, str]) -> tuple[Decimal, str, str]:
            row = self.farm.size_class(key[1], key[2])
            return (row.list_price - row.discount_price if row else Decimal(0), key[1], key[2])

        for month in {k[0] for k in listed}:
            for group in self.farm.group:
                limit = self._market_part(month, group=group)
                mine = sorted((k for k in listed if k[0] == month and self.farm.strain[k[1]].group == group), key=dearness)
                excess = sum((listed[k] for k in mine), Fraction(0)) - limit if limit is not None else Fraction(0)
                for key in mine:
                    cut = min(max(excess, Fraction(0)), listed[key])
                    listed[key] -= cut
                    excess -= cut

    def _market_part(
        self, month: tuple[int, int], *, group: str | None = None, strain: str | None = None, size_class: str | None = None
    ) -> Fraction | None:
        quantity = self.farm.market_quantity(month[1], group=group, strain=strain, size_class=size_class)
        if quantity is None:
            return None
        return Fraction(exact(quantity)) * self.weeks.planned_in_month(month) / self.weeks.weeks_in_month(month)

    # ---- work and supplies ----------------------------------------------------------------------------------------

    def _sessions_of(self, week: int) -> dict[str, list[Cut]]:
        found: dict[str, list[Cut]] = defaultdict(list)
        for cut in self.plan.cuts:
            if cut.week == week and cut.session is not None:
                found[cut.session].append(cut)
        return found

    def _cut_minutes(self, cut: Cut) -> tuple[Decimal, Decimal]:
        minutes = standard(self.farm, cut.strain, self.farm.colony[cut.colony].on_rock)
        blocks = len(self.view.lots[cut.lot].stands[0].blocks)
        return minutes.cutter(cut.pieces), minutes.mounter(cut.pieces, blocks)

    def sessions_held(self, week: int) -> Fraction:
        """Sessions set up in a week: those with a cut; in later weeks the share of the bench that is used."""
        if week in self.weeks.near_weeks:
            return Fraction(len(self._sessions_of(week)))
        used = sum((sum(self._cut_minutes(c), Decimal(0)) for c in self.plan.cuts if c.week == week), Decimal(0))
        benches = sessions_in(self.farm, week)
        offered = sum((exact(bench_minutes(self.farm, b)) * len(b.people) for b in benches), Decimal(0))
        return len(benches) * Fraction(used) / Fraction(offered) if offered else Fraction(0)

    def _bench(self) -> None:
        s = self.farm.settings
        for week in self.weeks.all:
            self._work("sessions", week, self.sessions_held(week) * Fraction(exact(s.session_minutes)))
            for cuts in self._sessions_of(week).values():
                systems = {self.farm.system_of_tank(self.farm.colony[c.colony].tank) for c in cuts}
                self._work("changeovers", week, (len(systems) - 1) * exact(s.changeover_minutes))
        for cut in self.plan.cuts:
            cutting, mounting = self._cut_minutes(cut)
            self._work("cutting", cut.week, cutting)
            self._work("mounting", cut.week, mounting)

    @cached_property
    def _boxes(self) -> dict[int, Fraction]:
        """Boxes packed in each week with sales."""
        found: dict[int, Fraction] = defaultdict(Fraction)
        for x in self._leaving:
            found[x.sale.week] += Fraction(x.frags) / Fraction(exact(self.farm.channel[x.sale.channel].frags_per_box))
        return found

    def _outside(self) -> None:
        s = self.farm.settings
        for lot in self.view.lots.values():
            for stand in lot.stands[1:]:
                minutes = exact(s.move_lot_minutes) + exact(s.move_frag_minutes) * lot.left(stand.week)
                self._work("moves", stand.week, minutes)
        for x in self._leaving:
            self._work("packing", x.sale.week, x.frags * exact(s.pack_frag_minutes))
        for week, boxes in self._boxes.items():
            self._work("boxes", week, boxes * Fraction(exact(s.pack_box_minutes)))
        for row in self.plan.overtime:
            more = Fraction(s.overtime_wage_per_hour - s.wage_per_hour)
            self._add("labour", "overtime", row.week, -Fraction(row.minutes) / 60 * more)

    def _uses(self) -> Iterator[tuple[str, str, str, int, Fraction]]:
        """(per, plug kind, group, week, count) of everything that uses supplies; an item made for one group is used for it alone."""
        for cut in self.plan.cuts:
            kind, group = self.farm.traits(cut.strain).plug_kind, self.farm.strain[cut.strain].group
            yield "piece", kind, group, cut.week, Fraction(cut.pieces)
            yield "colony", group, group, cut.week, Fraction(1)
        for week in self.weeks.all:
            yield "session", "", "", week, self.sessions_held(week)
            yield "box", "", "", week, self._boxes.get(week, Fraction(0))
        for x in self._leaving:
            kind, group = self.farm.traits(x.lot.strain).plug_kind, self.farm.strain[x.lot.strain].group
            yield "frag packed", kind, group, x.sale.week, Fraction(x.frags)

    def _supplies(self) -> None:
        for per, kind, group, week, count in self._uses():
            for item in self.farm.supplies:
                if item.per == per and (per in ("session", "box") or item.only_for is None or item.only_for in (kind, group)):
                    self._add("supplies", item.item, week, -count * Fraction(exact(item.quantity_per) * item.unit_cost))

    # ---- the end and the balance of tanks -------------------------------------------------------------------------

    def _ends(self) -> None:
        frags, used = frags_left(self.farm, self.view)
        for strain, amount in frags.items():
            self._add("frags left", strain, 0, amount)
        for strain, amount in colonies_left(self.farm, self.plan, used).items():
            self._add("colony left", strain, 0, amount)
        if self.farm.settings.uneven_cost:
            self._add("uneven", "tanks", 0, -self.farm.settings.uneven_cost * unevenness(self.farm, self.view))

    def _changes(self) -> None:
        """Announced cuts that were changed, the nearer the dearer."""
        for row in self.plan.announced:
            if how_changed(row, self.plan.cuts):
                nearness = self.weeks.near + 1 - row.week
                self._add("change", row.colony, row.week, -self.farm.settings.change_cost * nearness)


def positions_held(farm: Farm, view: PlanView, week: int) -> dict[str, Decimal]:
    """Positions held by light zone at the end of a week: plugs in near weeks, by the last count later; mothers included."""
    held = {z.id: Decimal(z.mothers) for z in zones(farm).values()}
    for lot in view.lots.values():
        if week < lot.first_week:
            continue
        traits = farm.traits(lot.strain)
        part = Decimal(1) if week in farm.weeks.near_weeks else lot.life.held[week]
        for stand in lot.stands_held(week):
            held[stand.zone] += lot.left(week) * traits.plug_area * part
    return held


@dataclass(frozen=True)
class Uneven:
    """The worst difference of use between tanks of one light class: percentage points, its week, and the two light zones."""

    difference: Decimal
    week: int
    fullest: str
    emptiest: str


def unevenness(farm: Farm, view: PlanView) -> Decimal:
    """Largest difference of use, in percentage points, between tanks of one light class over all weeks."""
    worst = most_uneven(farm, view)
    return worst.difference if worst is not None else Decimal(0)


def most_uneven(farm: Farm, view: PlanView) -> Uneven | None:
    """Where and when tanks of one light class differ most (of equals the first week); ``None`` if they never do."""
    worst: Uneven | None = None
    alike: dict[str, list[Zone]] = defaultdict(list)
    for zone in zones(farm).values():
        if zone.capacity:
            alike[zone.light_class].append(zone)
    for week in farm.weeks.all:
        held = positions_held(farm, view, week)
        for members in alike.values():
            use = {z.id: 100 * held[z.id] / z.capacity for z in members}
            low, high = min(use, key=lambda z: use[z]), max(use, key=lambda z: use[z])
            if use[high] - use[low] > (worst.difference if worst is not None else 0):
                worst = Uneven(use[high] - use[low], week, high, low)
    return worst
