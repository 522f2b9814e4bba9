"""A farm with one long bench session and cuts for it, as many as wanted. Every figure is made up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, time
from decimal import Decimal
from random import Random
from typing import Any

from scheduler.farm.coral import Colony, Group, SizeClass, Strain
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession, Person, Session
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Supply
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Cut

MONDAY = date(2026, 11, 30)
TRAITS: dict[str, Any] = {
    "unit": "tips", "unit_per_piece": 1.0, "method": "cutters", "min_pieces": 1, "keep_pieces": 5, "max_share": 0.5,
    "rest_weeks": 8, "pause_weeks": 1, "closed_months": (), "growth_law": "linear", "growth_per_week": 1.0, "start_units": 4.0,
    "cap_units": 200.0, "early_weeks": 1, "death_early": 0.01, "death_late": 0.0, "detach_early": 0.01, "detach_late": 0.0,
    "par_min": 50.0, "par_max": 400.0, "par_k": 100.0, "flow_settling": ("medium",), "flow_growing": ("medium",),
    "reach_mm": 0.0, "plug_kind": "small", "plug_rows": 1, "plug_cols": 1, "heal_weeks": 2, "attach_weeks": 2, "frag_mm": 25.0,
    "frag_mm_per_week": 1.0, "good_share": 0.9, "minutes_colony": 5.0, "minutes_cut": 0.5, "minutes_mount": 1.0, "dip": "iodine",
    "dip_minutes_frags": 10.0, "dip_slack_frags": 5.0, "dip_minutes_mother": 1.0, "dip_slack_mother": 1.0, "toxic": False,
    "slimy": False,
}  # fmt: skip
GROUPS: dict[str, dict[str, Any]] = {
    "branching": {},
    "plating": {"method": "saw", "minutes_colony": 6.0, "uses_putty": True},
    "leather": {"method": "scalpel", "slimy": True, "dip_minutes_frags": 5.0, "minutes_mount": 1.2},
    "button": {"method": "scalpel", "toxic": True, "dip": "none", "dip_minutes_frags": 0.0, "dip_minutes_mother": 0.0},
}
SKILLS = ("cutters", "saw", "scalpel", "mount", "toxic")
PEOPLE = ("Ada", "Ben", "Cleo", "Dov")


def day_farm(
    colonies: Sequence[tuple[str, str]],
    *,
    minutes: float = 240.0,
    people: Sequence[str] = PEOPLE[:2],
    settings: Any = None,
    **traits: Any,
) -> Farm:
    """Colonies (group, tank) c1, c2, ...: tanks N1, S1 and Q1, the last in quarantine; a session on Tuesday."""
    return Farm(
        settings=Settings(book_date=date(2026, 11, 27), plan_monday=MONDAY, horizon_weeks=8, **(settings or {})),
        systems=(
            WaterSystem(system="North", health_rank=1, max_fresh=900), WaterSystem(system="South", health_rank=2, max_fresh=900),
            WaterSystem(system="Quay", health_rank=9, quarantined=True, release_date=date(2027, 1, 31), max_fresh=900),
        ),
        tanks=(Tank(tank="N1", system="North"), Tank(tank="S1", system="South"), Tank(tank="Q1", system="Quay")),
        racks=tuple(
            Rack(rack=f"{t}-{r}", tank=t, rows=20, cols=20, pitch_mm=30.0, flow="medium", plug_kinds=("small",))
            for t in ("N1", "S1", "Q1") for r in "a"
        ),
        light=tuple(LightReading(rack=f"{t}-a", from_date=date(2026, 11, 1), par_umol=200.0) for t in ("N1", "S1", "Q1")),
        groups=tuple(Group(group=name, **(TRAITS | own | traits)) for name, own in GROUPS.items()),
        strains=tuple(Strain(strain=f"s{i}", name=f"Strain {i}", group=group, code=f"A{i:02d}") for i, (group, _) in enumerate(colonies, 1)),
        classes=tuple(
            SizeClass(group=g, size_class="small", min_mm=30.0, list_price=Decimal(20), b_price=Decimal(9), discount_price=Decimal(7))
            for g in GROUPS
        ),
        colonies=tuple(
            Colony(colony=f"c{i}", strain=f"s{i}", tank=tank, par_umol=200.0, count=60.0, count_date=MONDAY, condition="fit",
                   condition_date=MONDAY)
            for i, (_, tank) in enumerate(colonies, 1)
        ),
        people=tuple(Person(person=p, skills=SKILLS, hours_per_week=38.0) for p in PEOPLE),
        sessions=(
            Session(session="bench", weekday="Tue", start=time(8), minutes=minutes, people=tuple(people),
                    methods=("cutters", "saw", "scalpel")),
        ),
        supplies=(
            Supply(item="plug", unit="each", per="piece", only_for="small", quantity_per=1.0, unit_cost=Decimal("0.35"), stock=100.0,
                   pack_size=50.0, lead_weeks=1),
            Supply(item="blades", unit="set", per="session", quantity_per=1.0, unit_cost=Decimal(2), stock=3.0),
        ),
    )  # fmt: skip


def on_rock(farm: Farm, colony: str) -> Farm:
    """The farm with a colony grown onto rock."""
    rows = tuple(c.model_copy(update={"on_rock": c.on_rock or c.colony == colony}) for c in farm.colonies)
    return replace(farm, colonies=rows)


def the_session(farm: Farm) -> BenchSession:
    """Tuesday of week 1."""
    return sessions_in(farm, 1)[0]


def cuts_of(
    farm: Farm, pieces: Sequence[int], *, cutters: Sequence[str] = ("Ada",), mounters: Sequence[str] = ("Ben",)
) -> tuple[Cut, ...]:
    """A cut of every colony in the session of week 1; cutters and mounters take turns."""
    session = the_session(farm)
    return tuple(
        Cut(lot=f"L{i}", colony=c.colony, strain=c.strain, week=1, pieces=n, session=session.id, run_order=i,
            cutter=cutters[i % len(cutters)], mounter=mounters[i % len(mounters)])
        for i, (c, n) in enumerate(zip(farm.colonies, pieces, strict=True), 1)
    )  # fmt: skip


def busy_day(seed: int, colonies: int = 25) -> tuple[Farm, tuple[Cut, ...]]:
    """A long day: four people, three water systems, every kind of group, about eight pieces a colony."""
    chance = Random(seed)
    made = [(chance.choice(tuple(GROUPS)[:3]), chance.choice(("N1", "N1", "S1"))) for _ in range(colonies - 3)]
    made += [("button", "S1"), ("button", "S1"), ("branching", "Q1")]
    farm = day_farm(made, people=PEOPLE)
    cuts = cuts_of(farm, [chance.randint(4, 12) for _ in made], cutters=PEOPLE[:2], mounters=PEOPLE[2:])
    return farm, cuts
