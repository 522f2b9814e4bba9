"""What is laid out before a session: plugs, labels, dips, putty, supplies, plugs into water."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from day_farm import cuts_of, day_farm, the_session
from test_clock_audited import faults, plan_of, scheduled

from scheduler.bench.prep import into_water, preparation
from scheduler.farm.bench import PlugKind
from scheduler.farm.blocks import parse_block
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan, Stand

GROUPS = [("branching", "N1"), ("plating", "N1"), ("leather", "S1")]
PIECES = [8, 10, 6]


def planned(farm: Farm, *, clock: bool = True) -> Plan:
    cuts = cuts_of(farm, PIECES)
    found = scheduled(farm, cuts)
    stands = tuple(
        Stand(
            lot=c.lot,
            week=1,
            zone="z",
            rack="N1-a",
            blocks=(parse_block(f"{r}1:{r}{c.pieces - 2}"), parse_block(f"{r}15:{r}16")),
            pieces=c.pieces,
        )
        for r, c in zip("ABC", cuts, strict=True)
    )
    return plan_of(farm, cuts, found, None if clock else ()).model_copy(update={"stands": stands})


def prepared(clock: bool = True, farm: Farm | None = None, **settings: Any) -> Any:
    farm = farm or day_farm(GROUPS, settings=settings)
    return preparation(farm, planned(farm, clock=clock), the_session(farm))


def test_plugs_soak_before_the_first_is_mounted() -> None:
    farm = day_farm(GROUPS)
    plan = planned(farm)
    plugs = preparation(farm, plan, the_session(farm)).plugs
    first = min(t.start for t in plan.bench if "mount" in t.steps)
    assert [(p.plug_kind, p.plugs) for p in plugs] == [("small", 24)]
    assert plugs[0].soak_until == first
    assert plugs[0].soak_from == first - timedelta(minutes=20)
    bare = prepared(clock=False).plugs[0]
    assert bare.soak_until == datetime(2026, 12, 1, 8)


@pytest.mark.parametrize(("labelling", "labels", "minutes"), [("plug", PIECES, "3.60"), ("block", [2, 2, 2], "0.90")])
def test_labels_and_their_minutes(labelling: str, labels: list[int], minutes: str) -> None:
    prep = prepared(labelling=labelling)
    assert sorted(x.labels for x in prep.labels) == sorted(labels)
    assert prep.label_minutes == Decimal(minutes)
    assert {(x.lot, x.code) for x in prep.labels} == {("L1", "A01"), ("L2", "A02"), ("L3", "A03")}


def test_each_water_has_its_own_baths_with_the_window_of_what_is_dipped() -> None:
    north, south = prepared().baths
    assert (north.system, north.pieces, north.frags, north.mothers) == ("North", 18, (10, 15), (1, 2))
    assert (south.system, south.pieces, south.frags, south.baths) == ("South", 6, (5, 10), 1)
    assert south.stock == south.dose.amount


def test_many_pieces_need_more_mixes() -> None:
    north = prepared(mix_pieces=10).baths[0]
    assert north.mixes == 2
    assert north.stock == north.dose.amount * north.baths * 2  # type: ignore[operator]


def test_putty_is_counted_in_kneadings() -> None:
    # 10 pieces of 1 minute each, putty soft for 5 minutes: two kneadings of 5
    assert prepared().kneadings == 2
    assert prepared(clock=False).kneadings == 2  # 8 pieces a kneading at most
    assert prepared(putty_set_minutes=2.0).kneadings == 5


def test_supplies_are_drawn_from_the_stock_session_by_session() -> None:
    plug, blades = prepared().draws
    assert (plug.item, plug.need, plug.before, plug.after) == ("plug", 24, 100, 76)
    assert (blades.item, blades.need, blades.after) == ("blades", 1, 2)


def conditioned(*rows: tuple[int, int, date | None]) -> Farm:
    plugs = tuple(PlugKind(plug_kind="small", condition_days=d, in_water=n, in_water_from=day) for d, n, day in rows)
    return replace(day_farm(GROUPS), plugs=plugs)


@pytest.mark.parametrize(
    ("count", "since", "clean"),
    [(24, date(2026, 11, 17), True), (23, date(2026, 11, 17), False), (24, date(2026, 11, 18), False)],
)
def test_conditioned_plugs_cannot_be_used_before_their_days(count: int, since: date, clean: bool) -> None:
    farm = conditioned((14, count, since))  # the session is on 2026-12-01
    found = faults(farm, planned(farm))
    assert found == [] if clean else any("have stood in water long enough" in text for text in found)


def test_plugs_put_into_water_in_week_1_serve_once_their_days_are_over() -> None:
    farm = conditioned((1, 0, None))
    assert faults(farm, planned(farm)) == []
    assert preparation(farm, planned(farm), the_session(farm)).plugs[0].ready is None


def test_what_goes_into_water_by_when() -> None:
    farm = conditioned((14, 20, date(2026, 11, 10)))
    later = {"lot": "X", "week": 5, "session": None, "run_order": None, "cutter": None, "mounter": None, "pieces": 9}
    week_five = planned(farm).cuts[0].model_copy(update=later)
    plan = planned(farm)
    plan = plan.model_copy(update={"cuts": (*plan.cuts, week_five)})
    rows = into_water(farm, plan)
    assert [(w.plugs, w.by, w.used_from, w.overdue) for w in rows] == [
        (4, date(2026, 11, 17), date(2026, 12, 1), True),
        (9, date(2026, 12, 14), date(2026, 12, 28), False),
    ]


def test_nothing_goes_into_water_for_kinds_that_only_soak() -> None:
    farm = day_farm(GROUPS)
    assert into_water(farm, planned(farm)) == ()
