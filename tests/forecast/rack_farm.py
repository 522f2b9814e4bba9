"""A farm of racks full of lots for the forecast's tests, and an empty plan for it. Every figure is made up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from scheduler.farm.coral import Group, Lot, SizeClass, Strain
from scheduler.farm.counts import Count, PastCut, PastLot
from scheduler.farm.farm import Farm
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel
from scheduler.plan.model import About, Cut, NearWeeksResult, Plan, Sale, Stand

MONDAY = date(2026, 11, 30)
BRIGHT = 2000.0

TRAITS: dict[str, Any] = {
    "unit": "tips", "unit_per_piece": 1.0, "method": "cutters", "min_pieces": 4, "keep_pieces": 10, "max_share": 0.4,
    "rest_weeks": 8, "pause_weeks": 1, "closed_months": (), "growth_law": "exponential", "growth_per_week": 0.03, "start_units": 4.0,
    "cap_units": 120.0, "early_weeks": 3, "death_early": 0.02, "death_late": 0.004, "detach_early": 0.01, "detach_late": 0.002,
    "par_min": 100.0, "par_max": 2500.0, "par_k": 100.0, "flow_settling": ("medium",), "flow_growing": ("medium",),
    "reach_mm": 0.0, "plug_kind": "small", "plug_rows": 1, "plug_cols": 1, "heal_weeks": 2, "attach_weeks": 3, "frag_mm": 30.0,
    "frag_mm_per_week": 1.0, "good_share": 1.0, "minutes_colony": 6.0, "minutes_cut": 1.0, "minutes_mount": 1.0, "dip": "none",
    "dip_minutes_frags": 0.0, "dip_minutes_mother": 0.0, "toxic": False, "slimy": False,
}  # fmt: skip

CERTAIN: dict[str, Any] = {
    "lot_growth_spread": 0.0, "frag_growth_spread": 0.0, "pieces_share": 1.0, "pieces_spread": 0.0, "shock_spread": 0.0,
    "default_growth_spread": 1e-9, "default_loss_spread": 1e-3,
}  # fmt: skip
"""Settings under which everything but the fate of each frag is certain."""


def rack_farm(
    lots: Sequence[tuple[int, int]] = ((-2, 20),), *, strains: Sequence[str] = ("AMB",), tanks: int = 1, settings: Any = None,
    tables: Any = None, **traits: Any,
) -> Farm:  # fmt: skip
    """A farm with a lot for each (cut week, pieces), strains and tanks taken in turn, counted in the week of the cut."""
    rows = []
    for i, (week, pieces) in enumerate(lots):
        cut, place = MONDAY + timedelta(weeks=week - 1), i // tanks
        row = "ABCDEFGH"[place % 8]
        rows.append(
            Lot(
                lot=f"L{i:04d}", strain=strains[i % len(strains)], cut_date=cut, started=pieces, alive=pieces, count_date=cut,
                rack=f"R{i % tanks}-{place // 8}", blocks=(f"{row}1:{row}{pieces}",),
            )
        )  # fmt: skip
    racks = [
        Rack(rack=f"R{t}-{n}", tank=f"T{t}", rows=8, cols=40, pitch_mm=30, flow="medium", plug_kinds=("small",))
        for t in range(tanks)
        for n in range(len(lots) // (8 * tanks) + 1)
    ]
    facts = {"book_date": MONDAY - timedelta(days=3), "plan_monday": MONDAY, "horizon_weeks": 26} | (settings or {})
    return Farm(
        settings=Settings(**facts),
        systems=(WaterSystem(system="North", health_rank=1, max_fresh=400),),
        tanks=tuple(Tank(tank=f"T{i}", system="North") for i in range(tanks)),
        racks=tuple(racks),
        light=tuple(LightReading(rack=r.rack, from_date=date(2026, 1, 1), par_umol=BRIGHT) for r in racks),
        groups=(Group(group="corals", **(TRAITS | traits)),),
        strains=tuple(Strain(strain=s, name=f"{s} twig", group="corals", code=f"X{i}") for i, s in enumerate(strains)),
        classes=tuple(
            SizeClass(
                group="corals", size_class=k, min_mm=mm, list_price=Decimal(20), b_price=Decimal(8), discount_price=Decimal(7)
            )
            for k, mm in (("small", 40.0), ("large", 50.0))
        ),
        channels=(Channel(channel="ship", packing_days=("Mon",), boxes_per_day=50, frags_per_box=10, market=True),),
        lots=tuple(rows),
        **(tables or {}),
    )


def rack_plan(farm: Farm, **parts: Any) -> Plan:
    """A plan that decides nothing but what is given."""
    near = NearWeeksResult(
        outcome="none needed",
        reason="",
        value=Decimal(0),
        bound=Decimal(0),
        gap_percent=Decimal(0),
        seed=1,
        wall_seconds=Decimal(0),
    )
    about = About(
        farm_name="Farm", book_fingerprint=farm.fingerprint, plan_monday=farm.weeks.plan_monday, weeks=farm.weeks.count,
        near_weeks=farm.weeks.near, seed=1, versions={}, near=near,
    )  # fmt: skip
    return Plan(about=about, **parts)


def zone_of_first_rack(farm: Farm) -> str:
    """The only light zone of tank T0."""
    from scheduler.biology.zones import zones

    return next(z for z in zones(farm) if z.startswith("T0 "))


def planned_cut(farm: Farm, lot: str, week: int, pieces: int, strain: str = "AMB") -> tuple[Cut, Stand]:
    """A later cut and its first stand."""
    return (
        Cut(lot=lot, colony="mother", strain=strain, week=week, pieces=pieces),
        Stand(lot=lot, week=week, zone=zone_of_first_rack(farm), pieces=pieces),
    )


def market_sale(lot: str, week: int, pieces: int, size_class: str = "small", route: str = "market", **more: Any) -> Sale:
    """A sale by the only channel."""
    facts: dict[str, Any] = {"route": route} | more
    return Sale(lot=lot, week=week, pieces=pieces, size_class=size_class, channel="ship", **facts)


def day(weeks_ago: int) -> date:
    """A Monday so many weeks before week 1."""
    return MONDAY - timedelta(weeks=weeks_ago)


def past(lot: str, weeks_ago: int, started: int, strain: str = "AMB", **more: Any) -> PastLot:
    """A past lot in bright light."""
    return PastLot(
        lot=lot, strain=strain, cut_date=day(weeks_ago), started=started, **({"tank": "T0", "par_umol": BRIGHT} | more)
    )


def count(lot: str, weeks_ago: int, alive: int, **more: Any) -> Count:
    """A count."""
    return Count(lot=lot, date=day(weeks_ago), alive=alive, **more)


def past_cut(colony: str, weeks_ago: int, planned: int, got: int, strain: str = "AMB", **more: Any) -> PastCut:
    """A past cut."""
    return PastCut(colony=colony, date=day(weeks_ago), strain=strain, pieces_planned=planned, pieces_got=got, **more)
