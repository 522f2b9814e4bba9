"""What a replay is judged by."""

from __future__ import annotations

from typing import Any

from scheduler.plan.model import Plan
from scheduler.replay.leftover import worth_left
from scheduler.replay.world import World

CHANGED = 0.2
"""An announced cut counts as changed when its pieces move by more than this share."""


KIND = 2
"""Counted up when a measure is added or read differently: results of another kind are done again."""


class Measures:
    """Follows a replay and sums it up."""

    def __init__(self, world: World) -> None:
        self._strains = {m.row.strain for m in world.mothers.values()}
        self._set_back = {m.name for m in world.mothers.values() if _below_keep(world, m.name)}
        self._next: dict[str, tuple[str | None, int]] = {}
        self._announced = self._changed = 0
        self._at_start = worth_left(world)
        self._use: list[float] = []
        self._money: list[float] = []
        self._without: list[str] = []

    def announced(self, plan: Plan) -> None:
        """Compare a plan's first week with what the plan before it announced, and remember what it announces itself."""
        now = {c.colony: (c.session, c.pieces) for c in plan.cuts if c.week == 1}
        for colony, (session, pieces) in self._next.items():
            self._announced += 1
            found = now.get(colony)
            self._changed += found is None or found[0] != session or abs(found[1] - pieces) > CHANGED * pieces
        near = plan.about.near_weeks > 1
        self._next = {c.colony: (c.session, c.pieces) for c in plan.cuts if c.week == 2} if near else {}

    def without_plan(self, week: int, reason: str) -> None:
        """A week for which no plan was found; nothing that was announced for it is held against the next."""
        self._next = {}
        self._without.append(f"week {week}: {reason}")

    def week_done(self, world: World) -> None:
        """After a week's work."""
        self._use.append(world.positions_held())
        self._money.append(round(cash(world), 2))

    def summary(self, world: World) -> dict[str, Any]:
        """Everything, ready for JSON. Money is what came in less wages and supplies; what is left on the racks is apart.

        ``earned`` is money with the change of stock: what the farm is left with (``leftover``) less what it began with.
        """
        due = [done for done in world.on_time.values() if done is not None]
        strains, left = {m.row.strain for m in world.mothers.values()}, worth_left(world)
        count, money = world.tally.count, world.tally.money
        sold = sum(count.get(k, 0) for k in ("frags to orders", "frags at list", "frags at discount", "frags B", "frags cleared"))
        return {
            "money": round(cash(world), 2),
            "earned": round(cash(world) + left - self._at_start, 2),
            "worth_left": round(left, 2),
            "worth_at_start": round(self._at_start, 2),
            "late_and_short": round(-money.get("late", 0.0) - money.get("short", 0.0), 2),
            "left_on_racks": round(left_on_racks(world), 2),
            "frags_sold": sold,
            "orders_due": len(due),
            "orders_on_time": sum(due),
            "rack_use": round(sum(self._use) / max(1, len(self._use)), 4),
            "colonies_set_back": sum(_below_keep(world, m) for m in world.mothers if m not in self._set_back),
            "cuts_below_keep": world.below_keep,
            "strains_lost": len(self._strains - strains),
            "cuts_announced": self._announced,
            "cuts_changed": self._changed,
            "weeks_without_plan": self._without,
            "income": {k: round(v, 2) for k, v in sorted(money.items())},
            "minutes": {k: round(v, 1) for k, v in sorted(world.tally.minutes.items())},
            "counts": dict(sorted(count.items())),
            "money_by_week": self._money,
        }


def cash(world: World) -> float:
    """Sales less supplies and the wage of all real minutes; penalties for late orders are kept apart."""
    sales = sum(amount for what, amount in world.tally.money.items() if what not in ("late", "short"))
    wage = float(world.base.settings.wage_per_hour) / 60
    return sales - wage * sum(world.tally.minutes.values())


def left_on_racks(world: World) -> float:
    """Living frags at the discount price of the largest class they have the size of; smaller ones count nothing."""
    total = 0.0
    for lot in world.lots.values():
        rows = world.base.size_classes(lot.strain)
        for size in lot.sizes:
            fits = [r for r in rows if r.min_mm <= size]
            total += float(fits[-1].discount_price) if fits else 0.0
    return total


def _below_keep(world: World, colony: str) -> bool:
    mother = world.mothers[colony]
    traits = world.base.traits(mother.row.strain)
    return mother.units / traits.unit_per_piece < traits.keep_pieces
