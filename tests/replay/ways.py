"""Simple ways of working for the replay's tests: no planner, no solver, plans written out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from scheduler.farm.blocks import Block
from scheduler.farm.farm import Farm
from scheduler.plan.model import About, Cut, NearWeeksResult, Plan, Sale, Stand
from scheduler.replay import WayOfWorking
from scheduler.replay.run import Way


def plan_of(farm: Farm, cuts: Sequence[Cut] = (), stands: Sequence[Stand] = (), sales: Sequence[Sale] = ()) -> Plan:
    """A plan document with no more than what the crew carries out."""
    zero = Decimal(0)
    near = NearWeeksResult(
        outcome="none needed", reason="written by hand", value=zero, bound=zero, gap_percent=zero, seed=0, wall_seconds=zero
    )
    about = About(
        farm_name="Test", book_fingerprint=farm.fingerprint, plan_monday=farm.weeks.plan_monday, weeks=farm.weeks.count,
        near_weeks=farm.weeks.near, seed=0, versions={}, near=near,
    )  # fmt: skip
    return Plan(about=about, cuts=tuple(cuts), stands=tuple(stands), sales=tuple(sales))


def cut_of(farm: Farm, colony: str, pieces: int, *, lot: str = "new", session: str | None = None, **more: Any) -> Cut:
    """A cut of week 1 by the farm's first person."""
    person = farm.people[0].person
    values = {"lot": lot, "colony": colony, "strain": farm.colony[colony].strain, "week": 1, "pieces": pieces, "session": session}
    people = {"run_order": 1, "cutter": person, "mounter": person} if session else {}
    return Cut(**(values | people | more))


def stand_of(lot: str, rack: str, pieces: int, block: Block, week: int = 1) -> Stand:
    """A place on a rack."""
    return Stand(lot=lot, week=week, zone="any", rack=rack, blocks=(block,), pieces=pieces)


def sale_of(lot: str, pieces: int, route: str = "market", order: str | None = None, **more: Any) -> Sale:
    """A sale of week 1 as class ``small`` by shipping."""
    values = {
        "lot": lot,
        "week": 1,
        "route": route,
        "size_class": "small",
        "order": order,
        "channel": "shipping",
        "pieces": pieces,
    }
    return Sale(**(values | more))


def idle() -> Way:
    """Nothing is cut and nothing sold."""
    return plan_of


def sell_all() -> Way:
    """Everything on the racks goes to the market as its first class."""

    def plan(farm: Farm) -> Plan:
        first = {s.strain: farm.size_classes(s.strain)[0].size_class for s in farm.strains}
        return plan_of(farm, sales=[sale_of(x.lot, x.alive, size_class=first[x.strain]) for x in farm.lots])

    return plan


IDLE = WayOfWorking("idle", idle)
SELL_ALL = WayOfWorking("sell all", sell_all)
