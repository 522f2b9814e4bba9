"""A small farm book: two systems, two tanks, three racks, three strains. Every figure is made up."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, time
from decimal import Decimal
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

from scheduler.errors import BookError, Finding
from scheduler.farm.coral import Colony, Group, GroupPair, Lot, SizeClass, Strain, Traits, TraitSource
from scheduler.farm.counts import Count, PastCut, PastLot
from scheduler.farm.farm import Farm
from scheduler.farm.people import Absence, Person, Session, StandingWork
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Closure, Market, Order, Pin, Supply

TODAY = date(2026, 11, 25)

BRANCHING: dict[str, Any] = {
    "unit": "tips", "unit_per_piece": 1.5, "method": "cutters", "min_pieces": 4, "keep_pieces": 10, "max_share": 0.4,
    "rest_weeks": 8, "pause_weeks": 1, "closed_months": (7, 8), "growth_law": "exponential", "growth_per_week": 0.03,
    "start_units": 4.0, "cap_units": 90.0, "early_weeks": 3, "death_early": 0.015, "death_late": 0.003, "detach_early": 0.008,
    "detach_late": 0.001, "par_min": 120.0, "par_max": 350.0, "par_k": 110.0, "flow_settling": ("medium", "high"),
    "flow_growing": ("medium", "high"), "reach_mm": 15.0, "plug_kind": "small", "plug_rows": 1, "plug_cols": 1,
    "heal_weeks": 2, "attach_weeks": 4, "frag_mm": 25.0, "frag_mm_per_week": 1.2, "good_share": 0.95, "minutes_colony": 6.0,
    "minutes_cut": 0.6, "minutes_mount": 0.9, "dip": "iodine", "dip_minutes_frags": 5.0, "dip_minutes_mother": 0.5,
    "toxic": False, "slimy": False,
}  # fmt: skip
BUTTONS = BRANCHING | {
    "unit": "polyps", "method": "scalpel", "closed_months": (), "toxic": True, "plug_kind": "large", "plug_rows": 2,
    "plug_cols": 2, "reach_mm": 40.0, "attach_weeks": 0,
}  # fmt: skip


def tables() -> dict[str, Any]:
    """The tables of a farm without faults or doubts."""
    groups = (Group(group="branching stony", **BRANCHING), Group(group="buttons", **BUTTONS))
    return {
        "settings": Settings(farm_name="Test farm", book_date=TODAY, horizon_weeks=8),
        "systems": (
            WaterSystem(system="North", health_rank=1, max_fresh=160),
            WaterSystem(system="Q", health_rank=2, quarantined=True, release_date=date(2026, 12, 20), max_fresh=40, feeds=("North",)),
        ),
        "tanks": (Tank(tank="N1", system="North"), Tank(tank="Q1", system="Q")),
        "racks": (
            Rack(rack="N1-a", tank="N1", rows=8, cols=10, pitch_mm=30, flow="medium", plug_kinds=("small", "large"), blocked=("H10",)),
            Rack(rack="N1-b", tank="N1", rows=6, cols=6, pitch_mm=30, flow="high", plug_kinds=("small",)),
            Rack(rack="Q1-a", tank="Q1", rows=6, cols=8, pitch_mm=25, flow="medium", plug_kinds=("small", "large")),
        ),
        "light": (
            LightReading(
                rack="N1-a", from_date=date(2026, 10, 12), lamp_percent=70, par_first_row_first_col=190,
                par_first_row_last_col=200, par_last_row_first_col=210, par_last_row_last_col=220,
            ),
            LightReading(rack="N1-b", from_date=date(2026, 10, 12), par_umol=240),
            LightReading(rack="Q1-a", from_date=date(2026, 10, 12), par_umol=205),
            LightReading(rack="Q1-a", from_date=date(2026, 12, 14), par_umol=230, planned=True),
        ),
        "groups": groups,
        "strains": (
            Strain(strain="LAN", name="Lantern Branch", group="branching stony", code="LN"),
            Strain(strain="EMB", name="Ember Twig", group="branching stony", code="EM", rest_weeks=10, closed_months=()),
            Strain(strain="007", name="=Double Button", group="buttons", code="B7"),
        ),
        "sources": (
            *(
                TraitSource(group=g.group, trait=t, source="own counts 2026", evidence="own counts")
                for g in groups
                for t in Traits.model_fields
            ),
            *(
                TraitSource(group="branching stony", strain="EMB", trait=t, source="own counts 2026", evidence="own counts")
                for t in ("rest_weeks", "closed_months")
            ),
        ),
        "pairs": (GroupPair(group_a="buttons", group_b="branching stony", get_along=False),),
        "classes": (
            SizeClass(
                group="branching stony", size_class="small", min_mm=35, list_price=Decimal("24.00"), b_price=Decimal("10.00"),
                discount_price=Decimal("8.00"),
            ),
            SizeClass(
                group="branching stony", strain="EMB", size_class="small", min_mm=30, list_price=Decimal("31.50"),
                b_price=Decimal("10.00"), discount_price=Decimal("8.125"),
            ),
            SizeClass(
                group="buttons", size_class="NA", min_mm=30, list_price=Decimal("20.00"), b_price=Decimal("9.00"),
                discount_price=Decimal("7.00"),
            ),
        ),
        "colonies": (
            Colony(
                colony="LAN-01", strain="LAN", tank="N1", place="left shelf", par_umol=210, count=48.5,
                count_date=date(2026, 11, 9), condition="fit", condition_date=date(2026, 11, 9), last_cut=date(2026, 9, 14),
            ),
            Colony(
                colony="EMB-01", strain="EMB", tank="N1", par_umol=215, count=30, count_date=date(2026, 11, 9), condition="fit",
                condition_date=date(2026, 11, 9), rack="N1-b", positions="E5:F6",
            ),
            Colony(
                colony="1007", strain="007", tank="Q1", par_umol=205, count=60, count_date=date(2026, 11, 9), condition="no cut",
                condition_date=date(2026, 11, 9),
            ),
        ),
        "lots": (
            Lot(
                lot="LN-2639a", strain="LAN", colony="LAN-01", cut_date=date(2026, 9, 14), started=18, alive=15,
                count_date=date(2026, 11, 16), rack="N1-a", blocks=("A1:B8=15",), moved_date=date(2026, 10, 26),
            ),
            Lot(
                lot="B7-2640a", strain="007", cut_date=date(2026, 9, 28), started=6, alive=5, count_date=date(2026, 11, 16),
                rack="N1-a", blocks=("E1:F6", "G1:H4"),
            ),
        ),
        "people": (
            Person(person="Ada", skills=("cutters", "saw", "mount", "care"), hours_per_week=38, overtime_hours_per_week=4),
            Person(person="Ben", skills=("scalpel", "mount", "toxic", "pack"), hours_per_week=20),
        ),
        "absences": (Absence(person="Ada", from_date=date(2026, 12, 21), to_date=date(2027, 1, 1)),),
        "standing": (StandingWork(task="feeding", skill="care", minutes_per_week=420),),
        "sessions": (
            Session(session="Tue-morning", weekday="Tue", start=time(8, 30), minutes=180, people=("Ada", "Ben"), methods=("cutters", "scalpel")),
            Session(session="Extra", date=date(2026, 12, 5), start=time(9), minutes=120, people=("Ben",), methods=("scalpel",)),
        ),
        "channels": (Channel(channel="shipping", packing_days=("Mon", "Tue"), boxes_per_day=10, frags_per_box=12, market=True),),
        "ship_calendar": (Closure(channel="shipping", from_date=date(2026, 12, 21), to_date=date(2027, 1, 3), reason="holidays"),),
        "orders": (
            Order(
                order="1007", channel="shipping", strain="LAN", size_class="small", quantity=40, price=Decimal("18.00"),
                due=date(2027, 1, 15), substitutes=("EMB",),
            ),
        ),
        "market": (
            Market(month=12, group="branching stony", quantity=60),
            Market(month=12, strain="LAN", size_class="small", quantity=20),
            Market(strain="007", size_class="NA", quantity=7.5),
        ),
        "supplies": (
            Supply(item="plug small", unit="each", per="piece", only_for="small", quantity_per=1, unit_cost=Decimal("0.35"), stock=900),
            Supply(item="plug large", unit="each", per="piece", only_for="large", quantity_per=1, unit_cost=Decimal("0.555"), stock=90),
        ),
        "pins": (
            Pin(pin="P1", kind="cut", colony="LAN-01", note="-show piece"),
            Pin(pin="P2", kind="session", colony="LAN-01", session="Tue-morning 2026-12-01"),
            Pin(pin="P3", kind="keep free", tank="Q1", from_date=date(2026, 11, 30), to_date=date(2026, 12, 13)),
        ),
        "counts": (
            Count(lot="LN-2639a", date=date(2026, 10, 19), alive=17, detached=1, size_mm=28),
            Count(lot="LN-2639a", date=date(2026, 11, 16), alive=15),
            Count(lot="LN-2539a", date=date(2025, 11, 3), alive=10, sold=7),
        ),
        "past_lots": (PastLot(lot="LN-2539a", strain="LAN", cut_date=date(2025, 9, 22), started=18, tank="N1", par_umol=220.0),),
        "past_cuts": (
            PastCut(colony="LAN-01", date=date(2026, 9, 14), strain="LAN", pieces_planned=18, pieces_got=18, minutes_cutting=19.5),
        ),
    }  # fmt: skip


def small_farm(**changes: Any) -> Farm:
    """The small farm with some tables changed."""
    return Farm(**(tables() | changes))


def altered(sheet: str, index: int, **values: Any) -> Farm:
    """The small farm with one row changed."""
    rows = list(tables()[sheet])
    rows[index] = type(rows[index]).model_validate(dict(rows[index]) | values)
    return small_farm(**{sheet: tuple(rows)})


def edit(source: Path, target: Path, **cells: Any) -> Path:
    """A copy of a workbook with cells changed; names are like ``colonies_E7``."""
    book = load_workbook(source)
    for name, value in cells.items():
        sheet, _, cell = name.rpartition("_")
        book[sheet][cell].value = value
    book.save(target)
    return target


def faults_of(read: Callable[[], object]) -> tuple[Finding, ...]:
    """The faults a reading ends with; none if it succeeds."""
    try:
        read()
    except BookError as error:
        return error.faults
    return ()


def has(findings: tuple[Finding, ...], *words: str) -> bool:
    """Whether one finding says all the words."""
    return any(all(word in str(f) for word in words) for f in findings)
