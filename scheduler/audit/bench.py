"""S1 at the bench, S2, S3 and S4 within sessions, S5."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from decimal import Decimal

from scheduler.audit.context import SECOND, Context
from scheduler.audit.flow import largest_flow, whole_seconds
from scheduler.audit.minutes import cutter_minutes, mounter_minutes
from scheduler.farm.people import MOUNT, TOXIC, BenchSession
from scheduler.farm.units import seconds
from scheduler.farm.work import bench_minutes, sessions_in
from scheduler.plan.model import Cut


def check_bench(ctx: Context) -> None:
    """Sessions of the near weeks, bench minutes of the later weeks, and fresh frags by system."""
    for week in ctx.weeks.near_weeks:
        for session in sessions_in(ctx.farm, week):
            cuts = [c for c in ctx.cuts_by_week[week] if c.session == session.id]
            if cuts:
                cuts.sort(key=lambda c: (c.run_order or 0, c.lot))
                _hours(ctx, session, cuts)
                _people(ctx, session, cuts)
                _water(ctx, session, cuts)
                _hazard(ctx, session, cuts)
    for week in ctx.weeks.later_weeks:
        _later(ctx, week)
    _fresh(ctx)


def _hours(ctx: Context, session: BenchSession, cuts: list[Cut]) -> None:
    changes = len({ctx.home_of(c.colony) for c in cuts}) - 1
    limit = bench_minutes(ctx.farm, session, changes)
    work: dict[str, Decimal] = defaultdict(Decimal)
    for cut in cuts:
        work[cut.cutter or ""] += cutter_minutes(ctx.farm, cut)
        work[cut.mounter or ""] += mounter_minutes(ctx, cut)
    for person, minutes in work.items():
        if float(minutes) > limit + SECOND:
            ctx.add(
                "S1", (session.id, person), f"{person} has {minutes:.2f} minutes of work in {session.id}; at most {limit:.2f}"
            )


def _people(ctx: Context, session: BenchSession, cuts: list[Cut]) -> None:
    for cut in cuts:
        method = ctx.farm.traits(cut.strain).method
        if method not in session.methods:
            offered = ", ".join(session.methods) or "no method"
            ctx.add("S2", (cut.lot, session.id), f"lot {cut.lot} needs {method}; {session.id} offers {offered}")
        for role, person, skill in (("cutter", cut.cutter or "", method), ("mounter", cut.mounter or "", MOUNT)):
            if person not in session.people:
                ctx.add("S2", (cut.lot, person), f"{person}, {role} of lot {cut.lot}, is not in {session.id}")
            if skill not in ctx.farm.person[person].skills:
                ctx.add("S2", (cut.lot, person), f"{person}, {role} of lot {cut.lot}, lacks the skill {skill}")


def _water(ctx: Context, session: BenchSession, cuts: list[Cut]) -> None:
    homes = [ctx.home_of(c.colony) for c in cuts]
    shut = [ctx.farm.in_quarantine(h, session.week) for h in homes]
    for order, times in Counter(c.run_order for c in cuts).items():
        if times > 1:
            ctx.add("S3", (session.id,), f"{session.id}: {times} cuts have place {order} in the order of work; 1 each")
    for i in range(1, len(cuts)):
        before, after = homes[i - 1], homes[i]
        if shut[i - 1] and not shut[i]:
            ctx.add("S3", (session.id, cuts[i].lot), f"{session.id}: {after} comes after {before}, which is in quarantine")
        ranks = ctx.farm.system[before].health_rank, ctx.farm.system[after].health_rank
        if not shut[i - 1] and not shut[i] and ranks[1] < ranks[0]:
            ctx.add(
                "S3",
                (session.id, cuts[i].lot),
                f"{session.id}: {after} (health rank {ranks[1]}) comes after {before} (rank {ranks[0]})",
            )
        if after != before and after in homes[:i]:
            ctx.add("S3", (session.id, cuts[i].lot), f"{session.id} goes back to {after} after {before}")
    quarantined = {h for h, s in zip(homes, shut, strict=True) if s}
    if len(quarantined) > 1:
        ctx.add("S3", (session.id,), f"{session.id} works {len(quarantined)} quarantined systems; at most 1")


def _hazard(ctx: Context, session: BenchSession, cuts: list[Cut]) -> None:
    shut = [ctx.farm.in_quarantine(ctx.home_of(c.colony), session.week) for c in cuts]
    toxic = [ctx.farm.traits(c.strain).toxic for c in cuts]
    for part in (False, True):
        members = [i for i in range(len(cuts)) if shut[i] == part]
        for i, j in itertools.pairwise(members):
            if toxic[i] and not toxic[j]:
                ctx.add(
                    "S4", (session.id, cuts[j].lot), f"{session.id}: lot {cuts[j].lot} is cut after the toxic lot {cuts[i].lot}"
                )
    for i, cut in enumerate(cuts):
        if not toxic[i]:
            continue
        if not shut[i] and any(shut):
            ctx.add("S4", (session.id, cut.lot), f"{session.id}: toxic lot {cut.lot} from a clean system, with quarantined work")
        for person in dict.fromkeys((cut.cutter or "", cut.mounter or "")):
            if TOXIC not in ctx.farm.person[person].skills:
                ctx.add("S4", (cut.lot, person), f"{person} works on toxic lot {cut.lot} without the skill {TOXIC}")


def _later(ctx: Context, week: int) -> None:
    cuts = ctx.cuts_by_week[week]
    if not cuts:
        return
    farm, sessions = ctx.farm, sessions_in(ctx.farm, week)
    offered: dict[str, float] = defaultdict(float)
    methods: dict[str, set[str]] = defaultdict(set)
    for session in sessions:
        for person in session.people:
            offered[person] += bench_minutes(farm, session)
            methods[person] |= set(session.methods)
    minutes: dict[str, Decimal] = defaultdict(Decimal)
    able: dict[str, frozenset[str]] = {}
    for cut in cuts:
        traits = farm.traits(cut.strain)
        jobs = (
            ("cutting", traits.method, cutter_minutes(farm, cut)),
            ("mounting", MOUNT, mounter_minutes(ctx, cut)),
        )
        for job, skill, work in jobs:
            kind = f"{job} {skill}{' toxic' if traits.toxic else ''}"
            minutes[kind] += work
            able[kind] = frozenset(
                p for p in offered
                if skill in farm.person[p].skills
                and (not traits.toxic or TOXIC in farm.person[p].skills)
                and (job == "mounting" or skill in methods[p])
            )  # fmt: skip
    demand = {k: seconds(m) for k, m in minutes.items()}
    done = largest_flow(demand, {p: whole_seconds(m) for p, m in offered.items()}, able)
    if sum(demand.values()) - done > 1:
        ctx.add(
            "S1", (f"week {week}",), f"week {week}: bench work of {sum(demand.values()) / 60:.2f} minutes; people with "
            f"the skills can do {done / 60:.2f}",
        )  # fmt: skip


def _fresh(ctx: Context) -> None:
    fresh: dict[tuple[str, int], int] = defaultdict(int)
    for lot in ctx.new_lots:
        if lot.stands[0].pieces != lot.pieces:
            ctx.add(
                "S5",
                (lot.id,),
                f"lot {lot.id} has {lot.pieces} pieces; {lot.stands[0].pieces} get a place in the week of the cut",
            )
        fresh[ctx.system_of(lot.stands[0]), lot.cut_week] += lot.pieces
    for (system, week), pieces in fresh.items():
        most = ctx.farm.system[system].max_fresh
        if pieces > most:
            ctx.add("S5", (system, f"week {week}"), f"{system} takes {pieces} new frags in week {week}; at most {most}")
