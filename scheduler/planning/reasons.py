"""Why a colony is not cut in the near weeks, and who can stand by."""

from __future__ import annotations

from scheduler.farm.farm import Farm
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Cut, Held, StandBy
from scheduler.planning.near import NearPlan
from scheduler.week.options import NearWorth

MOST_STAND_BY = 5


def held_back(farm: Farm, near: NearPlan, worth: NearWorth) -> tuple[Held, ...]:
    """For every colony not cut in the near weeks the one thing that held it back."""
    cut = {c.option.colony.colony for c in near.cuts}
    pinned = {p.colony: p.pin for p in farm.pins if p.kind in ("no cut", "at most") and p.colony}
    found = []
    for colony in farm.colonies:
        name = colony.colony
        if name in cut:
            continue
        refusal = near.refusals.get(name)
        if name in pinned:
            found.append(Held(colony=name, reason="pinned", detail=f"pin {pinned[name]} holds it back"))
        elif refusal is not None:
            found.append(Held(colony=name, reason=refusal.reason, detail=refusal.detail, ready_week=refusal.ready_week))
        else:
            found.append(_not_chosen(farm, near, worth, name))
    return tuple(found)


def _not_chosen(farm: Farm, near: NearPlan, worth: NearWorth, name: str) -> Held:
    option = next(o for o in near.options if o.colony.colony == name)
    strain = option.colony.strain
    piece = worth.piece(strain, option.week, option.colony.par_umol)
    now = option.most * piece - worth.colony_cost(option.colony)
    later = worth.waiting(option.colony, option.week, option.most) * piece
    currency = farm.settings.currency
    taken = sum(c.pieces for c in near.cuts if c.option.colony.strain == strain)
    room = worth.list_room(strain, option.week)
    if later >= now:
        text = f"{option.most} pieces now are worth {now:.0f} {currency}; growing on is worth {later:.0f} {currency} more in later cuts"
        return Held(colony=name, reason="worth more grown on", detail=text)
    if taken + farm.traits(strain).min_pieces > room:
        text = f"{taken} pieces of {strain} are cut already and about {room} more sell at list price"
        return Held(colony=name, reason="market full", detail=text)
    text = f"could give {option.most}, but bench hours, rack positions or new frags a week go to colonies worth more"
    return Held(colony=name, reason="no room beside better cuts", detail=text)


def stand_by(farm: Farm, near: NearPlan, cuts: tuple[Cut, ...]) -> tuple[StandBy, ...]:
    """Two to five colonies a session that could step in: same water already in it, not cut in the near weeks."""
    done = {c.colony for c in cuts}
    found: list[StandBy] = []
    for week in farm.weeks.near_weeks:
        for session in sessions_in(farm, week):
            mine = [c for c in cuts if c.session == session.id]
            systems = {farm.system_of_tank(farm.colony[c.colony].tank) for c in mine}
            able = [
                o
                for o in near.options
                if o.week == week
                and o.colony.colony not in done
                and session.id in {s.id for s in o.sessions}
                and farm.system_of_tank(o.colony.tank) in systems
                and not farm.traits(o.colony.strain).toxic
            ]
            for o in sorted(able, key=lambda o: (-o.most, o.colony.colony))[:MOST_STAND_BY]:
                found.append(StandBy(session=session.id, colony=o.colony.colony, pieces=o.most))
    return tuple(found)
