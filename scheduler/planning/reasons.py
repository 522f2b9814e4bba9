"""Why a colony is cut in the near weeks or not, what is at stake with it, and who can stand by."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import cut_kind, cutting_minutes, mount_kind, mounting_minutes
from scheduler.farm.units import CENT
from scheduler.farm.work import bench_minutes, sessions_in
from scheduler.plan.model import Cut, Held, Sale, StandBy, Why
from scheduler.planning.near.plan import NearPlan
from scheduler.season.near_worth import NearValuation
from scheduler.season.stakes import ALL, Shared, Stake, Stakes
from scheduler.week.floor import blocks_positions
from scheduler.week.options import Option, capable

MOST_STAND_BY = 5
ALIKE = 0.01
"""A cut ahead of waiting by no more than this share of what it brings is no better than waiting: farm choice, no published source."""

NAMED = 3
"""Colonies named that took what another lacks."""

_BLOCKED: dict[Shared, str] = {
    "market": "market full", "places": "no place in its light", "hands": "no hands with that skill",
    "packing": "no hands to pack", "new frags": "no more new frags",
}  # fmt: skip
_OPEN_MARKET: tuple[Shared, ...] = ("market",)


def reasons(
    farm: Farm, near: NearPlan, worth: NearValuation, cuts: Sequence[Cut], sales: Collection[Sale]
) -> tuple[tuple[Why, ...], tuple[Held, ...]]:
    """(why each near cut is made, what held every other colony back). ``cuts`` and ``sales`` are those of all weeks."""
    told = _Reasons(farm, near, worth, cuts)
    return told.why(sales), told.held()


class _Reasons:
    def __init__(self, farm: Farm, near: NearPlan, worth: NearValuation, cuts: Sequence[Cut]) -> None:
        self.farm, self.near, self.worth = farm, near, worth
        self.stakes = Stakes(worth.season, worth.relaxed)
        self.currency = farm.settings.currency
        self.cuts = cuts
        self.options: dict[str, list[Option]] = defaultdict(list)
        for o in near.options:
            self.options[o.colony.colony].append(o)
        self.next: dict[str, int] = {}
        for cut in sorted(cuts, key=lambda c: c.week):
            if cut.week in farm.weeks.later_weeks:
                self.next.setdefault(cut.colony, cut.week)
        self.left = _Left(farm, near)
        self.pins = {(p.colony, p.kind): p.pin for p in farm.pins if p.pin in worth.season.pins and p.colony}

    # ---- cut ------------------------------------------------------------------------------------------------------

    def why(self, sales: Collection[Sale]) -> tuple[Why, ...]:
        """Why each near cut is made."""
        orders: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for sale in sales:
            if sale.order is not None:
                orders[sale.lot][sale.order] += sale.pieces
        zone = {c.option.colony.colony: c.section.zone for c in self.near.cuts}
        soon = (c for c in self.cuts if c.week in self.farm.weeks.near_weeks)
        return tuple(self._why(c, zone[c.colony], orders[c.lot]) for c in soon)

    def _why(self, cut: Cut, zone: str, orders: Mapping[str, int]) -> Why:
        colony = self.farm.colony[cut.colony]
        stake = self.stakes.of_cut(colony, cut.week, cut.pieces, zone)
        listed = self.stakes.of_cut(colony, cut.week, cut.pieces, zone, free=_OPEN_MARKET)
        pin = self.pins.get((cut.colony, "cut")) or self.pins.get((cut.colony, "at least"))
        if pin:
            reason, first = "pinned", f"pin {pin} asks for it; "
        elif orders:
            reason = "for an order"
            first = "; ".join(f"{n} go to order {o}, due {self.farm.order[o].due}" for o, n in sorted(orders.items())) + "; "
        elif stake.ahead > 0:
            reason, first = "worth more now", ""
        elif listed.ahead > 0:
            reason = "market open"
            first = f"{self._money(listed.ahead)} ahead of waiting if all sell at list price; at the margin of the market "
        else:
            reason, first = "room left over", "hours and positions are left beside the better cuts; "
        detail = first + self._sum(stake)
        return Why(colony=cut.colony, week=cut.week, reason=reason, detail=detail, at_stake=_cents(stake.ahead))

    def _sum(self, stake: Stake) -> str:
        lead = f"{self._money(stake.ahead)} ahead" if stake.ahead >= 0 else f"{self._money(-stake.ahead)} behind"
        return f"{stake.pieces} pieces now bring {self._money(stake.brings)} net, the later cuts they take {self._money(stake.later)}: {lead}"

    def _money(self, value: float) -> str:
        return f"{value:,.0f} {self.currency}"

    # ---- not cut --------------------------------------------------------------------------------------------------

    def held(self) -> tuple[Held, ...]:
        """What held every colony back that is not cut."""
        done = {c.option.colony.colony for c in self.near.cuts}
        return tuple(self._held(c) for c in self.farm.colonies if c.colony not in done)

    def _held(self, colony: Colony) -> Held:
        name = colony.colony
        pin = self.pins.get((name, "no cut")) or self.pins.get((name, "at most"))
        refusal = self.near.refusals.get(name)
        if pin:
            return self._held_as(colony, "pinned", f"pin {pin} holds it back", self._blocked(colony))
        if refusal is not None:
            ready = refusal.ready_week
            if ready is None and refusal.reason == "no place in its light":
                ready = self.next.get(name)
            return self._held_as(colony, refusal.reason, refusal.detail, self._blocked(colony), ready)
        return self._not_chosen(colony)

    def _held_as(self, colony: Colony, reason: str, detail: str, stake: Stake | None, ready: int | None = None) -> Held:
        at_stake = None if stake is None else _cents(max(0.0, stake.ahead))
        if at_stake and reason != "worth more grown on":
            detail += f"; without that {stake.pieces if stake else 0} pieces now would be {self._money(float(at_stake))} ahead of waiting"
        planned = self.next.get(colony.colony)
        if planned is not None:
            detail += f"; next cut planned in {self.farm.weeks.label(planned)}"
        return Held(colony=colony.colony, reason=reason, detail=detail, ready_week=ready, at_stake=at_stake)

    def _blocked(self, colony: Colony, free: Collection[Shared] = ("hands", "places")) -> Stake | None:
        """The best cut of the near weeks if hands and places cost nothing: those are what it is denied."""
        if colony.condition != "fit":
            return None
        found = (self.stakes.best(colony, week, free=free) for week in self.farm.weeks.near_weeks)
        return max((s for s in found if s is not None), key=lambda s: s.ahead, default=None)

    def _best(self, options: Sequence[Option], free: Collection[Shared]) -> Stake:
        """The best cut of a colony's options, some prices left out; nothing ahead where no light class would take it."""
        found = (self.stakes.best(o.colony, o.week, free=free) for o in options)
        return max((s for s in found if s is not None), key=lambda s: s.ahead, default=Stake(0, 0.0, 0.0))

    def _not_chosen(self, colony: Colony) -> Held:
        """An able colony: not worth it yet, outbid for something shared, or beaten in whole pieces."""
        options = self.options[colony.colony]
        unpriced = self._best(options, ALL)
        if unpriced.ahead <= 0:
            text = (
                f"{unpriced.pieces} pieces now would bring {self._money(unpriced.brings)} net, "
                f"growing on brings {self._money(unpriced.later)} more in later cuts"
            )
            return self._held_as(colony, "worth more grown on", text, Stake(unpriced.pieces, unpriced.later, unpriced.brings))
        priced = self._best(options, ())
        if priced.ahead <= ALIKE * abs(priced.brings):
            without = {what: self._best(options, (what,)) for what in _BLOCKED}
            what = max(without, key=lambda k: without[k].ahead)
            return self._held_as(
                colony, _BLOCKED[what], self._outbid(what, colony, priced), self._relief(without[what], unpriced)
            )
        lack = self.left.lacks(options)
        if lack is not None:
            what, text = lack
            return self._held_as(colony, _BLOCKED[what], text, priced)
        room = self.worth.list_room(colony.strain, options[0].week)
        taken = sum(c.pieces for c in self.near.cuts if c.option.colony.strain == colony.strain)
        if taken + self.farm.traits(colony.strain).min_pieces > room:
            text = f"{taken} pieces of {colony.strain} are cut already, of about {room} that the season wants from these weeks"
            return self._held_as(colony, _BLOCKED["market"], text, priced)
        text = f"could give {options[0].most}, but in whole pieces hours and positions go to colonies worth more"
        return self._held_as(colony, "no room beside better cuts", text, priced)

    @staticmethod
    def _relief(without: Stake, unpriced: Stake) -> Stake:
        """With one price gone, or, where several stand against it, with all of them gone."""
        return without if without.ahead > 0 else unpriced

    def _outbid(self, what: Shared, colony: Colony, priced: Stake) -> str:
        dear = {
            "market": f"the market takes no more {colony.strain} at a price that pays",
            "places": "positions in its light go to frags worth more",
            "hands": "bench hours of its cutters and mounters go to colonies worth more",
            "packing": "packing hours and boxes go to frags worth more",
            "new frags": "the new frags its water may take in a week go to colonies worth more",
        }[what]
        behind = -priced.ahead > ALIKE * abs(priced.brings)
        return f"{dear}: a cut now would " + (
            f"be {self._money(-priced.ahead)} behind waiting" if behind else "bring no more than waiting"
        )


def _cents(value: float) -> Decimal:
    return Decimal(repr(round(float(value), 2))).quantize(CENT)


@dataclass(frozen=True)
class _Left:
    """What the near cuts leave of hours, positions and new frags."""

    farm: Farm
    near: NearPlan

    def lacks(self, options: Sequence[Option]) -> tuple[Shared, str] | None:
        """The one thing all options of a colony lack for the fewest pieces worth cutting, and who has it."""
        tests = (("hands", self._hands), ("places", self._places), ("new frags", self._fresh))
        for what, test in tests:
            texts = [test(o) for o in options]
            if texts and all(texts):
                return what, next(t for t in texts if t)  # type: ignore[return-value]
        return None

    def _hands(self, o: Option) -> str | None:
        farm, strain = self.farm, o.colony.strain
        least = farm.traits(strain).min_pieces
        cutting, mounting = cutting_minutes(farm, o.colony.colony, least), mounting_minutes(farm, strain, least)
        for session in o.sessions:
            used: dict[str, float] = defaultdict(float)
            for c in self.near.cuts:
                if c.session == session.id:
                    used[c.cutter] += cutting_minutes(farm, c.option.colony.colony, c.pieces)
                    used[c.mounter] += mounting_minutes(farm, c.option.colony.strain, c.pieces)
            spare = {p: bench_minutes(farm, session) - used[p] for p in session.people}
            cutters = [p for p in capable(farm, session, cut_kind(farm, strain)) if spare[p] >= cutting]
            mounters = [p for p in capable(farm, session, mount_kind(farm, strain)) if spare[p] >= mounting]
            if any(a != b or spare[a] >= cutting + mounting for a in cutters for b in mounters):
                return None
        skills = ", ".join(sorted(cut_kind(farm, strain) | mount_kind(farm, strain)))
        return f"nobody with {skills} has {cutting + mounting:.0f} minutes left in {' or '.join(s.id for s in o.sessions)}"

    def _places(self, o: Option) -> str | None:
        farm = self.farm
        traits = farm.traits(o.colony.strain)
        need = traits.min_pieces * traits.plug_area
        takers: dict[str, None] = {}
        for rack, ground in o.places.items():
            free = set(ground)
            for c in self.near.cuts:
                if c.section.rack == rack:
                    other = farm.traits(c.option.colony.strain)
                    held = set(blocks_positions(c.blocks, other.plug_rows, other.plug_cols))
                    if free & held:
                        takers[c.option.colony.colony] = None
                    free -= held
            for m in self.near.moves:
                if m.section.rack == rack:
                    other = farm.traits(m.move.strain)
                    free -= blocks_positions(m.blocks, other.plug_rows, other.plug_cols)
            if len(free) >= need:
                return None
        names = list(takers)[:NAMED]
        return f"the positions in its light go to {', '.join(names) or 'lots on the racks'}"

    def _fresh(self, o: Option) -> str | None:
        farm, least = self.farm, self.farm.traits(o.colony.strain).min_pieces
        systems = sorted({farm.system_of_rack(rack) for rack in o.places})
        for system in systems:
            taken = sum(
                c.pieces for c in self.near.cuts if c.option.week == o.week and farm.system_of_rack(c.section.rack) == system
            )
            if farm.system[system].max_fresh - taken >= least:
                return None
        return (
            f"{' and '.join(systems)} {'take' if len(systems) > 1 else 'takes'} no more new frags in {farm.weeks.label(o.week)}"
        )


def stand_by(farm: Farm, near: NearPlan, cuts: tuple[Cut, ...]) -> tuple[StandBy, ...]:
    """Two to five colonies a session that could step in: same water already in it, not cut in the near weeks."""
    done = {c.colony for c in cuts}
    found: list[StandBy] = []
    for week in farm.weeks.near_weeks:
        for session in sessions_in(farm, week):
            mine = [c for c in cuts if c.session == session.id]
            systems = {farm.system_of_tank(farm.colony[c.colony].tank) for c in mine}
            able = [
                o
                for o in near.options
                if o.week == week
                and o.colony.colony not in done
                and session.id in {s.id for s in o.sessions}
                and farm.system_of_tank(o.colony.tank) in systems
                and not farm.traits(o.colony.strain).toxic
            ]
            for o in sorted(able, key=lambda o: (-o.most, o.colony.colony))[:MOST_STAND_BY]:
                found.append(StandBy(session=session.id, colony=o.colony.colony, pieces=o.most))
    return tuple(found)
