"""Tiny farms with a market, and their season with its prices. Every figure is made up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from scheduler.biology.life import life
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Channel, Market
from scheduler.plan.view import old_stand, pars_of
from scheduler.season.columns import Season
from scheduler.season.relaxation import Relaxed, relax
from scheduler.season.tracks import StandingLot
from tests.week.bench_farm import tiny_farm


def selling_farm(
    *, wanted: Mapping[str, float] | None = None, discount: str = "0", lots: Sequence[Lot] = (), **more: Any
) -> Farm:
    """A tiny farm that ships; ``wanted``: frags a month at list price 20, beyond at ``discount``."""
    farm = tiny_farm(**more)
    wanted = {"A": 1000.0} if wanted is None else wanted
    return replace(
        farm,
        classes=tuple(c.model_copy(update={"discount_price": Decimal(discount)}) for c in farm.classes),
        channels=(Channel(channel="ship", packing_days=("Mon", "Wed"), boxes_per_day=50, frags_per_box=20, market=True),),
        market=tuple(Market(strain=s, size_class="small", quantity=q) for s, q in wanted.items()),
        lots=tuple(lots),
    )


def ready_lot(alive: int, rack: str = "T-a", block: str = "A1:A6") -> Lot:
    """A lot of strain A cut ten weeks ago."""
    return Lot(
        lot="OA", strain="A", cut_date=date(2026, 9, 21), started=alive, alive=alive, count_date=date(2026, 11, 23), rack=rack,
        blocks=(block,),
    )  # fmt: skip


def season_of(farm: Farm) -> tuple[Season, Relaxed]:
    """The season of a farm and its relaxation, solved closely."""
    lots = []
    for lot in farm.lots:
        if lot.alive:
            stand = old_stand(farm, lot.lot)
            counted = min(1, farm.weeks.week_of(lot.count_date))
            course = life(farm, lot.strain, farm.weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, (stand,)))
            lots.append(StandingLot(lot.lot, lot.strain, lot.alive, course, stand.zone, farm.system_of_rack(lot.rack), 1))
    season = Season(farm, lots, pins=[p.pin for p in farm.pins])
    return season, relax(season, enough=1e-7, rounds=200)
