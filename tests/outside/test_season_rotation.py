"""The planned interval between cuts against the textbook rotation of forestry, for one colony with space and market without end.

Faustmann (1849): of a stand cut for ever every T weeks, the rotation is best that maximises

    (p n(T) - c) / ((1 + i)^T - 1)

with n(T) the yield, p its price at the cut, c the cost of a cut and i the interest of a week; without interest it is the
interval of the greatest mean yield, (p n(T) - c) / T (Samuelson 1976, Economic Inquiry 14:466-492; both formulas from
memory). A colony differs in what is left out here as far as the settings go: it keeps only what the curve begins with, a
cut may take all else, pieces are so small that whole numbers do not matter, and the pause after a cut is a part of T.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import time
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from scheduler.biology.growth import curve
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.people import Person, Session
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from scheduler.farm.trade import Channel, Market
from scheduler.season.columns import Season
from tests.audit.small_farm import MONDAY
from tests.farms import one_strain_farm

BEFORE = 100
"""Units of a colony just cut: nothing below it is ever taken."""

PAUSE = 2
LIST = 20.0
PER_UNIT = 20.0
"""Pieces of a unit."""

LAWS: dict[str, dict[str, Any]] = {
    "quick": {"growth_law": "logistic", "growth_per_week": 0.25, "start_units": BEFORE, "cap_units": 200.0},
    "slow": {"growth_law": "logistic", "growth_per_week": 0.08, "start_units": BEFORE, "cap_units": 180.0},
    "linear": {"growth_law": "linear", "growth_per_week": 4.0, "start_units": BEFORE, "cap_units": 150.0},
}
"""From their start on these curves never grow faster than at first, so that a stand is best cut clear, as the formula has it."""


def plenty(law: str, interest: float, cost_minutes: float) -> Farm:
    """One colony just cut, frags ready a week later, and more of everything than it can use."""
    farm = one_strain_farm(
        classes=(("small", 20.0),),
        settings={
            "horizon_weeks": 104, "near_weeks": 1, "interest_percent_per_year": interest, "book_date": MONDAY, "plan_monday": MONDAY,
            "label_minutes": 0.0, "pack_frag_minutes": 0.0, "pack_box_minutes": 0.0, "session_minutes": 0.0,
            "end_colony_share": 0.5,
        },
        unit_per_piece=1 / PER_UNIT, keep_pieces=int(BEFORE * PER_UNIT), max_share=1.0, min_pieces=1, rest_weeks=PAUSE,
        pause_weeks=PAUSE, minutes_colony=cost_minutes, minutes_cut=0.0, minutes_mount=0.0, heal_weeks=0, attach_weeks=0,
        frag_mm=30.0, death_early=0.0, death_late=0.0, detach_early=0.0, detach_late=0.0, good_share=1.0, **LAWS[law],
    )  # fmt: skip
    return replace(
        farm,
        systems=(WaterSystem(system="W", health_rank=1, max_fresh=10**6),),
        tanks=(Tank(tank="T", system="W"),),
        racks=(Rack(rack="T-a", tank="T", rows=50, cols=50, pitch_mm=30, flow="medium", plug_kinds=("small",)),),
        light=(LightReading(rack="T-a", from_date=MONDAY, par_umol=200),),
        colonies=(
            Colony(
                colony="A1", strain="A", tank="T", par_umol=200, count=BEFORE, count_date=MONDAY, condition="fit",
                condition_date=MONDAY, last_cut=MONDAY,
            ),
        ),
        people=(Person(person="Ada", skills=("cutters", "mount", "pack", "care"), hours_per_week=80),),
        sessions=(Session(session="bench", weekday="Tue", start=time(8), minutes=600, people=("Ada",), methods=("cutters",)),),
        channels=(Channel(channel="ship", packing_days=("Mon",), boxes_per_day=10**6, frags_per_box=10, market=True),),
        market=(Market(strain="A", size_class="small", quantity=10.0**6),),
    )  # fmt: skip


def planned_weeks(farm: Farm) -> list[int]:
    """Weeks of the cuts planned where nothing shared has a price."""
    season = Season(farm, [])
    prices = season.price(np.zeros(len(season.capacity.rows)))
    _, makers = season.reduced(prices)
    return [c.week for c in makers[0]().cuts]


def best_interval(farm: Farm, cost: float, score: Callable[[float, int], float]) -> int:
    """The whole number of weeks of the highest score of a cut's money and interval."""
    sizes = curve(farm.traits("A"))

    def money(weeks: int) -> float:
        return LIST * (sizes[min(weeks - PAUSE, len(sizes) - 1)] - sizes[0]) - cost

    return max(range(PAUSE + 1, 80), key=lambda weeks: score(money(weeks), weeks))


@pytest.mark.parametrize(
    ("law", "minutes"), [("quick", 0.0), ("quick", 6000.0), ("slow", 0.0), ("slow", 9000.0), ("linear", 6000.0)]
)
@pytest.mark.parametrize("interest", [0.0, 10.0, 60.0])
def test_the_planned_interval_is_the_textbook_rotation(law: str, minutes: float, interest: float) -> None:
    farm = plenty(law, interest, minutes)
    rate = (1 + interest / 100) ** (1 / 52)
    cost = minutes / 60 * float(farm.settings.wage_per_hour)

    def land_value(money: float, weeks: int) -> float:
        return money / (rate**weeks - 1) if interest else money / weeks

    rotation = best_interval(farm, cost, land_value)
    weeks = [1, *planned_weeks(farm)]
    early = [b - a for a, b in pairwise(weeks) if b <= 60]  # the end of the horizon bends the last ones
    assert early
    assert 2 * PAUSE < rotation < 60
    assert all(abs(interval - rotation) <= 1 for interval in early)


def test_interest_shortens_the_rotation() -> None:
    without, dear = (planned_weeks(plenty("quick", i, 0.0)) for i in (0.0, 60.0))
    assert dear[0] < without[0]
    assert len(dear) > len(without)
