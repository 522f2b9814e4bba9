"""What lies ready before a session: plugs and labels, dips, rinses, putty, supplies. Pure functions of a farm and its plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import ceil

from scheduler.bench.dose import IODINE, NO_DIP, Dose, dose_of
from scheduler.farm.codes import label_codes
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.standard import labels_of, standard
from scheduler.farm.units import exact
from scheduler.farm.work import condition_days, plugs_ready, sessions_in
from scheduler.plan.model import BenchTask, Cut, Plan


@dataclass(frozen=True)
class Label:
    """What is written for a lot: ``code`` on so many plugs or on the tags of its blocks, the lot's own code on its tag.

    ``proposed``: the book has no code for the strain yet.
    """

    lot: str
    code: str
    strain: str
    plug_kind: str
    pieces: int
    labels: int
    blocks: int
    proposed: bool = False


@dataclass(frozen=True)
class PlugSet:
    """Plugs of one kind for a session: from when they soak at the latest, or since when they must have stood in water."""

    plug_kind: str
    plugs: int
    soak_from: datetime
    soak_until: datetime
    condition_days: int
    in_water_by: date | None
    ready: int | None


@dataclass(frozen=True)
class Bath:
    """The dip of one water system in a session: its dose per bath, how often it is mixed, minutes for frags and mothers."""

    system: str
    dose: Dose
    baths: int
    mixes: int
    pieces: int
    frags: tuple[float, float]
    mothers: tuple[float, float] | None

    @property
    def stock(self) -> Decimal | None:
        """Stock or substance for all baths and mixes, in the unit of the dose."""
        return None if self.dose.amount is None else self.dose.amount * self.baths * self.mixes


@dataclass(frozen=True)
class Draw:
    """What a session takes of a supply, and the stock before and after, all earlier sessions of the plan counted."""

    item: str
    unit: str
    need: Decimal
    before: Decimal

    @property
    def after(self) -> Decimal:
        """Stock left; below 0 where it does not suffice."""
        return self.before - self.need


@dataclass(frozen=True)
class Preparation:
    """Everything to lay out for one session."""

    session: BenchSession
    labels: tuple[Label, ...]
    label_minutes: Decimal
    plugs: tuple[PlugSet, ...]
    baths: tuple[Bath, ...]
    rinses: int
    kneadings: int
    draws: tuple[Draw, ...]
    methods: tuple[str, ...]
    toxic: tuple[str, ...]


def preparation(farm: Farm, plan: Plan, session: BenchSession) -> Preparation:
    """What to prepare for a session of the near weeks."""
    cuts = sorted((c for c in plan.cuts if c.session == session.id), key=lambda c: (c.run_order or 0, c.lot))
    tasks = [t for t in plan.bench if t.session == session.id]
    labels = tuple(_label(farm, plan, c) for c in cuts)
    minutes = sum((standard(farm, c.strain, False).label * x.labels for c, x in zip(cuts, labels, strict=True)), Decimal(0))
    baths = _baths(farm, cuts, tasks)
    return Preparation(
        session=session,
        labels=labels,
        label_minutes=minutes,
        plugs=_plugs(farm, session, cuts, tasks),
        baths=baths,
        rinses=len({farm.system_of_tank(farm.colony[c.colony].tank) for c in cuts if _rinsed(farm, c)}),
        kneadings=_kneadings(farm, cuts, tasks),
        draws=_draws(farm, plan, session),
        methods=tuple(dict.fromkeys(farm.traits(c.strain).method for c in cuts)),
        toxic=tuple(c.colony for c in cuts if farm.traits(c.strain).toxic),
    )


def _label(farm: Farm, plan: Plan, cut: Cut) -> Label:
    blocks = max(1, len(next((s.blocks for s in plan.stands if s.lot == cut.lot and s.week == cut.week), ())))
    strain = farm.strain[cut.strain]
    kind = farm.traits(cut.strain).plug_kind
    return Label(
        cut.lot, label_codes(farm)[cut.strain], strain.name, kind, cut.pieces, labels_of(farm, cut.pieces, blocks), blocks,
        proposed=not strain.code,
    )  # fmt: skip


def _rinsed(farm: Farm, cut: Cut) -> bool:
    return any(row.step == "rinse" for row in farm.route(farm.strain[cut.strain].group))


def _plugs(farm: Farm, session: BenchSession, cuts: Sequence[Cut], tasks: Sequence[BenchTask]) -> tuple[PlugSet, ...]:
    """Plugs by kind; they soak before the first of them is mounted, or before the session where no clock is known."""
    s = farm.settings
    begin = datetime.combine(session.day, session.start)
    found = []
    for kind in dict.fromkeys(farm.traits(c.strain).plug_kind for c in cuts):
        lots = {c.lot: c.pieces for c in cuts if farm.traits(c.strain).plug_kind == kind}
        until = min((t.start for t in tasks if t.lot in lots and "mount" in t.steps), default=begin)
        days = condition_days(farm, kind)
        found.append(
            PlugSet(
                plug_kind=kind, plugs=sum(lots.values()), soak_from=until - timedelta(minutes=s.soak_minutes), soak_until=until,
                condition_days=days, in_water_by=session.day - timedelta(days=days) if days else None,
                ready=plugs_ready(farm, kind, session.day) if days else None,
            )
        )  # fmt: skip
    return tuple(found)


def _baths(farm: Farm, cuts: Sequence[Cut], tasks: Sequence[BenchTask]) -> tuple[Bath, ...]:
    """Dips by water system, in the order they are needed. Baths: as many as are in use at once by the clock, else all."""
    s = farm.settings
    by_dip: dict[tuple[str, str], list[Cut]] = {}
    for cut in cuts:
        traits = farm.traits(cut.strain)
        dipped = any(row.step == "dip" for row in farm.route(farm.strain[cut.strain].group))
        if dipped and traits.dip != NO_DIP and traits.dip_minutes_frags > 0:
            by_dip.setdefault((farm.system_of_tank(farm.colony[cut.colony].tank), traits.dip), []).append(cut)
    found = []
    for (system, dip), mine in by_dip.items():
        rows = [farm.traits(c.strain) for c in mine]
        dips = {t.lot: t for t in tasks if t.steps == ("dip",)}
        stays = [dips[c.lot] for c in mine if c.lot in dips]
        held = {c.lot: min(s.baths, ceil(c.pieces / s.bath_pieces)) for c in mine}
        most = max((sum(held[str(b.lot)] for b in stays if b.start <= a.start < b.end) for a in stays), default=s.baths)
        pieces = sum(c.pieces for c in mine)
        mixes = max((t.mix or 1 for t in stays), default=max(1, ceil(pieces / s.mix_pieces)))
        mothers = [
            (t.dip_minutes_mother, t.dip_minutes_mother + t.dip_slack_mother)
            for c, t in zip(mine, rows, strict=True) if t.dip_minutes_mother and not farm.colony[c.colony].on_rock
        ]  # fmt: skip
        found.append(
            Bath(
                system=system, dose=dose_of(farm, dip), baths=most, mixes=mixes, pieces=pieces,
                frags=(min(t.dip_minutes_frags for t in rows), max(t.dip_minutes_frags + t.dip_slack_frags for t in rows)),
                mothers=(min(a for a, _ in mothers), max(b for _, b in mothers)) if mothers else None,
            )
        )  # fmt: skip
    return tuple(found)


def _kneadings(farm: Farm, cuts: Sequence[Cut], tasks: Sequence[BenchTask]) -> int:
    planned = {t.kneading for t in tasks if t.kneading is not None}
    if tasks:
        return len(planned)
    putty = [c.pieces for c in cuts if farm.traits(c.strain).uses_putty]
    return sum(ceil(pieces / farm.settings.kneading_pieces) for pieces in putty)


def _draws(farm: Farm, plan: Plan, session: BenchSession) -> tuple[Draw, ...]:
    """What the session takes of each supply used at the bench."""
    earlier: list[str] = []
    for other in (s for week in farm.weeks.near_weeks for s in sessions_in(farm, week)):
        if other.id == session.id:
            break
        earlier.append(other.id)
    now, before = _used(farm, plan, {session.id}), _used(farm, plan, set(earlier))
    return tuple(Draw(s.item, s.unit, now[s.item], exact(s.stock) - before[s.item]) for s in farm.supplies if now[s.item] > 0)


def _used(farm: Farm, plan: Plan, sessions: set[str]) -> dict[str, Decimal]:
    used: dict[str, Decimal] = {}
    cuts = [c for c in plan.cuts if c.session in sessions]
    for item in farm.supplies:
        mine = [c for c in cuts if item.only_for in (None, farm.traits(c.strain).plug_kind, farm.strain[c.strain].group)]
        by_group = [c for c in cuts if item.only_for in (None, farm.strain[c.strain].group)]
        count = {
            "piece": sum(c.pieces for c in mine), "colony": len(by_group), "session": len({c.session for c in cuts}),
        }.get(item.per, 0)  # fmt: skip
        used[item.item] = exact(item.quantity_per) * count
    return used


@dataclass(frozen=True)
class IntoWater:
    """Plugs of a kind that go into water by a day, to be used from another on."""

    plug_kind: str
    plugs: int
    by: date
    used_from: date
    overdue: bool


def into_water(farm: Farm, plan: Plan) -> tuple[IntoWater, ...]:
    """Kinds that have to stand in water first: what goes in by when, for all cuts planned, less what stands in water now.

    Later weeks count from their Monday. ``overdue``: the day lies before week 1.
    """
    days = {s.id: s.day for week in farm.weeks.near_weeks for s in sessions_in(farm, week)}
    found = []
    for kind in dict.fromkeys(row.plug_kind for row in farm.plugs if row.condition_days):
        left = sum(row.in_water for row in farm.plugs if row.plug_kind == kind)
        wait = timedelta(days=condition_days(farm, kind))
        need: Counter[date] = Counter()
        for cut in plan.cuts:
            if farm.traits(cut.strain).plug_kind == kind:
                need[days.get(cut.session or "", farm.weeks.monday(cut.week))] += cut.pieces
        for day in sorted(need):
            missing = max(0, need[day] - left)
            left = max(0, left - need[day])
            if missing:
                found.append(IntoWater(kind, missing, day - wait, day, day - wait < farm.weeks.monday(1)))
    return tuple(sorted(found, key=lambda w: (w.by, w.plug_kind)))


def iodine_in(prep: Preparation) -> bool:
    """Whether iodine is on the table."""
    return any(b.dose.dip == IODINE for b in prep.baths)
