"""Work a plan asks for outside bench sessions."""

from __future__ import annotations

from scheduler.farm.work import standing_minutes
from scheduler.plan.view import PlanView


def outside_minutes_needed(view: PlanView, week: int) -> dict[str, float]:
    """S1: minutes of a week by skill (care, pack): standing work, counting, moves and packing."""
    farm, s = view.farm, view.farm.settings
    need = standing_minutes(farm, week)
    for lot in view.lots.values():
        if week < lot.first_week:
            continue
        age, left = lot.life.age[week], lot.left(week)
        if left and age > 0 and age % s.count_weeks == 0:
            need["care"] += s.count_lot_minutes
        need["care"] += sum(s.move_lot_minutes + s.move_frag_minutes * left for stand in lot.stands[1:] if stand.week == week)
        for sale in lot.sales:
            if sale.week == week:
                frags = sale.pieces * float(lot.life.alive[week])
                per_box = farm.channel[sale.channel].frags_per_box
                need["pack"] += frags * (s.pack_frag_minutes + s.pack_box_minutes / per_box)
    return need
