"""S1 outside sessions: packing, moves, cleaning, counting and standing work against people's hours, and overtime."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from scheduler.audit.context import Context
from scheduler.audit.flow import largest_flow, whole_seconds
from scheduler.audit.minutes import box_minutes, count_minutes, frag_pack_minutes, move_minutes
from scheduler.farm.people import CARE, PACK
from scheduler.farm.units import exact, seconds
from scheduler.farm.work import outside_minutes, overtime_minutes, standing_minutes


@dataclass(frozen=True)
class Hours:
    """Work outside sessions in a week, in seconds: asked, done without and with overtime, and standing work that does not fit."""

    demand: int
    plain: int
    stretched: int
    standing_misfit: int
    added: int

    @property
    def overtime(self) -> int:
        """Overtime used, seconds."""
        return max(0, self.demand - self.plain)


def hours_in(ctx: Context, week: int) -> Hours:
    """The work outside sessions of a week."""
    farm = ctx.farm
    able = {k: frozenset(p.person for p in farm.people if k in p.skills) for k in (CARE, PACK)}
    plain = {p.person: whole_seconds(outside_minutes(farm, p.person, week)) for p in farm.people}
    more = {p: s + whole_seconds(overtime_minutes(farm, p, week)) for p, s in plain.items()}
    standing = {k: exact(m) for k, m in standing_minutes(farm, week).items()}
    base = {CARE: seconds(standing[CARE] + count_minutes(ctx, week, old_only=True)), PACK: seconds(standing[PACK])}
    full = {
        CARE: seconds(standing[CARE] + count_minutes(ctx, week) + move_minutes(ctx, week)),
        PACK: seconds(float(standing[PACK] + frag_pack_minutes(ctx, week)) + float(box_minutes(ctx, week))),
    }
    total = sum(full.values())
    return Hours(
        demand=total,
        plain=largest_flow(full, plain, able),
        stretched=largest_flow(full, more, able),
        standing_misfit=sum(base.values()) - largest_flow(base, more, able),
        added=total - sum(base.values()),
    )


def check_hours(ctx: Context) -> None:
    """The week's work fits people's hours with overtime, and the plan's overtime is what that takes."""
    given = {o.week: o.minutes for o in ctx.plan.overtime}
    for week in ctx.weeks.all:
        hours = hours_in(ctx, week)
        name = f"week {week}"
        if hours.standing_misfit > 1:
            if hours.added > 1:
                ctx.add(
                    "S1", (name,), f"{name}: standing work alone goes {hours.standing_misfit / 60:.2f} minutes over "
                    f"people's hours, so 0 may be added; the plan adds {hours.added / 60:.2f}",
                )  # fmt: skip
        elif hours.demand - hours.stretched > 1:
            ctx.add(
                "S1", (name,), f"{name}: {hours.demand / 60:.2f} minutes of work outside sessions; people with the skills can do "
                f"{hours.stretched / 60:.2f}, overtime included",
            )  # fmt: skip
        needed = Decimal(hours.overtime) / 60
        if abs(given.get(week, Decimal(0)) - needed) > Decimal("0.05"):
            ctx.add(
                "S1",
                (name,),
                f"{name}: the plan says {given.get(week, Decimal(0)):.2f} minutes of overtime; it takes {needed:.2f}",
            )
