"""Random farms for tests: valid, seeded, of any size. Every figure here is made up; none is a fact about corals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from scheduler.biology.growth import curve, most_pieces, rested_from, uncut_level
from scheduler.biology.light import rack_par
from scheduler.farm.blocks import Block, Position, position_name
from scheduler.farm.coral import Colony, Group, GroupPair, Lot, SizeClass, Strain
from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS, Absence, Person, Session, StandingWork
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Closure, Market, Order, Pin, Supply
from scheduler.farm.work import sessions_in

BOOK_DATE = date(2026, 11, 25)
MONDAY = date(2026, 11, 30)

COMMON: dict[str, Any] = {
    "closed_months": (), "early_weeks": 3, "death_early": 0.012, "death_late": 0.003, "detach_early": 0.006,
    "detach_late": 0.001, "plug_kind": "small", "plug_rows": 1, "plug_cols": 1, "attach_weeks": 3, "good_share": 0.95,
    "dip": "iodine", "dip_minutes_frags": 10, "dip_minutes_mother": 1, "toxic": False, "slimy": False, "pause_weeks": 1,
}  # fmt: skip

GROUPS: dict[str, dict[str, Any]] = {
    "branching stony": {
        "unit": "tips", "unit_per_piece": 1.5, "method": "cutters", "min_pieces": 4, "keep_pieces": 10, "max_share": 0.4,
        "rest_weeks": 6, "growth_law": "exponential", "growth_per_week": 0.03, "start_units": 6, "cap_units": 120,
        "par_min": 110, "par_max": 380, "par_k": 120, "flow_settling": ("medium", "high"), "flow_growing": ("medium", "high"),
        "reach_mm": 15, "heal_weeks": 2, "frag_mm": 30, "frag_mm_per_week": 2.0, "minutes_colony": 8, "minutes_cut": 0.8,
        "minutes_mount": 1.4,
    },
    "plating stony": {
        "unit": "cm_edge", "unit_per_piece": 3, "method": "saw", "min_pieces": 3, "keep_pieces": 5, "max_share": 0.4,
        "rest_weeks": 8, "growth_law": "linear", "growth_per_week": 1.2, "start_units": 12, "cap_units": 110,
        "par_min": 80, "par_max": 260, "par_k": 90, "flow_settling": ("medium",), "flow_growing": ("medium", "high"),
        "reach_mm": 10, "heal_weeks": 3, "frag_mm": 22, "frag_mm_per_week": 1.3, "minutes_colony": 9, "minutes_cut": 1.1,
        "minutes_mount": 1.3,
    },
    "encrusting": {
        "unit": "cm2", "unit_per_piece": 5, "method": "saw", "min_pieces": 3, "keep_pieces": 6, "max_share": 0.35,
        "rest_weeks": 7, "growth_law": "logistic", "growth_per_week": 0.07, "start_units": 25, "cap_units": 260,
        "par_min": 70, "par_max": 240, "par_k": 80, "flow_settling": ("medium", "high"),
        "flow_growing": ("low", "medium", "high"), "reach_mm": 10, "heal_weeks": 2, "frag_mm": 20, "frag_mm_per_week": 1.3,
        "minutes_colony": 9, "minutes_cut": 1.2, "minutes_mount": 1.2, "pause_weeks": 2,
    },
    "large-polyp stony": {
        "unit": "heads", "unit_per_piece": 1, "method": "saw", "min_pieces": 2, "keep_pieces": 3, "max_share": 0.5,
        "rest_weeks": 10, "growth_law": "exponential", "growth_per_week": 0.015, "start_units": 3, "cap_units": 32,
        "par_min": 50, "par_max": 180, "par_k": 60, "flow_settling": ("low", "medium"), "flow_growing": ("low", "medium"),
        "reach_mm": 50, "heal_weeks": 4, "attach_weeks": 0, "frag_mm": 40, "frag_mm_per_week": 0.6, "minutes_colony": 10,
        "minutes_cut": 2.2, "minutes_mount": 1.8, "plug_kind": "large", "plug_rows": 2, "plug_cols": 2, "good_share": 0.9,
    },
    "zoanthid": {
        "unit": "polyps", "unit_per_piece": 4, "method": "scalpel", "min_pieces": 3, "keep_pieces": 8, "max_share": 0.45,
        "rest_weeks": 6, "growth_law": "exponential", "growth_per_week": 0.04, "start_units": 16, "cap_units": 200,
        "par_min": 60, "par_max": 240, "par_k": 70, "flow_settling": ("low", "medium"), "flow_growing": ("low", "medium", "high"),
        "reach_mm": 20, "heal_weeks": 2, "frag_mm": 20, "frag_mm_per_week": 1.2, "minutes_colony": 7, "minutes_cut": 1.1,
        "minutes_mount": 1.3, "toxic": True, "dip": "none", "dip_minutes_frags": 0, "dip_minutes_mother": 0,
    },
    "mushroom": {
        "unit": "polyps", "unit_per_piece": 0.5, "method": "scalpel", "min_pieces": 4, "keep_pieces": 8, "max_share": 0.4,
        "rest_weeks": 7, "growth_law": "exponential", "growth_per_week": 0.03, "start_units": 5, "cap_units": 40,
        "par_min": 35, "par_max": 160, "par_k": 40, "flow_settling": ("low", "medium"), "flow_growing": ("low", "medium"),
        "reach_mm": 0, "heal_weeks": 2, "frag_mm": 15, "frag_mm_per_week": 1.1, "minutes_colony": 6, "minutes_cut": 0.7,
        "minutes_mount": 1.6, "slimy": True,
    },
    "leather": {
        "unit": "cm2", "unit_per_piece": 6, "method": "scalpel", "min_pieces": 3, "keep_pieces": 5, "max_share": 0.45,
        "rest_weeks": 5, "growth_law": "exponential", "growth_per_week": 0.045, "start_units": 36, "cap_units": 240,
        "par_min": 40, "par_max": 220, "par_k": 80, "flow_settling": ("low", "medium"), "flow_growing": ("low", "medium", "high"),
        "reach_mm": 30, "heal_weeks": 2, "frag_mm": 20, "frag_mm_per_week": 2.2, "minutes_colony": 6, "minutes_cut": 0.7,
        "minutes_mount": 1.6, "slimy": True,
    },
}  # fmt: skip

FIRST = ("Amber", "Brine", "Cinder", "Dapple", "Ember", "Fallow", "Gravel", "Hollow", "Indigo", "Juniper", "Kelp", "Loam")
SECOND = ("Lattice", "Mantle", "Notch", "Orchard", "Pebble", "Quill", "Ridge", "Spindle", "Thimble", "Umbra", "Vane", "Weir")
DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def random_farm(seed: int, colonies: int, *, tight: bool = False, pins: int = 0, weeks: int = 12) -> Farm:
    """A valid farm of so many colonies (1-2,000), the same for the same arguments.

    Lots stand in whole blocks without overlap and keep their distances and flow, and company where there are tanks enough;
    past ages, light and losses are arbitrary. ``tight``: fewer positions and hours, lower ``max_fresh``. ``pins``: up to so
    many pins, each possible by itself and each on a colony, lot, rack or tank of its own; together they may still be
    impossible.
    """
    return _Maker(Random(f"{seed}/{colonies}/{tight}/{weeks}"), colonies, tight, weeks).farm(pins)


def one_strain_farm(*, classes: Sequence[tuple[str, float]] = (("small", 40.0),), settings: Any = None, **traits: Any) -> Farm:
    """A farm of one branching strain ``A`` with the given traits and (class, smallest mm), and nothing else."""
    group = Group(group="corals", **(COMMON | GROUPS["branching stony"] | traits))
    rows = tuple(
        SizeClass(
            group="corals", size_class=name, min_mm=mm, list_price=Decimal(20), b_price=Decimal(8), discount_price=Decimal(7)
        )
        for name, mm in classes
    )
    return Farm(
        settings=Settings(**{"book_date": BOOK_DATE, "horizon_weeks": 12} | (settings or {})),
        groups=(group,), strains=(Strain(strain="A", name="Amber Lattice", group="corals", code="AL"),), classes=rows,
    )  # fmt: skip


class _Maker:
    """Builds one farm; every table is made once, in the order of ``farm``."""

    def __init__(self, random: Random, colonies: int, tight: bool, weeks: int) -> None:
        self.random, self.size, self.tight = random, colonies, tight
        self.settings = self._settings(weeks)
        self._make_groups()
        self._make_space()
        self._make_people()
        self._make_corals()
        self._make_trade()

    def farm(self, pins: int) -> Farm:
        tables = {k: tuple(v) for k, v in self.tables.items()}
        bare = Farm(settings=self.settings, **tables)
        return Farm(settings=self.settings, **tables, pins=tuple(self._pins(bare, pins))) if pins else bare

    @property
    def tables(self) -> dict[str, Sequence[Any]]:
        names = (
            "systems", "tanks", "racks", "light", "groups", "strains", "pairs", "classes", "colonies", "lots", "people",
            "absences", "standing", "sessions", "channels", "ship_calendar", "orders", "market", "supplies",
        )  # fmt: skip
        return {name: getattr(self, name) for name in names}

    def chance(self, share: float) -> bool:
        return self.random.random() < share

    def day(self, week: int) -> date:
        """A working day of a week (week 1 is the first planned)."""
        return MONDAY + timedelta(days=7 * (week - 1) + self.random.randrange(5))

    # ---- settings and groups --------------------------------------------------------------------------------------

    def _settings(self, weeks: int) -> Settings:
        r = self.random
        return Settings(
            farm_name="Test farm", book_date=BOOK_DATE, horizon_weeks=weeks, near_weeks=min(weeks, r.choice((1, 2, 2, 3))),
            par_bands=r.choice(((60, 100, 140, 190, 250, 320), (80, 160, 240), (100, 200))),
            dim=r.choice((0.2, 0.3, 0.4)), bright=r.choice((0.1, 0.15, 0.3)), max_step_up=r.choice((0.25, 0.5)),
            adapt_weeks=r.choice((1, 3, 3)), settle_weeks=r.choice((1, 2, 2, 3)), max_rack_weeks=r.choice((24, 36, 52)),
            count_weeks=r.choice((2, 4, 4, 6)), max_blocks=r.choice((2, 2, 3)), usable_share=r.choice((0.8, 0.9, 1.0)),
            keep_free_share=r.choice((0.0, 0.05, 0.1)), late_cost=Decimal(r.choice(("0.00", "0.50", "1.25"))),
            short_cost=Decimal(r.choice(("0.00", "5.00", "9.00"))), service_level=r.choice((0.8, 0.9, 0.95)),
            change_cost=Decimal("0.00"), end_months=r.choice((0, 3, 6)), uneven_cost=Decimal(r.choice(("0.00", "0.00", "1.50"))),
            interest_percent_per_year=r.choice((0, 0, 6)),
        )  # fmt: skip

    def _make_groups(self) -> None:
        r = self.random
        count = min(len(GROUPS), max(1, round(self.size / 3)))
        chosen = set(r.sample(sorted(GROUPS), count))
        names = [n for n in GROUPS if n in chosen]
        self.groups = []
        for name in names:
            values = COMMON | GROUPS[name]
            values |= {
                "growth_per_week": round(values["growth_per_week"] * r.uniform(0.7, 1.4), 3),
                "rest_weeks": max(1, values["rest_weeks"] + r.randint(-2, 2)),
                "death_early": round(values["death_early"] * r.uniform(0.3, 2), 4),
                "frag_mm_per_week": round(values["frag_mm_per_week"] * r.uniform(0.8, 1.3), 2),
                "closed_months": (r.choice((12, 1, 2)),) if self.chance(0.1) else (),
            }
            self.groups.append(Group(group=name, **values))
        self.pairs = []
        if {"leather", "branching stony"} <= set(names) and self.chance(0.7):
            apart = r.choice(("tank", "tank", "system"))
            self.pairs.append(GroupPair(group_a="leather", group_b="branching stony", apart=apart))
        for name in names:
            if self.chance(0.3):
                self.pairs.append(GroupPair(group_a=name, group_b=name, get_along=True))
        self.classes = []
        for group in self.groups:
            price = r.randint(12, 70)
            first = round(group.frag_mm + (0 if self.chance(0.2) else r.uniform(4, 9)), 1)
            for i in range(r.choice((1, 2, 2))):
                self.classes.append(
                    self._size_class(group.group, f"class {i + 1}", round(first + 9 * i, 1), price * (1 + 0.7 * i))
                )
        self.strains = []
        for i in range(max(1, round(self.size / 3))):
            group = self.groups[i % len(self.groups)] if i < len(self.groups) else r.choice(self.groups)
            own: dict[str, Any] = {}
            if self.chance(0.2):
                own["growth_per_week"] = round(group.growth_per_week * r.uniform(0.5, 1.5), 4)
            if self.chance(0.1):
                own["frag_mm_per_week"] = round(group.frag_mm_per_week * r.uniform(0.6, 1.4), 3)
            code = DIGITS[10 + i // 36 % 26] + DIGITS[i % 36] + (DIGITS[i // 936] if i >= 936 else "")
            name = f"{FIRST[i % 12]} {SECOND[i // 12 % 12]}" + (f" {i // 144 + 1}" if i >= 144 else "")
            self.strains.append(Strain(strain=f"S{i + 1:03d}", name=name, group=group.group, code=code, **own))
            if self.chance(0.1):
                old = next(c for c in self.classes if c.group == group.group and c.strain is None)
                self.classes.append(old.model_copy(update={"strain": f"S{i + 1:03d}", "list_price": old.list_price + 10}))
        self.group = {g.group: g for g in self.groups}
        self.bare = Farm(
            settings=self.settings, groups=tuple(self.groups), strains=tuple(self.strains), pairs=tuple(self.pairs),
            classes=tuple(self.classes),
        )  # fmt: skip

    def _size_class(self, group: str, name: str, min_mm: float, price: float) -> SizeClass:
        whole = Decimal(f"{round(price)}.00")
        return SizeClass(
            group=group, size_class=name, min_mm=min_mm, list_price=whole,
            b_price=(whole * Decimal("0.4")).quantize(Decimal("0.01")),
            discount_price=(whole * Decimal("0.35")).quantize(Decimal("0.01")),
        )  # fmt: skip

    # ---- water, tanks, racks, light -------------------------------------------------------------------------------

    def _make_space(self) -> None:
        r = self.random
        count = min(1 + self.size // 12, 6) if self.size > 4 else r.choice((1, 1, 2))
        quarantine = count > 1 and self.chance(0.5)
        per_system = max(1, self.size // count)
        fresh = max(8, round(per_system * (2.5 if self.tight else 6)))
        self.systems = []
        for i in range(count):
            locked = quarantine and i == count - 1
            feeds = (f"W{i + 2}",) if i + 1 < count - quarantine and self.chance(0.5) else ()
            release = self.day(r.randint(2, 9)) if locked and self.chance(0.8) else None
            hold = self.day(r.randint(1, 3)) if self.chance(0.1) else None
            self.systems.append(
                WaterSystem(
                    system=f"W{i + 1}", health_rank=count if locked else r.randint(1, max(1, count - quarantine)),
                    quarantined=locked, release_date=release, hold_until=hold, max_fresh=fresh, feeds=feeds,
                )
            )  # fmt: skip
        wanted = self.size * (11 if self.tight else 18)
        rows, cols = (r.randint(4, 6), r.randint(5, 8)) if self.size < 8 else (r.randint(6, 9), r.randint(8, 12))
        racks = max(2 * count, round(wanted / (rows * cols)))
        self.tanks, self.racks, self.light = [], [], []
        self.par: dict[str, Any] = {}
        for i in range(racks):
            system = self.systems[i % count].system
            number = i // count
            tank = f"{system}-{number // 4 + 1}"
            if number % 4 == 0:
                closed = self.day(r.randint(2, 6)) if self.chance(0.06) else None
                until = closed + timedelta(days=r.randint(7, 28)) if closed and self.chance(0.7) else None
                self.tanks.append(Tank(tank=tank, system=system, closed_from=closed, closed_to=until))
            self._rack(f"{tank}{'abcd'[number % 4]}", tank, max(3, rows + r.randint(-1, 1)), max(4, cols + r.randint(-1, 1)))

    def _rack(self, name: str, tank: str, rows: int, cols: int) -> None:
        r = self.random
        row = Rack(
            rack=name, tank=tank, rows=rows, cols=cols, pitch_mm=30, flow=r.choice(("low", "medium", "medium", "medium", "high")),
            plug_kinds=r.choice((("small", "large"), ("small", "large"), ("small",))) if self.racks else ("small", "large"),
            blocked=(position_name((rows - 1, cols - 1)),) if self.chance(0.2) else (),
        )  # fmt: skip
        bright = r.uniform(70, 280)
        measured = BOOK_DATE - timedelta(days=r.choice((10, 40, 80, 150)))
        reading: dict[str, Any] = {"par_umol": round(bright)}
        if self.chance(0.75):
            four = [round(bright * r.uniform(0.75, 1.25)) for _ in range(4)]
            names = ("first_row_first_col", "first_row_last_col", "last_row_first_col", "last_row_last_col")
            reading = {f"par_{n}": v for n, v in zip(names, four, strict=True)}
        light = LightReading(rack=name, from_date=measured, **reading)
        self.light.append(light)
        if self.chance(0.08):
            later = {k: round(v * 1.1) for k, v in reading.items()}
            self.light.append(LightReading(rack=name, from_date=self.day(r.randint(3, 9)), planned=True, **later))
        self.racks.append(row)
        corners = light.corners
        assert corners is not None
        self.par[name] = rack_par(corners, rows, cols)

    # ---- people ---------------------------------------------------------------------------------------------------

    def _make_people(self) -> None:
        r = self.random
        methods = sorted({g.method for g in self.groups})
        every = (*methods, "mount", "toxic", "pack", "care")
        count = max(1 if self.size < 6 else 2, min(3, self.size // 8) + self.size // 40)
        self.people = []
        for i in range(count):
            some = tuple(s for s in every if self.chance(0.6))
            skills = every if i % 3 == 0 else some or ("care",)
            self.people.append(
                Person(
                    person=f"P{i + 1}", skills=skills, hours_per_week=r.choice((20, 24, 30) if self.tight else (30, 36, 40)),
                    overtime_hours_per_week=r.choice((0, 2, 4)),
                )
            )  # fmt: skip
        self.absences = []
        for person in self.people:
            if self.chance(0.25):
                first = self.day(r.randint(1, 10))
                self.absences.append(
                    Absence(person=person.person, from_date=first, to_date=first + timedelta(days=r.randint(0, 9)))
                )
        care = 60 * sum(p.hours_per_week for p in self.people if "care" in p.skills)
        pack = 60 * sum(p.hours_per_week for p in self.people if "pack" in p.skills)
        self.standing = [StandingWork(task="feeding", minutes_per_week=round(care * r.uniform(0.1, 0.25)))]
        if self.chance(0.5):
            self.standing.append(StandingWork(task="labels", skill="pack", minutes_per_week=round(pack * 0.05)))
        self.sessions = []
        for team in range(-(-count // 3)):
            people = tuple(p.person for p in self.people[3 * team : 3 * team + 3])
            for weekday in sorted(r.sample(range(5), 1 if self.size < 4 else r.randint(2, 3))):
                self._session(f"bench {team + 1} {WEEKDAYS[weekday]}", weekday, people, methods)
        first = self.sessions[0]
        if self.chance(0.3):
            week = r.randint(1, 4)
            day = MONDAY + timedelta(days=7 * (week - 1) + WEEKDAYS.index(first.weekday))
            changed = {"weekday": None, "date": day, "minutes": r.choice((0, 90))}
            self.sessions.append(first.model_copy(update=changed))
        if self.chance(0.3):
            extra = {"session": "extra", "weekday": None, "date": MONDAY + timedelta(days=7 * r.randint(0, 1) + 5)}
            self.sessions.append(first.model_copy(update=extra))

    def _session(self, name: str, weekday: int, people: tuple[str, ...], methods: list[str]) -> None:
        r = self.random
        here = people if self.chance(0.6) else people[: max(1, len(people) - 1)]
        offered = tuple(m for m in methods if self.chance(0.8)) or (r.choice(methods),)
        minutes = r.choice((90, 120) if self.tight else (120, 180, 240))
        self.sessions.append(
            Session(session=name, weekday=WEEKDAYS[weekday], start=time(8, 30), minutes=minutes, people=here, methods=offered)
        )

    # ---- colonies and lots ----------------------------------------------------------------------------------------

    def _make_corals(self) -> None:
        r = self.random
        self.home = {s.strain: r.choice(self.tanks) for s in self.strains}
        self.company: dict[str, set[str]] = {t.tank: set() for t in self.tanks}
        self.cut_dates: dict[str, date] = {}
        self.taken: dict[str, dict[Position, str]] = {rack.rack: {} for rack in self.racks}
        self.colonies: list[Colony] = []
        self.lots: list[Lot] = []
        owners = [self.strains[i % len(self.strains)].strain for i in range(self.size)]
        names = [f"{s}-{1 + owners[:i].count(s):02d}" for i, s in enumerate(owners)]
        tanks = [self._tank_for(s) for s in owners]
        mothers = {n: t for n, t in zip(names, tanks, strict=True) if self.chance(0.08)}
        strain_of = dict(zip(names, owners, strict=True))
        places = {n: self._stand_mother(strain_of[n], t) for n, t in mothers.items()}
        codes: dict[str, int] = {}
        fill = r.uniform(0.75, 0.95) if self.tight else r.uniform(0.3, 0.75)
        by_system: dict[str, list[str]] = {}
        for name, tank in zip(names, tanks, strict=True):
            by_system.setdefault(self._system(tank), []).append(name)
        for rack in self.racks:
            self._fill(rack, fill, by_system.get(self._system(rack.tank), []), strain_of, codes)
        for name, strain, tank in zip(names, owners, tanks, strict=True):
            self._colony(name, strain, tank, places.get(name))

    def _system(self, tank: str) -> str:
        return next(t.system for t in self.tanks if t.tank == tank)

    def _fits_company(self, group: str, tank: str) -> bool:
        system = self._system(tank)
        for other, groups in self.company.items():
            for there in groups:
                apart = self.bare.apart(group, there)
                if (apart == "tank" and other == tank) or (apart == "system" and self._system(other) == system):
                    return False
        return True

    def _tank_for(self, strain: str) -> str:
        """The strain's own tank mostly, else any; whatever suits the company there, if there is such a tank."""
        group = self.bare.strain[strain].group
        wish = [self.home[strain].tank] if self.chance(0.8) else []
        others = [t.tank for t in self.tanks]
        self.random.shuffle(others)
        tank = next((t for t in wish + others if self._fits_company(group, t)), (wish + others)[0])
        self.company[tank].add(group)
        return tank

    def _stand_mother(self, strain: str, tank: str) -> tuple[str, Position] | None:
        """Two free positions for a mother in the last column of a rack of her tank: the upper one, or ``None``."""
        for rack in self.racks:
            spot = [(0, rack.cols - 1), (1, rack.cols - 1)]
            if rack.tank == tank and not self.taken[rack.rack] and rack.blocked_positions.isdisjoint(spot):
                self.taken[rack.rack].update(dict.fromkeys(spot, strain))
                return rack.rack, spot[0]
        return None

    def _fill(self, rack: Rack, fill: float, names: list[str], strain_of: dict[str, str], codes: dict[str, int]) -> None:
        """Lots side by side from the first column on, until the rack is full enough."""
        col, before = 0, None
        goal = fill * rack.cols
        for _ in range(2 * rack.cols):
            if not names or col >= goal:
                return
            name = self.random.choice(names)
            strain = strain_of[name]
            traits = self.bare.traits(strain)
            group = self.bare.strain[strain].group
            if rack.flow not in traits.flow_growing or traits.plug_kind not in rack.plug_kinds:
                continue
            if not self._fits_company(group, rack.tank):
                continue
            start = col + (self.bare.clear_positions(before, strain, rack.pitch_mm) if before else 0)
            blocks = self._blocks(rack, strain, start)
            if not blocks:
                continue
            self.company[rack.tank].add(group)
            held = [p for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
            self.taken[rack.rack].update(dict.fromkeys(held, strain))
            self._lot(rack, name, strain, blocks, codes)
            col, before = 1 + max(c for _, c in held), strain

    def _blocks(self, rack: Rack, strain: str, start: int) -> tuple[Block, ...]:
        """One or two blocks from a column on that keep clear of mothers and blocked positions; empty if they do not fit."""
        traits = self.bare.traits(strain)
        down = rack.rows // traits.plug_rows
        across = self.random.randint(1, 1 if traits.plug_cols > 1 else 3)
        plugs = self.random.randint(max(1, (down - 2) * across), down * across) if down else 0
        if not plugs:
            return ()
        blocks = (Block(top=0, left=start, across=across, plugs=plugs),)
        if across == 2 and plugs > 3 and self.chance(0.3):
            first = min(down, plugs - 1)
            second = Block(top=0, left=start + traits.plug_cols, across=1, plugs=plugs - first)
            blocks = (Block(top=0, left=start, across=1, plugs=first), second)
        held = [p for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
        free = set(rack.open_positions)
        others = self.taken[rack.rack]
        for row, col in held:
            if (row, col) not in free or (row, col) in others:
                return ()
            for (r2, c2), other in others.items():
                gap = max(abs(row - r2), abs(col - c2)) - 1
                if other != strain and gap < self.bare.clear_positions(strain, other, rack.pitch_mm):
                    return ()
        return blocks

    def _lot(self, rack: Rack, colony: str, strain: str, blocks: tuple[Block, ...], codes: dict[str, int]) -> None:
        r = self.random
        traits = self.bare.traits(strain)
        old = self.settings.max_rack_weeks
        age = r.randint(old - 1, old + 5) if self.chance(0.07) else min(r.randint(1, 24), old)
        cut = min(self.day(1 - age), BOOK_DATE)
        year, week, _ = cut.isocalendar()
        stem = f"{self.bare.strain[strain].code}-{year % 100:02d}{week:02d}"
        codes[stem] = codes.get(stem, 0) + 1
        alive = sum(b.plugs for b in blocks)
        known = self.chance(0.85)
        if known:
            self.cut_dates[colony] = max(cut, self.cut_dates.get(colony, cut))
        moved = cut + timedelta(days=7 * r.randint(4, 9)) if self.chance(0.2) else None
        self.lots.append(
            Lot(
                lot=f"{stem}{'abcdefghijklmnopqrstuvwxyz'[(codes[stem] - 1) % 26]}{(codes[stem] - 1) // 26 or ''}",
                strain=strain, colony=colony if known else None, cut_date=cut, started=alive + r.randint(0, 4), alive=alive,
                count_date=max(cut, BOOK_DATE - timedelta(days=r.randint(0, 28))), rack=rack.rack,
                blocks=tuple(b.text(traits.plug_rows, traits.plug_cols) for b in blocks),
                moved_date=moved if moved and moved <= BOOK_DATE else None,
            )
        )  # fmt: skip

    def _colony(self, name: str, strain: str, tank: str, place: tuple[str, Position] | None) -> None:
        r = self.random
        traits = self.bare.traits(strain)
        counted = BOOK_DATE - timedelta(days=r.randint(0, 45))
        last = self.cut_dates.get(name)
        if last is None and self.chance(0.6):
            last = BOOK_DATE - timedelta(days=r.randint(1, 7 * (traits.rest_weeks + 8)))
        near = [self.par[k.rack] for k in self.racks if k.tank == tank]
        par = float(r.choice(near).mean()) * r.uniform(0.9, 1.1)
        where: dict[str, Any] = {"place": r.choice(("left shelf", "right shelf", "back ledge"))}
        if place is not None:
            rack, spot = place
            ends = position_name(spot), position_name((spot[0] + 1, spot[1]))
            where = {"rack": rack, "positions": ":".join(ends)}
            par = float(self.par[rack][spot])
        self.colonies.append(
            Colony(
                colony=name, strain=strain, tank=tank, par_umol=round(min(max(par, traits.par_min), traits.par_max)),
                count=round(traits.cap_units * (r.uniform(0.35, 0.95) if self.chance(0.75) else r.uniform(0.02, 0.35)), 1),
                count_date=counted if last is None else max(counted, last),
                condition=r.choices(("fit", "watch", "no cut"), (90, 6, 4))[0], condition_date=counted, last_cut=last,
                on_rock=place is None and self.chance(0.06), **where,
            )
        )  # fmt: skip

    # ---- trade ----------------------------------------------------------------------------------------------------

    def _make_trade(self) -> None:
        r = self.random
        boxes = max(2, round(self.size / (30 if self.tight else 12)))
        self.channels = [
            Channel(channel="shipping", packing_days=("Mon", "Tue"), boxes_per_day=boxes, frags_per_box=10, market=True),
            Channel(channel="collection", packing_days=("Sat",), boxes_per_day=boxes, frags_per_box=8, market=self.chance(0.3)),
        ]
        self.ship_calendar = []
        for channel in self.channels:
            if self.chance(0.6):
                first = MONDAY + timedelta(weeks=r.randint(1, 5))
                last = first + timedelta(days=r.choice((0, 6, 13)))
                self.ship_calendar.append(Closure(channel=channel.channel, from_date=first, to_date=last, reason="closed"))
        self.orders = []
        for i in range(max(1, self.size // 6)):
            strain = r.choice(self.strains)
            size = r.choice(self.bare.size_classes(strain.strain))
            kin = [s.strain for s in self.strains if s.group == strain.group and s.strain != strain.strain]
            due = self.day(r.randint(0, self.settings.horizon_weeks + 3))
            early = due - timedelta(days=r.randint(7, 40)) if self.chance(0.4) else None
            self.orders.append(
                Order(
                    order=f"{1001 + i}", channel=r.choice(("shipping", "shipping", "collection")), strain=strain.strain,
                    size_class=size.size_class, quantity=r.randint(2, 20),
                    price=(size.list_price * Decimal(r.choice(("0.8", "0.9", "1.1")))).quantize(Decimal("0.01")),
                    earliest=early, due=due, late_ok=self.chance(0.8), partial_ok=self.chance(0.7),
                    substitutes=(r.choice(kin),) if kin and self.chance(0.3) else (),
                )
            )  # fmt: skip
        self.market = []
        for strain in self.strains:
            for size in self.bare.size_classes(strain.strain):
                if self.chance(0.9):
                    row = {"strain": strain.strain, "size_class": size.size_class}
                    self.market.append(Market(**row, quantity=r.randint(3, 20)))
                    if self.chance(0.15):
                        self.market.append(Market(month=r.choice((12, 1, 2)), **row, quantity=r.choice((0, 5.5, 25))))
        for group in self.groups:
            if self.chance(0.6):
                members = {s.strain for s in self.strains if s.group == group.group}
                total = sum(m.quantity for m in self.market if m.strain in members and m.month is None)
                self.market.append(Market(group=group.group, quantity=round(total * r.uniform(0.5, 1.0), 1)))
        kinds = sorted({g.plug_kind for g in self.groups})
        self.supplies = [
            Supply(item=f"plug {k}", per="piece", only_for=k, unit="each", quantity_per=1, unit_cost=Decimal("0.35"), stock=300)
            for k in kinds
        ]
        for per, cost in (("colony", "0.20"), ("session", "2.40"), ("frag packed", "0.28"), ("box", "4.60")):
            self.supplies.append(Supply(item=f"{per} set", unit="each", per=per, quantity_per=1, unit_cost=Decimal(cost)))
        for group in self.groups:
            if group.toxic:
                self.supplies.append(
                    Supply(item="kit", unit="set", per="colony", only_for=group.group, quantity_per=1, unit_cost=Decimal("1.90"))
                )

    # ---- pins -----------------------------------------------------------------------------------------------------

    def _pins(self, farm: Farm, count: int) -> list[Pin]:
        r = self.random
        can = []
        for colony in farm.colonies:
            traits = farm.traits(colony.strain)
            size = curve(traits)[uncut_level(farm, colony, 1)]
            held = farm.on_hold(farm.system_of_tank(colony.tank), 1)
            if colony.condition == "fit" and rested_from(farm, colony) <= 1 and most_pieces(traits, size) and not held:
                can.append((colony, most_pieces(traits, size)))
        r.shuffle(can)
        left = {c.colony for c in farm.colonies} - {c.colony for c, _ in can}
        idle = sorted(left)
        lots = [x.lot for x in farm.lots]
        racks = [x.rack for x in farm.racks]
        for names in (idle, lots, racks):
            r.shuffle(names)
        found: list[Pin] = []
        for kind in r.choices(
            ("cut", "at least", "at most", "no cut", "session", "rack", "keep free", "no sale", "hold lot"), k=20 * count
        ):
            values: dict[str, Any] | None = None
            if kind in ("cut", "at least", "at most") and can:
                colony, most = can.pop()
                pieces = {"cut": None, "at least": farm.traits(colony.strain).min_pieces, "at most": max(1, most - 1)}[kind]
                values = {"colony": colony.colony, "pieces": pieces}
            elif kind == "session" and can:
                colony, _ = can.pop()
                offering = [s for s in sessions_in(farm, 1) if farm.traits(colony.strain).method in s.methods]
                values = {"colony": colony.colony, "session": r.choice(offering).id} if offering else None
            elif kind == "rack" and can and racks:
                values = {"colony": can.pop()[0].colony, "rack": racks.pop()}
            elif kind == "no cut" and idle:
                values = {"colony": idle.pop()}
            elif kind == "keep free" and racks:
                values = {"rack": racks.pop(), "from_date": farm.weeks.monday(2), "to_date": farm.weeks.monday(3)}
            elif kind in ("no sale", "hold lot") and lots:
                values = {"lot": lots.pop(), "to_date": farm.weeks.monday(r.randint(1, 4))}
            if values is not None:
                found.append(Pin(pin=f"pin {len(found) + 1}", kind=kind, **values))
            if len(found) == count:
                break
        return found
