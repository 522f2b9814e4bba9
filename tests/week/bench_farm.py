"""Tiny farms for the near weeks, and short ways to ask whether their pins can hold. Every figure is made up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from typing import Any

from scheduler.farm.coral import Colony, Group, GroupPair, SizeClass, Strain
from scheduler.farm.farm import Farm
from scheduler.farm.people import Person, Session
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Pin
from scheduler.planning.near.places import shapes
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Solved, solve
from scheduler.week.floor import Floor
from scheduler.week.model import Limits, NearModel
from scheduler.week.options import NearWorth, Option, option
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move
from tests.audit.small_farm import MONDAY, TRAITS

LIMITS = SolveLimits(seconds=600, deterministic=1, seed=1)
EVERY = ("cutters", "scalpel", "mount", "toxic", "pack", "care")


def tiny_farm(
    *,
    strains: Mapping[str, Mapping[str, Any]] | None = None,
    mothers: Mapping[str, tuple[str, str]] | None = None,
    tanks: Mapping[str, str] | None = None,
    racks: Mapping[str, tuple[int, int]] | None = None,
    systems: Mapping[str, Mapping[str, Any]] | None = None,
    people: Mapping[str, Sequence[str]] | None = None,
    sessions: Sequence[Mapping[str, Any]] = ({},),
    pairs: Sequence[GroupPair] = (),
    pins: Sequence[Pin] = (),
    **settings: Any,
) -> Farm:
    """A farm without lots or market. A strain is a group of its own; a rack ``T-a`` hangs in tank ``T`` at PAR 200."""
    strains = strains or {"A": {}}
    racks = racks or {"T-a": (4, 6)}
    people = people or {"Ada": EVERY}
    bench = {"session": "bench", "weekday": "Tue", "start": time(9), "minutes": 180.0, "people": tuple(people)}
    values = {
        "book_date": date(2026, 11, 27), "plan_monday": MONDAY, "horizon_weeks": 8, "near_weeks": 1, "bench_fill": 1.0,
        "session_minutes": 20.0, "changeover_minutes": 15.0, "label_minutes": 0.5,
    }  # fmt: skip
    return Farm(
        settings=Settings(**(values | settings)),
        systems=tuple(
            WaterSystem(**({"system": s, "health_rank": i, "max_fresh": 100} | dict(more)))
            for i, (s, more) in enumerate((systems or {"North": {}}).items(), start=1)
        ),
        tanks=tuple(Tank(tank=t, system=s) for t, s in (tanks or {"M": "North", "T": "North"}).items()),
        racks=tuple(
            Rack(rack=r, tank=r[:-2], rows=rows, cols=cols, pitch_mm=30, flow="medium", plug_kinds=("small",))
            for r, (rows, cols) in racks.items()
        ),
        light=tuple(LightReading(rack=r, from_date=date(2026, 11, 1), par_umol=200) for r in racks),
        groups=tuple(Group(group=s, **(TRAITS | {"max_share": 0.5} | dict(own))) for s, own in strains.items()),
        strains=tuple(Strain(strain=s, name=s, group=s, code=f"{s}0") for s in strains),
        pairs=tuple(pairs),
        classes=tuple(
            SizeClass(group=s, size_class="small", min_mm=25, list_price=Decimal(20), b_price=Decimal(8), discount_price=Decimal(5))
            for s in strains
        ),
        colonies=tuple(
            Colony(
                colony=c, strain=s, tank=t, par_umol=200, count=60, count_date=MONDAY, condition="fit", condition_date=MONDAY
            )
            for c, (s, t) in (mothers or {"A1": ("A", "M")}).items()
        ),
        people=tuple(Person(person=p, skills=tuple(can), hours_per_week=40) for p, can in people.items()),
        sessions=tuple(Session(**(bench | {"methods": ("cutters", "scalpel")} | dict(more))) for more in sessions),
        pins=tuple(pins),
    )  # fmt: skip


@dataclass
class FlatWorth:
    """A piece is worth ``now``, beyond the market ``beyond``; waiting costs ``wait`` a piece, a colony ``colony``."""

    now: float = 10.0
    beyond: float = 10.0
    wait: float = 0.0
    colony: float = 0.0
    room: int = 1000

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:  # noqa: ARG002
        return self.beyond if discount else self.now

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:  # noqa: ARG002
        return self.wait * pieces

    def colony_cost(self, colony: Colony) -> float:  # noqa: ARG002
        return self.colony

    def list_room(self, strain: str, week: int) -> int:  # noqa: ARG002
        return self.room


def floor_of(farm: Farm) -> Floor:
    """The racks with every lot of the book still whole."""
    return Floor(farm, {lot.lot: dict.fromkeys(farm.weeks.all, lot.alive) for lot in farm.lots})


def options_of(farm: Farm, floor: Floor | None = None) -> list[Option]:
    """Everything that could be cut in the near weeks."""
    floor, pins = floor or floor_of(farm), {p.pin for p in farm.pins}
    found = [option(farm, floor, c, w, pins) for c in farm.colonies for w in farm.weeks.near_weeks]
    return [o for o in found if isinstance(o, Option)]


def model_of(
    farm: Farm, limits: Limits | None = None, worth: NearWorth | None = None, *, moves: Sequence[Move] = (),
    sales: Sequence[EarlySale] = (), exact: bool = False,
) -> NearModel:  # fmt: skip
    """The model of the near weeks with all pins, racks by count or to the hole; with an objective if a worth is given."""
    pins = {p.pin for p in farm.pins}
    floor = floor_of(farm).loosened({*(m.lot for m in moves), *(s.lot for s in sales)})
    options = options_of(farm, floor)
    offered = shapes(farm, (*options, *moves)) if exact else None
    return NearModel(
        farm, floor, options, offered, Prices(worth or FlatWorth(), options), limits or Limits(), pins, moves=moves, sales=sales,
        with_objective=worth is not None,
    )  # fmt: skip


def solved(model: NearModel) -> Solved:
    """The model solved to the end."""
    return solve(model.model, LIMITS, stage="near weeks")


def possible(farm: Farm, limits: Limits | None = None, **more: Any) -> bool:
    """Whether the pins of a farm can hold together."""
    outcome = solved(model_of(farm, limits, **more)).outcome
    assert outcome.reason == "proved"
    return outcome.found


def pins(*rows: Mapping[str, Any]) -> tuple[Pin, ...]:
    """Pins named P1, P2, ..."""
    return tuple(Pin(**({"pin": f"P{i}"} | dict(row))) for i, row in enumerate(rows, start=1))


def cut(colony: str, **more: Any) -> dict[str, Any]:
    """A pin that a colony is cut."""
    return {"kind": "cut", "colony": colony} | more


def at_least(colony: str, pieces: int, **more: Any) -> dict[str, Any]:
    """A pin that a colony gives so many pieces."""
    return {"kind": "at least", "colony": colony, "pieces": pieces} | more
