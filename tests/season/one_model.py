"""The whole season of a small farm as one linear or whole-number programme, built from the rules and not from the season's own tables.

Every cut programme of every colony is a column, every way out of every piece is a column, hours are flows from people to
kinds of work, and positions are counted by light zone.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from scheduler.biology.growth import curve, levels, most_pieces, rested_from, season_open
from scheduler.biology.life import Life, life
from scheduler.biology.zones import Zone, zone_racks, zones
from scheduler.errors import NoPlanFound
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind, bench_offers, cut_kind, mount_kind
from scheduler.farm.trade import Order
from scheduler.farm.work import (
    bench_minutes,
    first_late_week,
    may_deliver,
    outside_minutes,
    overtime_minutes,
    packing_days,
    sessions_in,
    standing_minutes,
)
from scheduler.plan.view import old_stand, pars_of
from scheduler.season.classes import light_fits
from scheduler.solving.linear import pywraplp

Terms = dict[Any, float]


def every_programme(farm: Farm, colony: Colony) -> Iterator[dict[int, int]]:
    """All lawful pieces by week of a colony."""
    traits = farm.traits(colony.strain)
    sizes = curve(traits)

    def onward(week: int, cuts: dict[int, int]) -> Iterator[dict[int, int]]:
        if week > farm.weeks.count:
            yield cuts
            return
        yield from onward(week + 1, cuts)
        rested = max(rested_from(farm, colony), max(cuts, default=-99) + traits.rest_weeks)
        open_now = season_open(farm, colony, week) and not farm.on_hold(farm.system_of_tank(colony.tank), week)
        if colony.condition != "fit" or week < rested or not open_now:
            return
        most = most_pieces(traits, sizes[levels(farm, colony, cuts)[week]])
        for pieces in range(traits.min_pieces, most + 1):
            yield from onward(week + 1, cuts | {week: pieces})

    yield from onward(1, {})


class OneModel:
    """The model of one farm. ``whole``: whole programmes and pieces instead of parts of them."""

    def __init__(self, farm: Farm, *, whole: bool) -> None:
        self.farm, self.whole, self.last = farm, whole, farm.weeks.count
        self.solver = pywraplp.Solver.CreateSolver("SCIP" if whole else "GLOP")
        self.goal: Terms = defaultdict(float)
        self.used: dict[tuple[Any, ...], Terms] = defaultdict(lambda: defaultdict(float))
        self.wage = float(farm.settings.wage_per_hour) / 60
        for colony in farm.colonies:
            self._colony(colony)
        for lot in farm.lots:
            if lot.alive:
                stand = old_stand(farm, lot.lot)
                counted = min(1, farm.weeks.week_of(lot.count_date))
                of = life(farm, lot.strain, farm.weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, (stand,)))
                self._leave(lot.strain, of, zones(farm)[stand.zone], 1, {None: float(lot.alive)})
        self._positions()
        self._hours()
        self._trade()

    def solve(self) -> float:
        """Optimal value, money; in whole numbers of a plan within 0.01 % of the optimum."""
        self.solver.Maximize(sum(worth * x for x, worth in self.goal.items()))
        near = pywraplp.MPSolverParameters()
        near.SetDoubleParam(near.RELATIVE_MIP_GAP, 1e-4)
        if self.solver.Solve(near) != pywraplp.Solver.OPTIMAL:
            raise NoPlanFound("the one model has no optimum")
        unserved = sum(o.quantity * self._saved(o, 0) for o in self.farm.orders)
        return float(self.solver.Objective().Value()) - unserved

    # ---- columns --------------------------------------------------------------------------------------------------

    def _number(self, most: float) -> Any:
        return self.solver.IntVar(0, most, "") if self.whole else self.solver.NumVar(0, most, "")

    def _part(self) -> Any:
        return self.solver.NumVar(0, self.solver.infinity(), "")

    def _earn(self, x: Any, money: float, week: int) -> None:
        self.goal[x] += money * (1 + self.farm.settings.interest_percent_per_year / 100) ** (-week / 52)

    def _supplies(self, per: str, strain: str) -> float:
        kinds = (None, self.farm.traits(strain).plug_kind, self.farm.strain[strain].group)
        rows = [r for r in self.farm.supplies if r.per == per and (per in ("session", "box") or r.only_for in kinds)]
        return sum(r.quantity_per * float(r.unit_cost) for r in rows)

    def _minute(self, week: int) -> float:
        """Least cost of a minute at the bench: wage, and a share of setting sessions up."""
        farm, s = self.farm, self.farm.settings
        rows = [bench_minutes(farm, b) * len(b.people) for b in sessions_in(farm, week)]
        once = s.session_minutes * self.wage + self._supplies("session", farm.strains[0].strain)
        if not any(rows):
            return self.wage
        near = week in farm.weeks.near_weeks
        return self.wage + (once / max(rows) if near else once * len(rows) / sum(rows))

    def _colony(self, colony: Colony) -> None:
        farm, s = self.farm, self.farm.settings
        traits, strain = farm.traits(colony.strain), colony.strain
        factor = s.on_rock_factor if colony.on_rock else 1.0
        given: dict[int, Terms] = defaultdict(lambda: defaultdict(float))
        spare: Terms = defaultdict(float)
        one = []
        for cuts in every_programme(farm, colony):
            x = self._number(1)
            one.append(x)
            end = curve(traits)[levels(farm, colony, cuts, until=self.last + 1)[self.last + 1]] - traits.keep_pieces
            spare[x] += max(0.0, end)
            for week, pieces in cuts.items():
                given[week][x] += pieces
                cutting = (traits.minutes_colony + traits.minutes_cut * pieces) * factor
                mounting = (traits.minutes_mount + s.label_minutes) * pieces
                self.used["bench", cut_kind(farm, strain), week][x] += cutting
                self.used["bench", mount_kind(farm, strain), week][x] += mounting
                cost = (cutting + mounting) * self._minute(week)
                cost += pieces * self._supplies("piece", strain)
                cost += sum(
                    r.quantity_per * float(r.unit_cost)
                    for r in farm.supplies
                    if r.per == "colony" and r.only_for in (None, farm.strain[strain].group)
                )
                self._earn(x, -cost, week)
        self.solver.Add(sum(one) == 1)
        for week, pieces in given.items():
            places = [z for z in zones(farm).values() if self._may_settle(colony, z, week)]
            shares = {z.id: self._number(10**4) for z in places}
            self.solver.Add(sum(shares.values()) == sum(n * x for x, n in pieces.items()))
            for z in places:
                self.used["fresh", z.system, week][shares[z.id]] += 1
                self._leave(strain, life(farm, strain, week, week, z.par[week - 1 :]), z, week + 1, {shares[z.id]: 1.0})
        self._colony_left(colony, spare)

    def _may_settle(self, colony: Colony, zone: Zone, week: int) -> bool:
        farm, traits = self.farm, self.farm.traits(colony.strain)
        return (
            zone.flow in traits.flow_settling
            and farm.may_settle_in(farm.system_of_tank(colony.tank), zone.system, week)
            and not farm.tank_closed(zone.tank, week)
            and any(traits.plug_kind in farm.rack[r].plug_kinds for r in zone_racks(zone))
            and light_fits(farm, zone, colony.par_umol, week)
        )

    def _leave(self, strain: str, of: Life, zone: Zone, first: int, pieces: Mapping[Any, float]) -> None:
        """Every way out of the pieces of a lot (a number, or so many times a variable), and the positions they hold until then."""
        farm, ways = self.farm, []
        traits, classes = farm.traits(strain), farm.size_classes(strain)
        cut_week = of.first - of.age[of.first]
        for week in range(of.first, self.last + 2):
            mine = list(self._outlets(strain, of, zone, week, cut_week, first)) if classes else []
            for frags, money, uses in mine:
                x = self._number(10**4)
                ways.append(x)
                self._earn(x, frags * money, min(week, self.last))
                for row, amount in uses.items():
                    self.used[row][x] += frags * amount
                for w in range(of.first, min(week, self.last + 1)):
                    held = 1.0 if w in farm.weeks.near_weeks else float(of.held[w])
                    self.used["held", zone.id, w][x] += held * traits.plug_rows * traits.plug_cols
        self.solver.Add(sum(ways) == sum(n if x is None else n * x for x, n in pieces.items()))

    def _outlets(
        self, strain: str, of: Life, zone: Zone, week: int, cut_week: int, first: int
    ) -> Iterator[tuple[float, float, Terms]]:
        """(frags of a piece, money a frag, rows a frag uses) of every way out in a week; after the horizon: left."""
        farm, s = self.farm, self.farm.settings
        classes, good = farm.size_classes(strain), farm.traits(strain).good_share
        at = min(week, self.last)
        old = at - cut_week > s.max_rack_weeks
        reached = [c for c in classes if of.reached(c.size_class, at)]
        alive = float(of.alive[at])
        if week > self.last:
            packing = s.pack_frag_minutes * self.wage
            if old or not of.ready:
                yield alive, s.end_frag_share * float((reached or classes[:1])[-1].discount_price), {}
                return
            row = reached[-1] if reached else min(classes, key=lambda c: of.ready.get(c.size_class, 10**6))
            frags = alive if reached else float(of.alive_when_ready[row.size_class])
            rest = (1 - good) * float(row.b_price) - packing
            yield frags, s.end_frag_share * (good * float(row.list_price) + rest), {("end", strain): 1.0}
            yield frags, s.end_frag_share * max(0.0, good * float(row.discount_price) + rest), {}
            return
        if week < first or farm.in_quarantine(zone.system, week) or farm.on_hold(zone.system, week):
            return
        month, group = farm.weeks.month(week), farm.strain[strain].group
        for channel in (c for c in farm.channels if packing_days(farm, c.channel, week)):
            each = s.pack_frag_minutes + s.pack_box_minutes / channel.frags_per_box
            packing = (
                each * self.wage + self._supplies("frag packed", strain) + self._supplies("box", strain) / channel.frags_per_box
            )
            use: Terms = {("boxes", channel.channel, week): 1 / channel.frags_per_box, ("outside", PACKING, week): each}
            if channel.market and (old or reached):
                yield alive, float((reached or classes[:1])[-1].discount_price) - packing, use
            for row in [] if old else reached:
                rest = (1 - good) * float(row.b_price) - packing
                if channel.market:
                    key = ("market", month, strain, row.size_class)
                    yield alive, good * float(row.list_price) + rest, use | {key: good, ("group", month, group): good}
                    yield alive, good * float(row.discount_price) + rest, use
                for order in farm.orders:
                    wanted = strain in (order.strain, *order.substitutes) and order.size_class == row.size_class
                    if wanted and order.channel == channel.channel and may_deliver(farm, order.order, week):
                        now = (1 + s.interest_percent_per_year / 100) ** (-week / 52)
                        worth = good * float(order.price) + rest + good * self._saved(order, week) / now
                        yield alive, worth, use | {("order", order.order): good}

    def _saved(self, order: Order, week: int) -> float:
        """What a frag of an order delivered in a week spares, interest taken off."""
        s = self.farm.settings
        rate = 1 + s.interest_percent_per_year / 100
        weeks = range(max(first_late_week(self.farm, order.order), week + 1), self.last + 1) if order.late_ok else ()
        late = sum(float(s.late_cost) * rate ** (-w / 52) for w in weeks)
        due = order.due <= self.farm.weeks.days(self.last)[-1]
        return late + (float(s.short_cost) * rate ** (-self.last / 52) if due else 0.0)

    def _colony_left(self, colony: Colony, spare: Terms) -> None:
        farm, s = self.farm, self.farm.settings
        traits, strain = farm.traits(colony.strain), colony.strain
        fresh = life(farm, strain, self.last, self.last, (colony.par_umol,))
        classes = [c for c in farm.size_classes(strain) if c.size_class in fresh.ready]
        if not classes:
            return
        row = min(classes, key=lambda c: fresh.ready[c.size_class])
        alive = float(fresh.alive_when_ready[row.size_class])
        factor = s.on_rock_factor if colony.on_rock else 1.0
        work = (traits.minutes_cut * factor + traits.minutes_mount + s.label_minutes) * self.wage + self._supplies(
            "piece", strain
        )
        rest = (1 - traits.good_share) * float(row.b_price) - s.pack_frag_minutes * self.wage
        inside, beyond = self._part(), self._part()
        for x, price in ((inside, row.list_price), (beyond, row.discount_price)):
            net = alive * (traits.good_share * float(price) + rest) - work
            self._earn(x, s.end_colony_share * max(0.0, net), self.last)
        self.used["end", strain][inside] += alive
        self.solver.Add(inside + beyond == sum(n * x for x, n in spare.items()))

    # ---- limits ---------------------------------------------------------------------------------------------------

    def _at_most(self, row: tuple[Any, ...], limit: float) -> None:
        if row in self.used:
            self.solver.Add(sum(a * x for x, a in self.used[row].items()) <= max(0.0, limit))

    def _positions(self) -> None:
        farm, s = self.farm, self.farm.settings
        today: dict[tuple[str, int], float] = defaultdict(float)
        for lot in farm.lots:
            stand, traits = old_stand(farm, lot.lot), farm.traits(lot.strain)
            counted = min(1, farm.weeks.week_of(lot.count_date))
            of = life(farm, lot.strain, farm.weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, (stand,)))
            for week in farm.weeks.all:
                share = 1.0 if week in farm.weeks.near_weeks else float(of.held[week])
                today[stand.zone, week] += lot.alive * share * traits.plug_rows * traits.plug_cols
        for week in farm.weeks.all:
            for system in farm.system:
                mine = [z for z in zones(farm).values() if z.system == system]
                limit = (1 - s.keep_free_share) * sum(z.capacity for z in mine)
                limit = max(limit, sum(z.mothers + today[z.id, week] for z in mine)) - sum(z.mothers for z in mine)
                for z in mine:
                    for x, amount in self.used["held", z.id, week].items():
                        self.used["system", system, week][x] += amount
                    if week in farm.weeks.later_weeks:
                        own = max(s.usable_share * z.capacity, z.mothers + today[z.id, week]) - z.mothers
                        self._at_most(("held", z.id, week), own)
                self._at_most(("system", system, week), limit)
                self._at_most(("fresh", system, week), farm.system[system].max_fresh)

    def _hours(self) -> None:
        """Minutes flow from people to kinds of work."""
        farm, s = self.farm, self.farm.settings
        extra = max(0.0, float(s.overtime_wage_per_hour - s.wage_per_hour)) / 60
        for week in farm.weeks.all:
            done: dict[tuple[str, Kind], list[Any]] = defaultdict(list)
            for able, minutes in bench_offers(farm, week):
                flows = {kind: self._part() for kind in able}
                self.solver.Add(sum(flows.values()) <= minutes)
                for kind, x in flows.items():
                    done["bench", kind].append(x)
            for person in farm.people:
                for minutes, cost in (
                    (outside_minutes(farm, person.person, week), 0.0), (overtime_minutes(farm, person.person, week), extra),
                ):  # fmt: skip
                    flows = {kind: self._part() for kind in (PACKING, CARING) if kind <= set(person.skills)}
                    self.solver.Add(sum(flows.values()) <= minutes)
                    for kind, x in flows.items():
                        done["outside", kind].append(x)
                        self._earn(x, -cost, week)
            standing = standing_minutes(farm, week)
            for row in [r for r in self.used if r[0] == "bench" and r[2] == week]:
                self.solver.Add(sum(a * x for x, a in self.used[row].items()) <= sum(done["bench", row[1]]))
            for kind, skill in ((PACKING, "pack"), (CARING, "care")):
                need = sum(a * x for x, a in self.used["outside", kind, week].items()) + standing[skill]
                self.solver.Add(need <= sum(done["outside", kind]))

    def _trade(self) -> None:
        farm, weeks = self.farm, self.farm.weeks
        for row in list(self.used):
            if row[0] == "boxes":
                self._at_most(row, farm.channel[row[1]].boxes_per_day * len(packing_days(farm, row[1], row[2])))
            elif row[0] in ("market", "group"):
                part = weeks.planned_in_month(row[1]) / weeks.weeks_in_month(row[1])
                who = {"group": row[2]} if row[0] == "group" else {"strain": row[2], "size_class": row[3]}
                limit = farm.market_quantity(row[1][1], **who)
                if limit is not None or row[0] == "market":
                    self._at_most(row, (limit or 0.0) * part)
            elif row[0] == "order":
                self._at_most(row, farm.order[row[1]].quantity)
            elif row[0] == "end":
                month = weeks.months[-1][1]
                later = [(month - 1 + n) % 12 + 1 for n in range(1, farm.settings.end_months + 1)]
                names = [c.size_class for c in farm.size_classes(row[1])]
                rooms = [farm.market_quantity(m, strain=row[1], size_class=c) or 0.0 for m in later for c in names]
                self._at_most(row, sum(rooms))
