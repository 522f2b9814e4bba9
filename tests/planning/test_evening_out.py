"""Moves that even out tanks of like light: only where they are worth more than their work, and only lawful ones."""

from __future__ import annotations

import threading
from dataclasses import replace
from decimal import Decimal

import pytest

from scheduler.audit import audit
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.planning.evening_out import MOST_MOVES, evened
from scheduler.planning.finish import valued
from scheduler.planning.lines import most_uneven, unevenness
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Limits
from tests.audit.small_farm import N1A, N2A, changed, small_farm, small_plan

DEAR = "20"


def lopsided(cost: str) -> Farm:
    """Three lots of one strain, ten frags each, on a rack of N1; the rack of like light in N2 is empty."""
    farm = small_farm()
    first, others = farm.lots[0], farm.lots[1:]
    more = (first.model_copy(update={"lot": name, "blocks": (block,)}) for name, block in (("OC", "C1:D5"), ("OD", "E1:F5")))
    farm = replace(farm, lots=(first, *more, *others), pairs=())
    return changed(farm, "settings", uneven_cost=Decimal(cost))


def idle_plan(farm: Farm) -> Plan:
    """Nothing is cut, sold or moved."""
    about = small_plan(small_farm()).about.model_copy(update={"book_fingerprint": farm.fingerprint})
    return valued(farm, Plan(about=about))


def points(farm: Farm, plan: Plan) -> Decimal:
    return unevenness(farm, PlanView(farm, plan))


def test_the_worst_difference_is_found_where_it_is() -> None:
    farm = lopsided(DEAR)
    worst = most_uneven(farm, PlanView(farm, idle_plan(farm)))
    assert worst is not None
    assert (worst.week, worst.fullest, worst.emptiest) == (1, N1A, N2A)
    assert worst.difference == pytest.approx(Decimal(100) * 30 / 79, abs=Decimal("0.01"))


def test_dear_unevenness_moves_as_many_lots_as_help() -> None:
    farm = lopsided(DEAR)
    before = idle_plan(farm)
    after = evened(farm, before, [])
    assert [(s.week, s.zone, s.rack, s.pieces) for s in after.stands] == [(1, N2A, "N2-a", 10)] * 2
    assert after.value > before.value
    # who moves holds both places in the week of the move: 30 and 20 of 79, later 10 and 20; a third move would make it 0 and 30
    assert points(farm, after) == pytest.approx(Decimal(1000) / 79, abs=Decimal("0.01"))
    assert not audit(farm, after).breaches


@pytest.mark.parametrize("cost", ["0", "0.01"])
def test_moves_that_do_not_pay_for_their_minutes_are_not_made(cost: str) -> None:
    farm = lopsided(cost)
    before = idle_plan(farm)
    assert evened(farm, before, []) is before


def test_moving_begins_where_the_cost_pays_for_the_minutes() -> None:
    def two_lots(cost: str) -> tuple[Farm, Plan]:
        farm = lopsided(cost)
        farm = replace(farm, lots=tuple(x for x in farm.lots if x.lot != "OD"))
        return farm, idle_plan(farm)

    dear, plan = two_lots(DEAR)
    free, idle = two_lots("0")
    moved = valued(free, idle.model_copy(update={"stands": evened(dear, plan, []).stands}))
    saved = points(dear, plan) - points(dear, evened(dear, plan, []))
    just = (idle.value - moved.value) / saved
    assert just > 0
    for cost, count in ((just - Decimal("0.01"), 0), (just + Decimal("0.01"), 1)):
        farm, before = two_lots(str(round(cost, 3)))
        assert len(evened(farm, before, []).stands) == count


def test_lots_that_may_not_move_stay() -> None:
    pins = tuple(Pin(pin=f"P{n}", kind="hold lot", lot=lot) for n, lot in enumerate(("OA", "OC", "OD")))
    for held, moved in ((pins, []), (pins[:2], ["OD"])):
        farm = replace(lopsided(DEAR), pins=held)
        assert [s.lot for s in evened(farm, idle_plan(farm), [p.pin for p in held]).stands] == moved


def test_nobody_moves_to_company_to_be_kept_apart_from() -> None:
    farm = lopsided(DEAR)
    apart = replace(farm, pairs=small_farm().pairs)  # a leather mother stands in N2
    assert not evened(apart, idle_plan(apart), []).stands


def test_who_is_asked_to_stop_adds_no_moves() -> None:
    farm, stop = lopsided(DEAR), threading.Event()
    stop.set()
    before = idle_plan(farm)
    assert evened(farm, before, [], stop) is before


def test_whole_plans_are_more_even_where_it_costs() -> None:
    limits = Limits(seconds=600, deterministic=0.3, seed=1)
    free, dear = (plan_farm(lopsided(cost), limits=limits).plan for cost in ("0", DEAR))
    assert points(lopsided(DEAR), dear) < points(lopsided("0"), free)
    assert len([s for s in dear.stands if s.lot.startswith("O")]) <= MOST_MOVES
