"""A tiny farm and a plan for it that breaks no rule, for the audit's tests to spoil."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from decimal import Decimal
from typing import Any

from scheduler.audit import Report, audit
from scheduler.audit.balance import balance_rows
from scheduler.audit.context import Context
from scheduler.audit.hours import hours_in
from scheduler.audit.structure import check_structure
from scheduler.audit.value import value_lines
from scheduler.farm.blocks import parse_block
from scheduler.farm.coral import Colony, Group, GroupPair, Lot, SizeClass, Strain
from scheduler.farm.farm import Farm
from scheduler.farm.people import Person, Session
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Market, Order, Pin, Supply
from scheduler.plan.model import About, Cut, NearWeeksResult, Overtime, Plan, Sale, Stand

MONDAY = date(2026, 11, 30)
FIRST, SECOND = "bench 2026-12-01", "bench 2026-12-08"
N1A, N1B = "N1 PAR 190-250 medium flow", "N1 PAR 250-320 medium flow"
N2A, S1A, Q1A = "N2 PAR 190-250 medium flow", "S1 PAR 190-250 medium flow", "Q1 PAR 190-250 medium flow"

TRAITS: dict[str, Any] = {
    "unit": "tips", "unit_per_piece": 1.0, "method": "cutters", "min_pieces": 4, "keep_pieces": 10, "max_share": 0.4,
    "rest_weeks": 4, "pause_weeks": 1, "closed_months": (), "growth_law": "linear", "growth_per_week": 1.0, "start_units": 4.0,
    "cap_units": 200.0, "early_weeks": 1, "death_early": 0.1, "death_late": 0.0, "detach_early": 0.1, "detach_late": 0.0,
    "par_min": 120.0, "par_max": 350.0, "par_k": 10.0, "flow_settling": ("medium",), "flow_growing": ("medium", "high"),
    "reach_mm": 30.0, "plug_kind": "small", "plug_rows": 1, "plug_cols": 1, "heal_weeks": 2, "attach_weeks": 2, "frag_mm": 25.0,
    "frag_mm_per_week": 5.0, "good_share": 0.9, "minutes_colony": 6.0, "minutes_cut": 1.0, "minutes_mount": 1.0, "dip": "iodine",
    "dip_minutes_frags": 5.0, "dip_minutes_mother": 0.5, "toxic": False, "slimy": False,
}  # fmt: skip


def _colony(name: str, strain: str, tank: str, **more: Any) -> Colony:
    facts: dict[str, Any] = {"par_umol": 200.0, "count": 60.0, "count_date": MONDAY, "condition": "fit", "condition_date": MONDAY}
    return Colony(colony=name, strain=strain, tank=tank, **(facts | more))


def _lot(name: str, strain: str, rack: str, alive: int, block: str) -> Lot:
    return Lot(
        lot=name, strain=strain, cut_date=date(2026, 10, 12), started=alive, alive=alive, count_date=date(2026, 11, 23),
        rack=rack, blocks=(block,),
    )  # fmt: skip


def small_farm() -> Farm:
    """Three water systems, one in quarantine until week 6; eight weeks from 2026-11-30, two of them near."""
    racks = {"N1-a": 200.0, "N1-b": 280.0, "N2-a": 200.0, "S1-a": 200.0, "Q1-a": 200.0}
    return Farm(
        settings=Settings(
            book_date=date(2026, 11, 27), plan_monday=MONDAY, horizon_weeks=8, label_minutes=0.5,
            late_cost=Decimal("0.50"), short_cost=Decimal("5.00"),
        ),
        systems=(
            WaterSystem(system="North", health_rank=1, max_fresh=40, feeds=("South",)),
            WaterSystem(system="South", health_rank=2, max_fresh=40),
            WaterSystem(system="Quay", health_rank=9, quarantined=True, release_date=date(2027, 1, 4), max_fresh=40),
        ),
        tanks=tuple(
            Tank(tank=t, system=s) for t, s in (("N1", "North"), ("N2", "North"), ("S1", "South"), ("Q1", "Quay"))
        ),
        racks=tuple(
            Rack(rack=r, tank=r[:2], rows=8, cols=10, pitch_mm=30.0, flow="medium", plug_kinds=("small",), blocked=("A10",))
            for r in racks
        ),
        light=tuple(LightReading(rack=r, from_date=date(2026, 11, 1), par_umol=par) for r, par in racks.items()),
        groups=(
            Group(group="branching", **TRAITS),
            Group(group="button", **(TRAITS | {"method": "scalpel", "toxic": True})),
            Group(group="leather", **TRAITS),
        ),
        strains=tuple(
            Strain(strain=s, name=s, group=g, code=s[:2])
            for s, g in (("AAA", "branching"), ("BBB", "branching"), ("ZZZ", "button"), ("LLL", "leather"))
        ),
        pairs=(GroupPair(group_a="branching", group_b="leather", apart="tank"),),
        classes=tuple(
            SizeClass(group=g, size_class=c, min_mm=mm, list_price=p, b_price=p / 2, discount_price=p / 4)
            for g in ("branching", "button", "leather")
            for c, mm, p in (("small", 25.0, Decimal(20)), ("large", 60.0, Decimal(40)))
        ),
        colonies=(
            _colony("A1", "AAA", "N1"), _colony("A2", "AAA", "N1", rack="N1-b", positions="H9:H10"), _colony("B1", "BBB", "S1"),
            _colony("Z1", "ZZZ", "N2"), _colony("L1", "LLL", "N2"), _colony("Q1", "AAA", "Q1"),
        ),
        lots=(
            _lot("OA", "AAA", "N1-a", 10, "A1:B5"), _lot("OB", "BBB", "S1-a", 10, "A1:B5"), _lot("OQ", "AAA", "Q1-a", 10, "A1:B5"),
        ),
        people=(
            Person(person="Ada", skills=("cutters", "scalpel", "mount", "toxic", "pack", "care"), hours_per_week=10.0,
                   overtime_hours_per_week=2.0),
            Person(person="Ben", skills=("cutters", "mount", "toxic", "care"), hours_per_week=10.0),
        ),
        sessions=(
            Session(session="bench", weekday="Tue", start=time(9), minutes=180.0, people=("Ada", "Ben"), methods=("cutters", "scalpel")),
        ),
        channels=(
            Channel(channel="ship", packing_days=("Mon",), boxes_per_day=2.0, frags_per_box=10.0, market=True),
            Channel(channel="pickup", packing_days=("Wed",), boxes_per_day=1.0, frags_per_box=10.0, market=False),
        ),
        orders=(
            Order(order="one", channel="ship", strain="AAA", size_class="small", quantity=4, price=Decimal(30),
                  earliest=date(2026, 12, 7), due=date(2026, 12, 9), substitutes=("BBB",)),
            Order(order="whole", channel="pickup", strain="BBB", size_class="small", quantity=4, price=Decimal(25),
                  due=date(2026, 12, 18), late_ok=False, partial_ok=False),
        ),
        market=(
            Market(strain="AAA", size_class="small", quantity=10.0),
            Market(strain="AAA", size_class="large", quantity=5.0),
            Market(group="branching", quantity=12.0),
        ),
        supplies=(
            Supply(item="plug", unit="each", per="piece", only_for="small", quantity_per=1.0, unit_cost=Decimal("0.35")),
            Supply(item="gloves", unit="pair", per="session", quantity_per=2.0, unit_cost=Decimal("0.50")),
            Supply(item="carton", unit="each", per="box", quantity_per=1.0, unit_cost=Decimal("3.00")),
        ),
    )  # fmt: skip


def changed(farm: Farm, table: str, key: str | None = None, **values: Any) -> Farm:
    """The farm with some values of a row (or of every row, or of the settings) changed."""

    def new(row: Any) -> Any:
        return type(row)(**({name: getattr(row, name) for name in type(row).model_fields} | values))

    if table == "settings":
        return replace(farm, settings=new(farm.settings))
    rows = tuple(new(r) if key is None or r.key[0] == key else r for r in getattr(farm, table))
    return replace(farm, **{table: rows})


def pinned(farm: Farm, **values: Any) -> Farm:
    """The farm with one pin."""
    return replace(farm, pins=(Pin(pin="P1", **values),))


def stand(lot: str, week: int, zone: str, rack: str | None = None, blocks: str = "", pieces: int = 0) -> Stand:
    """A stand; pieces are those of its blocks unless given."""
    held = tuple(parse_block(b) for b in blocks.split())
    return Stand(lot=lot, week=week, zone=zone, rack=rack, blocks=held, pieces=pieces or sum(b.plugs for b in held))


def cut(lot: str, colony: str, strain: str, week: int, pieces: int, run: int | None = None, **more: Any) -> Cut:
    """A cut; in near weeks by Ada, mounted by Ben."""
    near = {} if run is None else {"session": FIRST if week == 1 else SECOND, "run_order": run, "cutter": "Ada", "mounter": "Ben"}
    return Cut(lot=lot, colony=colony, strain=strain, week=week, pieces=pieces, **(near | more))


def sale(lot: str, week: int, pieces: int, route: str = "market", size_class: str = "small", **more: Any) -> Sale:
    """A sale by shipping."""
    facts: dict[str, Any] = {"channel": "ship"} | more
    return Sale(lot=lot, week=week, pieces=pieces, route=route, size_class=size_class, **facts)  # type: ignore[arg-type]


def small_plan(farm: Farm) -> Plan:
    """A plan that keeps every rule of the small farm."""
    return finished(farm, Plan(
        about=About(
            farm_name="Farm", book_fingerprint=farm.fingerprint, plan_monday=MONDAY, weeks=farm.weeks.count,
            near_weeks=farm.weeks.near, seed=1, versions={},
            near=NearWeeksResult(outcome="optimal", reason="", value=Decimal(0), bound=Decimal(0), gap_percent=Decimal(0), seed=1,
                                 wall_seconds=Decimal(0)),
        ),
        cuts=(
            cut("NA", "A1", "AAA", 1, 12, 1), cut("NZ", "Z1", "ZZZ", 1, 6, 2),
            cut("NB", "B1", "BBB", 2, 10, 1), cut("NQ", "Q1", "AAA", 2, 8, 2), cut("LA", "A2", "AAA", 4, 10),
        ),
        stands=(
            stand("NA", 1, N1A, "N1-a", "D1:E6"), stand("NZ", 1, N2A, "N2-a", "A1:B3"),
            stand("NB", 2, S1A, "S1-a", "D1:E5"), stand("NQ", 2, Q1A, "Q1-a", "D1:E4"), stand("LA", 4, N1A, pieces=10),
            stand("OA", 2, N1B, "N1-b", "A1:A5"), stand("NA", 4, N1B, pieces=12),
        ),
        sales=(
            sale("OA", 2, 5, "order", order="one"), sale("OB", 2, 5, "order", order="whole", channel="pickup"),
            sale("OA", 3, 4, size_class="large"), sale("NA", 5, 8), sale("OB", 3, 2, "clear", "large"),
        ),
    ))  # fmt: skip


def finished(farm: Farm, plan: Plan, **parts: Any) -> Plan:
    """The plan with some parts changed, and its overtime, balance, lines and value worked out anew where it can be read."""
    about = plan.about.model_copy(update={"book_fingerprint": farm.fingerprint})
    plan = plan.model_copy(update={"about": about, "overtime": ()} | parts)
    if not check_structure(Context(farm, plan)):
        return plan
    if "overtime" not in parts:
        bare = Context(farm, plan)
        extra = {w: hours_in(bare, w).overtime for w in farm.weeks.all}
        rows = tuple(Overtime(week=w, minutes=Decimal(s) / 60) for w, s in extra.items() if s)
        plan = plan.model_copy(update={"overtime": rows})
    ctx = Context(farm, plan)
    lines, _ = value_lines(ctx)
    total = sum((line.amount for line in lines), Decimal(0))
    return plan.model_copy(update={"balance": balance_rows(ctx), "lines": lines, "value": total})


def audited(farm: Farm, plan: Plan, **parts: Any) -> Report:
    """The audit of the plan with some parts changed, all else worked out anew."""
    return audit(farm, finished(farm, plan, **parts))


def broken(farm: Farm, plan: Plan, **parts: Any) -> set[str]:
    """Ids of the rules broken by the plan with some parts changed."""
    return set(audited(farm, plan, **parts).rules)


def with_row(rows: tuple[Any, ...], lot: str, at: int | None = None, **values: Any) -> tuple[Any, ...]:
    """Rows of a plan with some values of one lot's rows (or its row of week ``at``) changed."""
    return tuple(r.model_copy(update=values) if r.lot == lot and at in (None, r.week) else r for r in rows)
