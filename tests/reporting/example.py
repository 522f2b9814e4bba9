"""A small farm and a plan made by hand: lots, two sessions, a move, sales, a toxic group, a mother on a rack."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from functools import cache

from scheduler.biology.zones import zone_of
from scheduler.farm.blocks import Block, parse_block
from scheduler.farm.coral import Colony, Group, Lot, SizeClass, Strain, TraitSource
from scheduler.farm.farm import Farm
from scheduler.farm.people import Person, Session, StandingWork
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Market, Order, Supply
from scheduler.plan.model import About, Balance, Cut, Held, Line, NearWeeksResult, Notice, Plan, Sale, Stand, StandBy

MONDAY = date(2026, 11, 30)
FORMULA = "=1+1"

_STONY: dict[str, object] = {
    "unit": "tips", "unit_per_piece": 1.5, "method": "cutters", "min_pieces": 4, "keep_pieces": 10, "max_share": 0.4,
    "rest_weeks": 8, "pause_weeks": 1, "growth_law": "exponential", "growth_per_week": 0.03, "start_units": 4, "cap_units": 90,
    "early_weeks": 3, "death_early": 0.015, "death_late": 0.003, "detach_early": 0.008, "detach_late": 0.001, "par_min": 100,
    "par_max": 350, "par_k": 110, "flow_settling": ("medium",), "flow_growing": ("medium",), "reach_mm": 15,
    "plug_kind": "small", "plug_rows": 1, "plug_cols": 1, "heal_weeks": 2, "attach_weeks": 4, "frag_mm": 25,
    "frag_mm_per_week": 1.2, "good_share": 0.95, "minutes_colony": 6, "minutes_cut": 0.6, "minutes_mount": 0.9,
    "dip": "iodine", "dip_minutes_frags": 5, "dip_minutes_mother": 0.5, "toxic": False, "slimy": False,
}  # fmt: skip
_POLYPS = _STONY | {
    "unit": "polyps", "method": "scalpel", "toxic": True, "slimy": True, "reach_mm": 25, "plug_kind": "large", "plug_rows": 2,
    "plug_cols": 2, "min_pieces": 2, "keep_pieces": 4, "par_min": 60, "par_max": 250, "attach_weeks": 2,
}  # fmt: skip


@cache
def farm() -> Farm:
    """Two water systems, three tanks, four racks, four strains."""
    people = ("Ada", "Ben")
    return Farm(
        settings=Settings(farm_name="Reef & Bench", book_date=date(2026, 11, 27), horizon_weeks=16),
        systems=(
            WaterSystem(system="North", health_rank=1, max_fresh=160),
            WaterSystem(system="South", health_rank=2, max_fresh=120),
        ),
        tanks=(Tank(tank="N1", system="North"), Tank(tank="N2", system="North"), Tank(tank="S1", system="South")),
        racks=(
            Rack(rack="N1-a", tank="N1", rows=8, cols=10, pitch_mm=30, flow="medium", plug_kinds=("small", "large"), blocked=("A1", "H10")),
            Rack(rack="N1-b", tank="N1", rows=6, cols=12, pitch_mm=30, flow="medium", plug_kinds=("small",)),
            Rack(rack="N2-a", tank="N2", rows=8, cols=10, pitch_mm=30, flow="medium", plug_kinds=("small",)),
            Rack(rack="S1-a", tank="S1", rows=8, cols=18, pitch_mm=30, flow="medium", plug_kinds=("small", "large"), blocked=("H18",)),
        ),
        light=(
            LightReading(
                rack="N1-a", from_date=date(2026, 10, 1), par_first_row_first_col=230, par_first_row_last_col=190,
                par_last_row_first_col=200, par_last_row_last_col=170,
            ),
            LightReading(rack="N1-b", from_date=date(2026, 10, 1), par_umol=200),
            LightReading(rack="N2-a", from_date=date(2026, 5, 1), par_umol=220),
            LightReading(rack="S1-a", from_date=date(2026, 11, 1), par_umol=120),
        ),
        groups=(Group(group="branching stony", **_STONY), Group(group="zoanthid", **_POLYPS)),
        strains=(
            Strain(strain="LAN", name="Lantern Branch", group="branching stony", code="LN"),
            Strain(strain="EMB", name="Ember Tip", group="branching stony", code="EM", growth_per_week=0.02),
            Strain(strain="DUS", name="Dusk Mat", group="zoanthid", code="DU"),
            Strain(strain="MOS", name=FORMULA, group="zoanthid", code="MO"),
        ),
        sources=(TraitSource(group="branching stony", trait="growth_per_week", source="own counts 2025", evidence="own counts"),),
        classes=tuple(
            SizeClass(group=g, size_class=k, min_mm=mm, list_price=Decimal(p), b_price=Decimal(9), discount_price=Decimal(7))
            for g in ("branching stony", "zoanthid")
            for k, mm, p in (("small", 32, 20), ("show", 40, 30))
        ),
        colonies=(
            _colony("LAN-01", "LAN", "N1", FORMULA, 210),
            _colony("LAN-02", "LAN", "N2", "left shelf", 220, on_rock=True),
            _colony("EMB-01", "EMB", "N2", "+back corner", 200),
            _colony("EMB-02", "EMB", "N2", "front", 200, rack="N2-a", positions="A1:B2", count_date=date(2026, 8, 1)),
            _colony("DUS-01", "DUS", "S1", "basket 3", 120),
            _colony("MOS-01", "MOS", "S1", "basket 4", 110),
        ),
        lots=(
            _lot("LN-2636a", "LAN", date(2026, 9, 1), 16, "N1-a", "C1:D8"),
            _lot("EM-2640a", "EMB", date(2026, 9, 28), 12, "N1-b", "A1:B6"),
            _lot("LN-2641a", "LAN", date(2026, 10, 5), 10, "N1-b", "A9:C12=10"),
            _lot("DU-2638a", "DUS", date(2026, 9, 14), 6, "S1-a", "A1:D6"),
        ),
        people=(
            Person(person="Ada", skills=("cutters", "scalpel", "mount", "toxic", "care"), hours_per_week=38),
            Person(person="Ben", skills=("mount", "pack", "toxic", "care"), hours_per_week=38),
        ),
        standing=(StandingWork(task="feeding", minutes_per_week=420),),
        sessions=(
            Session(session="Tue-morning", weekday="Tue", start=time(8, 30), minutes=180, people=people, methods=("cutters", "scalpel")),
            Session(session="Thu/late", weekday="Thu", start=time(14, 0), minutes=150, people=people, methods=("cutters",)),
        ),
        channels=(
            Channel(channel="shipping", packing_days=("Mon", "Tue"), boxes_per_day=10, frags_per_box=12, market=True),
            Channel(channel="collection", packing_days=("Fri",), boxes_per_day=4, frags_per_box=12),
        ),
        orders=(
            Order(order="1001", channel="shipping", strain="LAN", size_class="small", quantity=5, price=Decimal(18), due=date(2026, 12, 4)),
            Order(order="1002", channel="collection", strain="EMB", size_class="small", quantity=20, price=Decimal(18), due=date(2027, 1, 15)),
            Order(order="1003", channel="shipping", strain="DUS", size_class="show", quantity=4, price=Decimal(18), due=date(2027, 9, 1)),
        ),
        market=(Market(strain="LAN", size_class="small", quantity=20),),
        supplies=(
            Supply(item="plug small", per="piece", only_for="small", unit="each", quantity_per=1, unit_cost=Decimal("0.35"), stock=20,
                   pack_size=100, lead_weeks=2),
            Supply(item="box", per="box", unit="each", quantity_per=1, unit_cost=Decimal(3), stock=40),
        ),
    )  # fmt: skip


def _colony(name: str, strain: str, tank: str, place: str, par: float, **more: object) -> Colony:
    day = date(2026, 11, 20)
    values = {"count": 60, "condition": "fit", "count_date": day, "condition_date": day} | more
    return Colony(colony=name, strain=strain, tank=tank, place=place, par_umol=par, **values)


def _lot(name: str, strain: str, cut: date, alive: int, rack: str, block: str) -> Lot:
    return Lot(
        lot=name,
        strain=strain,
        cut_date=cut,
        started=alive + 2,
        alive=alive,
        count_date=date(2026, 11, 23),
        rack=rack,
        blocks=(block,),
    )


def stand(lot: str, strain: str, week: int, rack: str, *texts: str) -> Stand:
    traits = farm().traits(strain)
    blocks: tuple[Block, ...] = tuple(parse_block(t, traits.plug_rows, traits.plug_cols) for t in texts)
    held = [p for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
    zone = zone_of(farm(), rack, held)
    return Stand(lot=lot, week=week, zone=zone, rack=rack, blocks=blocks, pieces=sum(b.plugs for b in blocks))


def _cut(lot: str, colony: str, pieces: int, week: int, session: str | None, order: int | None) -> Cut:
    strain = farm().colony[colony].strain
    who = ("Ada", "Ben") if session else (None, None)
    return Cut(
        lot=lot,
        colony=colony,
        strain=strain,
        week=week,
        pieces=pieces,
        session=session,
        run_order=order,
        cutter=who[0],
        mounter=who[1],
    )


TUESDAY, THURSDAY = "Tue-morning 2026-12-01", "Thu/late 2026-12-10"


@cache
def plan() -> Plan:
    """Five near cuts in two sessions, one later cut, a move, and sales by each route."""
    book = farm()
    later = stand("x", "EMB", 6, "N2-a", "D1:D4").zone
    return Plan(
        about=About(
            farm_name=book.settings.farm_name, book_fingerprint=book.fingerprint, plan_monday=MONDAY, weeks=16, near_weeks=2, seed=7,
            versions={"frag-scheduler": "0.1.0"},
            near=NearWeeksResult(
                outcome="feasible", reason="time was up", value=Decimal("810.50"), bound=Decimal("825.00"),
                gap_percent=Decimal("1.76"), seed=7, wall_seconds=Decimal("20.1"),
            ),
        ),
        cuts=(
            _cut("LN-2649a", "LAN-01", 12, 1, TUESDAY, 1),
            _cut("EM-2649a", "EMB-01", 8, 1, TUESDAY, 2),
            _cut("DU-2649a", "DUS-01", 5, 1, TUESDAY, 3),
            _cut("MO-2649a", "MOS-01", 3, 1, TUESDAY, 4),
            _cut("LN-2650a", "LAN-02", 9, 2, THURSDAY, 1),
            _cut("EM-2654a", "EMB-02", 10, 6, None, None),
        ),
        stands=(
            stand("LN-2649a", "LAN", 1, "N1-a", "F1:G6"),
            stand("EM-2649a", "EMB", 1, "N1-b", "E1:E8"),
            stand("DU-2649a", "DUS", 1, "S1-a", "A9:D12", "F1:G2"),
            stand("MO-2649a", "MOS", 1, "S1-a", "F7:G12"),
            stand("LN-2641a", "LAN", 1, "N2-a", "D1:E5"),
            stand("LN-2650a", "LAN", 2, "N2-a", "G1:H5=9"),
            Stand(lot="EM-2654a", week=6, zone=later, pieces=10),
        ),
        sales=(
            Sale(lot="LN-2636a", week=1, route="order", size_class="small", order="1001", channel="shipping", pieces=3),
            Sale(lot="LN-2636a", week=1, route="market", size_class="small", channel="shipping", pieces=2),
            Sale(lot="EM-2640a", week=2, route="order", size_class="small", order="1002", channel="collection", pieces=12),
            Sale(lot="DU-2638a", week=2, route="clear", size_class="small", channel="shipping", pieces=1),
            Sale(lot="LN-2649a", week=9, route="market", size_class="small", channel="shipping", pieces=12),
        ),
        balance=(
            Balance(
                strain="LAN", week=1, started=38, sold=Decimal(5), cleared=Decimal(0), died=Decimal(0), detached=Decimal(0),
                on_racks=Decimal(33),
            ),
        ),
        lines=(
            Line(line="order sale", subject="1001", week=1, amount=Decimal("51.30")),
            Line(line="labour", subject="cutting", week=1, amount=Decimal("-14.20")),
            Line(line="order sale", subject="1002", week=2, amount=Decimal("200.00")),
        ),
        value=Decimal("237.10"),
        held=(Held(colony="EMB-02", reason="resting", detail="last cut 3 weeks ago, wants 8", ready_week=6),),
        stand_by=(StandBy(session=TUESDAY, colony="LAN-02", pieces=9), StandBy(session=TUESDAY, colony="EMB-02", pieces=6)),
        notices=(
            Notice(kind="doubt", text="EMB-02 was last counted 121 days ago."),
            Notice(kind="gave way", text="Order 1001 wants 5 frags and gets 3: the lot has no more that are ready."),
        ),
    )  # fmt: skip
