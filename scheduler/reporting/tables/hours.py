"""Hours by skill: what the plan asks for by week, and what people who have the skill offer."""

from __future__ import annotations

from collections import defaultdict

from scheduler.farm.hours import CARING, PACKING, Kind, bench_kinds, bench_need, bench_offers, outside_offers
from scheduler.plan.outside import outside_minutes_needed
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value

BENCH, OUTSIDE = "bench", "outside sessions"


def kind_text(kind: Kind) -> str:
    """Skills one person needs for a kind of work: ``mount + toxic``."""
    return " + ".join(sorted(kind, key=lambda skill: (skill == "toxic", skill)))


def hours_table(view: PlanView) -> Table:
    """S1: minutes needed by week and kind of work, and the minutes of everybody able to do it.

    A person with several skills counts in each of their rows, but works an hour once: offers cannot be added up. Bench: sessions
    of the week less set-up, times ``bench_fill``; changes of water are not taken off. Outside sessions: paid minutes, without overtime.
    """
    farm = view.farm
    need: dict[tuple[Kind, int], float] = defaultdict(float)
    for cut in view.plan.cuts:
        for kind, minutes in bench_need(farm, cut.colony, cut.pieces).items():
            need[kind, cut.week] += minutes
    kinds = sorted(bench_kinds(farm), key=kind_text)
    rows: list[tuple[Value, ...]] = []
    for week in farm.weeks.all:
        label = farm.weeks.label(week)
        offers = bench_offers(farm, week)
        for kind in kinds:
            offered = sum(minutes for able, minutes in offers if kind in able)
            rows.append((week, label, BENCH, kind_text(kind), round(need[kind, week], 1), round(offered, 1)))
        outside = outside_minutes_needed(view, week)
        around = outside_offers(farm, week)
        for kind, skill in ((CARING, "care"), (PACKING, "pack")):
            offered = sum(minutes for able, minutes in around if kind in able)
            rows.append((week, label, OUTSIDE, skill, round(outside[skill], 1), round(offered, 1)))
    return Table("hours", ("week", "iso_week", "where", "skills", "minutes_needed", "minutes_offered"), tuple(rows))
