"""Large farms for tests and benchmarks: seeded, valid, of any size, and as full as a working farm. Every figure is made up.

Unlike ``farms.random_farm``, which looks for odd corners, these are all of one kind, so that sizes can be compared: a
colony comes with about 20 rack positions, of which lots of every age hold some three quarters; a quarter as many strains as
colonies; hours and market that grow with the farm and bind a little.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, time, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from scheduler.farm.blocks import Block, Position
from scheduler.farm.coral import Colony, Group, GroupPair, Lot, SizeClass, Strain
from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS, Absence, Person, Session, StandingWork
from scheduler.farm.settings import Settings
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Closure, Market, Order, Supply
from tests.farms import BOOK_DATE, COMMON, FIRST, GROUPS, MONDAY, SECOND

POSITIONS_PER_COLONY = 20
ROWS, COLS = 8, 12
LIGHTS = (75, 120, 165, 225)
"""PAR around which a tank is lit; a system has a tank of each in turn."""

FLOWS = ("medium", "medium", "medium", "high")
"""Flow class of the tanks of those lights."""

FILL = 0.86
"""Share of a rack's columns filled with lots; what they lost since leaves about three quarters of the positions held."""

PIECES_A_WEEK = 1.1
"""Pieces a colony is expected to give a week: hours and market are made for that many."""


def large_farm(colonies: int, *, seed: int = 1, weeks: int = 26) -> Farm:
    """A farm of so many colonies (40 and more), the same for the same arguments."""
    return _Maker(Random(f"large/{seed}/{colonies}/{weeks}"), colonies, weeks).farm()


@dataclass(frozen=True)
class _Place:
    """A tank with what decides who lives there."""

    tank: str
    system: str
    light: int
    flow: str


class _Maker:
    def __init__(self, random: Random, colonies: int, weeks: int) -> None:
        self.random, self.size, self.weeks = random, colonies, weeks
        self.systems = self._systems()
        self.groups, self.pairs, self.classes = self._groups()
        self.group = {g.group: g for g in self.groups}
        self.strains = self._strains()
        self.places, self.racks, self.light = self._space()
        self.at = {p.tank: p for p in self.places}
        self.people, self.sessions = self._people()
        self.colonies = self._colonies()
        self.lots = self._lots()

    def farm(self) -> Farm:
        return Farm(
            settings=Settings(
                farm_name=f"Large farm {self.size}", book_date=BOOK_DATE, horizon_weeks=self.weeks, change_cost=Decimal("0.00")
            ),
            systems=tuple(self.systems), tanks=tuple(Tank(tank=p.tank, system=p.system) for p in self.places),
            racks=tuple(self.racks), light=tuple(self.light), groups=tuple(self.groups), strains=tuple(self.strains),
            pairs=tuple(self.pairs), classes=tuple(self.classes), colonies=tuple(self.colonies), lots=tuple(self.lots),
            people=tuple(self.people), absences=self._absences(), standing=self._standing(), sessions=tuple(self.sessions),
            **self._trade(),
        )  # fmt: skip

    def day(self, week: int) -> date:
        """A working day of a week (week 1 is the first planned)."""
        return MONDAY + timedelta(days=7 * (week - 1) + self.random.randrange(5))

    # ---- groups, strains ------------------------------------------------------------------------------------------

    def _groups(self) -> tuple[list[Group], list[GroupPair], list[SizeClass]]:
        groups = [Group(group=name, **(COMMON | values)) for name, values in GROUPS.items()]
        pairs = [GroupPair(group_a=g.group, group_b=g.group, get_along=True) for g in groups if g.reach_mm <= 30]
        pairs.append(GroupPair(group_a="leather", group_b="large-polyp stony", apart="tank"))
        classes = []
        for group in groups:
            price = self.random.randint(14, 48)
            for k, (more, dearer) in enumerate(((6, 1.0), (15, 1.7))):
                whole = Decimal(f"{round(price * dearer)}.00")
                classes.append(
                    SizeClass(
                        group=group.group, size_class=f"class {k + 1}", min_mm=group.frag_mm + more, list_price=whole,
                        b_price=(whole * Decimal("0.4")).quantize(Decimal("0.01")),
                        discount_price=(whole * Decimal("0.35")).quantize(Decimal("0.01")),
                    )
                )  # fmt: skip
        return groups, pairs, classes

    def _strains(self) -> list[Strain]:
        """A quarter as many as colonies, the groups in turn; growth differs between strains of a group."""
        found = []
        for i in range(max(len(GROUPS), self.size // 4)):
            group = self.groups[i % len(self.groups)]
            found.append(
                Strain(
                    strain=f"S{i + 1:04d}", group=group.group,
                    name=f"{FIRST[i % 12]} {SECOND[i // 12 % 12]}" + (f" {i // 144 + 1}" if i >= 144 else ""),
                    code=_code(i),
                    growth_per_week=round(group.growth_per_week * self.random.uniform(0.7, 1.3), 4),
                    frag_mm_per_week=round(group.frag_mm_per_week * self.random.uniform(0.8, 1.25), 3),
                )
            )  # fmt: skip
        return found

    # ---- water, tanks, racks, light -------------------------------------------------------------------------------

    def _systems(self) -> list[WaterSystem]:
        """Two and one more for every 250 colonies; the last is in quarantine for some weeks where there are three."""
        count = min(12, 2 + self.size // 250)
        most = max(20, round(2.5 * PIECES_A_WEEK * self.size / count))
        return [
            WaterSystem(
                system=f"W{i + 1}", health_rank=i + 1, max_fresh=most, quarantined=count > 2 and i == count - 1,
                release_date=self.day(6) if count > 2 and i == count - 1 else None,
                feeds=(f"W{i + 2}",) if i + 2 < count and i % 2 == 0 else (),
            )
            for i in range(count)
        ]  # fmt: skip

    def _space(self) -> tuple[list[_Place], list[Rack], list[LightReading]]:
        """Tanks of up to four racks, in every system as many; the light of a tank varies a little from corner to corner."""
        r, count = self.random, len(self.systems)
        total = max(len(LIGHTS) * count, round(POSITIONS_PER_COLONY * self.size / (ROWS * COLS)))
        tanks = max(len(LIGHTS), -(-total // (4 * count)))
        places, racks, light = [], [], []
        for s, system in enumerate(self.systems):
            mine = total // count + (s < total % count)
            for t in range(tanks):
                place = _Place(f"{system.system}-{t + 1}", system.system, LIGHTS[t % len(LIGHTS)], FLOWS[t % len(LIGHTS)])
                places.append(place)
                for k in range(mine // tanks + (t < mine % tanks)):
                    name = f"{place.tank}{'abcdef'[k]}"
                    racks.append(Rack(rack=name, tank=place.tank, rows=ROWS, cols=COLS, pitch_mm=30, flow=place.flow,
                                      plug_kinds=("small", "large")))  # fmt: skip
                    corners = [round(place.light * r.uniform(0.88, 1.12)) for _ in range(4)]
                    names = ("first_row_first_col", "first_row_last_col", "last_row_first_col", "last_row_last_col")
                    reading = {f"par_{n}": v for n, v in zip(names, corners, strict=True)}
                    light.append(LightReading(rack=name, from_date=BOOK_DATE - timedelta(days=20), **reading))
        return places, racks, light

    # ---- people ---------------------------------------------------------------------------------------------------

    def _people(self) -> tuple[list[Person], list[Session]]:
        """Teams of up to three with three sessions a week, so many people that the bench is nearly busy."""
        r = self.random
        methods = sorted({g.method for g in self.groups})
        every = (*methods, "mount", "toxic", "pack", "care")
        count = max(2, round(self.size * PIECES_A_WEEK / 170))
        people = []
        for i in range(count):
            some = tuple(m for m in methods if r.random() < 0.6)
            skills = every if i % 3 == 0 else (*some, "mount", "pack", "care")
            hours = 24 if self.size < 100 else 38
            people.append(Person(person=f"P{i + 1}", skills=skills, hours_per_week=hours, overtime_hours_per_week=3))
        sessions = []
        minutes = 150 if self.size < 100 else 240
        for team in range(-(-count // 3)):
            here = tuple(p.person for p in people[3 * team : 3 * team + 3])
            for weekday in (team % 2, 2, 3 + team % 2):
                sessions.append(
                    Session(
                        session=f"bench {team + 1} {WEEKDAYS[weekday]}", weekday=WEEKDAYS[weekday], start=time(8, 30),
                        minutes=minutes, people=here, methods=tuple(methods),
                    )
                )  # fmt: skip
        return people, sessions

    def _absences(self) -> tuple[Absence, ...]:
        found = []
        for person in self.people[1::4]:
            first = self.day(self.random.randint(2, 12))
            found.append(Absence(person=person.person, from_date=first, to_date=first + timedelta(days=6)))
        return tuple(found)

    def _standing(self) -> tuple[StandingWork, ...]:
        """Feeding and water changes: a tenth of all paid hours."""
        paid = 60 * sum(p.hours_per_week for p in self.people)
        return (StandingWork(task="feeding and water changes", minutes_per_week=round(paid * 0.1)),)

    # ---- colonies and lots ----------------------------------------------------------------------------------------

    def _suits(self, group: Group, place: _Place) -> bool:
        """Light and flow in which both mothers and frags of a group do well."""
        in_light = group.par_min <= place.light <= group.par_max
        return in_light and place.flow in group.flow_settling and place.flow in group.flow_growing

    def _company(self) -> dict[str, str | None]:
        """By tank: the group of the apart pair that has to stay out of it, in turn."""
        return {p.tank: ("leather", "large-polyp stony")[i // len(LIGHTS) % 2] for i, p in enumerate(self.places)}

    def _colonies(self) -> list[Colony]:
        """The strains in turn, each in a tank of its light and company; four of five rested."""
        r = self.random
        barred = self._company()
        homes = {g.group: [p for p in self.places if self._suits(g, p) and barred[p.tank] != g.group] for g in self.groups}
        found, number = [], Counter[str]()
        for i in range(self.size):
            strain = self.strains[i % len(self.strains)]
            group = self.group[strain.group]
            number[strain.strain] += 1
            place = r.choice(homes[group.group])
            counted = BOOK_DATE - timedelta(days=r.randint(2, 40))
            last = counted - timedelta(days=r.randint(0, 7 * group.rest_weeks + 30)) if r.random() < 0.9 else None
            size = group.keep_pieces * group.unit_per_piece
            units = size + (group.cap_units - size) * r.uniform(0.05, 0.9)
            found.append(
                Colony(
                    colony=f"{strain.strain}-{number[strain.strain]:02d}", strain=strain.strain, tank=place.tank,
                    place=r.choice(("left shelf", "right shelf", "back ledge")), par_umol=round(place.light * r.uniform(0.92, 1.08)),
                    count=round(units, 1), count_date=counted, last_cut=last,
                    condition=r.choices(("fit", "watch", "no cut"), (94, 4, 2))[0], condition_date=counted,
                )
            )  # fmt: skip
        return found

    def _lots(self) -> list[Lot]:
        """Rack after rack, columns side by side: one group a rack, so that lots stand close where their group gets along."""
        found: list[Lot] = []
        codes: Counter[str] = Counter()
        by_place: dict[tuple[str, str], list[Colony]] = {}
        strain_of = {s.strain: s for s in self.strains}
        for colony in self.colonies:
            if colony.condition == "fit":
                by_place.setdefault((colony.tank, strain_of[colony.strain].group), []).append(colony)
        for n, rack in enumerate(self.racks):
            here = [g for g in self.groups if (rack.tank, g.group) in by_place]
            if not here:
                continue
            group = here[n % len(here)]
            gap = 0 if group.reach_mm <= 30 else -(-round(group.reach_mm) // round(rack.pitch_mm))
            column, before = 0, ""
            while True:
                colony = self.random.choice(by_place[rack.tank, group.group])
                clear = 0 if before in ("", colony.strain) else gap
                lot = self._lot(rack, group, colony, column + clear, codes)
                if lot is None:
                    break
                found.append(lot[0])
                column, before = lot[1], colony.strain
        return found

    def _lot(self, rack: Rack, group: Group, colony: Colony, column: int, codes: Counter[str]) -> tuple[Lot, int] | None:
        """A lot from a column on, and the next column; ``None`` if the rack is full enough."""
        r = self.random
        across = r.randint(1, 3 if group.plug_cols == 1 else 1)
        after = column + across * group.plug_cols
        if after > FILL * rack.cols + 1:
            return None
        down = rack.rows // group.plug_rows
        age = r.randint(0, 22)
        cut = min(self.day(1 - age), BOOK_DATE)
        started = across * down - r.randint(0, across - 1)
        alive = max(1, started - round(started * r.uniform(0, 0.012) * age))
        strain = next(s for s in self.strains if s.strain == colony.strain)
        year, week, _ = cut.isocalendar()
        stem = f"{strain.code}-{year % 100:02d}{week:02d}"
        codes[stem] += 1
        block = Block(top=0, left=column, across=min(across, alive), plugs=alive)
        lot = Lot(
            lot=f"{stem}{chr(96 + codes[stem])}", strain=colony.strain, colony=colony.colony, cut_date=cut, started=started,
            alive=alive, count_date=max(cut, BOOK_DATE - timedelta(days=r.randint(0, 20))), rack=rack.rack,
            blocks=(block.text(group.plug_rows, group.plug_cols),),
        )  # fmt: skip
        return lot, after

    # ---- trade ----------------------------------------------------------------------------------------------------

    def _trade(self) -> dict[str, Any]:
        r = self.random
        pieces = self.size * PIECES_A_WEEK
        channels = (
            Channel(channel="shipping", packing_days=("Mon", "Tue"), boxes_per_day=max(2, round(pieces / 14)), frags_per_box=10,
                    market=True),
            Channel(channel="collection", packing_days=("Sat",), boxes_per_day=max(2, round(pieces / 60)), frags_per_box=8),
        )  # fmt: skip
        closed = Closure(channel="shipping", from_date=date(2026, 12, 28), to_date=date(2027, 1, 3), reason="holidays")
        sizes: dict[str, list[SizeClass]] = {}
        for size in self.classes:
            sizes.setdefault(size.group, []).append(size)
        each = 4.3 * pieces / (2 * len(self.strains))
        market = [
            Market(strain=s.strain, size_class=size.size_class, quantity=round(each * r.uniform(0.4, 1.5)))
            for s in self.strains for size in sizes[s.group]
        ]  # fmt: skip
        for group in self.groups:
            total = sum(m.quantity for m in market if m.strain and self._group_of(m.strain) == group.group)
            market.append(Market(group=group.group, quantity=round(0.85 * total, 1)))
        return {
            "channels": channels, "ship_calendar": (closed,), "orders": tuple(self._orders(sizes)), "market": tuple(market),
            "supplies": self._supplies(),
        }  # fmt: skip

    def _group_of(self, strain: str) -> str:
        return self.strains[int(strain[1:]) - 1].group

    def _orders(self, sizes: dict[str, list[SizeClass]]) -> list[Order]:
        r = self.random
        found = []
        for i in range(self.size // 8):
            strain = r.choice(self.strains)
            size = r.choice(sizes[strain.group])
            found.append(
                Order(
                    order=f"{10001 + i}", channel=r.choice(("shipping", "shipping", "collection")), strain=strain.strain,
                    size_class=size.size_class, quantity=r.randint(3, 20), price=size.list_price, due=self.day(r.randint(1, self.weeks)),
                    late_ok=r.random() < 0.8, partial_ok=r.random() < 0.8,
                )
            )  # fmt: skip
        return found

    def _supplies(self) -> tuple[Supply, ...]:
        plugs = [
            Supply(item=f"plug {k}", per="piece", only_for=k, unit="each", quantity_per=1, unit_cost=Decimal("0.35"),
                   stock=100 * self.size)
            for k in ("small", "large")
        ]  # fmt: skip
        others = (("colony", "0.20"), ("session", "2.40"), ("frag packed", "0.28"), ("box", "4.60"))
        return (
            *plugs,
            *(Supply(item=f"{per} set", per=per, unit="each", quantity_per=1, unit_cost=Decimal(cost)) for per, cost in others),
        )


def _code(number: int) -> str:
    """A label code; any two differ in two signs or more, none of them like another (the last sign is a check sum)."""
    signs = "ACEFHJKPRTWX349015UM"
    digits = [number // len(signs) ** k % len(signs) for k in (2, 1, 0)]
    return "".join(signs[d] for d in (*digits, sum(digits) % len(signs)))


def free_positions(farm: Farm) -> dict[str, set[Position]]:
    """By rack: positions no lot holds."""
    free = {rack.rack: set(rack.open_positions) for rack in farm.racks}
    for lot in farm.lots:
        traits = farm.traits(lot.strain)
        for block in farm.lot_blocks(lot):
            free[lot.rack] -= set(block.positions(traits.plug_rows, traits.plug_cols))
    return free
