"""Tables of bench work: cuts, sessions, stand-by colonies, and the colonies not cut."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.standard import standard
from scheduler.farm.units import exact
from scheduler.farm.work import bench_minutes, session_end, sessions_in
from scheduler.plan.model import Cut, Plan, Stand
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value


@dataclass(frozen=True)
class SessionView:
    """A bench session of the near weeks with its cuts in order of work.

    ``systems``: water systems in the order they are worked. ``work``: minutes of bench work by person. ``offered``: the
    minutes each person present can be planned for.
    """

    session: BenchSession
    cuts: tuple[Cut, ...]
    systems: tuple[str, ...]
    work: dict[str, Decimal]
    offered: Decimal

    @property
    def pieces(self) -> int:
        """Pieces cut in the session."""
        return sum(c.pieces for c in self.cuts)

    @property
    def changes(self) -> int:
        """Changes from one water system to the next."""
        return max(0, len(self.systems) - 1)

    @property
    def clock(self) -> str:
        """Start and end by the clock."""
        return f"{self.session.start:%H:%M}-{session_end(self.session):%H:%M}"


def cutting_minutes(farm: Farm, cut: Cut) -> Decimal:
    """S1: minutes of the cutter for one cut."""
    return standard(farm, cut.strain, farm.colony[cut.colony].on_rock).cutter(cut.pieces)


def mounting_minutes(farm: Farm, cut: Cut, blocks: int) -> Decimal:
    """S1: minutes of the mounter for one cut whose lot stands in so many blocks."""
    return standard(farm, cut.strain, False).mounter(cut.pieces, blocks)


def session_views(farm: Farm, plan: Plan) -> tuple[SessionView, ...]:
    """The sessions of the near weeks that have cuts, in order of time."""
    by_session: dict[str, list[Cut]] = {}
    blocks = {s.lot: len(s.blocks) for s in sorted(plan.stands, key=lambda s: -s.week)}
    for cut in plan.cuts:
        if cut.session is not None:
            by_session.setdefault(cut.session, []).append(cut)
    found = []
    for week in farm.weeks.near_weeks:
        for session in sessions_in(farm, week):
            cuts = sorted(by_session.get(session.id, ()), key=lambda c: (c.run_order or 0, c.lot))
            if not cuts:
                continue
            systems = tuple(dict.fromkeys(farm.system_of_tank(farm.colony[c.colony].tank) for c in cuts))
            work: dict[str, Decimal] = dict.fromkeys(session.people, Decimal(0))
            for cut in cuts:
                if cut.cutter:
                    work[cut.cutter] = work.get(cut.cutter, Decimal(0)) + cutting_minutes(farm, cut)
                if cut.mounter:
                    work[cut.mounter] = work.get(cut.mounter, Decimal(0)) + mounting_minutes(farm, cut, blocks.get(cut.lot, 1))
            offered = exact(round(bench_minutes(farm, session, max(0, len(systems) - 1)), 6))
            found.append(SessionView(session, tuple(cuts), systems, work, offered))
    return tuple(found)


def colony_place(farm: Farm, colony: str) -> str:
    """Where in its tank a mother stands: its place, and its rack and positions where it has any."""
    c = farm.colony[colony]
    return ", ".join(x for x in (c.place, f"{c.rack} {c.positions}" if c.rack and c.positions else "") if x)


def blocks_text(stand: Stand, traits: Traits) -> str:
    """The blocks a lot stands in, as they are written in the farm book."""
    return "; ".join(b.text(traits.plug_rows, traits.plug_cols) for b in stand.blocks)


def cuts_table(view: PlanView) -> Table:
    """Every cut of the plan with its colony, people and first place."""
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    for cut in sorted(view.plan.cuts, key=lambda c: (c.week, _session_order(farm, c), c.run_order or 0, c.lot)):
        colony, strain, traits = farm.colony[cut.colony], farm.strain[cut.strain], farm.traits(cut.strain)
        stand = view.lots[cut.lot].stands[0]
        rows.append(
            (cut.week, farm.weeks.label(cut.week), cut.session, cut.run_order, cut.lot, cut.colony, cut.strain, strain.name,
             strain.group, farm.system_of_tank(colony.tank), colony.tank, colony.place, colony.on_rock, colony.par_umol,
             traits.method, traits.toxic, cut.cutter, cut.mounter, cut.pieces, traits.plug_kind, traits.dip,
             traits.dip_minutes_frags, traits.dip_minutes_mother, stand.zone, stand.rack, blocks_text(stand, traits))
        )  # fmt: skip
    columns = (
        "week", "iso_week", "session", "run_order", "lot", "colony", "strain", "name", "group", "system", "tank", "place",
        "on_rock", "par_umol", "method", "toxic", "cutter", "mounter", "pieces", "plug_kind", "dip", "dip_minutes_frags",
        "dip_minutes_mother", "to_zone", "to_rack", "to_blocks",
    )  # fmt: skip
    return Table("cuts", columns, tuple(rows))


def _session_order(farm: Farm, cut: Cut) -> int:
    if cut.session is None:
        return 0
    return next((i for i, s in enumerate(sessions_in(farm, cut.week), 1) if s.id == cut.session), 0)


def sessions_table(views: tuple[SessionView, ...]) -> Table:
    """One row per session of the near weeks with cuts and person present."""
    rows: list[tuple[Value, ...]] = []
    for v in views:
        s = v.session
        for person, minutes in v.work.items():
            rows.append(
                (s.week, s.id, s.day, s.start, exact(s.minutes), v.changes, len(v.cuts), v.pieces, person, minutes, v.offered)
            )
    columns = (
        "week", "session", "day", "start", "minutes", "changeovers", "cuts", "pieces", "person", "work_minutes", "bench_minutes",
    )  # fmt: skip
    return Table("sessions", columns, tuple(rows))


def stand_by_table(farm: Farm, plan: Plan) -> Table:
    """Stand-by colonies by session."""
    rows: list[tuple[Value, ...]] = []
    for s in plan.stand_by:
        colony = farm.colony[s.colony]
        rows.append((s.session, s.colony, farm.strain[colony.strain].name, colony.tank, colony.place, s.pieces))
    return Table("stand_by", ("session", "colony", "name", "tank", "place", "most_pieces"), tuple(rows))


def held_table(farm: Farm, plan: Plan) -> Table:
    """Colonies not cut in the near weeks and what held each back."""
    rows: list[tuple[Value, ...]] = []
    for h in plan.held:
        strain = farm.colony[h.colony].strain
        ready = farm.weeks.monday(h.ready_week) if h.ready_week is not None else None
        rows.append((h.colony, strain, farm.strain[strain].name, h.reason, h.detail, h.ready_week, ready, h.at_stake))
    columns = ("colony", "strain", "name", "reason", "detail", "ready_week", "ready_monday", "at_stake")
    return Table("not_cut", columns, tuple(rows))
