"""The near-weeks model: one private method per rule, one small container of variables."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

from ortools.sat.python import cp_model

from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.farm.hours import cut_kind, mount_kind
from scheduler.farm.pins import pin_covers
from scheduler.farm.units import cents, seconds
from scheduler.farm.work import bench_minutes, sessions_in
from scheduler.week.floor import Floor, Section
from scheduler.week.options import NearWorth, Option, capable

MOST_PIECES = 60
"""Most pieces of one cut the model considers; more would take a bench to itself."""


@dataclass(frozen=True)
class Limits:
    """What the rest of the farm leaves to new frags: whole positions by system and week, and by zone in later weeks."""

    system: Mapping[tuple[str, int], int]
    zone: Mapping[str, int]
    cap: Mapping[tuple[str, int, Section], int] = field(default_factory=dict)
    """Most pieces of a colony's cut in a week that a section has proved to hold."""


@dataclass
class Variables:
    """Variables by option (index in the list of options)."""

    cut: dict[int, cp_model.IntVar] = field(default_factory=dict)
    take: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    pieces: dict[int, cp_model.IntVar] = field(default_factory=dict)
    at: dict[tuple[int, str], cp_model.IntVar] = field(default_factory=dict)
    cuts: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    cut_pieces: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    mounts: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    mount_pieces: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    stands: dict[tuple[int, Section], cp_model.IntVar] = field(default_factory=dict)
    plugs: dict[tuple[int, Section], cp_model.IntVar] = field(default_factory=dict)
    works: dict[tuple[str, str], cp_model.IntVar] = field(default_factory=dict)
    changes: dict[str, cp_model.IntVar] = field(default_factory=dict)
    used: dict[str, cp_model.IntVar] = field(default_factory=dict)


class NearModel:
    """Builds the model of the near weeks. ``pins`` are the ids of pins that must hold."""

    def __init__(
        self, farm: Farm, floor: Floor, options: Sequence[Option], worth: NearWorth, limits: Limits, pins: Collection[str],
        *, with_objective: bool = True,
    ) -> None:  # fmt: skip
        self.farm, self.floor, self.options, self.worth, self.limits = farm, floor, tuple(options), worth, limits
        self.pins = [p for p in farm.pins if p.pin in pins]
        self.model = cp_model.CpModel()
        self.v = Variables()
        self.sessions = {s.id: s for w in farm.weeks.near_weeks for s in sessions_in(farm, w)}
        self._variables()
        self._once()
        self._people()
        self._hours()
        self._water()
        self._hazard()
        self._fresh()
        self._positions()
        self._company()
        self._pinned()
        if with_objective:
            self._objective()
            self._start_from_nothing()

    # ---- variables ------------------------------------------------------------------------------------------------

    def _variables(self) -> None:
        m, v = self.model, self.v
        for i, o in enumerate(self.options):
            traits = self.farm.traits(o.colony.strain)
            most = min(o.most, MOST_PIECES)
            v.cut[i] = m.new_bool_var(f"cut {i}")
            v.pieces[i] = m.new_int_var(0, most, f"pieces {i}")
            for n in range(traits.min_pieces, most + 1):
                v.take[i, n] = m.new_bool_var(f"take {i} {n}")
            m.add(sum(v.take[i, n] for n in range(traits.min_pieces, most + 1)) == v.cut[i])
            m.add(sum(n * v.take[i, n] for n in range(traits.min_pieces, most + 1)) == v.pieces[i])
            for s in o.sessions:
                v.at[i, s.id] = m.new_bool_var(f"at {i} {s.id}")
            m.add_exactly_one([*(v.at[i, s.id] for s in o.sessions), v.cut[i].negated()])
            for section, positions in o.places.items():
                room = len(positions) // (traits.plug_rows * traits.plug_cols)
                room = min(room, most, self.limits.cap.get((o.colony.colony, o.week, section), most))
                v.stands[i, section] = m.new_bool_var(f"stands {i} {section}")
                v.plugs[i, section] = m.new_int_var(0, max(0, room), f"plugs {i} {section}")
                m.add(v.plugs[i, section] <= max(0, room) * v.stands[i, section])
            m.add(sum(v.stands[i, section] for section in o.places) == v.cut[i])
            m.add(sum(v.plugs[i, section] for section in o.places) == v.pieces[i])

    def _once(self) -> None:
        """C1: two cuts of a colony in the near weeks lie at least its rest apart."""
        for a, b in product(range(len(self.options)), repeat=2):
            one, two = self.options[a], self.options[b]
            if one.colony == two.colony and one.week < two.week < one.week + self.farm.traits(one.colony.strain).rest_weeks:
                self.model.add_at_most_one(self.v.cut[a], self.v.cut[b])
            elif one.colony == two.colony and one.week < two.week:
                self.model.add_at_most_one(self.v.cut[a], self.v.cut[b])  # size after the first cut is not modelled here

    def _people(self) -> None:
        """S2: one cutter and one mounter, present and able, for each cut."""
        m, v = self.model, self.v
        for i, o in enumerate(self.options):
            most = min(o.most, MOST_PIECES)
            for s in o.sessions:
                for role, count, kind in (
                    (v.cuts, v.cut_pieces, cut_kind(self.farm, o.colony.strain)),
                    (v.mounts, v.mount_pieces, mount_kind(self.farm, o.colony.strain)),
                ):
                    able = capable(self.farm, s, kind)
                    for p in able:
                        role[i, s.id, p] = m.new_bool_var("")
                        count[i, s.id, p] = m.new_int_var(0, most, "")
                        m.add(count[i, s.id, p] <= most * role[i, s.id, p])
                    m.add(sum(role[i, s.id, p] for p in able) == v.at[i, s.id])
            for count in (v.cut_pieces, v.mount_pieces):
                m.add(sum(n for (j, _, _), n in count.items() if j == i) == v.pieces[i])

    # ---- sessions -------------------------------------------------------------------------------------------------

    def _hours(self) -> None:
        """S1: bench work of a person fits the clock left after set-up, clean-down and changes of water."""
        s = self.farm.settings
        m, v = self.model, self.v
        loads: dict[tuple[str, str], list[cp_model.LinearExpr]] = {}
        for (i, sid, p), role in v.cuts.items():
            o = self.options[i]
            traits = self.farm.traits(o.colony.strain)
            factor = s.on_rock_factor if o.colony.on_rock else 1.0
            once, each = seconds(traits.minutes_colony * factor), seconds(traits.minutes_cut * factor)
            loads.setdefault((sid, p), []).append(once * role + each * v.cut_pieces[i, sid, p])
        for (i, sid, p), n in v.mount_pieces.items():
            traits = self.farm.traits(self.options[i].colony.strain)
            loads.setdefault((sid, p), []).append(seconds(traits.minutes_mount + s.label_minutes) * n)
        change = seconds(s.changeover_minutes * s.bench_fill)
        for sid, session in self.sessions.items():
            v.changes[sid] = m.new_int_var(0, max(0, len(self.farm.systems) - 1), f"changes {sid}")
            for p in session.people:
                if (sid, p) in loads:
                    clock = math.floor(bench_minutes(self.farm, session) * 60)
                    m.add(sum(loads[sid, p]) + change * v.changes[sid] <= clock)

    def _cuts_at(self, sid: str, *, system: str | None = None, toxic: bool | None = None) -> list[cp_model.IntVar]:
        found = []
        for (i, at), var in self.v.at.items():
            colony = self.options[i].colony
            if at != sid or (system is not None and self.farm.system_of_tank(colony.tank) != system):
                continue
            if toxic is None or self.farm.traits(colony.strain).toxic == toxic:
                found.append(var)
        return found

    def _any(self, literals: list[cp_model.IntVar], name: str) -> cp_model.IntVar | None:
        """A Boolean that is true exactly if one of the literals is; ``None`` for no literals."""
        if not literals:
            return None
        var = self.model.new_bool_var(name)
        self.model.add_max_equality(var, literals)
        return var

    def _water(self) -> None:
        """S3: changes of water system are counted; at most one quarantined system a session."""
        m, v = self.model, self.v
        for sid, session in self.sessions.items():
            used = {}
            for system in self.farm.system:
                here = self._any(self._cuts_at(sid, system=system), f"works {sid} {system}")
                if here is not None:
                    used[system] = v.works[sid, system] = here
            if not used:
                m.add(v.changes[sid] == 0)
                continue
            m.add(v.changes[sid] >= sum(used.values()) - 1)
            quarantined = [var for name, var in used.items() if self.farm.in_quarantine(name, session.week)]
            if len(quarantined) > 1:
                m.add_at_most_one(quarantined)

    def _hazard(self) -> None:
        """S4: after a toxic cut only toxic ones within the clean part; none from clean water beside quarantined work."""
        for sid, session in self.sessions.items():
            clean = [s for s in self.farm.systems if not self.farm.in_quarantine(s.system, session.week)]
            shut = [self.v.works[sid, s.system] for s in self.farm.systems if s not in clean and (sid, s.system) in self.v.works]
            for first in clean:
                toxic = self._any(self._cuts_at(sid, system=first.system, toxic=True), "")
                if toxic is None:
                    continue
                for quarantined in shut:
                    self.model.add_at_most_one(toxic, quarantined)
                for later in clean:
                    plain = self._any(self._cuts_at(sid, system=later.system, toxic=False), "")
                    if plain is not None and later.health_rank > first.health_rank:
                        self.model.add_at_most_one(toxic, plain)
            for one, two in combinations(clean, 2):
                if one.health_rank == two.health_rank:  # either could come first, but not both last
                    kinds = [
                        self._any(self._cuts_at(sid, system=s.system, toxic=t), "") for s in (one, two) for t in (False, True)
                    ]
                    known = [k for k in kinds if k is not None]
                    if len(known) == len(kinds):
                        self.model.add(sum(known) <= 3)

    # ---- space ----------------------------------------------------------------------------------------------------

    def _fresh(self) -> None:
        """S5: new frags mounted into a system in a week."""
        table = zones(self.farm)
        for system, week in product(self.farm.systems, self.farm.weeks.near_weeks):
            new = [
                n
                for (i, sec), n in self.v.plugs.items()
                if self.options[i].week == week and table[sec.zone].system == system.system
            ]
            if new:
                self.model.add(sum(new) <= system.max_fresh)

    def _area(self, i: int) -> int:
        traits = self.farm.traits(self.options[i].colony.strain)
        return traits.plug_rows * traits.plug_cols

    def _positions(self) -> None:
        """L1, L9: positions of racks, systems and zones; the exact places are found afterwards."""
        table = zones(self.farm)
        weeks = self.farm.weeks.near_weeks
        for rack, week in product(self.farm.rack, weeks):
            held = [
                self._area(i) * n for (i, sec), n in self.v.plugs.items() if sec.rack == rack and self.options[i].week <= week
            ]
            if held:
                self.model.add(sum(held) <= len(self.floor.free(rack, week)))
        for section in {sec for _, sec in self.v.plugs}:
            union = {p for o in self.options for p in o.places.get(section, ())}
            held = [self._area(i) * n for (i, sec), n in self.v.plugs.items() if sec == section]
            self.model.add(sum(held) <= len(union))
        for (system, week), room in self.limits.system.items():
            held = [
                self._area(i) * n
                for (i, sec), n in self.v.plugs.items()
                if table[sec.zone].system == system and self.options[i].week <= week
            ]
            if held:
                self.model.add(sum(held) <= max(0, room))
        for zone, room in self.limits.zone.items():
            held = [self._area(i) * n for (i, sec), n in self.v.plugs.items() if sec.zone == zone]
            if held:
                self.model.add(sum(held) <= max(0, room))

    def _company(self) -> None:
        """L7: new lots of groups kept apart do not meet in a tank or system."""
        table = zones(self.farm)
        for scope in ("tank", "system"):
            here: dict[tuple[str, tuple[str, str]], list[cp_model.IntVar]] = {}
            for (i, sec), var in self.v.stands.items():
                zone = table[sec.zone]
                place = zone.tank if scope == "tank" else zone.system
                strain = self.options[i].colony.strain
                here.setdefault((place, (self.farm.strain[strain].group, strain)), []).append(var)
            for (a, one), (b, two) in product(here, repeat=2):
                if a == b and one[1] < two[1] and self.farm.apart(one[0], two[0]) == scope:
                    first, second = self._any(here[a, one], ""), self._any(here[b, two], "")
                    if first is not None and second is not None:
                        self.model.add_at_most_one(first, second)

    # ---- pins -----------------------------------------------------------------------------------------------------

    def _pinned(self) -> None:
        """P1: pins on colonies (keep-free pins have taken their places from the options already)."""
        m, v = self.model, self.v
        for pin in self.pins:
            mine = [i for i, o in enumerate(self.options) if o.colony.colony == pin.colony and pin_covers(self.farm, pin, o.week)]
            cuts = [v.cut[i] for i in mine]
            pieces = sum(v.pieces[i] for i in mine)
            if pin.kind == "cut":
                m.add(sum(cuts) >= 1)
            elif pin.kind == "no cut":
                m.add(sum(cuts) == 0)
            elif pin.kind == "at least":
                m.add(pieces >= (pin.pieces or 0))
            elif pin.kind == "at most":
                m.add(pieces <= (pin.pieces or 0))
            elif pin.kind == "session":
                for (i, sid), var in v.at.items():
                    if i in mine and sid != pin.session:
                        m.add(var == 0)
            elif pin.kind == "rack":
                for (i, section), var in v.stands.items():
                    if i in mine and section.rack != pin.rack:
                        m.add(var == 0)

    # ---- value ----------------------------------------------------------------------------------------------------

    def _objective(self) -> None:
        """Pieces at their worth (less beyond what sells at list), less waiting, work, sessions and poor light."""
        s = self.farm.settings
        wage = float(s.wage_per_hour) / 60
        terms: list[cp_model.LinearExpr] = []
        for strain in dict.fromkeys(o.colony.strain for o in self.options):
            mine = [i for i, o in enumerate(self.options) if o.colony.strain == strain]
            worth = {i: self.worth.piece(strain, self.options[i].week, self.options[i].colony.par_umol) for i in mine}
            beyond = {
                i: self.worth.piece(strain, self.options[i].week, self.options[i].colony.par_umol, discount=True) for i in mine
            }
            total = sum(self.options[i].most for i in mine)
            room = self.worth.list_room(strain, self.options[mine[0]].week)
            loss = max(0, cents(max(worth[i] - beyond[i] for i in mine)))
            over = self.model.new_int_var(0, total, f"beyond {strain}")
            self.model.add(over >= sum(self.v.pieces[i] for i in mine) - room)
            terms.append(-loss * over)
            listed = min(1.0, room / total) if total else 1.0
            for i in mine:
                o = self.options[i]
                mean = listed * worth[i] + (1 - listed) * beyond[i]
                terms.append(cents(worth[i]) * self.v.pieces[i])
                for (j, n), var in self.v.take.items():
                    if j == i:
                        cost = self.worth.waiting(o.colony, o.week, n) * max(0.0, mean) + self.worth.colony_cost(o.colony)
                        terms.append(-cents(cost) * var)
        for sid in self.sessions:
            used = self._any(self._cuts_at(sid), f"used {sid}")
            if used is not None:
                self.v.used[sid] = used
                terms.append(-cents(s.session_minutes * wage) * used)
                terms.append(-cents(s.changeover_minutes * wage) * self.v.changes[sid])
        table = zones(self.farm)
        for (i, section), var in self.v.stands.items():
            par = self.options[i].colony.par_umol
            terms.append(-round(100 * abs(table[section.zone].par_in(self.options[i].week) - par) / par) * var)
        self.model.maximize(sum(terms))

    def _start_from_nothing(self) -> None:
        """Cutting nothing keeps every rule but pins: the search begins there, so that a plan is at hand from the start."""
        for index in range(len(self.model.proto.variables)):
            self.model.add_hint(self.model.get_int_var_from_proto_index(index), 0)

    def fewest_pieces(self) -> None:
        """Ask for as few pieces as the pins allow, instead of the most value."""
        self.model.minimize(sum(self.v.pieces.values()))

    def freeze(self, option: int, pieces: int, session: str, section: Section) -> None:
        """Keep a cut that has found its places: same pieces, session and section; people stay free."""
        self.model.add(self.v.pieces[option] == pieces)
        self.model.add(self.v.at[option, session] == 1)
        self.model.add(self.v.stands[option, section] == 1)
