"""At the bench and outside sessions: people, hours, order of waters, toxic corals, boxes."""

from __future__ import annotations

import math
from itertools import combinations

from ortools.sat.python import cp_model

from scheduler.farm.hours import Kind, cut_kind, mount_kind
from scheduler.farm.standard import standard
from scheduler.farm.units import seconds
from scheduler.farm.work import plugs_ready
from scheduler.week.draft import Draft
from scheduler.week.options import capable
from scheduler.week.releases import work_of, work_of_move


def cuts(d: Draft) -> None:
    """C4: whole pieces, from the fewest to the most a colony gives, in one session of the week."""
    m, v = d.model, d.v
    for i, o in enumerate(d.options):
        counts = range(d.farm.traits(o.strain).min_pieces, d.most(i) + 1)
        v.cut[i] = m.new_bool_var(f"cut {i}")
        v.pieces[i] = m.new_int_var(0, d.most(i), f"pieces {i}")
        v.take |= {(i, n): m.new_bool_var(f"take {i} {n}") for n in counts}
        m.add(sum(v.take[i, n] for n in counts) == v.cut[i])
        m.add(sum(n * v.take[i, n] for n in counts) == v.pieces[i])
        v.at |= {(i, s.id): m.new_bool_var(f"at {i} {s.id}") for s in o.sessions}
        m.add_exactly_one([*(v.at[i, s.id] for s in o.sessions), v.cut[i].negated()])
    n = len(d.options)
    v.moves |= {n + j: m.new_bool_var(f"move {move.lot} {move.week}") for j, move in enumerate(d.moves)}
    v.leaves |= {k: m.new_bool_var(f"leaves {s.lot} {s.week} {s.pieces}") for k, s in enumerate(d.sales)}


def people(d: Draft) -> None:
    """S2: one cutter and one mounter, present and able, for each cut."""
    m, v = d.model, d.v
    if d.together:
        return
    for i, o in enumerate(d.options):
        parts: tuple[list[cp_model.IntVar], list[cp_model.IntVar]] = ([], [])
        for s in o.sessions:
            for part, role, count, kind in (
                (parts[0], v.cuts, v.cut_pieces, cut_kind(d.farm, o.strain)),
                (parts[1], v.mounts, v.mount_pieces, mount_kind(d.farm, o.strain)),
            ):
                able = capable(d.farm, s, kind)
                for p in able:
                    role[i, s.id, p] = m.new_bool_var("")
                    count[i, s.id, p] = m.new_int_var(0, d.most(i), "")
                    m.add(count[i, s.id, p] <= d.most(i) * role[i, s.id, p])
                    part.append(count[i, s.id, p])
                m.add(sum(role[i, s.id, p] for p in able) == v.at[i, s.id])
        for part in parts:
            m.add(sum(part) == v.pieces[i])


def hours(d: Draft) -> None:
    """S1: bench work of a person fits the clock left after set-up, clean-down and changes of water, times the fill."""
    s, m, v = d.farm.settings, d.model, d.v
    if d.together:
        _hours_together(d)
        return
    loads: dict[tuple[str, str], list[cp_model.LinearExpr]] = {}
    for (i, sid, p), role in v.cuts.items():
        o = d.options[i]
        minutes = standard(d.farm, o.strain, o.colony.on_rock)
        loads.setdefault((sid, p), []).append(seconds(minutes.colony) * role + seconds(minutes.cut) * v.cut_pieces[i, sid, p])
    for (i, sid, p), role in v.mounts.items():
        minutes = standard(d.farm, d.options[i].strain, False)
        tags = seconds(minutes.tag * s.max_blocks)  # in how many blocks it will stand is not known yet
        loads.setdefault((sid, p), []).append(seconds(minutes.each) * v.mount_pieces[i, sid, p] + tags * role)
    for sid, session in d.sessions.items():
        fill = d.limits.fill.get(sid, s.bench_fill)
        v.changes[sid] = m.new_int_var(0, max(0, len(d.farm.systems) - 1), f"changes {sid}")
        clock = math.floor(round(max(0.0, session.minutes - s.session_minutes) * fill * 60, 6))
        for p in session.people:
            if (sid, p) in loads:
                m.add(sum(loads[sid, p]) + seconds(s.changeover_minutes * fill) * v.changes[sid] <= clock)


def _hours_together(d: Draft) -> None:
    """S1 as a relaxation: for each set of kinds of work, its minutes fit the people together who can do one of them."""
    s, m, v = d.farm.settings, d.model, d.v
    for sid, session in d.sessions.items():
        fill = d.limits.fill.get(sid, s.bench_fill)
        clock = math.floor(round(max(0.0, session.minutes - s.session_minutes) * fill * 60, 6))
        work: dict[Kind, list[cp_model.LinearExpr]] = {}
        for i, o in enumerate(d.options):
            if (i, sid) not in v.at:
                continue
            minutes = standard(d.farm, o.strain, o.colony.on_rock)
            here = m.new_int_var(0, d.most(i), "")
            m.add(here <= d.most(i) * v.at[i, sid])
            m.add(here >= v.pieces[i] - d.most(i) * (1 - v.at[i, sid]))
            cutting = seconds(minutes.colony) * v.at[i, sid] + seconds(minutes.cut) * here
            mounting = seconds(minutes.tag) * v.at[i, sid] + seconds(minutes.each) * here
            work.setdefault(cut_kind(d.farm, o.strain), []).append(cutting)
            work.setdefault(mount_kind(d.farm, o.strain), []).append(mounting)
        for size in range(1, len(work) + 1):
            for kinds in combinations(work, size):
                able = {p for kind in kinds for p in capable(d.farm, session, kind)}
                m.add(sum(load for kind in kinds for load in work[kind]) <= clock * len(able))
        v.changes[sid] = m.new_int_var(0, max(0, len(d.farm.systems) - 1), f"changes {sid}")


def plugs(d: Draft) -> None:
    """S6: by no session are more plugs of a kind used than have stood in water long enough by its day.

    With hours looked at together, the pieces of a week count at its last session.
    """
    v = d.v
    for kind in dict.fromkeys(row.plug_kind for row in d.farm.plugs if row.condition_days):
        mine = [i for i, o in enumerate(d.options) if d.farm.traits(o.strain).plug_kind == kind]
        for session in d.sessions.values():
            ready = plugs_ready(d.farm, kind, session.day)
            if ready is None:
                continue
            if d.together:
                last = all(s.day <= session.day for s in d.sessions.values() if s.week == session.week)
                used = [v.pieces[i] for i in mine if d.options[i].week <= session.week] if last else []
            else:
                before = {s.id for s in d.sessions.values() if s.day <= session.day}
                used = [n for (i, sid, _), n in v.mount_pieces.items() if i in mine and sid in before]
            if used:
                d.model.add(sum(used) <= ready)


def outside(d: Draft) -> None:
    """S1, O1: packing of early sales and moves fit the hours outside sessions; boxes and list price have their limits."""
    m, v = d.model, d.v
    by_week: dict[int, list[tuple[object, cp_model.LinearExpr]]] = {}
    for k, sale in enumerate(d.sales):
        kind, minutes = work_of(sale)
        by_week.setdefault(sale.week, []).append((kind, math.ceil(minutes * 60) * v.leaves[k]))
    for i, var in v.moves.items():
        move = d.moves[i - len(d.options)]
        kind, minutes = work_of_move(move)
        by_week.setdefault(move.week, []).append((kind, math.ceil(minutes * 60) * var))
    for week, work in by_week.items():
        for kinds, minutes in d.limits.outside.get(week, {}).items():
            load = [seconds_of for kind, seconds_of in work if kind in kinds]
            if load:
                m.add(sum(load) <= max(0, math.floor(minutes * 60)))
    for (channel, week), boxes in d.limits.boxes.items():
        packed = [
            math.ceil(1000 * s.boxes) * v.leaves[k] for k, s in enumerate(d.sales) if (s.channel, s.week) == (channel, week)
        ]
        if packed:
            m.add(sum(packed) <= max(0, math.floor(1000 * boxes)))
    for key, frags in d.limits.market.items():
        listed = [math.ceil(1000 * s.listed) * v.leaves[k] for k, s in enumerate(d.sales) if s.market == key]
        if listed:
            m.add(sum(listed) <= max(0, math.floor(1000 * frags)))


def water(d: Draft) -> None:
    """S3: changes of water system are counted; at most one quarantined system a session."""
    m, v = d.model, d.v
    for sid, session in d.sessions.items():
        for system in d.farm.system:
            here = d.any(d.cuts_at(sid, system=system), f"works {sid} {system}")
            if here is not None:
                v.works[sid, system] = here
        used = {system: var for (s, system), var in v.works.items() if s == sid}
        if not used:
            m.add(v.changes[sid] == 0)
            d.follows(v.changes[sid], (), sum)
            continue
        m.add(v.changes[sid] >= sum(used.values()) - 1)
        d.follows(v.changes[sid], list(used.values()), lambda used: max(0, sum(used) - 1))
        quarantined = [var for name, var in used.items() if d.farm.in_quarantine(name, session.week)]
        if len(quarantined) > 1:
            m.add_at_most_one(quarantined)


def hazard(d: Draft) -> None:
    """S4: after a toxic cut only toxic ones within the clean part; none from clean water beside quarantined work."""
    m = d.model
    for sid, session in d.sessions.items():
        clean = [s for s in d.farm.systems if not d.farm.in_quarantine(s.system, session.week)]
        shut = [d.v.works[sid, s.system] for s in d.farm.systems if s not in clean and (sid, s.system) in d.v.works]
        for first in clean:
            toxic = d.any(d.cuts_at(sid, system=first.system, toxic=True))
            if toxic is None:
                continue
            for quarantined in shut:
                m.add_at_most_one(toxic, quarantined)
            for later in clean:
                plain = d.any(d.cuts_at(sid, system=later.system, toxic=False))
                if plain is not None and later.health_rank > first.health_rank:
                    m.add_at_most_one(toxic, plain)
        for one, two in combinations(clean, 2):
            if one.health_rank == two.health_rank:  # either could come first, but not both last
                kinds = [d.any(d.cuts_at(sid, system=s.system, toxic=t)) for s in (one, two) for t in (False, True)]
                known = [k for k in kinds if k is not None]
                if len(known) == len(kinds):
                    m.add(sum(known) <= 3)
